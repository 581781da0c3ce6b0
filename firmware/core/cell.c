#include "cell.h"

#include <stddef.h>

#include "run.h"
#include "socket.h"

/* A block of cells: within it, what changes from one to the next depends on the lowest
 * bits of its number alone. A longer one would cost more memory, and gain little: half as
 * long costs 6 % of the time of a march test. */
enum { BLOCK = 1 << BLOCK_BITS };

/* What changes on the way to number n of a block, at n - 1. Counting down it is the same
 * sequence, because the number of zeros at the end of n and of BLOCK - n is the same. */
static uint32_t deltas[BLOCK - 1];

void cells_prepare(const struct group *counted, uint8_t bit)
{
	uint8_t half = (uint8_t)(1u << bit);
	uint8_t n;

	deltas[half - 1] = group_word(counted, (uint16_t)(2u * half - 1));
	for (n = 0; n < half - 1; n++) {
		deltas[half + n] = deltas[n];
	}
}

/* Cells from the loop's value on, in its direction: to the end of their block, or of the
 * loop. */
static uint8_t cells_of_block(const struct loop *l)
{
	uint8_t number = l->value % BLOCK;
	uint16_t left;

	if (l->step == 1) {
		left = (uint16_t)(l->last - l->value);
		number = (uint8_t)(BLOCK - 1 - number);
	} else {
		left = (uint16_t)(l->value - l->last);
	}
	return (uint8_t)((left < number ? left : number) + 1);
}

static const uint32_t *deltas_from(const struct loop *l)
{
	uint8_t number = l->value % BLOCK;

	if (l->step != 1) {
		number = (uint8_t)(BLOCK - 1 - number);
	}
	return &deltas[number];
}

/* An access was stopped at. */
static void report(const uint8_t *at, const struct walk *w)
{
	const uint8_t *a = at + CELL_LEN + (uint16_t)((w->stopped - w->first) * ACCESS_LEN);
	const struct group *g = group_at(a[ACCESS_GROUP]);

	if (a[ACCESS_KIND] == ACCESS_TAKE) {
		run_take(g, w->sample);
	} else {
		run_count_error(g, a[ACCESS_MARK], w->sample);
	}
}

/* The loop's value after some cells from first on. */
static inline uint16_t value_after(const struct loop *l, uint16_t first, uint8_t count)
{
	return l->step == 1 ? (uint16_t)(first + count) : (uint16_t)(first - count);
}

/* Reports accesses, and goes on, until the walk stops at none. False if the socket was
 * made safe. Not inlined, for most find no error. */
__attribute__((noinline)) static bool go_on(const uint8_t *at, struct walk *w, struct loop *l, uint8_t count)
{
	uint16_t first = l->value;
	uint8_t left = 0; /* of the cells, when the NEXT after this one has to see to something */

	do {
		l->value = value_after(l, first, (uint8_t)(count - w->cells));
		report(at, w);
		if (board_due() && !run_look()) {
			return false;
		}
		/* The memory is at rest between accesses, and a cell of many errors takes long. */
		if ((run.attention & ATTEND_REFRESH) != 0 && !run_attend() && run.refusal != ACCEPTED) {
			return false;
		}
		if (run.attention != 0 && left == 0) {
			left = (uint8_t)(w->cells - 1);
			count = (uint8_t)(count - left);
			w->cells = 1;
		}
	} while (!board_walk(w));
	w->cells = (uint8_t)(w->cells + left);
	l->value = first;
	return true;
}

/* Walks the cells of w, the first of which is the loop's value, which becomes that of
 * the last one walked. False likewise. */
__attribute__((always_inline)) static inline bool walk(const uint8_t *at, struct walk *w, struct loop *l)
{
	uint8_t count = w->cells;

	w->begins = true;
	if (!board_walk(w) && !go_on(at, w, l, count)) {
		return false;
	}
	l->value = value_after(l, l->value, (uint8_t)(count - 1 - w->cells));
	return true;
}

/* On to the next cell. */
static inline void change(struct walk *w, uint32_t delta)
{
	if (w->shows) {
		board_flip(delta);
	}
	if (w->moves) {
		w->away ^= delta;
	}
}

/* Not inlined, so that the other instructions need not save its registers. */
__attribute__((noinline)) const uint8_t *cells(const uint8_t *at, const uint8_t **place)
{
	const struct group *idle = group_at(at[CELL_IDLE]), *away = group_at(at[CELL_AWAY]);
	struct group *counted = group_at(at[CELL_COUNTED]);
	struct loop *l = loop_at(at[CELL_REGISTER]);
	uint8_t count = at[CELL_COUNT] & 15;
	const uint8_t *next = at + CELL_LEN + (uint16_t)(count * ACCESS_LEN);
	bool loops = next[0] == OP_NEXT && next[1] == at[CELL_REGISTER] && program_code + l->body == at;
	struct walk w;

	counted->word = group_word(counted, l->value);
	socket_follow(idle->word, idle->mask);
	w.first = at[CELL_COUNT] >> 4;
	w.shows = counted == idle;
	w.moves = idle != away;
	w.away = idle->word ^ away->word;
	w.driven = socket_now()->driven;
	w.stopped = w.first;
	w.sample = 0;
	if (!loops) {
		w.cells = 1;
		w.deltas = deltas;
		return walk(at, &w, l) ? next : NULL;
	}
	for (;;) {
		uint16_t before;

		/* What the NEXT has to see to already, it sees to after one cell. */
		w.cells = run.attention != 0 ? 1 : cells_of_block(l);
		w.deltas = deltas_from(l);
		for (;;) {
			if (!walk(at, &w, l) || (board_due() && !run_look())) {
				return NULL;
			}
			if (run.attention != 0 && !run_attend()) {
				*place = next;
				return NULL;
			}
			if (w.cells == 0) {
				break;
			}
			l->value = (uint16_t)(l->value + l->step);
			change(&w, *w.deltas);
			w.deltas++;
		}
		if (l->value == l->last) {
			counted->word = group_word(counted, l->value);
			return next + 2;
		}
		before = l->value; /* and on, mostly to the next block */
		l->value = (uint16_t)(before + l->step);
		change(&w, group_word(counted, before ^ l->value));
	}
}
