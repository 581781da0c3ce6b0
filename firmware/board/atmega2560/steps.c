/* Translates accesses, at LOAD, into steps that touch only the ports which they need. */
#include "steps.h"

#include <avr/pgmspace.h>

#include "board.h"

enum {
	STEP_LEN = 2,
	/* The longest access: ALL, JOIN_ALL, AWAY, ALL, WAIT, AWAY, LEAVE_ALL, ALL, two for
	 * interrupts, one for the end. Most need half as much. */
	LONGEST_ACCESS = 3 * (STEP_LEN + 4) + 2 * (STEP_LEN + 8) + 2 * (STEP_LEN + 4) + (STEP_LEN + 1) + 3 * STEP_LEN,
	ROOM = (LEAST_ACCESSES + 3) * LONGEST_ACCESS /* enough for MOST_ACCESSES of all memories of the library */
};

static uint8_t steps[ROOM];
const uint8_t *steps_begin[MOST_ACCESSES + 1];
static bool sampled; /* an access of the cell samples already */

#define STEP(name) extern void step_##name(void);
#define STEP_OF_PORT(p) STEP(p) STEP(pulse_##p) STEP(check_##p) STEP(join_##p) STEP(leave_##p)
#define STEP_OF_PAIR(p, q) STEP(open_##p##q) STEP(read_##p##q) STEP(close_##p##q)
STEPS_OF_PORTS(STEP_OF_PORT)
STEPS_OF_PAIRS(STEP_OF_PAIR)
STEP(all)
STEP(away_near)
STEP(away)
STEP(wait)
STEP(check_all)
STEP(take)
STEP(verdict)
STEP(whole)
STEP(part)
STEP(join_all)
STEP(leave_all)
STEP(near_read_f)
STEP(near_read_k)
STEP(near_write)
STEP(done)
STEP(done_near)
STEP(done_shows)
STEP(done_shows_near)

/* Tables of steps: by port; by two ports, the second one counting. They are kept in flash. */
typedef void step(void);

#define TOGGLE(p) step_##p,
#define PULSE(p) step_pulse_##p,
#define CHECK(p) step_check_##p,
#define JOIN(p) step_join_##p,
#define LEAVE(p) step_leave_##p,
#define OPEN(p, q) step_open_##p##q,
#define READ(p, q) step_read_##p##q,
#define CLOSE(p, q) step_close_##p##q,
static step *const toggles[] PROGMEM = {STEPS_OF_PORTS(TOGGLE)};
static step *const pulses[] PROGMEM = {STEPS_OF_PORTS(PULSE)};
static step *const checks[] PROGMEM = {STEPS_OF_PORTS(CHECK) step_check_all};
static step *const joins[] PROGMEM = {STEPS_OF_PORTS(JOIN) step_join_all};
static step *const leaves[] PROGMEM = {STEPS_OF_PORTS(LEAVE) step_leave_all};
static step *const opens[] PROGMEM = {STEPS_OF_PAIRS(OPEN)};
static step *const reads[] PROGMEM = {STEPS_OF_PAIRS(READ)};
static step *const closes[] PROGMEM = {STEPS_OF_PAIRS(CLOSE)};

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
	NEAR_READ_CYCLES = 6, /* with one turn */
	PULSE_CYCLES = 6,     /* likewise */
	READ_CYCLES = 10
};

static uint8_t *put_address(uint8_t *at, uint16_t address)
{
	*at++ = (uint8_t)address;
	*at++ = (uint8_t)(address >> 8);
	return at;
}

static uint8_t *put_step(uint8_t *at, step *s)
{
	return put_address(at, (uint16_t)s);
}

/* Step number n of a table. */
static uint8_t *put_step_of(uint8_t *at, step *const *table, uint8_t n)
{
	return put_address(at, pgm_read_word(table + n));
}

