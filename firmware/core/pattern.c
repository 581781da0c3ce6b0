/* The interpreter of pattern programs, and the refresh of dynamic memories.
 *
 * What must be looked at now and then (the current, the watchdog, the budget, the
 * time of the refresh) is looked at when board_due says so, which is asked before
 * each instruction; what follows from it, at the next NEXT, where a memory is at
 * rest. */
#include "pattern.h"

#include <stddef.h>

#include "board.h"
#include "program.h"
#include "signature.h"
#include "socket.h"

enum {
	LOOK_CLOCKS = 500,  /* between two looks, 1/2 µs */
	SOON_CLOCKS = 40,   /* is at once: it takes longer to set the clock */
	WAIT_US = 100,      /* between two looks in a wait */
	GUARD_16THS = 200 * 16, /* longest settling without a look at the current */
	GUARD_ROWS = 64     /* rows of a refresh between two looks at the current */
};

/* What the next NEXT has to see to. */
enum { ATTEND_REFRESH = 1 << 0, ATTEND_STOP = 1 << 1 };

static struct program program;

/* Where it stands. */
static struct loop loops[REGISTERS];
static const uint8_t *place; /* of the next instruction */
static uint32_t signature;
static uint32_t errors;
static uint16_t waiting_ms; /* that are left of the WAIT at place; 0 it has not begun */
static uint8_t mark;
static bool ended;
static bool paused; /* no refresh, for a WAIT without it has begun */
static uint16_t refreshed; /* when the last refresh began, 1/2 µs */

/* The RUN that is being carried out. */
static struct {
	uint8_t *output, *end;
	uint32_t begin_ms;
	uint16_t budget_ms;
	uint8_t attention; /* ATTEND_… */
	bool log;
	enum refusal refusal; /* that broke it off */
} run;

void pattern_forget(void)
{
	program.loaded = false;
}

/* Strobes a row of the refresh. */
static inline void strobe(uint32_t word)
{
	board_flip(word);
	board_flip(word);
}

/* Strobes all rows, in the order of a Gray code from 0 on, and puts their address
 * back. */
static enum refusal refresh(void)
{
	const struct refresh *r = &program.refresh;
	uint32_t address = board_levels() & r->address;
	uint32_t word = r->strobe, first = r->bits[0];
	uint16_t pair;

	refreshed = board_clock();
	board_flip(address);
	for (pair = 1;; pair++) {
		uint16_t left = pair;
		uint8_t n;

		strobe(word);
		board_flip(first);
		strobe(word);
		if (2 * pair == r->rows) {
			break;
		}
		for (n = 1; (left & 1) == 0; left >>= 1) {
			n++;
		}
		board_flip(r->bits[n]);
		if (2 * pair % GUARD_ROWS == 0) {
			enum refusal refusal = socket_guard();

			if (refusal != ACCEPTED) {
				return refusal;
			}
		}
	}
	board_flip(address ^ r->last);
	board_watchdog();
	return socket_guard();
}

/* Time since the last refresh began, if one is to be kept; else none. */
static uint16_t unrefreshed(void)
{
	return program.refresh.after == 0 || paused ? 0 : (uint16_t)(board_clock() - refreshed);
}

void pattern_watch(void)
{
	if (!program.loaded) {
		return;
	}
	if (socket_now()->high == 0) {
		pattern_forget();
	} else if (unrefreshed() > program.refresh.after) {
		(void)refresh();
	}
}

/* Looks at all that is to be looked at; false if the socket was made safe. */
static bool look(void)
{
	uint16_t next = LOOK_CLOCKS;
	uint16_t since = unrefreshed();

	board_watchdog();
	run.refusal = socket_guard();
	if (board_millis() - run.begin_ms >= run.budget_ms) {
		run.attention |= ATTEND_STOP;
	}
	if (program.refresh.after != 0 && !paused) {
		if (since + SOON_CLOCKS >= program.refresh.after) {
			run.attention |= ATTEND_REFRESH;
		} else if (program.refresh.after - since < next) {
			next = (uint16_t)(program.refresh.after - since);
		}
	}
	board_due_at((uint16_t)(board_clock() + next));
	return run.refusal == ACCEPTED;
}

