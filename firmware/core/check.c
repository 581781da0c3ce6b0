#include "check.h"

#include <stddef.h>

#include "board.h"
#include "cell.h"
#include "fitted.h"
#include "refresh.h"
#include "socket.h"

/* SPEC.md's times of a stretch; firmware/avrsim measures them. */
enum {
	INSTRUCTION_US = 12, /* longest time of one, without settling, pause or wait, */
	WORDY_US = 16,       /* of one that sets many positions, or folds, */
	LONG_US = 26,        /* of one that looks up or puts out many, */
	SAMPLING_US = 36,    /* and of one that may put out the bits of a group, */
	REPORT_US = 50,      /* of what follows in a CELL when an access may do that, */
	BIT_US = 3,          /* and so much more for each bit, */
	CELL_US = 60,        /* of a CELL without its accesses, */
	ACCESS_US = 12,      /* and of one of them without its pause, */
	CONVERT_US = 84,     /* of a CONVERT without its pause, */
	LONGEST_CELL_US = 128, /* and of all of them with their pauses, for the current is looked at after them */
	RECORD_OUTPUT = 8,
	INSTRUCTIONS_A_LOOK = 2 /* checked between two looks at current and refresh */
};

static void end_stretch(struct findings *f, bool output_too)
{
	if (f->stretch_us > f->longest_us) {
		f->longest_us = f->stretch_us;
	}
	f->stretch_us = 0;
	if (f->output > f->most_output) {
		f->most_output = f->output;
	}
	if (output_too) {
		f->output = 0;
	}
}

static uint16_t in_us(uint16_t sixteenths)
{
	return (uint16_t)((sixteenths + UINT32_C(15)) / 16);
}

static bool open_loop(struct findings *f, uint8_t r)
{
	uint8_t i;

	if (r >= REGISTERS || f->depth == REGISTERS) {
		return false;
	}
	for (i = 0; i < f->depth; i++) {
		if (f->nest[i] == r) {
			return false;
		}
	}
	f->nest[f->depth] = r;
	f->depth++;
	return true;
}

static bool close_loop(struct findings *f, uint8_t r)
{
	if (f->depth == 0 || f->nest[f->depth - 1] != r) {
		return false;
	}
	f->depth--;
	end_stretch(f, true);
	return true;
}

/* What an instruction that samples adds to its stretch. */
static void samples(const struct program *p, struct findings *f, uint8_t output, uint8_t bits)
{
	f->stretch_us += in_us(p->settle);
	if (output > 0) {
		f->stretch_us += (uint16_t)(SAMPLING_US - INSTRUCTION_US + BIT_US * bits);
		f->output += output;
	}
}

/* Checks an access of a CELL, and has the board take note of it. */
static bool check_access(const struct program *p, struct findings *f, uint8_t *at, uint32_t positions, bool moves, bool only_moves, bool last)
{
	const struct group *g = &program_groups[at[ACCESS_GROUP] % MOST_GROUPS];
	uint16_t value = get_u16(at + ACCESS_VALUE);
	struct access a;

	a.kind = at[ACCESS_KIND];
	a.pause = at[ACCESS_PAUSE];
	a.moves = moves;
	a.whole = p->refresh.rows > 0;
	a.last = last;
	a.only_moves = only_moves;
	a.first = get_u32(at + ACCESS_TOGGLES);
	a.second = get_u32(at + ACCESS_TOGGLES + 4);
	a.third = get_u32(at + ACCESS_TOGGLES + 8);
	a.fourth = get_u32(at + ACCESS_TOGGLES + 12);
	a.fifth = a.first ^ a.second ^ a.third ^ a.fourth;
	a.word = 0;
	a.mask = 0;
	a.positions = positions;
	f->touched |= a.first | a.second | a.third | a.fourth;
	f->stretch_us += ACCESS_US + in_us(a.pause);
	if (a.kind > ACCESS_TAKE || f->accesses == MOST_ACCESSES) {
		return false;
	}
	if (a.kind == ACCESS_WRITE) {
		if (at[ACCESS_GROUP] != 0 || value != 0) {
			return false;
		}
	} else {
		if (at[ACCESS_GROUP] >= p->group_count) {
			return false;
		}
		a.word = group_word(g, value);
		a.mask = g->mask;
		at[ACCESS_GROUP] = (uint8_t)(at[ACCESS_GROUP] * sizeof(struct group));
	}
	switch ((enum access_kind)a.kind) {
	case ACCESS_WRITE:
		break;
	case ACCESS_TURNED:
		f->turned |= g->mask;
		f->released |= g->mask;
		break;
	case ACCESS_CHECK:
		f->output += RECORD_OUTPUT;
		break;
	case ACCESS_TAKE:
		f->output += g->bits > 8 ? 2 : 1;
		break;
	}
	if (!board_access(f->accesses, &a)) {
		f->crowded = true;
		return false;
	}
	f->accesses++;
	f->broken = refresh_watch();
	return f->broken == ACCEPTED;
}

