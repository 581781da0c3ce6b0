/* Loss, damage, duplication and rate of the line. */
#include <string.h>

#include "adapter.h"
#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"

/* Offsets in STATUS, from SPEC.md. */
enum { FRAMES = 20, DAMAGED = 22, OVERSIZE = 24, OVERRUNS = 26, LINE_ERRORS = 28 };

static uint8_t payload[MAX_PAYLOAD];

/* A repeated APPLY is answered by the same bytes, and drives nothing. */
static void repeated(void)
{
	static uint8_t first[FAKE_LINE];
	size_t length;
	uint32_t drives;

	fake_reset();
	host_power(1);
	host_ask(TYPE_APPLY, 2, payload, host_steps(payload, MAX_STEPS, 5));
	fake_run();
	drives = fake.drives;
	length = fake.from_core_length;
	memcpy(first, fake.from_core, length);
	fake.from_core_length = 0;
	host_again();
	fake_run();
	CHECK(fake.drives == drives);
	CHECK(fake.from_core_length == length);
	CHECK(memcmp(fake.from_core, first, length) == 0);
}

/* The whole longest request again while the reply goes out slowly: nothing is lost. */
static void repeated_while_replying(void)
{
	unsigned turns;

	fake_reset();
	host_power(1);
	fake.send_every = 3;
	host_ask(TYPE_APPLY, 2, payload, host_steps(payload, MAX_STEPS, 0));
	for (turns = 0; turns < 200; turns++) {
		adapter_poll();
	}
	CHECK(fake.from_core_length > 0 && fake.from_core_length < 500);
	host_again();
	fake_run();
	CHECK(host_count() == 2);
	CHECK(host_counter(3, OVERRUNS) == 0);
	CHECK(host_counter(4, DAMAGED) == 0);
}

/* Garbage of every kind between sound frames: the sound ones are answered, the others counted. */
static void garbage(void)
{
	static const uint8_t noise[] = {0x55, 0xAA, 0x00, 0xFF, 0x00, 0x00, 0x00, 0x07, 0x00};
	static uint8_t flood[5000];
	size_t length;

	fake_reset();
	host_power(1);
	fake_put(noise, sizeof noise);
	host_ask(TYPE_STATUS, 2, NULL, 0);
	fake_run();
	host_reply(TYPE_STATUS | TYPE_REPLY, 2, &length);
	CHECK(host_counter(3, DAMAGED) == 3);
	memset(flood, 0x33, sizeof flood);
	flood[sizeof flood - 1] = 0;
	fake_put(flood, sizeof flood);
	CHECK(host_counter(4, OVERSIZE) == 1);
	CHECK(fake.high != 0); /* noise does not cost the socket its power */
}

static void counters_stay_at_the_top(void)
{
	static const uint8_t damaged[] = {1, 0};
	unsigned i;

	fake_reset();
	for (i = 0; i < 70000; i++) {
		fake_put(damaged, sizeof damaged);
		fake_run();
	}
	CHECK(host_counter(1, DAMAGED) == 65535);
	for (i = 0; i < 300; i++) {
		fake.faults.overruns = 255;
		fake_pass(1);
	}
	CHECK(host_counter(2, OVERRUNS) == 65535);
}

/* A reset in the middle: the reply is gone with the power, and the repeated request is refused. */
static void reset_between(void)
{
	size_t length;
	const uint8_t *reply;

	fake_reset();
	host_power(1);
	host_ask(TYPE_APPLY, 2, payload, host_steps(payload, 4, 0));
	fake_run();
	fake_reset();
	host_again();
	fake_run();
	reply = host_reply(TYPE_ERROR, 2, &length);
	CHECK(reply[0] == NOT_POWERED);
}

static void broken_byte(void)
{
	fake.faults.line_errors = 1;
	fake_pass(1);
}

/* SPEC.md, line rate: a step at a broken byte, none for a ms after one, nor in a
 * conversation; back when nothing is heard for 2 s. */
static void rate(void)
{
	fake_reset();
	fake_pass(10);
	CHECK(fake.rate == 0);
	broken_byte();
	CHECK(fake.rate == 1);
	broken_byte();
	CHECK(fake.rate == 1); /* of the byte before */
	broken_byte();
	CHECK(fake.rate == 2);
	fake_pass(5);
	broken_byte();
	CHECK(fake.rate == 2); /* there is no slower one */
	CHECK(host_counter(1, LINE_ERRORS) == 4);
	fake_pass(1990);
	CHECK(fake.rate == 2); /* heard at this rate: stays */
	CHECK(host_counter(2, FRAMES) == 2);
	fake_pass(1990);
	CHECK(fake.rate == 2);
	fake_pass(20);
	CHECK(fake.rate == 0); /* not heard for 2 s */
	CHECK(host_counter(3, FRAMES) == 3);
	broken_byte();
	CHECK(fake.rate == 0); /* in a conversation one broken byte is only counted */
	CHECK(host_counter(4, LINE_ERRORS) == 5);
}

/* The middle rate alone: nobody speaks at it for 2 s. */
static void rate_without_a_host(void)
{
	fake_reset();
	fake_pass(10);
	broken_byte();
	fake_pass(1990);
	CHECK(fake.rate == 1);
	fake_pass(20);
	CHECK(fake.rate == 0);
	broken_byte();
	CHECK(fake.rate == 1);
	CHECK(host_counter(1, LINE_ERRORS) == 2);
	fake_pass(100);
	broken_byte();
	CHECK(fake.rate == 1);
}

/* Another version of the protocol is refused by name, whatever the request is. */
static void another_version(void)
{
	static uint8_t wire[64];
	static const uint8_t body[] = {1, TYPE_HELLO, 5, 1, 2, 3};
	const uint8_t *reply;
	size_t length;

	fake_reset();
	fake_put(wire, fake_frame(body, sizeof body, wire));
	fake_run();
	reply = host_reply(TYPE_ERROR, 5, &length);
	CHECK(length == 6 && reply[0] == BAD_VERSION && reply[1] == TYPE_HELLO && get_u32(reply + 2) == 2);
}

void test_line(void)
{
	repeated();
	repeated_while_replying();
	garbage();
	counters_stay_at_the_top();
	reset_between();
	rate();
	rate_without_a_host();
	another_version();
}
