/* The walk over the cells of a memory: what the time of its test hangs on.
 *
 * Each access is translated, at LOAD, into steps that touch only the ports which it
 * needs. A step is the address of its code and the bytes that it uses. They are walked
 * in assembly: the compiler would need three times as long for it. Meanwhile
 *   X        the next byte of the steps
 *   Y        the next delta
 *   Z        the step
 *   r16 r17  the cell's first step
 *   r18      bit 0 deltas are shown, bit 1 they change what is away
 *   r19      cells that are left
 *   r20-r23  what is toggled when the away group's word comes or goes
 *   r10-r13  the last sample; T: it differs
 *   r14 r15  X where it was found
 *   r0 r24 r25 free
 * To go to the next step takes 6 cycles. */
#include <avr/interrupt.h>
#include <stddef.h>

#include "board.h"
#include "pins.h"

enum {
	STEP_LEN = 2,
	/* The longest access: ALL, JOIN_ALL, AWAY, ALL, WAIT, AWAY, LEAVE_ALL, ALL, two for
	 * interrupts, one for the end. */
	LONGEST_ACCESS = 3 * (STEP_LEN + 4) + 2 * (STEP_LEN + 8) + 2 * (STEP_LEN + 4) + (STEP_LEN + 1) + 3 * STEP_LEN
};

static uint8_t steps[MOST_ACCESSES * LONGEST_ACCESS];
static const uint8_t *begins[MOST_ACCESSES + 1]; /* of the accesses; the last one's end */
static bool sampled;                             /* an access of the cell samples already */

/* Where a walk that stopped goes on. */
static const uint8_t *resume __attribute__((used));

#define STEP(name) extern void step_##name(void)
STEP(a);
STEP(c);
STEP(l);
STEP(b);
STEP(all);
STEP(away_near);
STEP(away);
STEP(wait);
STEP(check_f);
STEP(check_c);
STEP(check_k);
STEP(check_b);
STEP(check_all);
STEP(take);
STEP(verdict);
STEP(whole);
STEP(part);
STEP(join_a);
STEP(join_c);
STEP(join_l);
STEP(join_b);
STEP(join_all);
STEP(leave_a);
STEP(leave_c);
STEP(leave_l);
STEP(leave_b);
STEP(leave_all);
STEP(near_read_f);
STEP(near_read_k);
STEP(near_write);
STEP(done);
STEP(done_near);
STEP(done_shows);

/* Cycles from a toggle to what follows it, less two, for an input is seen so late: to the
 * next toggle, and to a sample; and with the shortest wait between. What an access waits
 * beyond that takes turns. */
enum {
	WRITE_CYCLES = 6,
	CHECK_CYCLES = 8,
	TAKE_CYCLES = 4,
	WAIT_STEP_CYCLES = 10, /* what the step of a wait adds, with one turn */
	WAIT_CYCLES = 3,      /* and each turn more */
	NEAR_WRITE_CYCLES = 4,
	NEAR_READ_CYCLES = 6  /* with one turn */
};

static uint8_t *put_step(uint8_t *at, void (*step)(void))
{
	uint16_t address = (uint16_t)step;

	*at++ = (uint8_t)address;
	*at++ = (uint8_t)(address >> 8);
	return at;
}

/* A word's bytes lie in memory in the order of the ports. */
static inline const uint8_t *bytes_of(const uint32_t *word)
{
	return (const uint8_t *)word;
}

enum { MORE = 4 };

/* Number of the one byte of a word that is not 0; MORE if there is not just one. */
static uint8_t only_byte(const uint8_t *word)
{
	if ((word[1] | word[2] | word[3]) == 0) {
		return word[0] != 0 ? 0 : MORE;
	}
	if ((word[0] | word[2] | word[3]) == 0) {
		return 1;
	}
	if ((word[0] | word[1] | word[3]) == 0) {
		return 2;
	}
	return (word[0] | word[1] | word[2]) == 0 ? 3 : MORE;
}

