/* PATTERN: time, safety and refresh. What the instructions do, and what is
 * refused, is in the golden exchanges. */
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"
#include "program.h"
#include "socket.h"

static uint8_t payload[MAX_PAYLOAD];
static uint8_t *end; /* of what was put there */

/* Begins a LOAD: groups 1 to 7 (the address) and 27; 1 to 8 and 28 27 driven, 8
 * high; with a period, the address refreshes through 8. */
static void begin(uint16_t settle, uint16_t period)
{
	static const uint8_t groups[] = {7, 1, 2, 3, 4, 5, 6, 7, 1, 27};

	end = put_u8(payload, PATTERN_LOAD);
	end = put_u8(end, 2);
	end = put_u16(end, settle);
	end = put_u32(end, 0x000300FF);
	end = put_u32(end, 0x00000080);
	end = put_u32(end, 0x000000FF);
	end = put_u16(end, period);
	end = put_u8(end, period > 0 ? 7 : 0);
	end = put_u8(end, 0);
	end = put_u32(end, period > 0 ? 0x80 : 0);
	memcpy(end, groups, sizeof groups);
	end += sizeof groups;
}

static void put_loop(uint8_t r, uint16_t first, uint16_t last)
{
	end = put_u8(end, OP_LOOP);
	end = put_u8(end, r);
	end = put_u16(end, first);
	end = put_u16(end, last);
}

static void put_one(uint8_t op, uint8_t operand)
{
	end = put_u8(put_u8(end, op), operand);
}

static void put_wait(uint16_t ms, uint8_t keep)
{
	end = put_u8(end, OP_WAIT);
	end = put_u16(end, ms);
	end = put_u8(end, keep);
}

static uint8_t seq;

/* Ends the program and loads it on a socket supplied at 22 and 14. */
static void load_it(void)
{
	static const uint8_t power[] = {22, 0, 100, 0, 10, 0, 0, 0x20, 0, 0};
	size_t length;

	end = put_u8(end, OP_END);
	fake_reset();
	host_ask(TYPE_POWER, 1, power, sizeof power);
	fake_run();
	host_reply(TYPE_POWER | TYPE_REPLY, 1, &length);
	host_ask(TYPE_PATTERN, 2, payload, (size_t)(end - payload));
	fake_run();
	host_reply(TYPE_PATTERN | TYPE_REPLY, 2, &length);
	CHECK(length == 0);
	seq = 2;
}

static void ask_run(uint8_t flags, uint16_t budget_ms)
{
	uint8_t run[RUN_LEN] = {PATTERN_RUN, flags, (uint8_t)budget_ms, (uint8_t)(budget_ms >> 8)};

	seq++;
	host_ask(TYPE_PATTERN, seq, run, sizeof run);
	fake_run();
}

/* Runs, and gives the reply's payload. */
static const uint8_t *run_it(uint8_t flags, uint16_t budget_ms)
{
	size_t length;
	const uint8_t *reply;

	ask_run(flags, budget_ms);
	reply = host_reply(TYPE_PATTERN | TYPE_REPLY, seq, &length);
	CHECK(length >= RUN_REPLY_LEN);
	return reply;
}

/* Two nested loops over all of 16 bits each would take hours: each RUN ends at a
 * NEXT soon after its budget, and goes on where it was. */
static void budget(uint16_t settle, uint16_t instructions)
{
	uint32_t before = 0;
	unsigned i;

	begin(settle, 0);
	put_loop(1, 0, UINT16_MAX);
	put_loop(0, UINT16_MAX, 0);
	for (i = 0; i < instructions; i++) {
		put_one(OP_SPOT, 1);
	}
	put_one(OP_NEXT, 0);
	put_one(OP_NEXT, 1);
	load_it();
	for (i = 1; i < 6; i++) {
		uint64_t us = fake.us;
		const uint8_t *reply = run_it(0, 20);
		uint32_t done = (uint32_t)get_u16(reply + 4) << 16 | (uint16_t)(UINT16_MAX - get_u16(reply + 2));

		CHECK(reply[0] == RUN_CONTINUES);
		CHECK(done > before || i == 1); /* the first may end at its first NEXT */
		CHECK(fake.us - us >= 20000 - 1000);
		CHECK(fake.us - us <= 20000 + 1500 + (uint64_t)instructions * (settle / 16 + 4));
		before = done;
	}
	CHECK(fake.longest_unwatched_us <= 1000);
}

