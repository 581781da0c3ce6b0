/* Edges, by timer 3, which runs at the MCU's own clock and whose registers no interrupt
 * uses.
 *
 * Looks are 7 to 11 cycles apart, with interrupts off. Between looks it is seen whether an
 * interrupt waits: of the clock, of the monitor of the current with its timer and its bus, or
 * of the line; then it has its turn. An edge that comes meanwhile is seen late, and its gap
 * says by how much at most. */
#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"
#include "pins.h"
#include "search.h"

enum {
	LOOKS = BOARD_GO_ON_US * (F_CPU / 1000000), /* cycles */
	CHANCE = 1024, /* cycles, a power of 2 */
	SHORTEST = 40, /* cycles of looks in any case */
	A_LOOK = 16,   /* cycles, at most, from one look to the next, and what may lie between it and the clock besides LATE */
	SINCE = 8,     /* cycles from a last look until the clock is read, at most */
	LATE = 5       /* cycles from a look that sees an edge until the clock is read, at least */
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

union bytes {
	uint32_t word;
	uint8_t byte[4];
};

/* The register that reads a position, and its bit there. */
static volatile uint8_t *line_of(uint32_t word, uint8_t *mask)
{
	union bytes of;

	of.word = word;
	*mask = of.byte[0] | of.byte[1] | of.byte[2] | of.byte[3];
	if (of.byte[0] != 0) {
		return &PINF;
	}
	if (of.byte[2] != 0) {
		return &PINK;
	}
	return of.byte[1] != 0 ? &PINC : &PINB;
}

#define LOOK                           \
	"ld %[seen], %a[line]\n"       \
	"and %[seen], %[mask]\n"       \
	"cpse %[seen], %[level]\n"     \
	"rjmp 2f\n"

/* Looks until the line differs, timer 3 was where OCR3A says, or an interrupt waits; gives
 * the last look. */
static inline uint8_t look(volatile uint8_t *line, uint8_t mask, uint8_t level)
{
	uint8_t seen, flags;

	__asm__ volatile("1:\n" LOOK
			 "sbic %[time], %[due]\n"
			 "rjmp 2f\n" LOOK
			 "sbic %[monitor], %[asks]\n"
			 "rjmp 2f\n" LOOK
			 "sbic %[millis], %[passed]\n"
			 "rjmp 2f\n" LOOK
			 "lds %[flags], %[bus]\n"
			 "andi %[flags], %[done]\n"
			 "cpi %[flags], %[done]\n"
			 "breq 2f\n" LOOK
			 "lds %[flags], %[serial]\n"
			 "sbrs %[flags], %[came]\n"
			 "rjmp 1b\n"
			 "2:\n"
			 : [seen] "=&r"(seen), [flags] "=&d"(flags)
			 : [line] "e"(line), [mask] "r"(mask), [level] "r"(level), [time] "I"(_SFR_IO_ADDR(TIFR3)), [due] "I"(OCF3A),
			   [monitor] "I"(_SFR_IO_ADDR(TIFR2)), [asks] "I"(OCF2A), [millis] "I"(_SFR_IO_ADDR(TIFR0)), [passed] "I"(OCF0A),
			   [bus] "n"(_SFR_MEM_ADDR(TWCR)), [done] "M"(_BV(TWINT) | _BV(TWIE)), [serial] "n"(_SFR_MEM_ADDR(UCSR0A)), [came] "I"(RXC0));
	return seen;
}

volatile uint8_t *watched_line = &PINF;
uint8_t watched_bit;

void board_watch(uint32_t word)
{
	watched_line = line_of(word, &watched_bit);
}

void search_put(struct lookout *l, uint16_t at, uint16_t gap)
{
	struct board_edge *edge = &l->edges[l->found];

	edge->at = at;
	edge->gap = gap;
	l->found++;
	l->high = !l->high;
}

void search(struct lookout *l, uint16_t until)
{
	OCR3A = until;
	TIFR3 = _BV(OCF3A);
	while (l->found < l->most) {
		uint8_t level = l->high ? watched_bit : 0;
		bool first = (*watched_line & watched_bit) != level;

		if (!first && look(watched_line, watched_bit, level) == level) {
			l->seen = TCNT3;
			if (TIFR3 & _BV(OCF3A)) {
				return;
			}
			sei();
			__asm__ volatile("nop\nnop\n"); /* each lets one interrupt in */
			cli();
		} else {
			uint16_t at = TCNT3, before = l->seen;

			l->seen = at;
			if (first) {
				search_put(l, at, (uint16_t)(at - before + SINCE + LATE));
			} else {
				search_put(l, (uint16_t)(at - LATE), A_LOOK);
			}
		}
	}
}

/* Not inlined, so that acts have all registers of the MCU to themselves. */
__attribute__((noinline)) void search_quietly(struct lookout *l, uint16_t until)
{
	uint16_t before;

	while (l->found < l->most && (int16_t)(until - (before = TCNT3)) > 0) {
		uint8_t level = l->high ? watched_bit : 0, now = *watched_line & watched_bit;

		if (now != level) {
			uint16_t at = TCNT3;

			search_put(l, at, (uint16_t)(at - l->seen));
			l->seen = at;
		} else {
			l->seen = before;
		}
	}
}

/* The first stretch is shorter by what the clock happens to be: else an edge that always comes as long after an
 * action would always come while the current is looked at. */
bool search_on(struct lookout *l, uint16_t until)
{
	uint16_t stretch;

	cli();
	stretch = (uint16_t)(LOOKS - TCNT3 % CHANCE);
	for (;;) {
		uint16_t now = TCNT3, left = (uint16_t)(until - now);
		bool last = (int16_t)left < LOOKS + LOOKS / 4;

		if ((int16_t)left < SHORTEST) {
			left = SHORTEST;
		}
		search(l, (uint16_t)(now + (last ? left : stretch)));
		stretch = LOOKS;
		if (last || l->found == l->most) {
			return true;
		}
		sei();
		if (!l->go_on()) {
			return false;
		}
		cli();
	}
}

void board_edges(struct lookout *l, uint16_t until)
{
	(void)search_on(l, until);
	sei();
}