/* A word's bytes lie in memory in the order of the ports. */
static inline const uint8_t *bytes_of(const uint32_t *word)
{
	return (const uint8_t *)word;
}

enum { PORTS = 4, MORE = PORTS };

/* Number of the one byte of a word that is not 0; MORE if there is not just one. */
static uint8_t only_byte(const uint32_t *of)
{
	const uint8_t *word = bytes_of(of);

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
static uint8_t *put_toggle(uint8_t *at, const uint32_t *of, bool moves, bool near)
{
	const uint8_t *word = bytes_of(of);
	uint8_t n = only_byte(of);

	if (moves && near) {
		at = put_step(at, step_away_near);
		*at++ = word[0];
		*at++ = word[2];
		return at;
	}
	if (!moves) {
		if (*of == 0) {
			return at;
		}
		if (n != MORE) {
			at = put_step_of(at, toggles, n);
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
static uint8_t *put_ports(uint8_t *at, const uint32_t *mask, const uint32_t *one, const uint32_t *other, step *const *table)
{
	uint8_t n = only_byte(mask), i;

	at = put_step_of(at, table, n);
	for (i = 0; i < PORTS; i++) {
		if (n == i || n == MORE) {
			*at++ = bytes_of(one)[i];
			*at++ = bytes_of(other)[i];
		}
	}
	return at;
}

/* The turns of a wait of which the first takes the cycles of one, and with what surrounds it
 * the cycles of least. */
static uint8_t turns(uint8_t pause, uint8_t least)
{
	return pause > least ? (uint8_t)((pause - least + WAIT_CYCLES - 1) / WAIT_CYCLES + 1) : 1;
}

/* Toggles the first word, and drives what is turned. */
static uint8_t *put_opening(uint8_t *at, const struct access *a, bool near)
{
	uint8_t first = only_byte(&a->first), turned = only_byte(&a->mask);

	if (a->kind != ACCESS_TURNED) {
		return put_toggle(at, &a->first, false, near);
	}
	if (first != MORE && turned != MORE) {
		at = put_step_of(at, opens, (uint8_t)(PORTS * first + turned));
		*at++ = bytes_of(&a->first)[first];
		*at++ = bytes_of(&a->word)[turned];
		*at++ = bytes_of(&a->mask)[turned];
		return at;
	}
	return put_ports(put_toggle(at, &a->first, false, near), &a->mask, &a->word, &a->mask, joins);
}

/* Releases what is turned, and toggles the last word. */
static uint8_t *put_closing(uint8_t *at, const struct access *a, bool near)
{
	uint8_t last = only_byte(&a->fifth), turned = only_byte(&a->mask);
	uint32_t others = ~a->mask;

	if (a->kind != ACCESS_TURNED) {
		return put_toggle(at, &a->fifth, false, near);
	}
	if (last != MORE && turned != MORE) {
		at = put_step_of(at, closes, (uint8_t)(PORTS * last + turned));
		*at++ = bytes_of(&others)[turned];
		*at++ = bytes_of(&a->word)[turned];
		*at++ = bytes_of(&a->fifth)[last];
		return at;
	}
	return put_toggle(put_ports(at, &a->mask, &others, &a->word, leaves), &a->fifth, false, near);
}

/* Toggles the third word, waits, samples, and toggles the fourth. */
static uint8_t *put_middle(uint8_t *at, const struct access *a, bool near)
{
	uint8_t n = only_byte(&a->third), seen = only_byte(&a->mask), least = WRITE_CYCLES;
	bool pulse = n != MORE && a->third == a->fourth && !a->moves;

	if (pulse && a->kind < ACCESS_CHECK) {
		at = put_step_of(at, pulses, n);
		*at++ = bytes_of(&a->third)[n];
		*at++ = turns(a->pause, PULSE_CYCLES);
		return at;
	}
	if (pulse && a->kind == ACCESS_CHECK && seen != MORE) {
		at = put_step_of(at, reads, (uint8_t)(PORTS * n + seen));
		*at++ = bytes_of(&a->third)[n];
		*at++ = turns(a->pause, READ_CYCLES);
		*at++ = bytes_of(&a->word)[seen];
		*at++ = bytes_of(&a->mask)[seen];
		return at;
	}
	at = put_toggle(at, &a->third, false, near);
	if (a->kind == ACCESS_CHECK) {
		least = CHECK_CYCLES;
	} else if (a->kind == ACCESS_TAKE) {
		least = TAKE_CYCLES;
	}
	if (a->pause > least) {
		at = put_step(at, step_wait);
		*at++ = turns(a->pause, (uint8_t)(least + WAIT_STEP_CYCLES));
	}
	if (a->kind == ACCESS_CHECK) {
		at = put_ports(at, &a->mask, &a->word, &a->mask, checks);
	} else if (a->kind == ACCESS_TAKE) {
		at = put_step(at, step_take);
	}
	return put_toggle(at, &a->fourth, a->moves, near);
}

/* An access of near positions alone, in one step. */
static uint8_t *put_near(uint8_t *at, const struct access *a)
{
	uint8_t n = bytes_of(&a->mask)[0] != 0 ? 0 : 2;

	at = put_step(at, a->kind == ACCESS_WRITE ? step_near_write : n == 0 ? step_near_read_f : step_near_read_k);
	*at++ = bytes_of(&a->first)[0];
	*at++ = bytes_of(&a->first)[2];
	*at++ = bytes_of(&a->second)[0];
	*at++ = bytes_of(&a->second)[2];
	*at++ = bytes_of(&a->third)[0];
	*at++ = bytes_of(&a->third)[2];
	if (a->kind == ACCESS_CHECK) {
		*at++ = turns(a->pause, NEAR_READ_CYCLES);
		*at++ = bytes_of(&a->word)[n];
		*at++ = bytes_of(&a->mask)[n];
	}
	*at++ = bytes_of(&a->fourth)[0];
	*at++ = bytes_of(&a->fourth)[2];
	return at;
}

#define FAR_BYTES UINT32_C(0xFF00FF00)

/* On to the next cell. */
static uint8_t *put_done(uint8_t *at, const struct access *a)
{
	bool near = (a->positions & FAR_BYTES) == 0;

	if (!a->moves) {
		return put_step(at, near ? step_done_shows_near : step_done_shows);
	}
	return put_step(at, a->only_moves && near ? step_done_near : step_done);
}

bool board_access(uint8_t n, const struct access *a)
{
	uint8_t *at = n == 0 ? steps : steps + (steps_begin[n] - steps);
	bool near = ((a->first | a->second | a->third | a->fourth | a->mask | a->positions) & FAR_BYTES) == 0;
	bool brief = (a->kind == ACCESS_CHECK && only_byte(&a->mask) != MORE) || (a->kind == ACCESS_WRITE && a->pause <= NEAR_WRITE_CYCLES);

	if (n == 0) {
		sampled = false;
		steps_begin[0] = at;
	}
	if (at + LONGEST_ACCESS > steps + sizeof steps) {
		return false;
	}
	if (sampled && a->kind >= ACCESS_CHECK) {
		at = put_step(at, step_verdict); /* on the sample before, before this one's takes its place */
	}
	if (near && a->moves && a->whole && a->fifth == 0 && brief) {
		at = put_near(at, a);
	} else {
		if (a->whole) {
			at = put_step(at, step_whole);
		}
		at = put_opening(at, a, near);
		at = put_toggle(at, &a->second, a->moves, near);
		at = put_middle(at, a, near);
		at = put_closing(at, a, near);
		if (a->whole) {
			at = put_step(at, step_part);
		}
	}
	sampled = sampled || a->kind >= ACCESS_CHECK;
	if (a->last) {
		at = put_done(at, a);
		sampled = false;
	}
	steps_begin[n + 1] = at;
	return true;
}
