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

enum {
	LOOKS = BOARD_GO_ON_US * (F_CPU / 1000000), /* cycles */
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

/* What it is looking for, and what it has found. */
struct search {
	volatile uint8_t *line;
	uint8_t mask, level;
	uint16_t seen; /* when the line was last looked at */
	struct board_edge *edges;
};

/* Looks until timer 3 was where OCR3A says, or so many edges came; gives their number. */
static inline uint8_t search(struct search *s, uint8_t most)
{
	uint8_t n = 0;

	do {
		cli();
		while (n < most) {
			uint16_t gap = A_LOOK, at;
			bool first = (*s->line & s->mask) != s->level;

			if (!first && look(s->line, s->mask, s->level) == s->level) {
				s->seen = TCNT3;
				break;
			}
			at = TCNT3;
			if (first) {
				gap = (uint16_t)(at - s->seen + SINCE);
			}
			s->seen = at;
			s->edges->at = (uint16_t)(at - LATE);
			s->edges->gap = gap;
			s->edges++;
			n++;
			s->level ^= s->mask;
		}
		if (n == most) {
			return n; /* what waits waits a little more: the caller may be in a hurry */
		}
		sei();
		__asm__ volatile("nop\nnop\n"); /* each lets one interrupt in */
	} while ((TIFR3 & _BV(OCF3A)) == 0);
	return n;
}

uint8_t board_edges(struct board_eye *eye, uint16_t until, uint8_t most, struct board_edge *edges, bool (*go_on)(void))
{
	struct search s;
	uint8_t n = 0;

	s.line = line_of(eye->word, &s.mask);
	s.level = eye->high ? s.mask : 0;
	s.seen = eye->seen;
	s.edges = edges;
	do {
		uint16_t left;

		cli();
		left = (uint16_t)(until - TCNT3);
		if ((int16_t)left < SHORTEST) {
			left = SHORTEST;
		}
		OCR3A = (uint16_t)(TCNT3 + (left > LOOKS ? LOOKS : left));
		TIFR3 = _BV(OCF3A);
		n = (uint8_t)(n + search(&s, (uint8_t)(most - n)));
	} while (n < most && (int16_t)(until - board_edge_clock()) > 0 && go_on());
	sei();
	eye->high = s.level != 0;
	eye->seen = s.seen;
	return n;
}
