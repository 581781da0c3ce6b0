/* The interpreter of pattern programs.
 *
 * What must be looked at now and then (the current, the watchdog, the budget, the
 * time of the refresh) is looked at when board_due says so, which is asked before
 * each instruction; what follows from it, at the next NEXT, where a memory is at
 * rest. Functions are not inlined where those that call them would save more registers. */
#include "pattern.h"

#include <stddef.h>

#include "board.h"
#include "calibration.h"
#include "load.h"
#include "program.h"
#include "cell.h"
#include "refresh.h"
#include "run.h"
#include "signature.h"
#include "socket.h"

enum {
	WAIT_US = 100,         /* between two looks in a wait */
	MS_CLOCKS = 2000,
	GUARD_16THS = 200 * 16 /* longest settling without a look at the current */
};

/* Where it stands. */
static const uint8_t *place; /* of the next instruction */
static uint32_t signature;
static uint8_t mark;
static uint16_t waiting_ms; /* that are left of the WAIT at place; 0 it has not begun */
static bool ended;

void pattern_forget(void)
{
	program.loaded = false;
	refresh_forget();
}

void pattern_watch(void)
{
	if (!program.loaded) {
		return;
	}
	if (socket_now()->high == 0) {
		pattern_forget();
	} else if (board_due()) {
		(void)refresh_keep();
	}
}

/* Settles when that is lasting; false if the socket was made safe meanwhile. */
__attribute__((noinline)) static bool settle_lasting(void)
{
	if (program.settle > GUARD_16THS) {
		run.refusal = socket_wait_us((uint16_t)((program.settle + UINT32_C(15)) / 16));
		return run.refusal == ACCEPTED;
	}
	board_wait_16ths(program.settle);
	return true;
}

__attribute__((always_inline)) static inline bool settle(void)
{
	if (program.lasting) {
		return settle_lasting();
	}
	board_wait_16ths(program.brief);
	return true;
}

/* Settles and folds; false likewise. */
__attribute__((noinline)) static bool fold(void)
{
	if (!settle()) {
		return false;
	}
	signature = signature_fold(signature, board_sample_of(program.mask));
	return true;
}

/* Apart, so that all of it is in registers before the first toggle: nothing but the settling is between that and the sample. */
__attribute__((noinline)) static uint32_t flip_and_sample(uint32_t toggles, uint16_t settle, uint32_t mask)
{
	board_flip(toggles);
	board_wait_16ths(settle);
	return board_sample_of(mask);
}

/* Toggles, settles and folds; false likewise. */
__attribute__((noinline)) static bool step(uint32_t toggles)
{
	if (program.lasting) {
		board_flip(toggles);
		return fold();
	}
	signature = signature_fold(signature, flip_and_sample(toggles, program.brief, program.mask));
	return true;
}

/* Goes on with a WAIT; false while it is not over, or the program is to be left. A
 * refresh takes so long that the clock for the next look may have gone round in it,
 * so that each WAIT looks by itself, however short it is. */
__attribute__((noinline)) static bool wait(const uint8_t *operands)
{
	uint16_t next; /* end of the ms at hand, for the looks take their time too */

	if (waiting_ms == 0) {
		if (!run_look() || (run.attention & ATTEND_STOP) != 0) {
			return false;
		}
		waiting_ms = get_u16(operands);
		if (operands[2] == 0 && refresh_is_kept()) { /* once more, so that the pause begins here */
			run.refusal = refresh_now();
			if (run.refusal != ACCEPTED) {
				return false;
			}
		}
		refresh_pause(operands[2] == 0);
		run.attention &= (uint8_t)~ATTEND_REFRESH; /* look says so again, unless it is paused */
	}
	next = (uint16_t)(board_clock() + MS_CLOCKS);
	while (waiting_ms > 0) {
		while ((int16_t)(board_clock() - next) < 0) {
			board_wait_us(WAIT_US);
			if (!run_look() || ((run.attention & ATTEND_REFRESH) != 0 && !run_attend() && run.refusal != ACCEPTED)) {
				return false;
			}
		}
		next = (uint16_t)(next + MS_CLOCKS);
		waiting_ms--;
		if (waiting_ms > 0 && (run.attention & ATTEND_STOP) != 0) {
			return false;
		}
	}
	refresh_pause(false);
	run.refusal = refresh_keep(); /* at once after a pause */
	return run.refusal == ACCEPTED;
}

