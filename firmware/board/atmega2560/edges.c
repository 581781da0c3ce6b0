/* Edges, by timer 3, which runs at the MCU's own clock and whose registers no interrupt
 * uses.
 *
 * A look takes 8 cycles, with interrupts off. After each burst of looks what waits has its
 * turn: the clock, the monitor of the current with its bus, which gets through a reading in
 * 250 µs by that, and the line. An edge that came meanwhile is seen late, and its gap says by
 * how much at most. */
#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"
#include "pins.h"

enum {
	BURST = 400,  /* cycles of looks in one go, 25 µs */
	SHORTEST = 40, /* cycles of a burst that is worth while */
	A_LOOK = 8,   /* cycles */
	LATE = 10     /* cycles from a look that sees an edge until the clock is read */
};

uint16_t board_edge_clock(void)
{
	uint16_t clock;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		clock = TCNT3;
	}
	return clock;
}

uint16_t board_drive_at(uint32_t dir, uint32_t level)
{
	uint16_t clock;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		board_drive(dir, level);
		clock = TCNT3;
	}
	return clock;
}

/* The register that reads a position, and its bit there. */
static volatile uint8_t *line_of(uint32_t word, uint8_t *mask)
{
	static volatile uint8_t *const lines[] = {&PINF, &PINC, &PINK, &PINB};
	uint8_t n = 0;

	while (word > 0xFF) {
		word >>= 8;
		n++;
	}
	*mask = (uint8_t)word;
	return lines[n];
}

/* Looks until the line differs, or timer 3 is where OCR3A says; gives the last look. */
static inline uint8_t look(volatile uint8_t *line, uint8_t mask, uint8_t level)
{
	uint8_t seen;

	__asm__ volatile("1: ld %[seen], %a[line]\n"
			 "and %[seen], %[mask]\n"
			 "cpse %[seen], %[level]\n"
			 "rjmp 2f\n"
			 "sbis %[flags], %[due]\n"
			 "rjmp 1b\n"
			 "2:\n"
			 : [seen] "=&r"(seen)
			 : [line] "e"(line), [mask] "r"(mask), [level] "r"(level), [flags] "I"(_SFR_IO_ADDR(TIFR3)), [due] "I"(OCF3A));
	return seen;
}

uint8_t board_edges(struct board_eye *eye, uint16_t until, uint8_t most, struct board_edge *edges)
{
	uint8_t mask, level, n = 0;
	volatile uint8_t *line = line_of(eye->word, &mask);
	uint16_t seen = eye->seen;

	level = eye->high ? mask : 0;
	while (n < most) {
		uint16_t left;

		cli();
		left = (uint16_t)(until - TCNT3);
		if ((int16_t)left < SHORTEST) {
			break;
		}
		if (left > BURST) {
			left = BURST;
		}
		OCR3A = (uint16_t)(TCNT3 + left);
		TIFR3 = _BV(OCF3A);
		while (n < most) {
			uint16_t gap = A_LOOK, at;
			bool first = (*line & mask) != level;

			if (!first && look(line, mask, level) == level) {
				seen = TCNT3;
				break;
			}
			at = TCNT3;
			if (first) {
				gap = (uint16_t)(at - seen);
			}
			seen = at;
			at = (uint16_t)(at - LATE);
			edges->at = at;
			edges->gap = gap;
			edges++;
			n++;
			level ^= mask;
		}
		sei();
		__asm__ volatile("nop\nnop\nnop\n"); /* each lets one interrupt in */
	}
	sei();
	eye->high = level != 0;
	eye->seen = seen;
	return n;
}