/* Checks a CELL, whose operands are whole but for the accesses, and keeps it. Gives the
 * length of these; 0 if it is none. */
static uint16_t check_cell(const struct program *p, struct findings *f, uint8_t *at, uint16_t left)
{
	uint8_t idle = at[CELL_IDLE], away = at[CELL_AWAY], counted = at[CELL_COUNTED], count = at[CELL_COUNT];
	uint16_t length = (uint16_t)(count * ACCESS_LEN);
	uint8_t first = f->accesses;
	uint32_t positions;
	uint8_t *a = at + CELL_LEN;
	uint16_t us = (uint16_t)(count * ACCESS_US), report_us = 0;

	if (idle >= p->group_count || away >= p->group_count || (counted != idle && counted != away) ||
	    (first > 0 && counted != f->counted) || at[CELL_REGISTER] >= REGISTERS || count < 1 || count > LONGEST_CELL_US / ACCESS_US || length > left) {
		return 0;
	}
	if (first == 0) {
		uint8_t bit;

		f->counted = counted;
		for (bit = 0; bit < BLOCK_BITS; bit++) {
			f->broken = refresh_watch();
			if (f->broken != ACCEPTED) {
				return 0;
			}
			cells_prepare(&program_groups[counted], bit);
		}
	}
	positions = program_groups[idle].mask | program_groups[away].mask;
	f->touched |= positions;
	f->stretch_us += CELL_US - INSTRUCTION_US;
	for (; a < at + CELL_LEN + length; a += ACCESS_LEN) {
		if (!check_access(p, f, a, positions, idle != away, counted != idle, a + ACCESS_LEN == at + CELL_LEN + length)) {
			return 0;
		}
		us = (uint16_t)(us + in_us(a[ACCESS_PAUSE]));
		if (a[ACCESS_KIND] >= ACCESS_CHECK) {
			uint16_t it_us = (uint16_t)(REPORT_US + BIT_US * group_at(a[ACCESS_GROUP])->bits);

			report_us = it_us > report_us ? it_us : report_us;
		}
	}
	if (us > LONGEST_CELL_US) {
		return 0;
	}
	f->stretch_us += report_us; /* once: the refresh may come after each */
	at[CELL_IDLE] = (uint8_t)(idle * sizeof(struct group));
	at[CELL_AWAY] = (uint8_t)(away * sizeof(struct group));
	at[CELL_COUNTED] = (uint8_t)(counted * sizeof(struct group));
	at[CELL_REGISTER] = (uint8_t)(at[CELL_REGISTER] * sizeof(struct loop));
	at[CELL_COUNT] = (uint8_t)(first << 4 | count);
	return length;
}

static uint8_t longest_us(enum opcode op)
{
	switch (op) {
	case OP_SET:
	case OP_LATCH:
	case OP_VALUE:
	case OP_DRIVE:
	case OP_EMIT:
		return LONG_US;
	case OP_SHOW:
	case OP_RELEASE:
	case OP_FOLD:
	case OP_STEP:
	case OP_SPOT:
		return WORDY_US;
	default:
		return INSTRUCTION_US;
	}
}

