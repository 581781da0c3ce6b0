/* The walk over the cells of a memory: what the time of its test hangs on.
 *
 * Its steps (steps.c) are walked in assembly: the compiler would need three times as long for it. Meanwhile
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
 * To go to the next step takes 6 cycles. Steps that wait fetch it meanwhile. */
#include <avr/interrupt.h>
#include <stddef.h>

#include "board.h"
#include "pins.h"
#include "steps.h"

/* Where a walk that stopped goes on. */
static const uint8_t *resume __attribute__((used));

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
#define TOGGLE_a TOGGLE_IO(pina)
#define TOGGLE_c TOGGLE_IO(pinc)
#define TOGGLE_l TOGGLE_L
#define TOGGLE_b TOGGLE_IO(pinb)
#define BACK_a "out %[pina], r0\n"
#define BACK_c "out %[pinc], r0\n"
#define BACK_l "sts %[pinl], r0\n"
#define BACK_b "out %[pinb], r0\n"
#define JOIN_a JOIN_IO(pina, ddra)
#define JOIN_c JOIN_IO(pinc, ddrc)
#define JOIN_l JOIN_L
#define JOIN_b JOIN_IO(pinb, ddrb)
#define LEAVE_a LEAVE_IO(pina, ddra)
#define LEAVE_c LEAVE_IO(pinc, ddrc)
#define LEAVE_l LEAVE_L
#define LEAVE_b LEAVE_IO(pinb, ddrb)
#define SAMPLE_a "in r10, %[pinf]\n eor r24, r10\n"
#define SAMPLE_c "in r11, %[pinc]\n eor r24, r11\n"
#define SAMPLE_l "lds r12, %[pink]\n eor r24, r12\n"
#define SAMPLE_b "in r13, %[pinb]\n eor r24, r13\n"
#define TURNS "ld r24, X+\n 1: dec r24\n brne 1b\n"
/* Whether a sample, which is taken meanwhile, differs at positions: level and mask are the
 * next bytes. */
#define DIFFERENCE(samples, sample) "ld r24, X+\n ld r25, X+\n" samples "eor r24, " sample "\n and r24, r25\n"

/* The first three words, of near positions. */
#define NEAR_OPENS "cli\n" TOGGLE_IO(pina) TOGGLE_L AWAY_IO(pina, "r20") AWAY_L TOGGLE_IO(pina) TOGGLE_L

#define STEP_OF_PORT(p) \
	LABEL(p) TOGGLE_##p NEXT \
	LABEL(pulse_##p) TOGGLE_##p TURNS "ld r30, X+\n ld r31, X+\n" BACK_##p "ijmp\n" \
	LABEL(join_##p) JOIN_##p NEXT \
	LABEL(leave_##p) LEAVE_##p NEXT
/* With the next step fetched, X is two bytes behind the sample's. */
#define STEP_OF_PAIR(p, q) \
	LABEL(open_##p##q) TOGGLE_##p JOIN_##q NEXT \
	LABEL(read_##p##q) TOGGLE_##p TURNS "ld r24, X+\n ld r25, X+\n ld r30, X+\n ld r31, X+\n" \
	SAMPLE_##q "and r24, r25\n brne 1f\n 2:" BACK_##p "ijmp\n" \
	"1: set\n sbiw r26, 2\n movw r14, r26\n adiw r26, 2\n rjmp 2b\n" \
	LABEL(close_##p##q) LEAVE_##q TOGGLE_##p NEXT

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
		STEPS_OF_PORTS(STEP_OF_PORT)
		STEPS_OF_PAIRS(STEP_OF_PAIR)
		LABEL(all) TOGGLE_IO(pina) TOGGLE_IO(pinc) TOGGLE_L TOGGLE_IO(pinb) NEXT
		LABEL(away_near) AWAY_IO(pina, "r20") AWAY_L NEXT
		LABEL(away) AWAY_IO(pina, "r20") AWAY_IO(pinc, "r21") AWAY_L AWAY_IO(pinb, "r23") NEXT
		LABEL(wait) TURNS NEXT
		LABEL(check_a) DIFFERENCE("in r10, %[pinf]\n", "r10") "brne 2f\n" NEXT
		LABEL(check_c) DIFFERENCE("in r11, %[pinc]\n", "r11") "brne 2f\n" NEXT
		LABEL(check_l) DIFFERENCE("lds r12, %[pink]\n", "r12") "brne 2f\n" NEXT
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
		LABEL(join_all) JOIN_IO(pina, ddra) JOIN_IO(pinc, ddrc) JOIN_L JOIN_IO(pinb, ddrb) NEXT
		LABEL(leave_all) LEAVE_IO(pina, ddra) LEAVE_IO(pinc, ddrc) LEAVE_L LEAVE_IO(pinb, ddrb) NEXT
		LABEL(near_read_f) NEAR_OPENS TURNS
		DIFFERENCE("in r10, %[pinf]\n", "r10") "brne 4f\n"
		"5:" AWAY_IO(pina, "r20") AWAY_L "sei\n" NEXT
		LABEL(near_read_k) NEAR_OPENS TURNS
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
		"6: sbiw r26, 2\n" /* it is to be ended when this was reported */
		"3: movw r24, r14\n rjmp 9f\n"
		"7: dec r19\n"
		"8: clr r24\n clr r25\n rjmp 9f\n"
		LABEL(done_shows) /* and only that is shown changes */
		"brts 6b\n"
		"sbic %[tifr1], %[ocf1a]\n rjmp 7b\n"
		"dec r19\n breq 8b\n"
		"ld r0, Y+\n out %[pina], r0\n ld r0, Y+\n out %[pinc], r0\n ld r0, Y+\n sts %[pinl], r0\n ld r0, Y+\n out %[pinb], r0\n"
		"movw r26, r16\n"
		NEXT
		LABEL(done_shows_near)
		"brts 6b\n"
		"sbic %[tifr1], %[ocf1a]\n rjmp 7b\n"
		"dec r19\n breq 8b\n"
		"ld r0, Y\n out %[pina], r0\n ldd r0, Y+2\n sts %[pinl], r0\n adiw r28, 4\n"
		"movw r26, r16\n"
		NEXT
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

	while (steps_begin[n + 1] < at) {
		n++;
	}
	return n;
}

bool board_walk(struct walk *w)
{
	const uint8_t *begin = steps_begin[w->first];
	const uint8_t *found = walk_steps(w, w->begins ? begin : resume, begin);

	w->begins = false;
	if (found == NULL) {
		return true;
	}
	w->stopped = access_at(found);
	return false;
}