/* Toggles a word; with moves what is away, too. */
static uint8_t *put_toggle(uint8_t *at, const uint8_t *word, bool moves, bool near)
{
	static void (*const step[])(void) = {step_a, step_c, step_l, step_b};
	uint8_t n = only_byte(word);

	if (moves && near) {
		at = put_step(at, step_away_near);
		*at++ = word[0];
		*at++ = word[2];
		return at;
	}
	if (!moves) {
		if ((word[0] | word[1] | word[2] | word[3]) == 0) {
			return at;
		}
		if (n != MORE) {
			at = put_step(at, step[n]);
			*at++ = word[n];
			return at;
		}
	}
	at = put_step(at, moves ? step_away : step_all);
	*at++ = word[0];
	*at++ = word[1];
	*at++ = word[2];
	*at++ = word[3];
	return at;
}

/* A step for the one port of mask that it needs, or for all. The bytes that it uses are
 * first those of the one word, then those of the other, by turns. */
static uint8_t *put_ports(uint8_t *at, const uint8_t *mask, const uint8_t *one, const uint8_t *other, void (*const step[])(void))
{
	uint8_t n = only_byte(mask), i;

	at = put_step(at, step[n]);
	for (i = 0; i < 4; i++) {
		if (n == i || n == MORE) {
			*at++ = one[i];
			*at++ = other[i];
		}
	}
	return at;
}

static uint8_t *put_join(uint8_t *at, const struct access *a)
{
	static void (*const step[])(void) = {step_join_a, step_join_c, step_join_l, step_join_b, step_join_all};

	return put_ports(at, bytes_of(&a->mask), bytes_of(&a->word), bytes_of(&a->mask), step);
}

static uint8_t *put_leave(uint8_t *at, const struct access *a)
{
	static void (*const step[])(void) = {step_leave_a, step_leave_c, step_leave_l, step_leave_b, step_leave_all};
	uint32_t others = ~a->mask;

	return put_ports(at, bytes_of(&a->mask), bytes_of(&others), bytes_of(&a->word), step);
}

static uint8_t *put_check(uint8_t *at, const struct access *a)
{
	static void (*const step[])(void) = {step_check_f, step_check_c, step_check_k, step_check_b, step_check_all};

	return put_ports(at, bytes_of(&a->mask), bytes_of(&a->word), bytes_of(&a->mask), step);
}

/* The turns of a wait of which the first takes the cycles of one, and with what surrounds it
 * the cycles of least. */
static uint8_t turns(uint8_t pause, uint8_t least)
{
	return pause > least ? (uint8_t)((pause - least + WAIT_CYCLES - 1) / WAIT_CYCLES + 1) : 1;
}

/* An access of near positions alone, in one step. */
static uint8_t *put_near(uint8_t *at, const struct access *a)
{
	const uint8_t *mask = bytes_of(&a->mask), *word = bytes_of(&a->word);
	uint8_t n = mask[0] != 0 ? 0 : 2;

	at = put_step(at, a->kind == ACCESS_WRITE ? step_near_write : n == 0 ? step_near_read_f : step_near_read_k);
	*at++ = bytes_of(&a->first)[0];
	*at++ = bytes_of(&a->first)[2];
	*at++ = bytes_of(&a->second)[0];
	*at++ = bytes_of(&a->second)[2];
	*at++ = bytes_of(&a->third)[0];
	*at++ = bytes_of(&a->third)[2];
	if (a->kind == ACCESS_CHECK) {
		*at++ = turns(a->pause, NEAR_READ_CYCLES);
		*at++ = word[n];
		*at++ = mask[n];
	}
	*at++ = bytes_of(&a->fourth)[0];
	*at++ = bytes_of(&a->fourth)[2];
	return at;
}

#define FAR_BYTES UINT32_C(0xFF00FF00)