/* Checks an instruction, without what needs a group's or a register's number only. */
static bool check(const struct program *p, struct findings *f, enum opcode op, const uint8_t *operand)
{
	const struct group *g = &program_groups[operand[0] % MOST_GROUPS];
	uint32_t bit;

	switch (op) {
	case OP_FLIP:
		f->touched |= get_u32(operand);
		break;
	case OP_SET:
		f->touched |= get_u32(operand);
		break;
	case OP_LATCH:
		return operand[1] < REGISTERS;
	case OP_DRIVE:
		f->driven |= g->mask;
		break;
	case OP_RELEASE:
		f->released |= g->mask;
		break;
	case OP_CHECK:
		samples(p, f, RECORD_OUTPUT, g->bits);
		break;
	case OP_TAKE:
		samples(p, f, g->bits > 8 ? 2 : 1, g->bits);
		break;
	case OP_FOLD:
		samples(p, f, 0, 0);
		break;
	case OP_EMIT:
		f->output += 4;
		break;
	case OP_STEP:
		f->touched |= get_u32(operand);
		samples(p, f, 0, 0);
		break;
	case OP_SPOT:
		bit = position_bit(operand[0]);
		f->missing = f->missing || bit == 0;
		f->touched |= bit;
		samples(p, f, 0, 0);
		break;
	case OP_CONVERT:
		bit = position_bit(operand[0]);
		f->missing = f->missing || bit == 0;
		f->unmeasured |= bit & ~(fitted.sense & NEAR_POSITIONS);
		f->touched |= get_u32(operand + 2) | get_u32(operand + 6) | get_u32(operand + 10);
		f->stretch_us += CONVERT_US - INSTRUCTION_US + in_us(operand[1]);
		f->output += 2;
		break;
	case OP_PAUSE:
		f->stretch_us += in_us(operand[0]);
		break;
	case OP_WAIT:
		end_stretch(f, false);
		return operand[2] <= 1;
	case OP_LOOP:
		return open_loop(f, operand[0]);
	case OP_NEXT:
		return close_loop(f, operand[0]);
	default:
		break;
	}
	return true;
}

/* Bytes of operands; bit 7: the first is a group's number. */
enum { GROUP = 0x80 };
static const uint8_t operands[] = {
	[OP_END] = 0, [OP_FLIP] = 4, [OP_SET] = 8, [OP_LATCH] = GROUP | 2, [OP_VALUE] = GROUP | 3,
	[OP_SHOW] = GROUP | 1, [OP_DRIVE] = GROUP | 1, [OP_RELEASE] = GROUP | 1, [OP_CHECK] = GROUP | 1,
	[OP_TAKE] = GROUP | 1, [OP_FOLD] = 0, [OP_EMIT] = 0, [OP_STEP] = 4, [OP_SPOT] = 1, [OP_PAUSE] = 1,
	[OP_WAIT] = 3, [OP_MARK] = 1, [OP_LOOP] = 5, [OP_NEXT] = 1,
	[OP_CELL] = CELL_LEN - 1, /* and the accesses */
	[OP_CONVERT] = 14,
};

/* Translates a checked instruction into its stored form. */
static void keep(uint8_t *at)
{
	uint8_t op = at[0];

	if (op == OP_CONVERT) {
		uint32_t bit = position_bit(at[1]);
		uint8_t n = 0;

		for (; bit > 1; bit >>= 1) {
			n++;
		}
		at[1] = socket_channel(n);
	} else if (op == OP_LATCH) {
		at[2] = (uint8_t)(at[2] * sizeof(struct loop));
	} else if (op == OP_LOOP || op == OP_NEXT) {
		at[1] = (uint8_t)(at[1] * sizeof(struct loop));
	}
	if (operands[op] & GROUP) {
		at[1] = (uint8_t)(at[1] * sizeof(struct group));
	}
}

bool check_code(const struct program *p, struct findings *f)
{
	uint16_t at = 0;
	uint8_t op = OP_NEXT;
	uint8_t count_down = INSTRUCTIONS_A_LOOK;

	while (at < p->length) {
		static const uint8_t none[1];
		uint8_t count;

		op = program_code[at];
		at++;
		if (op > OP_CONVERT || (op == OP_END && at != p->length)) {
			return false;
		}
		count = operands[op] & (uint8_t)~GROUP;
		if (p->length - at < count || ((operands[op] & GROUP) != 0 && program_code[at] >= p->group_count)) {
			return false;
		}
		f->stretch_us += longest_us((enum opcode)op);
		if (!check(p, f, (enum opcode)op, count > 0 ? &program_code[at] : none)) {
			return false;
		}
		if (op == OP_CELL) {
			uint16_t more = check_cell(p, f, &program_code[at - 1], (uint16_t)(p->length - at - count));

			if (more == 0) {
				return false;
			}
			at = (uint16_t)(at + more);
		} else if (count > 0) {
			keep(&program_code[at - 1]);
		}
		at = (uint16_t)(at + count);
		count_down--;
		if (count_down == 0) {
			count_down = INSTRUCTIONS_A_LOOK;
			f->broken = refresh_watch();
			if (f->broken != ACCEPTED) {
				return false;
			}
		}
	}
	end_stretch(f, true);
	return f->depth == 0 && op == OP_END;
}
