/* What must be so whatever the host sends: silence, current, order. That nothing
 * unsafe is ever asked of the board is checked at each call, in fake.c. */
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"
#include "socket.h"

static uint8_t payload[MAX_PAYLOAD];

static bool safe(void)
{
	return fake.dir == 0 && fake.level == 0 && fake.high == 0 && fake.low == 0 && !fake.pulls[PULL_BIAS].on &&
	       !fake.pulls[PULL_LOAD].on && !fake.lamps[LAMP_POWER];
}

static void silence(void)
{
	static const uint8_t pulls[PULLS_LEN] = {PULLS_LOAD, 0, 0, 0, 0, 0, 1};
	static const uint8_t noise[] = {1, 2, 3, 0};
	unsigned i;

	fake_reset();
	CHECK(safe());
	host_power(1);
	fake_pass(1998);
	CHECK(!safe());
	fake_pass(3);
	CHECK(safe());
	CHECK(socket_now()->safe_cause == SAFE_SILENCE);

	/* A load alone is on too; and noise is no word from the host. */
	host_ask(TYPE_PULLS, 2, pulls, sizeof pulls);
	fake_run();
	CHECK(host_count() == 1);
	CHECK(!safe());
	for (i = 0; i < 21; i++) {
		fake_pass(100);
		fake_put(noise, sizeof noise);
	}
	CHECK(safe());

	/* Any sound frame is. */
	host_power(3);
	for (i = 0; i < 10; i++) {
		fake_pass(1500);
		host_counter((uint8_t)(10 + i), 20);
	}
	CHECK(!safe());
}

/* The clock passes its end after 49 days. */
static void silence_over_the_end_of_the_clock(void)
{
	fake_reset();
	fake.us = (UINT32_MAX - UINT64_C(500)) * 1000;
	host_power(1);
	fake_pass(1990);
	CHECK(!safe());
}

static void overcurrent_at_power(void)
{
	static const uint8_t power[] = {28, 0, 100, 0, 10, 0, 0x40, 0, 0, 0};
	const uint8_t *reply;
	size_t length;
	uint64_t us;

	fake_reset();
	fake.current = 10001; /* 100.01 mA, limit 100 mA */
	us = fake.us;
	host_ask(TYPE_POWER, 1, power, sizeof power);
	fake_run();
	CHECK(safe());
	CHECK(fake.us - us <= 2000);
	reply = host_reply(TYPE_ERROR, 1, &length);
	CHECK(reply[0] == OVERCURRENT && get_u32(reply + 2) == 10001);
	CHECK(socket_now()->safe_cause == SAFE_OVERCURRENT);
	fake.current = 10000;
	host_power(2);
	CHECK(!safe());
}

/* The current rises in the middle of steps: no more than 2 ms of them follow. */
static void overcurrent_in_steps(uint16_t steps, uint16_t settle_us)
{
	const uint8_t *reply;
	size_t length;
	uint64_t us;

	fake_reset();
	host_power(1);
	us = fake.us;
	fake.trip_after = fake.drives + 3;
	host_ask(TYPE_APPLY, 2, payload, host_steps(payload, steps, settle_us));
	fake_run();
	CHECK(safe());
	CHECK(fake.us - us <= 3u * settle_us + 2000);
	reply = host_reply(TYPE_ERROR, 2, &length);
	CHECK(length == 6 && reply[0] == OVERCURRENT && reply[1] == TYPE_APPLY && get_u32(reply + 2) == 20000);
}

static void overcurrent_while_idle(void)
{
	fake_reset();
	host_power(1);
	fake.current = 20000;
	fake_pass(1);
	CHECK(safe());
	CHECK(host_count() == 0); /* the adapter never speaks first */
}

/* The watchdog is reset at least every ms of the longest requests. */
static void watchdog(void)
{
	size_t length;

	fake_reset();
	host_power(1);
	host_ask(TYPE_APPLY, 2, payload, host_steps(payload, 20, 50000));
	fake_run();
	host_reply(TYPE_APPLY | TYPE_REPLY, 2, &length);
	host_ask(TYPE_APPLY, 3, payload, host_steps(payload, MAX_STEPS, 999));
	fake_run();
	host_reply(TYPE_APPLY | TYPE_REPLY, 3, &length);
	CHECK(fake.longest_unwatched_us <= 2000);
}