void board_access(uint8_t n, const struct access *a)
{
	uint8_t *at = n == 0 ? steps : steps + (begins[n] - steps);
	uint8_t least;
	bool near = ((a->first | a->second | a->third | a->fourth | a->mask | a->positions) & FAR_BYTES) == 0;

	if (n == 0) {
		sampled = false;
	}
	begins[n] = at;
	if (sampled && a->kind >= ACCESS_CHECK) {
		at = put_step(at, step_verdict); /* on the sample before, before this one's takes its place */
	}
	if (near && a->moves && a->whole && a->fifth == 0 &&
	    ((a->kind == ACCESS_CHECK && only_byte(bytes_of(&a->mask)) != MORE) || (a->kind == ACCESS_WRITE && a->pause <= NEAR_WRITE_CYCLES))) {
		at = put_near(at, a);
	} else {
		if (a->whole) {
			at = put_step(at, step_whole);
		}
		at = put_toggle(at, bytes_of(&a->first), false, near);
		if (a->kind == ACCESS_TURNED) {
			at = put_join(at, a);
		}
		at = put_toggle(at, bytes_of(&a->second), a->moves, near);
		at = put_toggle(at, bytes_of(&a->third), false, near);
		least = a->kind == ACCESS_CHECK ? CHECK_CYCLES : a->kind == ACCESS_TAKE ? TAKE_CYCLES : WRITE_CYCLES;
		if (a->pause > least) {
			at = put_step(at, step_wait);
			*at++ = turns(a->pause, (uint8_t)(least + WAIT_STEP_CYCLES));
		}
		if (a->kind == ACCESS_CHECK) {
			at = put_check(at, a);
		} else if (a->kind == ACCESS_TAKE) {
			at = put_step(at, step_take);
		}
		at = put_toggle(at, bytes_of(&a->fourth), a->moves, near);
		if (a->kind == ACCESS_TURNED) {
			at = put_leave(at, a);
		}
		at = put_toggle(at, bytes_of(&a->fifth), false, near);
		if (a->whole) {
			at = put_step(at, step_part);
		}
	}
	sampled = sampled || a->kind >= ACCESS_CHECK;
	if (a->last) {
		at = put_step(at, !a->moves ? step_done_shows : a->only_moves && (a->positions & FAR_BYTES) == 0 ? step_done_near : step_done);
		sampled = false;
	}
	begins[n + 1] = at;
}

/* Where a struct walk has what the code below uses. */
enum {
	DELTAS = offsetof(struct walk, deltas),
	AWAY = offsetof(struct walk, away),
	CELLS = offsetof(struct walk, cells),
	SHOWS = offsetof(struct walk, shows),
	MOVES = offsetof(struct walk, moves),
	SAMPLE = offsetof(struct walk, sample)
};

#define NEXT "ld r30, X+\n ld r31, X+\n ijmp\n"
#define LABEL(name) ".global step_" #name "\n.type step_" #name ", @function\nstep_" #name ":\n"
#define TOGGLE_IO(port) "ld r0, X+\n out %[" #port "], r0\n"
#define TOGGLE_L "ld r0, X+\n sts %[pinl], r0\n"
#define AWAY_IO(port, reg) "ld r0, X+\n eor r0, " reg "\n out %[" #port "], r0\n"
#define AWAY_L "ld r0, X+\n eor r0, r22\n sts %[pinl], r0\n"
#define JOIN_IO(port, ddr) TOGGLE_IO(port) "in r24, %[" #ddr "]\n ld r0, X+\n or r24, r0\n out %[" #ddr "], r24\n"
#define JOIN_L TOGGLE_L "lds r24, %[ddrl]\n ld r0, X+\n or r24, r0\n sts %[ddrl], r24\n"
#define LEAVE_IO(port, ddr) "in r24, %[" #ddr "]\n ld r0, X+\n and r24, r0\n out %[" #ddr "], r24\n" TOGGLE_IO(port)
#define LEAVE_L "lds r24, %[ddrl]\n ld r0, X+\n and r24, r0\n sts %[ddrl], r24\n" TOGGLE_L
/* Whether a sample, which is taken meanwhile, differs at positions: level and mask are the
 * next bytes. */
#define DIFFERENCE(samples, sample) "ld r24, X+\n ld r25, X+\n" samples "eor r24, " sample "\n and r24, r25\n"

/* The first three words, of near positions. */
#define NEAR_OPENS "cli\n" TOGGLE_IO(pina) TOGGLE_L AWAY_IO(pina, "r20") AWAY_L TOGGLE_IO(pina) TOGGLE_L

/* Walks from the step at on. Gives where the sample was found at which it stopped; nothing
 * if it did not. */