/* Sees to what was put off; false if the program is to be left. */
static bool attend(void)
{
	if (run.attention & ATTEND_REFRESH) {
		run.attention &= (uint8_t)~ATTEND_REFRESH;
		run.refusal = refresh();
		if (run.refusal != ACCEPTED || !look()) {
			return false;
		}
	}
	return (run.attention & ATTEND_STOP) == 0;
}

/* Puts bytes out; the next stretch may have no room left then. */
static void put_out(uint32_t value, uint8_t bytes)
{
	for (; bytes > 0; bytes--) {
		*run.output++ = (uint8_t)value;
		value >>= 8;
	}
	if ((size_t)(run.end - run.output) < program.most_output) {
		run.attention |= ATTEND_STOP;
	}
}

/* The group's bits in a sample. */
static uint16_t bits_of(const struct group *g, uint32_t sample)
{
	const nibble *n = g->nibbles;
	uint16_t value = 0;
	uint8_t i;

	for (i = 0; i < g->bits; i++) {
		if (sample & n[i / 4][1u << (i % 4)]) {
			value |= (uint16_t)(1u << i);
		}
	}
	return value;
}

/* A CHECK found an error. Not inlined, for most find none. */
__attribute__((noinline)) static void count_error(const struct group *g, uint32_t sample)
{
	if (errors < UINT32_MAX) {
		errors++;
	}
	if (run.log) {
		put_out(mark, 2);
		put_out(loops[0].value, 2);
		put_out(loops[1].value, 2);
		put_out(bits_of(g, sample), 2);
	}
}

/* Settles longer than the current may go unwatched. */
__attribute__((noinline)) static bool settle_long(void)
{
	run.refusal = socket_wait_us((uint16_t)((program.settle + UINT32_C(15)) / 16));
	return run.refusal == ACCEPTED;
}

static inline bool settle(void)
{
	if (program.settle > GUARD_16THS) {
		return settle_long();
	}
	board_wait_16ths(program.settle);
	return true;
}

static inline void fold(void)
{
	signature = signature_fold(signature, board_sample() & program.mask);
}

/* Makes the group's positions driven or not, and tells all groups. */
static void direct(const struct group *g, bool driven)
{
	uint32_t direction = socket_now()->driven;
	uint32_t level = (board_levels() & ~g->mask) | g->word;
	uint8_t i;

	direction = driven ? direction | g->mask : direction & ~g->mask;
	socket_drive(direction, level);
	for (i = 0; i < program.group_count; i++) {
		program.groups[i].shown = program.groups[i].mask & direction;
	}
}

/* Goes on with a WAIT; false while it is not over, or the program is to be left. */
static bool wait(const uint8_t *operands)
{
	if (waiting_ms == 0) {
		waiting_ms = get_u16(operands);
		paused = operands[2] == 0 && program.refresh.after != 0;
		run.attention &= (uint8_t)~ATTEND_REFRESH; /* look says so again, unless it is paused */
	}
	while (waiting_ms > 0) {
		uint8_t tenths = 1000 / WAIT_US;

		for (; tenths > 0; tenths--) {
			board_wait_us(WAIT_US);
			if (!look() || ((run.attention & ATTEND_REFRESH) != 0 && !attend() && run.refusal != ACCEPTED)) {
				return false;
			}
		}
		waiting_ms--;
		if (waiting_ms > 0 && (run.attention & ATTEND_STOP) != 0) {
			return false;
		}
	}
	if (paused) {
		paused = false;
		run.attention |= ATTEND_REFRESH;
	}
	return true;
}

static void begin_loop(const uint8_t *operands)
{
	struct loop *l = &loops[operands[0]];

	l->value = get_u16(operands + 1);
	l->last = get_u16(operands + 3);
	l->step = l->last >= l->value ? 1 : UINT16_MAX;
	l->body = operands + 5;
}

