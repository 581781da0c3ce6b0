/* WATCH: what is driven and when, what is seen of a position that turns over, and what is
 * refused. The times are sums of what the test asks for. */
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"

static uint8_t payload[MAX_PAYLOAD];
static uint8_t *end;

enum { WATCHED = 3, MEASURED = 2, TRIGGER = 1 }; /* positions, whose bits are 4, 2 and 1 */

static void begin(uint8_t flags, uint8_t watched, uint32_t until_us, uint8_t edges, uint8_t measured)
{
	end = put_u8(payload, flags);
	end = put_u8(end, watched);
	end = put_u32(end, until_us);
	end = put_u8(end, edges);
	end = put_u8(end, measured);
	end = put_u16(end, 0);
}

static void action(uint32_t at_us, uint32_t direction, uint32_t level, uint8_t pulls, uint32_t bias)
{
	end = put_u32(end, at_us);
	end = put_u32(end, direction);
	end = put_u32(end, level);
	end = put_u8(end, pulls);
	end = put_u32(end, bias);
	end = put_u32(end, 0);
}

static void ask(uint8_t seq)
{
	host_ask(TYPE_WATCH, seq, payload, (size_t)(end - payload));
	fake_run();
}

static void pulses(const uint32_t *us, uint8_t count)
{
	uint8_t i;

	fake.pulsing = 4;
	fake.driven_at = 0;
	fake.pulse_count = count;
	for (i = 0; i < count; i++) {
		fake.pulses[i] = 16 * us[i];
	}
}

static void refused(uint8_t seq, uint8_t code, uint32_t detail)
{
	size_t length;
	const uint8_t *reply = host_reply(TYPE_ERROR, seq, &length);

	CHECK(length == 6 && reply[0] == code && reply[1] == TYPE_WATCH && get_u32(reply + 2) == detail);
	CHECK(fake.dir == 0 && fake.high == 0);
}

/* Whether an edge is where it belongs: in the gap before it, which is as short as the fake's
 * looks but where something else was done. */
static void edge_at(const uint8_t *edge, uint32_t us, uint16_t most)
{
	uint32_t at = get_u32(edge);
	uint16_t gap = get_u16(edge + 4);

	CHECK(at >= 16 * us && at - gap <= 16 * us && gap <= most);
}

/* A pulse from 40 to 70,040 µs, which the clock of 16 bits turns round in 17 times, and one
 * more edge at 100 ms that the watch of 90 ms does not wait for. */
static void times(void)
{
	static const uint32_t us[] = {40, 70040, 100000};
	const uint8_t *reply;
	uint64_t from;
	uint32_t pulled;
	size_t length;

	fake_reset();
	host_power(1);
	pulled = fake.pulled;
	pulses(us, 3);
	begin(0, WATCHED, 90000, 64, 0);
	action(0, 1, 1, 0, 0);
	action(30, 1, 0, 0, 0);
	from = fake.us;
	ask(2);
	CHECK(fake.us - from >= 90000 && fake.us - from < 90010);
	CHECK(fake.longest_unwatched_us <= 1000 && fake.pulled == pulled);
	CHECK(fake.acted == 2 && fake.dir == 1 && fake.level == 0);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(length == 12 + 2 * 4 + 2 * 6);
	CHECK(reply[0] == 0 && reply[1] == 0 && reply[2] == STOPPED_TIME && reply[3] == 2 && reply[4] == 2 && reply[5] == BOARD_ACT_16THS);
	CHECK(get_u16(reply + 6) == 0 && get_u32(reply + 8) == UINT32_C(0x00010000));
	CHECK(get_u32(reply + 12) == 0 && get_u32(reply + 16) >= 30 * 16 && get_u32(reply + 16) <= 31 * 16);
	edge_at(reply + 20, 40, 24);
	edge_at(reply + 26, 70040, 24);
}

/* 70 edges, 20 µs apart: it stops at the 64th. */
static void many_edges(void)
{
	static uint32_t us[70];
	const uint8_t *reply;
	size_t length, i;

	fake_reset();
	host_power(1);
	for (i = 0; i < 70; i++) {
		us[i] = (uint32_t)(5 + 20 * i);
	}
	pulses(us, 70);
	begin(0, WATCHED, 50000, 64, 0);
	action(0, 1, 1, 0, 0);
	ask(2);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(length == 12 + 4 + 64 * 6 && reply[2] == STOPPED_EDGES && reply[4] == 64);
	for (i = 0; i < 64; i++) {
		edge_at(reply + 16 + 6 * i, us[i], 24);
	}
}

/* An edge before the last action does not halt; the first after it does: what was driven
 * is released, the bias goes off, and the voltage is measured. */