static const uint8_t *walk_steps(struct walk *w, const uint8_t *at, const uint8_t *begin)
	__attribute__((naked, noinline, noclone, used));
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wreturn-type" /* it is in r24 and r25 */
static const uint8_t *walk_steps(struct walk *w, const uint8_t *at, const uint8_t *begin)
{
	(void)w;
	(void)at;
	(void)begin;
	__asm__ volatile(
		"push r10\n push r11\n push r12\n push r13\n push r14\n push r15\n push r16\n push r17\n push r28\n push r29\n"
		"push r24\n push r25\n"
		"movw r30, r24\n"
		"movw r26, r22\n"
		"movw r16, r20\n"
		"ldd r28, Z+%[deltas]\n ldd r29, Z+%[deltas]+1\n"
		"ldd r20, Z+%[away]\n   ldd r21, Z+%[away]+1\n ldd r22, Z+%[away]+2\n ldd r23, Z+%[away]+3\n"
		"ldd r19, Z+%[cells]\n"
		"ldd r18, Z+%[moves]\n  lsl r18\n ldd r24, Z+%[shows]\n or r18, r24\n"
		"clt\n"
		NEXT
		LABEL(a) TOGGLE_IO(pina) NEXT
		LABEL(c) TOGGLE_IO(pinc) NEXT
		LABEL(l) TOGGLE_L NEXT
		LABEL(b) TOGGLE_IO(pinb) NEXT
		LABEL(all) TOGGLE_IO(pina) TOGGLE_IO(pinc) TOGGLE_L TOGGLE_IO(pinb) NEXT
		LABEL(away_near) AWAY_IO(pina, "r20") AWAY_L NEXT
		LABEL(away) AWAY_IO(pina, "r20") AWAY_IO(pinc, "r21") AWAY_L AWAY_IO(pinb, "r23") NEXT
		LABEL(wait) "ld r24, X+\n 1: dec r24\n brne 1b\n" NEXT
		LABEL(check_f) DIFFERENCE("in r10, %[pinf]\n", "r10") "brne 2f\n" NEXT
		LABEL(check_c) DIFFERENCE("in r11, %[pinc]\n", "r11") "brne 2f\n" NEXT
		LABEL(check_k) DIFFERENCE("lds r12, %[pink]\n", "r12") "brne 2f\n" NEXT
		LABEL(check_b) DIFFERENCE("in r13, %[pinb]\n", "r13") "brne 2f\n" NEXT
		LABEL(take) "in r11, %[pinc]\n in r13, %[pinb]\n in r10, %[pinf]\n lds r12, %[pink]\n"
		"2: set\n movw r14, r26\n" NEXT
		LABEL(check_all) /* one more step's time is enough for all four */
		"nop\n nop\n nop\n in r11, %[pinc]\n in r13, %[pinb]\n in r10, %[pinf]\n lds r12, %[pink]\n"
		DIFFERENCE("", "r10") "mov r0, r24\n" DIFFERENCE("", "r11") "or r0, r24\n"
		DIFFERENCE("", "r12") "or r0, r24\n" DIFFERENCE("", "r13") "or r0, r24\n"
		"brne 2b\n" NEXT
		LABEL(verdict) "brtc 1f\n rjmp 3f\n 1:" NEXT
		LABEL(whole) "cli\n" NEXT
		LABEL(part) "sei\n" NEXT
		LABEL(join_a) JOIN_IO(pina, ddra) NEXT
		LABEL(join_c) JOIN_IO(pinc, ddrc) NEXT
		LABEL(join_l) JOIN_L NEXT
		LABEL(join_b) JOIN_IO(pinb, ddrb) NEXT
		LABEL(join_all) JOIN_IO(pina, ddra) JOIN_IO(pinc, ddrc) JOIN_L JOIN_IO(pinb, ddrb) NEXT
		LABEL(leave_a) LEAVE_IO(pina, ddra) NEXT
		LABEL(leave_c) LEAVE_IO(pinc, ddrc) NEXT
		LABEL(leave_l) LEAVE_L NEXT
		LABEL(leave_b) LEAVE_IO(pinb, ddrb) NEXT
		LABEL(leave_all) LEAVE_IO(pina, ddra) LEAVE_IO(pinc, ddrc) LEAVE_L LEAVE_IO(pinb, ddrb) NEXT
		LABEL(near_read_f) NEAR_OPENS "ld r24, X+\n 1: dec r24\n brne 1b\n"
		DIFFERENCE("in r10, %[pinf]\n", "r10") "brne 4f\n"
		"5:" AWAY_IO(pina, "r20") AWAY_L "sei\n" NEXT
		LABEL(near_read_k) NEAR_OPENS "ld r24, X+\n 1: dec r24\n brne 1b\n"
		DIFFERENCE("lds r12, %[pink]\n", "r12") "brne 4f\n"
		AWAY_IO(pina, "r20") AWAY_L "sei\n" NEXT
		"4: set\n movw r14, r26\n rjmp 5b\n"
		LABEL(near_write) NEAR_OPENS AWAY_IO(pina, "r20") AWAY_L "sei\n" NEXT
		LABEL(done)
		"brts 6f\n"
		"sbic %[tifr1], %[ocf1a]\n rjmp 7f\n"
		"dec r19\n breq 8f\n"
		"ld r10, Y+\n ld r11, Y+\n ld r12, Y+\n ld r13, Y+\n"
		"sbrs r18, 1\n rjmp 1f\n"
		"eor r20, r10\n eor r21, r11\n eor r22, r12\n eor r23, r13\n"
		"1: sbrs r18, 0\n rjmp 1f\n"
		"out %[pina], r10\n out %[pinc], r11\n sts %[pinl], r12\n out %[pinb], r13\n"
		"1: movw r26, r16\n"
		NEXT
		LABEL(done_near) /* and only what is away changes */
		"brts 6f\n"
		"sbic %[tifr1], %[ocf1a]\n rjmp 7f\n"
		"dec r19\n breq 8f\n"
		"ld r10, Y\n ldd r12, Y+2\n adiw r28, 4\n"
		"eor r20, r10\n eor r22, r12\n"
		"movw r26, r16\n"
		NEXT
		LABEL(done_shows) /* and only that is shown changes */
		"brts 6f\n"
		"sbic %[tifr1], %[ocf1a]\n rjmp 7f\n"
		"dec r19\n breq 8f\n"
		"ld r0, Y+\n out %[pina], r0\n ld r0, Y+\n out %[pinc], r0\n ld r0, Y+\n sts %[pinl], r0\n ld r0, Y+\n out %[pinb], r0\n"
		"movw r26, r16\n"
		NEXT
		"6: sbiw r26, 2\n" /* it is to be ended when this was reported */
		"3: movw r24, r14\n rjmp 9f\n"
		"7: dec r19\n"
		"8: clr r24\n clr r25\n"
		"9: pop r31\n pop r30\n"
		"std Z+%[deltas], r28\n std Z+%[deltas]+1, r29\n"
		"std Z+%[away], r20\n   std Z+%[away]+1, r21\n std Z+%[away]+2, r22\n std Z+%[away]+3, r23\n"
		"std Z+%[cells], r19\n"
		"std Z+%[sample], r10\n std Z+%[sample]+1, r11\n std Z+%[sample]+2, r12\n std Z+%[sample]+3, r13\n"
		"sts %[resume], r26\n   sts %[resume]+1, r27\n"
		"pop r29\n pop r28\n pop r17\n pop r16\n pop r15\n pop r14\n pop r13\n pop r12\n pop r11\n pop r10\n"
		"ret\n"
		:
		: [pina] "I"(_SFR_IO_ADDR(PINA)), [pinb] "I"(_SFR_IO_ADDR(PINB)), [pinc] "I"(_SFR_IO_ADDR(PINC)),
		  [pinf] "I"(_SFR_IO_ADDR(PINF)), [pinl] "i"(_SFR_MEM_ADDR(PINL)), [pink] "i"(_SFR_MEM_ADDR(PINK)),
		  [ddra] "I"(_SFR_IO_ADDR(DDRA)), [ddrb] "I"(_SFR_IO_ADDR(DDRB)), [ddrc] "I"(_SFR_IO_ADDR(DDRC)),
		  [ddrl] "i"(_SFR_MEM_ADDR(DDRL)), [tifr1] "I"(_SFR_IO_ADDR(TIFR1)), [ocf1a] "I"(OCF1A),
		  [deltas] "i"(DELTAS), [away] "i"(AWAY), [cells] "i"(CELLS), [shows] "i"(SHOWS), [moves] "i"(MOVES),
		  [sample] "i"(SAMPLE), [resume] "i"(&resume));
}
#pragma GCC diagnostic pop

/* Number of the access whose sample was found differing at at. */
static uint8_t access_at(const uint8_t *at)
{
	uint8_t n = 0;

	while (begins[n + 1] < at) {
		n++;
	}
	return n;
}

bool board_walk(struct walk *w)
{
	const uint8_t *begin = begins[w->first];
	const uint8_t *found = walk_steps(w, w->begins ? begin : resume, begin);

	w->begins = false;
	if (found == NULL) {
		return true;
	}
	w->stopped = access_at(found);
	return false;
}