/* Runs the program on from place, until it ends or is to be left: the loop that
 * the speed of a memory's test hangs on. */
static void interpret(void)
{
	const uint8_t *at = place;
	struct group *g;
	struct loop *l;
	uint32_t sample;

	for (;;) {
		uint8_t op;

		if (board_due() && !look()) {
			return;
		}
		op = *at++;
		switch ((enum opcode)op) {
		case OP_FLIP:
			board_flip(get_u32(at));
			at += 4;
			break;
		case OP_SHOW:
			g = &program.groups[*at++];
			board_flip((board_levels() ^ g->word) & g->shown);
			break;
		case OP_CHECK:
			g = &program.groups[*at++];
			if (!settle()) {
				return;
			}
			sample = board_sample();
			if (((sample ^ g->word) & g->mask) != 0) {
				count_error(g, sample);
			}
			break;
		case OP_NEXT:
			if (run.attention != 0 && !attend()) {
				place = at - 1;
				return;
			}
			l = &loops[*at++];
			if (l->value != l->last) {
				l->value = (uint16_t)(l->value + l->step);
				at = l->body;
			}
			break;
		case OP_LATCH:
			g = &program.groups[*at++];
			g->word = group_word(g, loops[*at++].value);
			break;
		case OP_SPOT:
			board_flip(program.spots[*at++ - 1]);
			if (!settle()) {
				return;
			}
			fold();
			break;
		case OP_STEP:
			board_flip(get_u32(at));
			at += 4;
			if (!settle()) {
				return;
			}
			fold();
			break;
		case OP_FOLD:
			if (!settle()) {
				return;
			}
			fold();
			break;
		case OP_SET:
			board_flip((board_levels() ^ get_u32(at + 4)) & get_u32(at));
			at += 8;
			break;
		case OP_VALUE:
			g = &program.groups[*at];
			g->word = group_word(g, get_u16(at + 1));
			at += 3;
			break;
		case OP_DRIVE:
			direct(&program.groups[*at++], true);
			break;
		case OP_RELEASE:
			direct(&program.groups[*at++], false);
			break;
		case OP_TAKE:
			g = &program.groups[*at++];
			if (!settle()) {
				return;
			}
			put_out(bits_of(g, board_sample()), g->bits > 8 ? 2 : 1);
			break;
		case OP_EMIT:
			put_out(signature, 4);
			signature = SIGNATURE_START;
			break;
		case OP_PAUSE:
			board_wait_16ths(*at++);
			break;
		case OP_WAIT:
			if (!wait(at)) {
				place = at - 1;
				return;
			}
			at += 3;
			break;
		case OP_MARK:
			mark = *at++;
			break;
		case OP_LOOP:
			begin_loop(at);
			at += 5;
			break;
		case OP_END:
			ended = true;
			return;
		}
	}
}

static enum refusal load_program(const uint8_t *payload, uint16_t length, uint32_t *detail)
{
	enum refusal refusal = load(&program, payload, length, detail);
	uint8_t i;

	if (refusal != ACCEPTED) {
		return refusal;
	}
	for (i = 0; i < REGISTERS; i++) {
		loops[i].value = 0;
	}
	place = program.code;
	signature = SIGNATURE_START;
	errors = 0;
	waiting_ms = 0;
	mark = 0;
	ended = false;
	paused = false;
	socket_drive(program.direction, program.level);
	if (program.refresh.after != 0) {
		refusal = refresh();
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
	if (!ended && look()) {
		interpret();
	}
	if (run.refusal != ACCEPTED) {
		*detail = socket_now()->reason;
		return run.refusal;
	}
	at = put_u8(at, ended ? RUN_ENDED : RUN_CONTINUES);
	at = put_u8(at, 0);
	for (i = 0; i < REGISTERS; i++) {
		at = put_u16(at, loops[i].value);
	}
	put_u32(at, errors);
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
