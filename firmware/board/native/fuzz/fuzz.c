/* A host that sends anything. The input is a list of what it does; each byte that
 * begins an entry says what, and the rest of the entry how. fake.c ends the
 * program when the core asks the board for what must never be. */
#include <stddef.h>
#include <string.h>

#include "fake.h"
#include "message.h"

int LLVMFuzzerTestOneInput(const uint8_t *input, size_t length);

struct entries {
	const uint8_t *at;
	size_t left;
};

static uint8_t next(struct entries *e)
{
	if (e->left == 0) {
		return 0;
	}
	e->left--;
	return *e->at++;
}

static size_t next_bytes(struct entries *e, uint8_t *out, size_t most)
{
	size_t length = next(e);
	size_t i;

	for (i = 0; i < length && i < most && e->left > 0; i++) {
		out[i] = next(e);
	}
	return i;
}

/* Every reply is a sound frame: the core's own receiver is not asked, only that
 * each delimiter ends one that is long enough. */
static void check_replies(void)
{
	size_t i, begin = 0;

	for (i = 0; i < fake.from_core_length; i++) {
		if (fake.from_core[i] == 0) {
			if (i - begin < MIN_BODY + 1) {
				fake_fail("sends a frame that is too short");
			}
			begin = i + 1;
		}
	}
	if (begin != fake.from_core_length) {
		fake_fail("leaves a frame without its end");
	}
	fake.from_core_length = 0;
}

static size_t put_word(uint8_t *out, uint32_t word)
{
	return (size_t)(put_u32(out, word) - out);
}

/* Words of the first four groups of a program. */
static const uint32_t of_group[] = {0x0000000F, 0x000001BF, 0x00060000, 0x10000240};

/* A CELL of the groups that are driven, or may be turned. */
static size_t next_cell(struct entries *e, uint8_t *out, uint32_t *may)
{
	uint8_t shape = next(e), count = (uint8_t)(1 + shape % 3), i;
	size_t at = 0;

	out[at++] = shape >> 1 & 2;
	out[at++] = shape >> 2 & 2;
	out[at++] = shape >> 3 & 2;
	out[at++] = next(e) % 4;
	out[at++] = count;
	for (; count > 0; count--) {
		uint8_t kind = next(e) % 5;

		out[at++] = kind;
		out[at] = kind == 0 ? 0 : next(e) % 4;
		if (kind == 1) {
			*may |= of_group[out[at]];
		}
		at++;
		out[at++] = kind == 0 ? 0 : next(e);
		out[at++] = 0;
		out[at++] = next(e);
		out[at++] = next(e);
		for (i = 0; i < 4; i++) {
			uint8_t toggles = next(e);

			at += put_word(out + at, (toggles & 0x0Fu) | (uint32_t)(toggles & 0x10u) << 12 | (uint32_t)(toggles & 0x20u) << 18);
		}
	}
	return at;
}

/* A program of instructions that there are, with operands that may be theirs; the
 * word of the positions that it may drive is given. */
static size_t next_program(struct entries *e, uint8_t *out, uint32_t *may)
{
	static const uint8_t groups[] = {4, 1, 2, 3, 4, 8, 1, 2, 3, 4, 5, 6, 8, 9, 2, 27, 26, 3, 10, 16, 7};
	static const uint8_t operands[] = {0, 4, 8, 2, 3, 1, 1, 1, 1, 1, 0, 0, 4, 1, 1, 3, 1, 5, 1, 0};
	uint8_t open[4], depth = 0;
	uint8_t flags = next(e);
	size_t at = 0, most = next(e);

	*may = 0x00A7003F; /* 1 to 6, 28 27 26, 23 21 */
	out[at++] = PATTERN_LOAD;
	out[at++] = 4;
	out[at++] = next(e);
	out[at++] = flags & 1 ? next(e) : 0;
	at += put_word(out + at, *may);
	at += put_word(out + at, (uint32_t)next(e) << 16 | next(e));
	at += put_word(out + at, 0x3FFF3FFF);
	out[at++] = flags & 2 ? 0xD0 : 0; /* 2000 µs */
	out[at++] = flags & 2 ? 7 : 0;
	out[at++] = flags & 2 ? 4 : 0;
	out[at++] = 0;
	at += put_word(out + at, flags & 2 ? 0x00800000 : 0);
	memcpy(out + at, groups, sizeof groups);
	at += sizeof groups;
	while (e->left > 0 && most-- > 0 && at < 240) {
		uint8_t op = next(e) % 20, i;
		size_t begin = at + 1;

		if (op == 0 || (op == 18 && depth == 0) || (op == 17 && depth == 4)) {
			continue;
		}
		out[at++] = op;
		if (op == 19) {
			at += next_cell(e, out + at, may);
		}
		for (i = 0; i < operands[op]; i++) {
			out[at++] = next(e);
		}
		if (op >= 3 && op <= 9) { /* the first is a group's number */
			out[begin] %= 4;
		}
		if (op == 6) {
			*may |= of_group[out[begin]];
		}
		if (op == 17) {
			out[begin] = open[depth] = depth;
			depth++;
		}
		if (op == 18) {
			depth--;
			out[begin] = open[depth];
		}
	}
	while (depth > 0) {
		depth--;
		out[at++] = 18;
		out[at++] = open[depth];
	}
	out[at++] = 0;
	return at;
}

