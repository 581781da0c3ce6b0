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

/* The position's line, and its bit there. */
static volatile uint8_t *watched = &PINF;
static uint8_t watched_bit;

void board_watch(uint32_t word)
{
	watched = line_of(word, &watched_bit);
}

void search_begin(struct search *s, const struct board_eye *eye, uint8_t most, struct board_edge *edges)
{
	s->line = watched;
	s->mask = watched_bit;
	s->level = eye->high ? watched_bit : 0;
	s->seen = eye->seen;
	s->edges = edges;
	s->most = most;
	s->found = 0;
}

uint8_t search_end(const struct search *s, struct board_eye *eye)
{
	eye->high = s->level != 0;
	eye->seen = s->seen;
	return s->found;
}

void search_put(struct search *s, uint16_t at, uint16_t gap)
{
	if (s->found < s->most) {
		struct board_edge *edge = &s->edges[s->found];

		edge->at = at;
		edge->gap = gap;
		s->found++;
		s->level ^= s->mask;
	}
}

/* An edge that was seen not long before the clock was so. */
static void seen(struct search *s, uint16_t at, uint16_t gap)
{
	s->seen = at;
	search_put(s, (uint16_t)(at - LATE), gap);
}

void search(struct search *s, uint16_t until)
{
	OCR3A = until;
	TIFR3 = _BV(OCF3A);
	while (s->found < s->most) {
		bool first = (*s->line & s->mask) != s->level;

		if (!first && look(s->line, s->mask, s->level) == s->level) {
			s->seen = TCNT3;
			if (TIFR3 & _BV(OCF3A)) {
				return;
			}
			sei();
			__asm__ volatile("nop\nnop\n"); /* each lets one interrupt in */
			cli();
		} else {
			uint16_t at = TCNT3;

			seen(s, at, first ? (uint16_t)(at - s->seen + SINCE) : A_LOOK);
		}
	}
}

/* Not inlined, so that acts have all registers of the MCU to themselves. */
__attribute__((noinline)) void search_quietly(struct search *s, uint16_t until)
{
	uint16_t before;

	while (s->found < s->most && (int16_t)(until - (before = TCNT3)) > 0) {
		if ((*s->line & s->mask) != s->level) {
			uint16_t at = TCNT3;

			seen(s, at, (uint16_t)(at - s->seen));
		} else {
			s->seen = before;
		}
	}
}

void search_on(struct search *s, uint16_t until, bool (*go_on)(void))
{
	do {
		uint16_t left;

		cli();
		left = (uint16_t)(until - TCNT3);
		if ((int16_t)left < SHORTEST) {
			left = SHORTEST;
		}
		search(s, (uint16_t)(TCNT3 + (left > LOOKS ? LOOKS : left)));
		if (s->found == s->most) {
			return;
		}
		sei();
	} while ((int16_t)(until - board_edge_clock()) > 0 && go_on());
	cli();
}

uint8_t board_edges(struct board_eye *eye, uint16_t until, uint8_t most, struct board_edge *edges, bool (*go_on)(void))
{
	struct search s;

	search_begin(&s, eye, most, edges);
	search_on(&s, until, go_on);
	sei();
	return search_end(&s, eye);
}
