/* Acts: what a WATCH changes, within a µs, at times that timer 3 gives to a cycle.
 *
 * All that the ports are to hold is worked out before, so that between the clock and the last of
 * them are only writes and a look, and interrupts wait for no more. In cycles after the clock is read: the
 * watched line is looked at after 7, what is released comes after 9 to 12, levels after 14 to 17, the pulls
 * after 19, what is driven after 20 to 23, each from port to port in the order A, C, B, L; then the line is looked
 * at again. The time that is given is that of the levels. */
#include <avr/interrupt.h>

#include "board.h"
#include "pins.h"
#include "registers.h"
#include "search.h"

enum {
	/* Cycles from the clock: */
	BEFORE_AFTER = 6,  /* to the look before, less 1, for a pin is read that much late; */
	LEVELS_AFTER = 15, /* to the levels, */
	LOOKED_AFTER = 26, /* and to the look after all is done */
	/* Cycles before an act: */
	QUIET = 32 * (F_CPU / 1000000), /* no interrupt is let in, for two may wait, of 8 µs each, before READY; */
	READY = 212,                    /* and the line is not looked at; */
	LEAST = 40,                     /* so long a search must be */
	/* Cycles after the last of some acts: */
	SOON = 100 * (F_CPU / 1000000), /* the line is looked at before all else, for short pulses end then, */
	A_LOOK = 8,                    /* so long each time at least, */
	SEEN_AFTER = 20,               /* and the clock is read so long after the look before, at most; */
	NOTED = 270,                   /* so long the rest takes until it is looked at again */
	/* Cycles between acts: */
	CLOSE = BOARD_CLOSE_US * (F_CPU / 1000000)
};

/* What the ports hold, in the order in which they are written, which write_at counts on. */
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

/* When an act was due and when it was made, by the clock, and what the watched line was like around it. */
struct made {
	uint16_t due, clock;
	uint8_t before, after;
};

/* How often to look after a burst; when the line was last as it was right after it, by the clock, and the edge that
 * came then, with its gap, 0 for none. */
static struct {
	uint8_t looks;
	uint16_t seen, at, gap;
} soon;

/* Makes an act at a time. Interrupts are off. All that is written is in registers by then. */
static inline void write_at(const struct ports *p, uint16_t due, const volatile uint8_t *line, struct made *m)
{
	uint16_t clock;
	uint8_t before, after;

	__asm__ volatile("ld  r2, Z\n"
			 "ldd r3, Z+1\n"
			 "ldd r4, Z+2\n"
			 "ldd r5, Z+3\n"
			 "ldd r6, Z+4\n"
			 "ldd r7, Z+5\n"
			 "ldd r8, Z+6\n"
			 "ldd r9, Z+7\n"
			 "ldd r10, Z+8\n"
			 "ldd r11, Z+9\n"
			 "ldd r12, Z+10\n"
			 "ldd r13, Z+11\n"
			 "ldd r14, Z+12\n"
			 "ldd r15, Z+13\n"
			 "1: lds %A[clock], %[low]\n"
			 "lds %B[clock], %[high]\n"
			 "cp  %A[clock], %A[due]\n"
			 "cpc %B[clock], %B[due]\n"
			 "brmi 1b\n"
			 "ld  %[before], X\n"
			 "out %[ddra], r2\n"
			 "out %[ddrc], r3\n"
			 "out %[ddrb], r4\n"
			 "sts %[ddrl], r5\n"
			 "out %[porta], r6\n"
			 "out %[portc], r7\n"
			 "out %[portb], r8\n"
			 "sts %[portl], r9\n"
			 "out %[portg], r10\n"
			 "out %[ddra], r11\n"
			 "out %[ddrc], r12\n"
			 "out %[ddrb], r13\n"
			 "sts %[ddrl], r14\n"
			 "out %[portg], r15\n"
			 "ld  %[after], X\n"
			 : [clock] "=&r"(clock), [before] "=&r"(before), [after] "=&r"(after)
			 : [p] "z"(p), [due] "r"(due), [line] "x"(line), [low] "n"(_SFR_MEM_ADDR(TCNT3L)), [high] "n"(_SFR_MEM_ADDR(TCNT3H)),
			   [ddra] "I"(_SFR_IO_ADDR(DDRA)), [ddrc] "I"(_SFR_IO_ADDR(DDRC)), [ddrb] "I"(_SFR_IO_ADDR(DDRB)), [ddrl] "n"(_SFR_MEM_ADDR(DDRL)),
			   [porta] "I"(_SFR_IO_ADDR(PORTA)), [portc] "I"(_SFR_IO_ADDR(PORTC)), [portb] "I"(_SFR_IO_ADDR(PORTB)),
			   [portl] "n"(_SFR_MEM_ADDR(PORTL)), [portg] "I"(_SFR_IO_ADDR(PORTG))
			 : "r2", "r3", "r4", "r5", "r6", "r7", "r8", "r9", "r10", "r11", "r12", "r13", "r14", "r15", "memory");
	m->clock = clock;
	m->before = before;
	m->after = after;
}