static void halts(void)
{
	static const uint32_t us[] = {50, 400, 500};
	const uint8_t *reply;
	uint64_t from;
	uint32_t pulled;
	size_t length;

	fake_reset();
	host_power(1);
	pulled = fake.pulled;
	pulses(us, 3);
	begin(WATCH_HALT, WATCHED, 90000, 64, MEASURED);
	action(0, 3, 2, 0, 0);
	action(100, 3, 3, PULLS_BIAS, 8);
	action(0, 1, 1, 0, 0);
	from = fake.us;
	ask(2);
	CHECK(fake.us - from < 400 + 110);
	CHECK(fake.dir == 1 && fake.level == 1 && !fake.pulls[PULL_BIAS].on && fake.pulled == pulled && fake.shifts == 1);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(length == 12 + 3 * 4 + 2 * 6 && reply[0] == 0 && reply[1] == 0 && reply[2] == STOPPED_HALT && reply[3] == 3);
	CHECK(get_u16(reply + 6) == 0 && get_u32(reply + 20) >= 16 * 400 && get_u32(reply + 20) < 16 * 402);
	edge_at(reply + 24, 50, 24);
	edge_at(reply + 30, 400, 24);
	/* Without an edge it stops by time, and does not halt; the voltage is measured all the same. */
	begin(WATCH_HALT, WATCHED, 2000, 64, MEASURED);
	action(0, 3, 2, 0, 0);
	action(0, 0, 0, 0, 0);
	fake.pulsing = 0;
	ask(3);
	CHECK(fake.dir == 3);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 3, &length);
	CHECK(length == 12 + 4 && reply[2] == STOPPED_TIME && get_u16(reply + 6) == 4995);
}

/* What an action pulls is shifted before its time, at which it shows; an edge in the 13 µs that the
 * registers take is in the gap. */
static void shifts(void)
{
	static const uint32_t us[] = {10};
	const uint8_t *reply;
	size_t length;

	fake_reset();
	host_power(1);
	pulses(us, 1);
	begin(0, WATCHED, 1000, 2, 0);
	action(0, 1, 0, 0, 0);
	action(100, 1, 1, PULLS_BIAS, 0);
	ask(2);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(get_u32(reply + 16) == 100 * 16 && fake.pulls[PULL_BIAS].on && fake.shifts == 1);
	edge_at(reply + 20, 10, 16 * 16);
	CHECK(get_u16(reply + 24) >= 13 * 16);
	/* It stops after so many edges, before an action too. */
	pulses(us, 1);
	begin(0, WATCHED, 1000, 1, 0);
	action(0, 1, 0, 0, 0);
	action(900, 1, 1, 0, 0);
	ask(3);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 3, &length);
	CHECK(length == 12 + 4 + 6 && reply[2] == STOPPED_EDGES && reply[3] == 1 && fake.level == 0);
}

/* An action's own edge is seen at once: the watched position is driven itself. */
static void own_edges(void)
{
	const uint8_t *reply;
	size_t length;
	uint32_t i;
	static const uint32_t at[] = {0, 40, 50, 200};

	fake_reset();
	host_power(1);
	begin(0, 1, 1000, 64, 0);
	for (i = 0; i < 4; i++) {
		action(at[i], 1, 1 - i % 2, 0, 0);
	}
	ask(2);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(length == 12 + 4 * 4 + 4 * 6);
	for (i = 0; i < 4; i++) {
		edge_at(reply + 28 + 6 * i, at[i], 24);
	}
}

/* Actions come at their times, also those that are close together; the halt at its edge, whatever it pulls. */
static void punctual(void)
{
	static const uint32_t us[] = {900};
	const uint8_t *reply;
	size_t length;
	uint32_t i;
	static const uint32_t at[] = {0, 3, 60, 100, 101, 300, 500};

	fake_reset();
	host_power(1);
	pulses(us, 1);
	begin(WATCH_HALT, WATCHED, 2000, 1, 0);
	for (i = 0; i < 7; i++) {
		action(at[i], 3, i, i % 2 ? PULLS_BIAS | PULLS_LOAD : PULLS_LOAD, i % 2 ? i : 0);
		put_u32(end - 4, i / 2);
	}
	action(0, 1, 1, PULLS_BIAS | PULLS_LOAD, 12);
	put_u32(end - 4, 4);
	ask(2);
	reply = host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
	CHECK(length == 12 + 8 * 4 + 6 && reply[2] == STOPPED_HALT && reply[3] == 8);
	for (i = 0; i < 7; i++) {
		/* One whose registers are shifted after the one before was looked at comes up to two groups' time later. */
		uint32_t late = i == 1 || i == 4 ? 27 : 0;

		CHECK(get_u32(reply + 12 + 4 * i) >= 16 * at[i] && get_u32(reply + 12 + 4 * i) <= 16 * (at[i] + late) + 1);
	}
	CHECK(get_u32(reply + 40) >= 16 * 900 && get_u32(reply + 40) < 16 * 902);
	CHECK(fake.dir == 1 && fake.pulls[PULL_BIAS].on && fake.pulls[PULL_BIAS].up == 12 && fake.pulls[PULL_LOAD].on && fake.pulls[PULL_LOAD].up == 4);
}