static void begin_loop(const uint8_t *operands)
{
	struct loop *l = loop_at(operands[0]);

	l->value = get_u16(operands + 1);
	l->last = get_u16(operands + 3);
	l->step = l->last >= l->value ? 1 : UINT16_MAX;
	l->body = (uint16_t)(operands + 5 - program_code);
}

/* Puts the group's bits out as they read; false if the socket was made safe. */
static bool take(const struct group *g)
{
	if (!settle()) {
		return false;
	}
	run_take(g, board_sample());
	return true;
}

/* Puts the voltage of a channel out, as it stands between toggles and their return. */
__attribute__((noinline)) static void convert(const uint8_t *operands)
{
	uint32_t toggles[3] = {get_u32(operands + 2), get_u32(operands + 6), get_u32(operands + 10)};

	board_channel(operands[0]);
	run_put_out(calibration_mv(operands[0], board_convert_held(toggles, operands[1]), 0), 2);
}

/* Carries out the instruction at at, one of those that interpret leaves to it, and
 * gives the next; nothing if the program is to be left. */
__attribute__((noinline)) static const uint8_t *slow_path(const uint8_t *at)
{
	const uint8_t *operands = at + 1;
	struct group *g;

	switch ((enum opcode)*at) {
	case OP_SET:
		socket_follow(get_u32(operands + 4), get_u32(operands));
		return at + 9;
	case OP_VALUE:
		g = group_at(operands[0]);
		g->word = group_word(g, get_u16(operands + 1));
		return at + 4;
	case OP_TAKE:
		return take(group_at(operands[0])) ? at + 2 : NULL;
	case OP_EMIT:
		run_put_out(signature, 4);
		signature = SIGNATURE_START;
		return at + 1;
	case OP_PAUSE:
		board_wait_16ths(operands[0]);
		return at + 2;
	case OP_MARK:
		mark = operands[0];
		return at + 2;
	case OP_LOOP:
		begin_loop(operands);
		return at + 6;
	case OP_WAIT:
		place = at;
		return wait(operands) ? at + 4 : NULL;
	case OP_CELL:
		return cells(at, &place);
	case OP_CONVERT:
		convert(operands);
		return at + 15;
	case OP_END:
		ended = true;
		return NULL;
	default: /* load lets no other through */
		socket_safe(SAFE_FAULT);
		run.refusal = FAULT;
		return NULL;
	}
}

/* Some that need too many registers for interpret. */

__attribute__((noinline)) static void latch(struct group *g, uint16_t value)
{
	g->word = group_word(g, value);
}

__attribute__((noinline)) static void drive(const struct group *g)
{
	socket_join(g->word, g->mask);
}

__attribute__((noinline)) static void release(const struct group *g)
{
	socket_leave(g->mask);
}

/* Runs the program on from place, until it ends or is to be left: the loop that
 * the speed of a memory's test hangs on. What is most frequent is asked for first. */