static void ask(uint8_t type, uint8_t seq, const uint8_t *payload, size_t length)
{
	static uint8_t body[512], wire[FAKE_LINE];

	body[0] = PROTOCOL_VERSION;
	body[1] = type;
	body[2] = seq;
	memcpy(body + HEADER_LEN, payload, length);
	fake_put(wire, fake_frame(body, HEADER_LEN + length, wire));
	fake_run();
}

/* Loads a program on a powered socket and runs it: nothing but what it may is ever
 * driven, and each RUN ends in its time. */
static void program(struct entries *e)
{
	static const uint8_t power[] = {22, 0, 100, 0, 1, 0, 0, 0x20, 0, 0}; /* 22 and 14 */
	static uint8_t payload[512];
	uint8_t seq = 1, runs;
	uint32_t may;
	size_t length = next_program(e, payload, &may);

	ask(TYPE_SAFE, seq++, payload, 0);
	ask(TYPE_POWER, seq++, power, sizeof power);
	fake.may = may;
	ask(TYPE_PATTERN, seq++, payload, length);
	for (runs = next(e) % 4; runs > 0; runs--) {
		uint8_t run[RUN_LEN] = {PATTERN_RUN, next(e) & 1, 1, 0};
		uint64_t us = fake.us;

		run[2] = (uint8_t)(1 + next(e) % 20);
		ask(TYPE_PATTERN, seq++, run, sizeof run);
		if (fake.us - us > run[2] * UINT64_C(1000) + 110000) {
			fake_fail("runs longer than its budget");
		}
		fake_pass(next(e) % 4);
	}
	fake.may = 0;
}

/* Watches a position that turns over now and then, and acts meanwhile: it ends in its time. */
static void watch(struct entries *e)
{
	static uint8_t payload[WATCH_HEADER_LEN + (MOST_ACTIONS + 2) * WATCH_ACTION_LEN];
	uint8_t actions = next(e) % (MOST_ACTIONS + 2), flags = next(e), i;
	uint32_t until_us = (uint32_t)(next(e) << 8 | next(e)), us = 0, sixteenths = 0;
	uint64_t from;
	uint8_t *at;

	at = put_u8(payload, flags & 7 ? flags & 3 : flags);
	at = put_u8(at, next(e) % 30);
	at = put_u32(at, until_us);
	at = put_u8(at, next(e) % 66);
	at = put_u8(at, next(e) % 30);
	at = put_u8(at, next(e) % 9);
	at = put_u8(at, 0);
	for (i = 0; i < actions; i++) {
		at = put_u32(at, us);
		us = i + 2 == actions && (flags & WATCH_HALT) ? 0 : us + next(e);
		at = put_u32(at, next(e));
		at = put_u32(at, next(e));
		at = put_u8(at, next(e) % 5);
		at = put_u32(at, next(e));
		at = put_u32(at, 0);
	}
	fake.pulsing = UINT32_C(1) << next(e) % 32;
	fake.pulse_count = next(e) % 80;
	fake.driven_at = 0;
	for (i = 0; i < fake.pulse_count; i++) {
		sixteenths += (uint32_t)(next(e) << 4);
		fake.pulses[i] = sixteenths;
	}
	from = fake.us;
	ask(TYPE_WATCH, next(e), payload, (size_t)(at - payload));
	if (fake.us - from > until_us + 15000) {
		fake_fail("watches longer than it may");
	}
	fake.pulsing = 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *input, size_t length)
{
	static uint8_t body[256 + HEADER_LEN], wire[FAKE_LINE];
	struct entries e = {input, length};
	size_t n;

	fake_reset();
	while (e.left > 0) {
		switch (next(&e) % 10) {
		case 0: /* bytes as they are */
			n = next_bytes(&e, wire, 255);
			fake_put(wire, n);
			break;
		case 1: /* a sound frame of any version */
			n = next_bytes(&e, body, 255);
			fake_put(wire, fake_frame(body, n, wire));
			break;
		case 2: /* a sound request of a type that is known */
			body[0] = PROTOCOL_VERSION;
			body[1] = (uint8_t)(1 + next(&e) % TYPE_WATCH);
			body[2] = next(&e);
			n = next_bytes(&e, body + HEADER_LEN, 255);
			fake_put(wire, fake_frame(body, HEADER_LEN + n, wire));
			break;
		case 7:
			program(&e);
			break;
		case 9:
			watch(&e);
			break;
		case 3:
			fake_pass(next(&e) * 16u);
			break;
		case 4:
			fake.current = (uint16_t)(next(&e) << 8);
			break;
		case 5:
			fake.monitor_silent = (next(&e) & 1) != 0;
			fake.open = next(&e);
			break;
		case 8: /* a reset with parts of the adapter missing */
			fake.chains[CHAIN_LOW] = (uint8_t)(next(&e) % 3 * 8);
			fake.chains[CHAIN_BIAS] = (uint8_t)(next(&e) % 5 * 8);
			fake.chains[CHAIN_LOAD] = (uint8_t)(next(&e) % 5 * 8);
			fake.converters[0] = (next(&e) & 1) != 0;
			fake.converters[1] = (next(&e) & 1) != 0;
			fake_restart();
			break;
		default:
			fake.faults.line_errors = 1;
			fake_pass(1);
			break;
		}
		fake_run();
		check_replies();
	}
	return 0;
}