/* A request whose frame is damaged does nothing at all, though its beginning was sound. */
static void nothing_before_the_crc(void)
{
	static uint8_t wire[FAKE_LINE];
	static uint8_t body[HEADER_LEN + MAX_PAYLOAD] = {PROTOCOL_VERSION, TYPE_APPLY, 2};
	size_t length;
	uint32_t drives;

	fake_reset();
	host_power(1);
	drives = fake.drives;
	length = fake_frame(body, HEADER_LEN + host_steps(body + HEADER_LEN, 100, 0), wire);
	wire[length - 2] ^= 0x40;
	fake_put(wire, length);
	fake_run();
	CHECK(fake.drives == drives);
	CHECK(host_count() == 0);
	CHECK(!safe());
}

/* Everything on; then what turns it off does so in the order of SPEC.md, whatever it is. */
static void order_of_off(void (*turn_off)(void))
{
	static const uint8_t pulls[PULLS_LEN] = {PULLS_BIAS | PULLS_LOAD, 0, 0xFF, 0x3F, 0xFF, 0x3F, 8, 0, 0, 0};
	size_t length;

	fake_reset();
	host_power(1);
	host_ask(TYPE_PULLS, 2, pulls, sizeof pulls);
	fake_run();
	CHECK(host_count() == 1);
	host_ask(TYPE_APPLY, 3, payload, host_steps(payload, 1, 0));
	fake_run();
	host_reply(TYPE_APPLY | TYPE_REPLY, 3, &length);
	memset(fake.order, 0, sizeof fake.order);
	turn_off();
	CHECK(safe());
	CHECK(strcmp(fake.order, "dlbhwgB") == 0);
}

static void by_safe(void)
{
	host_ask(TYPE_SAFE, 9, NULL, 0);
	fake_run();
}

static void by_hello(void)
{
	host_ask(TYPE_HELLO, 9, NULL, 0);
	fake_run();
}

static void by_refusal(void)
{
	host_ask(TYPE_SAFE, 9, payload, 1);
	fake_run();
}

static void by_silence(void)
{
	fake_pass(2100);
}

static void by_current(void)
{
	fake.current = 20000;
	fake_pass(1);
}

/* One high-side switch after the other: the first opens, and its ground, before the
 * next closes. That high and low are never closed at one position, fake.c checks. */
static void change_of_supply(void)
{
	static const uint8_t ground_at_28[] = {1, 0, 100, 0, 1, 0, 0, 0, 1, 0};
	static const uint8_t both_at_1[] = {1, 0, 100, 0, 1, 0, 1, 0, 0, 0};
	size_t length;
	const uint8_t *reply;

	fake_reset();
	host_power(1);
	host_ask(TYPE_POWER, 2, ground_at_28, sizeof ground_at_28);
	fake_run();
	host_reply(TYPE_POWER | TYPE_REPLY, 2, &length);
	CHECK(fake.high == 1 && fake.low == 0x10000);
	host_ask(TYPE_POWER, 3, both_at_1, sizeof both_at_1);
	fake_run();
	reply = host_reply(TYPE_ERROR, 3, &length);
	CHECK(reply[0] == CONFLICT && get_u32(reply + 2) == 1);
	CHECK(safe());
}

void test_safety(void)
{
	order_of_off(by_safe);
	order_of_off(by_hello);
	order_of_off(by_refusal);
	order_of_off(by_silence);
	order_of_off(by_current);
	change_of_supply();
	silence();
	silence_over_the_end_of_the_clock();
	overcurrent_at_power();
	overcurrent_in_steps(200, 0);
	overcurrent_in_steps(200, 10);
	overcurrent_in_steps(100, 1000);
	overcurrent_in_steps(20, 50000);
	overcurrent_while_idle();
	watchdog();
	nothing_before_the_crc();
}