__attribute__((noinline)) static void interpret(void)
{
	const uint8_t *at = place; /* the instruction */

	for (;;) {
		struct group *g;
		struct loop *l;
		uint32_t sample;
		uint8_t op;

		if (board_due() && !run_look()) {
			return;
		}
		op = *at;
		if (op == OP_NEXT) {
			if (run.attention != 0 && !run_attend()) {
				place = at;
				return;
			}
			l = loop_at(at[1]);
			at += 2;
			if (l->value != l->last) {
				l->value = (uint16_t)(l->value + l->step);
				at = program_code + l->body;
			}
			continue;
		}
		switch ((enum opcode)op) {
		case OP_LATCH:
			latch(group_at(at[1]), loop_at(at[2])->value);
			at += 3;
			break;
		case OP_FLIP:
			board_flip(get_u32(at + 1));
			at += 5;
			break;
		case OP_SHOW:
			g = group_at(at[1]);
			socket_follow(g->word, g->mask);
			at += 2;
			break;
		case OP_CHECK:
			if (!settle()) {
				return;
			}
			g = group_at(at[1]);
			sample = board_sample();
			if (((sample ^ g->word) & g->mask) != 0) {
				run_count_error(g, mark, sample);
			}
			at += 2;
			break;
		case OP_DRIVE:
			drive(group_at(at[1]));
			at += 2;
			break;
		case OP_RELEASE:
			release(group_at(at[1]));
			at += 2;
			break;
		case OP_SPOT:
			if (!step(position_words[at[1]])) {
				return;
			}
			at += 2;
			break;
		case OP_STEP:
			if (!step(get_u32(at + 1))) {
				return;
			}
			at += 5;
			break;
		case OP_FOLD:
			if (!fold()) {
				return;
			}
			at++;
			break;
		default:
			at = slow_path(at);
			if (at == NULL) {
				return;
			}
			break;
		}
	}
}

static enum refusal load_program(const uint8_t *payload, uint16_t length, uint32_t *detail)
{
	enum refusal refusal = load(payload, length, detail);
	uint8_t i;

	if (refusal != ACCEPTED) {
		return refusal;
	}
	for (i = 0; i < REGISTERS; i++) {
		program_loops[i].value = 0;
	}
	place = program_code;
	signature = SIGNATURE_START;
	run_errors = 0;
	waiting_ms = 0;
	mark = 0;
	ended = false;
	socket_drive(program.direction, program.level);
	*detail = 0;
	refusal = refresh_begin(&program.refresh);
	if (refusal != ACCEPTED) {
		*detail = socket_now()->reason;
	}
	return refusal;
}

static enum refusal run_program(const uint8_t *payload, uint8_t **reply, uint32_t *detail)
{
	uint8_t *at = *reply;
	uint8_t i;

	run.log = (payload[1] & RUN_LOG) != 0;
	run.budget_ms = get_u16(payload + 2);
	run.begin_ms = board_millis();
	run.attention = 0;
	run.refusal = ACCEPTED;
	run.output = at + RUN_REPLY_LEN;
	run.end = at + MAX_REPLY_PAYLOAD;
	if (!ended && run_look()) {
		interpret();
	}
	if (run.refusal == ACCEPTED) {
		run.refusal = refresh_keep();
	}
	if (run.refusal != ACCEPTED) {
		*detail = socket_now()->reason;
		return run.refusal;
	}
	at = put_u8(at, ended ? RUN_ENDED : RUN_CONTINUES);
	at = put_u8(at, 0);
	for (i = 0; i < REGISTERS; i++) {
		at = put_u16(at, program_loops[i].value);
	}
	put_u32(at, run_errors);
	*reply = run.output;
	return ACCEPTED;
}

enum refusal pattern(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail)
{
	uint16_t budget_ms;

	*detail = length;
	if (length > 0 && payload[0] == PATTERN_LOAD) {
		return load_program(payload, length, detail);
	}
	if (length != RUN_LEN || payload[0] != PATTERN_RUN || (payload[1] & ~RUN_LOG) != 0) {
		return BAD_PAYLOAD;
	}
	budget_ms = get_u16(payload + 2);
	if (budget_ms == 0) {
		return BAD_PAYLOAD;
	}
	if (budget_ms > MAX_BUSY_MS) {
		*detail = MAX_BUSY_MS;
		return LIMIT;
	}
	pattern_watch();
	*detail = 0;
	return program.loaded ? run_program(payload, reply, detail) : NO_PROGRAM;
}
