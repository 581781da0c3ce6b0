/* Acts: what a WATCH changes, within a µs, at times that timer 3 gives to a cycle.
 *
 * All that the ports are to hold is worked out before, so that between the clock and the last of
 * them are only writes, and interrupts wait for no more. In cycles after the clock is read: what
 * is released at 7 to 10, levels at 12 to 15, the pulls at 17, what is driven at 18 to 21, each from port
 * to port in the order A, C, B, L. The time that is given is that of the levels. */
#include <avr/interrupt.h>

#include "board.h"
#include "pins.h"
#include "registers.h"

enum {
	LEVELS_AFTER = 13, /* cycles from the clock */
	QUIET = 12 * (F_CPU / 1000000) /* cycles before an act in which no interrupt is let in, for none takes longer than 8 µs */
};

/* What the ports hold, in the order in which they are written. */
struct ports {
	uint8_t release_a, release_c, release_b, release_l; /* directions */
	uint8_t level_a, level_c, level_b, level_l;
	uint8_t pulls;
	uint8_t drive_a, drive_c, drive_b, drive_l;
	uint8_t stored; /* the pulls, with the strobes low again */
};

static struct ports acts[MOST_ACTS];

union bytes {
	uint32_t word;
	uint8_t byte[4];
};

void board_act(uint8_t n, const struct act *a)
{
	struct ports *p = &acts[n];
	uint8_t c = DDRC & (uint8_t)~SIX, b = DDRB & (uint8_t)~SIX;
	union bytes keeps, dir, level;

	keeps.word = a->keeps;
	dir.word = a->dir;
	level.word = a->level;
	p->release_a = keeps.byte[0];
	p->release_c = c | keeps.byte[1];
	p->release_l = keeps.byte[2];
	p->release_b = b | keeps.byte[3];
	p->level_a = level.byte[0];
	p->level_c = (uint8_t)((PORTC & ~SIX) | level.byte[1]);
	p->level_l = level.byte[2];
	p->level_b = (uint8_t)((PORTB & ~SIX) | level.byte[3]);
	p->drive_a = dir.byte[0];
	p->drive_c = c | dir.byte[1];
	p->drive_l = dir.byte[2];
	p->drive_b = b | dir.byte[3];
	p->stored = registers_enabled(a->pulls);
	p->pulls = p->stored | registers_stores(a->shifted);
}

/* Writes the ports at a time; gives the clock. Interrupts are off. */
static inline uint16_t write_at(const struct ports *p, uint16_t due)
{
	uint16_t clock;

	__asm__ volatile("1: lds %A[clock], %[low]\n"
			 "lds %B[clock], %[high]\n"
			 "cp  %A[clock], %A[due]\n"
			 "cpc %B[clock], %B[due]\n"
			 "brmi 1b\n"
			 "out %[ddra], %[ra]\n"
			 "out %[ddrc], %[rc]\n"
			 "out %[ddrb], %[rb]\n"
			 "sts %[ddrl], %[rl]\n"
			 "out %[porta], %[la]\n"
			 "out %[portc], %[lc]\n"
			 "out %[portb], %[lb]\n"
			 "sts %[portl], %[ll]\n"
			 "out %[portg], %[g]\n"
			 "out %[ddra], %[da]\n"
			 "out %[ddrc], %[dc]\n"
			 "out %[ddrb], %[db]\n"
			 "sts %[ddrl], %[dl]\n"
			 "out %[portg], %[stored]\n"
			 : [clock] "=&r"(clock)
			 : [due] "r"(due), [ra] "r"(p->release_a), [rc] "r"(p->release_c), [rb] "r"(p->release_b), [rl] "r"(p->release_l),
			   [la] "r"(p->level_a), [lc] "r"(p->level_c), [lb] "r"(p->level_b), [ll] "r"(p->level_l), [g] "r"(p->pulls),
			   [da] "r"(p->drive_a), [dc] "r"(p->drive_c), [db] "r"(p->drive_b), [dl] "r"(p->drive_l), [stored] "r"(p->stored),
			   [low] "n"(_SFR_MEM_ADDR(TCNT3L)), [high] "n"(_SFR_MEM_ADDR(TCNT3H)), [ddra] "I"(_SFR_IO_ADDR(DDRA)),
			   [ddrc] "I"(_SFR_IO_ADDR(DDRC)), [ddrb] "I"(_SFR_IO_ADDR(DDRB)), [ddrl] "n"(_SFR_MEM_ADDR(DDRL)),
			   [porta] "I"(_SFR_IO_ADDR(PORTA)), [portc] "I"(_SFR_IO_ADDR(PORTC)), [portb] "I"(_SFR_IO_ADDR(PORTB)),
			   [portl] "n"(_SFR_MEM_ADDR(PORTL)), [portg] "I"(_SFR_IO_ADDR(PORTG)));
	return (uint16_t)(clock + LEVELS_AFTER);
}

void board_acts(uint8_t n, uint8_t count, uint16_t *at)
{
	const struct ports *p = &acts[n];
	uint16_t late = 0;

	cli();
	for (; count > 0; count--) {
		uint16_t due = (uint16_t)(*at + late - LEVELS_AFTER), clock;

		if ((int16_t)(due - TCNT3) > QUIET) {
			sei();
			while ((int16_t)(due - board_edge_clock()) > QUIET) {
			}
			cli();
		}
		clock = write_at(p, due);
		late = (uint16_t)(clock - *at);
		*at = clock;
		at++;
		p++;
	}
	sei();
}
