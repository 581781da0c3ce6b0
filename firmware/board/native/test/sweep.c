/* SWEEP: what is driven, step by step, and what is watched meanwhile. Its
 * signatures are in the golden exchanges. */
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"
#include "socket.h"

/* The bits of positions 1 to 8 and 28 to 21 in a word, from the table of SPEC.md. */
static uint32_t word_of(uint8_t position)
{
	return position <= 8 ? UINT32_C(1) << (position - 1) : UINT32_C(0x10000) << (28 - position);
}

static const uint8_t swept[] = {3, 1, 27, 2, 26, 8, 21, 4, 5, 6, 22, 23};

enum { SWEPT = sizeof swept };

static size_t ask(uint8_t *payload, bool gray, uint16_t settle, uint32_t start, uint32_t count, uint16_t block)
{
	uint32_t direction = 0;
	uint8_t *at = payload;
	size_t i;

	for (i = 0; i < SWEPT; i++) {
		direction |= word_of(swept[i]);
	}
	at = put_u8(at, gray ? SWEEP_GRAY : 0);
	at = put_u8(at, SWEPT);
	at = put_u16(at, settle);
	at = put_u32(at, direction | word_of(25));
	at = put_u32(at, word_of(25));
	at = put_u32(at, start);
	at = put_u32(at, count);
	at = put_u16(at, block);
	at = put_u16(at, 0);
	at = put_u32(at, direction);
	memcpy(at, swept, SWEPT);
	return (size_t)(at - payload) + SWEPT;
}

/* Each step drives the code that SPEC.md gives it, once, and nothing before the first. */
static void drives(bool gray, uint16_t settle, uint32_t start, uint32_t count)
{
	static uint8_t payload[64];
	size_t length, i, k;
	uint32_t before;

	fake_reset();
	host_power(1);
	before = fake.drives;
	host_ask(TYPE_SWEEP, 2, payload, ask(payload, gray, settle, start, count, 64));
	fake_run();
	host_reply(TYPE_SWEEP | TYPE_REPLY, 2, &length);
	CHECK(length == 4 * ((count + 63) / 64));
	/* The first step settles without a change. */
	CHECK(fake.drives - before == count + 1);
	for (i = 0; i < count; i++) {
		uint32_t step = start + (uint32_t)i;
		uint32_t code = gray ? step ^ step >> 1 : step;
		uint32_t want = word_of(25);

		for (k = 0; k < SWEPT; k++) {
			want |= (code >> k & 1) != 0 ? word_of(swept[k]) : 0;
		}
		CHECK(fake.history[(before + 1 + i) % FAKE_HISTORY] == want);
	}
	CHECK(fake.history[before % FAKE_HISTORY] == fake.history[(before + 1) % FAKE_HISTORY]);
}

/* The current rises in the middle: no more than 2 ms of steps follow. */
static void overcurrent(uint16_t settle)
{
	static uint8_t payload[64];
	const uint8_t *reply;
	size_t length;
	uint64_t us;
	uint32_t steps;

	fake_reset();
	host_power(1);
	us = fake.us;
	fake.trip_after = fake.drives + 50;
	steps = fake.drives;
	host_ask(TYPE_SWEEP, 2, payload, ask(payload, true, settle, 0, 200, 64));
	fake_run();
	CHECK(fake.dir == 0 && fake.high == 0);
	CHECK(fake.us - us <= 50u * settle / 16 + 2000);
	CHECK(fake.drives - steps <= 50 + 2000 / 5);
	reply = host_reply(TYPE_ERROR, 2, &length);
	CHECK(reply[0] == OVERCURRENT && reply[1] == TYPE_SWEEP && get_u32(reply + 2) == 20000);
}

static void watchdog(uint16_t settle, uint32_t count)
{
	static uint8_t payload[64];
	size_t length;

	fake_reset();
	host_power(1);
	host_ask(TYPE_SWEEP, 2, payload, ask(payload, true, settle, 0, count, 1000));
	fake_run();
	host_reply(TYPE_SWEEP | TYPE_REPLY, 2, &length);
	CHECK(fake.longest_unwatched_us <= 1000);
}

void test_sweep(void)
{
	drives(true, 0, 0, 4000);
	drives(false, 8, 0, 4000);
	drives(true, 3, UINT32_MAX - 1000, 4000);
	drives(false, 0, UINT32_MAX - 1000, 4000);
	drives(true, 16, 0x00FFFFF1, 200);
	drives(false, 16, 0xFFF, 1);
	drives(true, 3300, 5, 200);
	overcurrent(0);
	overcurrent(100);
	overcurrent(3300);
	watchdog(60000, 250);
	watchdog(3200, 4000);
	watchdog(8, 100000);
}
