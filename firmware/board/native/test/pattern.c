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

/* A CELL of group 0, counted in register r, whose accesses follow; and one of them. */
static void put_cell(uint8_t r, uint8_t count)
{
	static const uint8_t groups[] = {OP_CELL, 0, 0, 0};

	memcpy(end, groups, sizeof groups);
	end = put_u8(put_u8(end + sizeof groups, r), count);
}

static void put_access(uint8_t kind, uint8_t group, uint16_t value, uint8_t mark, uint32_t first, uint32_t fourth)
{
	end = put_u8(put_u8(end, kind), group);
	end = put_u16(end, value);
	end = put_u8(put_u8(end, mark), 0);
	end = put_u32(end, first);
	end = put_u32(put_u32(end, 0), 0);
	end = put_u32(end, fourth);
}

/* A CELL over 128 words, each of which fails twice: no record is lost or out of order, no
 * reply too long, though many times more is put out than one takes. */
static void cells_put_out(uint16_t first, uint16_t last)
{
	uint16_t word = first, runs = 0;
	bool second = false, ended = false;

	begin(0, 0);
	put_loop(1, first, last);
	put_cell(1, 3);
	put_access(ACCESS_CHECK, 1, 1, 5, 0, 0); /* 27 is low, and 1 expected */
	put_access(ACCESS_WRITE, 0, 0, 0, 0x80, 0x80);
	put_access(ACCESS_CHECK, 0, 0x55, 6, 0x7F, 0x7F); /* the whole address toggled is that for 0x2A alone */
	put_one(OP_NEXT, 1);
	load_it();
	while (!ended) {
		const uint8_t *reply, *at;
		size_t length;

		ask_run(RUN_LOG, 1000);
		runs++;
		reply = host_reply(TYPE_PATTERN | TYPE_REPLY, seq, &length);
		CHECK(length <= MAX_REPLY_PAYLOAD && (length - RUN_REPLY_LEN) % 8 == 0);
		for (at = reply + RUN_REPLY_LEN; at < reply + length; at += 8) {
			CHECK(at[0] == (second ? 6 : 5) && get_u16(at + 4) == word);
			CHECK(get_u16(at + 6) == (second ? word ^ 0x7F : 0));
			if (second || word == 0x2A) {
				word = (uint16_t)(last > first ? word + 1 : word - 1);
				second = false;
			} else {
				second = true;
			}
		}
		ended = reply[0] == RUN_ENDED;
		CHECK(get_u16(reply + 4) == (uint16_t)(ended ? last : last > first ? word - 1 : word + 1));
	}
	CHECK(runs == 3 && word == (uint16_t)(last > first ? last + 1 : last - 1));
	CHECK(fake.level == 0x80 + last); /* the last address stands, all else is as before */
}

/* A CELL is left at a NEXT soon after the budget, is refreshed in time, and goes on where
 * it was. */
static void cells_stop(void)
{
	uint16_t before = 0;
	unsigned i;

	begin(0, 2000);
	put_loop(0, 0, UINT16_MAX);
	put_cell(0, 2);
	put_access(ACCESS_CHECK, 1, 0, 0, 0, 0);
	put_access(ACCESS_WRITE, 0, 0, 0, 0x80, 0x80);
	put_one(OP_NEXT, 0);
	load_it();
	fake.watched = 0x7F;
	fake.strobe = 0x80;
	for (i = 0; i < 5; i++) {
		uint64_t us = fake.us;
		const uint8_t *reply = run_it(0, 20);
		uint16_t done = get_u16(reply + 2);

		CHECK(reply[0] == RUN_CONTINUES && done > before && get_u32(reply + 10) == 0);
		CHECK(fake.us - us >= 19000 && fake.us - us <= 20000 + 1500);
		CHECK((fake.level & 0x7F) == (done & 0x7F));
		before = done;
	}
	CHECK(fake.longest_strobe_us > 1000 && fake.longest_strobe_us <= 2000);
	CHECK(fake.longest_unwatched_us <= 1000);
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
	cells_put_out(0, 127);
	cells_put_out(127, 0);
	cells_stop();
	longest();
}
