#include "run.h"

#include <stddef.h>

#include "board.h"
#include "refresh.h"
#include "socket.h"

enum { LOOK_CLOCKS = 500 }; /* between two looks, 1/2 µs */

struct run run;
uint32_t run_errors;

bool run_look(void)
{
	uint16_t next = LOOK_CLOCKS;

	board_watchdog();
	run.refusal = socket_guard();
	if (board_millis() - run.begin_ms >= run.budget_ms) {
		run.attention |= ATTEND_STOP;
	}
	if (refresh_is_kept()) {
		uint16_t left = refresh_in();

		if (left == 0) {
			run.attention |= ATTEND_REFRESH;
		} else if (left < next) {
			next = left;
		}
	}
	board_due_at((uint16_t)(board_clock() + next));
	return run.refusal == ACCEPTED;
}

bool run_attend(void)
{
	if (run.attention & ATTEND_REFRESH) {
		run.attention &= (uint8_t)~ATTEND_REFRESH;
		run.refusal = refresh_now();
		if (run.refusal != ACCEPTED || !run_look()) {
			return false;
		}
	}
	return (run.attention & ATTEND_STOP) == 0;
}

void run_put_out(uint32_t value, uint8_t bytes)
{
	for (; bytes > 0; bytes--) {
		*run.output++ = (uint8_t)value;
		value >>= 8;
	}
	if ((size_t)(run.end - run.output) < program.most_output) {
		run.attention |= ATTEND_STOP;
	}
}

/* The group's bits in a sample: the positions with bit n of a nibble are its word 2^n. */
static uint16_t bits_of(const struct group *g, uint32_t sample)
{
	const uint32_t *n = nibbles_of(g);
	uint16_t value = 0, bit = 1;
	uint8_t left = g->bits;

	for (;; n += 16) {
		uint8_t v;

		for (v = 1; v < 16; v = (uint8_t)(v << 1)) {
			if (sample & n[v]) {
				value |= bit;
			}
			bit = (uint16_t)(bit << 1);
			left--;
			if (left == 0) {
				return value;
			}
		}
	}
}

/* Not inlined, for most find no error. */
__attribute__((noinline)) void run_count_error(const struct group *g, uint8_t mark, uint32_t sample)
{
	if (run_errors < UINT32_MAX) {
		run_errors++;
	}
	if (run.log) {
		run_put_out(mark, 2);
		run_put_out(program_loops[0].value, 2);
		run_put_out(program_loops[1].value, 2);
		run_put_out(bits_of(g, sample), 2);
	}
}

void run_take(const struct group *g, uint32_t sample)
{
	run_put_out(bits_of(g, sample), g->bits > 8 ? 2 : 1);
}