static void overcurrent(void)
{
	uint64_t from;

	fake_reset();
	host_power(1);
	fake.trip_after = fake.drives + 1;
	begin(0, WATCHED, 900000, 64, 0);
	action(0, 1, 1, 0, 0);
	from = fake.us;
	ask(2);
	CHECK(fake.us - from <= 300);
	refused(2, OVERCURRENT, 20000);
}

/* One departure from SPEC.md each. */
static void refusals(void)
{
	static const struct {
		size_t at;     /* offset in the payload */
		uint8_t value;
		uint8_t code;
		uint32_t detail;
	} cases[] = {
		{0, 4, BAD_PAYLOAD, 73}, {9, 1, BAD_PAYLOAD, 73}, {6, 0, BAD_PAYLOAD, 73}, {6, 65, BAD_PAYLOAD, 73},
		{8, 8, BAD_PAYLOAD, 73}, {22, 4, BAD_PAYLOAD, 73}, {23, 1, BAD_PAYLOAD, 73}, {10, 1, BAD_PAYLOAD, 73},
		{31, 0, ACCEPTED, 0}, {34, 1, BAD_PAYLOAD, 73}, {52, 1, BAD_PAYLOAD, 73},
		{1, 0, BAD_POSITION, 0}, {1, 29, BAD_POSITION, 0}, {7, 29, BAD_POSITION, 0},
		{15, 0x40, BAD_POSITION, 0x4000}, {14, 0x40, CONFLICT, 0x40}, {5, 1, LIMIT, 1000}, {4, 15, ACCEPTED, 0}
	};
	size_t i, length;

	for (i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		fake_reset();
		host_power(1);
		begin(WATCH_HALT, WATCHED, 1000, 1, MEASURED);
		action(0, 1, 1, 0, 0);
		action(10, 1, 1, 0, 0);
		action(0, 0, 0, 0, 0);
		payload[cases[i].at] = cases[i].value;
		ask(2);
		if (cases[i].code == ACCEPTED) {
			host_reply(TYPE_WATCH | TYPE_REPLY, 2, &length);
		} else {
			refused(2, cases[i].code, cases[i].detail);
		}
	}
	fake_reset();
	begin(0, WATCHED, 1000, 1, 0);
	action(0, 1, 1, 0, 0);
	ask(2);
	refused(2, NOT_POWERED, 0);
	payload[0] = WATCH_UNPOWERED;
	ask(3);
	host_reply(TYPE_WATCH | TYPE_REPLY, 3, &length);
	/* What is not sensed is watched while released, but not while it is driven. */
	begin(WATCH_UNPOWERED, 9, 1000, 1, 0);
	action(0, 1, 1, 0, 0);
	ask(4);
	host_reply(TYPE_WATCH | TYPE_REPLY, 4, &length);
	action(10, 0x101, 1, 0, 0);
	ask(5);
	refused(5, BAD_POSITION, 0x100);
	/* Nine actions; none; a halt alone; until the last µs, less what the voltage takes. */
	begin(WATCH_UNPOWERED, WATCHED, 1000, 1, 0);
	for (i = 0; i < 9; i++) {
		action(0, 0, 0, 0, 0);
	}
	ask(6);
	refused(6, BAD_PAYLOAD, 199);
	end -= WATCH_ACTION_LEN;
	ask(7);
	host_reply(TYPE_WATCH | TYPE_REPLY, 7, &length);
	end = payload + WATCH_HEADER_LEN;
	ask(8);
	refused(8, BAD_PAYLOAD, 10);
	begin(WATCH_UNPOWERED | WATCH_HALT, WATCHED, 1000, 1, 0);
	action(0, 0, 0, 0, 0);
	ask(9);
	refused(9, BAD_PAYLOAD, 31);
	begin(WATCH_UNPOWERED, WATCHED, 1000000 - 3 * 33, 1, MEASURED);
	action(0, 0, 0, 0, 0);
	ask(10);
	host_reply(TYPE_WATCH | TYPE_REPLY, 10, &length);
	put_u32(payload + 2, 1000000 - 3 * 33 + 1);
	ask(11);
	refused(11, LIMIT, 1000);
}

void test_watch(void)
{
	times();
	many_edges();
	halts();
	shifts();
	own_edges();
	punctual();
	overcurrent();
	refusals();
}