/* The current rises in the middle of a program: it ends at once, and is forgotten. */
static void overcurrent(uint16_t settle)
{
	const uint8_t *reply;
	size_t length;
	uint64_t us;
	uint32_t drives;

	begin(settle, 2000);
	put_loop(0, 0, UINT16_MAX);
	put_one(OP_SPOT, 28);
	put_one(OP_NEXT, 0);
	load_it();
	us = fake.us;
	fake.trip_after = fake.drives + 500;
	ask_run(0, 1000);
	drives = fake.drives;
	reply = host_reply(TYPE_ERROR, seq, &length);
	CHECK(reply[0] == OVERCURRENT && reply[1] == TYPE_PATTERN && get_u32(reply + 2) == 20000);
	CHECK(fake.us - us <= 500u * (settle / 16 + 5u) + 2000);
	CHECK(fake.dir == 0 && fake.high == 0);
	fake_pass(20);
	CHECK(fake.drives == drives);
	ask_run(0, 1);
	reply = host_reply(TYPE_ERROR, seq, &length);
	CHECK(reply[0] == NO_PROGRAM);
}

/* All that forgets a program, and ends its refresh. */
static void forgotten(uint8_t type, const uint8_t *request, size_t request_length)
{
	size_t length;
	uint32_t strobes;

	begin(0, 2000);
	put_wait(1000, 1);
	load_it();
	fake.strobe = 0x80;
	fake_pass(20);
	CHECK(fake.strobes >= 128 * 10);
	if (type == 0) {
		fake_pass(2000); /* silence */
	} else {
		host_ask(type, 90, request, request_length);
		fake_run();
		CHECK(host_count() == 1);
	}
	strobes = fake.strobes;
	fake_pass(20);
	CHECK(fake.strobes == strobes);
	ask_run(0, 1);
	CHECK(host_reply(TYPE_ERROR, seq, &length)[0] == NO_PROGRAM);
}

/* Each of 128 rows is strobed in time: in a program, between requests, in a WAIT. */
static void refresh(void)
{
	bool ended = false;
	uint8_t before;
	unsigned i;

	begin(0, 2000);
	put_loop(0, 0, 10000);
	put_one(OP_LATCH, 0);
	end = put_u8(end, 0);
	put_one(OP_SHOW, 0);
	put_one(OP_NEXT, 0);
	put_wait(200, 1);
	load_it();
	fake.watched = 0x7F;
	fake.strobe = 0x80;
	for (i = 0; i < 100; i++) {
		before = (uint8_t)fake.level;
		fake_pass(5);
		CHECK((uint8_t)fake.level == before); /* put back */
		ended = run_it(0, 10)[0] == RUN_ENDED;
	}
	CHECK(ended);
	CHECK(fake.strobes % 128 == 0);
	for (i = 0; i < 128; i++) {
		CHECK(fake.strobed_us[i] != 0);
	}
	/* The fake's idle time passes in steps of 1 ms. */
	CHECK(fake.longest_strobe_us <= 2000 + 1000);
}

/* A WAIT without refresh is one, between its RUNs too; then it begins again. */
static void no_refresh(void)
{
	uint32_t strobes;

	begin(0, 2000);
	put_wait(50, 0);
	put_wait(20, 1);
	load_it();
	fake.strobe = 0x80;
	CHECK(run_it(0, 10)[0] == RUN_CONTINUES);
	strobes = fake.strobes;
	fake_pass(30);
	CHECK(run_it(0, 10)[0] == RUN_CONTINUES);
	CHECK(fake.strobes == strobes);
	CHECK(run_it(0, 200)[0] == RUN_ENDED);
	CHECK(fake.strobes >= strobes + 128 * 9);
	strobes = fake.strobes;
	fake_pass(20);
	CHECK(fake.strobes >= strobes + 128 * 9); /* after END too */
}

/* The longest program: nothing behind its end is looked at. */
static void longest(void)
{
	begin(0, 0);
	while (end - payload < MAX_PAYLOAD - 1) {
		end = put_u8(end, OP_FOLD);
	}
	load_it();
	CHECK(run_it(0, 100)[0] == RUN_ENDED);
}

void test_pattern(void)
{
	static const uint8_t pulls[PULLS_LEN] = {0};
	static const uint8_t nonsense[] = {PATTERN_RUN, 2, 1, 0};

	budget(0, 1);
	budget(0, 400);
	budget(1600, 20);
	budget(64000, 20);
	overcurrent(0);
	overcurrent(1000);
	overcurrent(64);
	forgotten(TYPE_PULLS, pulls, sizeof pulls);
	forgotten(TYPE_SAFE, NULL, 0);
	forgotten(TYPE_HELLO, NULL, 0);
	forgotten(TYPE_PATTERN, nonsense, sizeof nonsense);
	forgotten(TYPE_STATUS, nonsense, sizeof nonsense);
	forgotten(0x44, NULL, 0);
	forgotten(0, NULL, 0);
	refresh();
	no_refresh();
	longest();
}