/* Looks for an edge soon after an act. */
static inline void look_after(const struct made *m, const volatile uint8_t *line)
{
	uint8_t left = soon.looks, bit = watched_bit, level = m->after & bit;

	while (left > 0 && (*line & bit) == level) {
		left--;
	}
	soon.at = TCNT3;
	soon.seen = (uint16_t)(soon.at - SEEN_AFTER);
	soon.gap = 0;
	if (left == soon.looks) { /* at the first look, or without any */
		soon.seen = (uint16_t)(m->clock + LOOKED_AFTER - 1);
	}
	if (left > 0) {
		soon.gap = (uint16_t)(soon.at - soon.seen);
	}
}

/* Acts that are close together, each at its time or, where one was late, as much later, and a look after the last. Not
 * inlined, so that it has all registers of the MCU to itself: from one to the next are 5 µs at least. */
__attribute__((noinline)) static void burst(const struct ports *p, struct made *m, uint8_t count)
{
	const volatile uint8_t *line = watched_line;
	uint16_t late = 0;

	do {
		write_at(p, (uint16_t)(m->due + late), line, m);
		late = (uint16_t)(m->clock - m->due);
		p++;
		m++;
		count--;
	} while (count > 0);
	look_after(m - 1, line);
}

/* Puts down the edges at an act. One that came before the look before it is put down at its time. */
static void note(struct lookout *l, const struct made *m)
{
	uint8_t level = l->high ? watched_bit : 0, before = m->before & watched_bit, after = m->after & watched_bit;

	if (before != level && l->found < l->most) {
		uint16_t at = (uint16_t)(m->clock + LEVELS_AFTER);

		search_put(l, at, (uint16_t)(at - l->seen));
	}
	if (after != before && l->found < l->most) {
		search_put(l, (uint16_t)(m->clock + LOOKED_AFTER), LOOKED_AFTER - BEFORE_AFTER);
	}
}

/* Puts down the edge soon after an act, if there is one. */
static void note_soon(struct lookout *l)
{
	l->seen = soon.seen;
	if (soon.gap != 0 && l->found < l->most) {
		search_put(l, soon.at, soon.gap);
		l->seen = soon.at;
	}
}

/* How often to look soon after a burst, first and last of which are due so, that all is noted before the clock is there. */
static uint8_t looks_after(uint16_t first, uint16_t last, uint16_t until)
{
	int16_t room = (int16_t)(until - NOTED - last), late = (int16_t)(TCNT3 + READY - first);

	if (late > 0) {
		room = (int16_t)(room - late);
	}
	if (room <= 0) {
		return 0;
	}
	return (uint8_t)((room < SOON ? room : SOON) / A_LOOK);
}

/* Looks until an act is due, quietly in the end. Gives whether it is to be made. */
static bool search_before(struct lookout *l, uint16_t due)
{
	int16_t left = (int16_t)(due - TCNT3);

	if (left > QUIET + LEAST && (!search_on(l, (uint16_t)(due - QUIET)) || l->found == l->most)) {
		return false;
	}
	if (left > READY + LEAST) {
		search_quietly(l, (uint16_t)(due - READY));
	}
	return true;
}

uint8_t board_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until)
{
	static struct made made[MOST_ACTS];
	uint8_t i, done = 0;

	for (i = 0; i < count; i++) {
		made[i].due = (uint16_t)(from + at[i] - LEVELS_AFTER);
	}
	cli();
	while (done < count) {
		uint8_t end = (uint8_t)(done + 1);

		while (end < count && (uint16_t)(made[end].due - made[end - 1].due) < CLOSE) {
			end++;
		}
		soon.looks = looks_after(made[done].due, made[end - 1].due, end < count ? (uint16_t)(made[end].due - READY) : until);
		if (!search_before(l, made[done].due)) {
			break;
		}
		burst(&acts[n + done], &made[done], (uint8_t)(end - done));
		for (; done < end; done++) {
			at[done] = (uint16_t)(made[done].clock + LEVELS_AFTER - from);
			note(l, &made[done]);
		}
		note_soon(l);
	}
	if (done == count && (int16_t)(until - TCNT3) > LEAST) {
		(void)search_on(l, until);
	}
	sei();
	return done;
}

bool board_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until)
{
	uint8_t found = l->found, most = l->most;
	struct made m;
	bool halts;

	l->most = (uint8_t)(found + 1);
	halts = search_on(l, until) && l->found > found;
	if (halts) {
		write_at(&acts[n], l->seen, watched_line, &m);
		l->seen = (uint16_t)(m.clock + BEFORE_AFTER);
		*at = (uint16_t)(m.clock + LEVELS_AFTER);
	}
	sei();
	l->most = most;
	return halts;
}
