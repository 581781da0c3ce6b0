/* From one code of a count to the next, what changes depends on the lowest bit
 * that is 1 in the number of the step alone: in a Gray code that bit, in a binary
 * one it and all below. So there is a word to flip for each, and a step looks one
 * up. */
#include "sweep.h"

#include "board.h"
#include "fitted.h"
#include "signature.h"
#include "socket.h"

enum {
	GUARD_US = 330,      /* longest time between two looks at the current, to a first order */
	STEP_16THS = 74,     /* what a step takes beside its settling, 1/16 µs: so 64 with half a µs fit in between */
	STATED_16THS = 5 * 16 /* and what SPEC.md says of it */
};

/* A sweep as SPEC.md lays it out. */
struct layout {
	bool gray;
	uint8_t pins;
	uint16_t settle; /* 1/16 µs */
	uint32_t direction, level, start, count;
	uint16_t block;
	uint32_t mask;
	const uint8_t *positions;
};

/* Words to flip, by the lowest bit that is 1 in the number of the step; the last
 * is for all the bits above those that are swept. */
static uint32_t flips[MOST_SWEPT + 1];

static bool read_layout(struct layout *s, const uint8_t *payload, uint16_t length)
{
	if (length < SWEEP_HEADER_LEN) {
		return false;
	}
	s->gray = (payload[0] & SWEEP_GRAY) != 0;
	s->pins = payload[1];
	s->settle = get_u16(payload + 2);
	s->direction = get_u32(payload + 4);
	s->level = get_u32(payload + 8);
	s->start = get_u32(payload + 12);
	s->count = get_u32(payload + 16);
	s->block = get_u16(payload + 20);
	s->mask = get_u32(payload + 24);
	s->positions = payload + SWEEP_HEADER_LEN;
	return (payload[0] & ~SWEEP_GRAY) == 0 && get_u16(payload + 22) == 0 && s->pins >= 1 && s->pins <= MOST_SWEPT &&
	       length - SWEEP_HEADER_LEN == s->pins && s->count > 0 && s->block > 0;
}

/* Whether a sweep may run, as far as its positions go; swept becomes their word. */
static enum refusal may_sweep(const struct layout *s, uint32_t *swept, uint32_t *detail)
{
	bool missing = false;
	enum refusal refusal;
	uint8_t i;

	*swept = 0;
	for (i = 0; i < s->pins; i++) {
		uint32_t bit = position_bit(s->positions[i]);

		if (*swept & bit) {
			return BAD_PAYLOAD;
		}
		missing = missing || bit == 0;
		*swept |= bit;
	}
	*detail = ((s->direction | s->mask) & ~fitted.positions) | (*swept & ~s->direction);
	if (missing || *detail != 0) {
		return BAD_POSITION;
	}
	refusal = socket_may_drive(s->direction, detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	*detail = 0;
	return socket_now()->high == 0 ? NOT_POWERED : ACCEPTED;
}

static enum refusal may_take(const struct layout *s, uint32_t *detail)
{
	*detail = MOST_SIGNATURES;
	if ((s->count - 1) / s->block >= MOST_SIGNATURES) {
		return LIMIT;
	}
	*detail = MAX_BUSY_MS;
	return s->count > MAX_BUSY_MS * UINT32_C(16000) / (STATED_16THS + (uint32_t)s->settle) ? LIMIT : ACCEPTED;
}

/* Fills flips, and gives the levels of the swept positions in the first step. */
static uint32_t prepare(const struct layout *s)
{
	uint32_t code = s->gray ? s->start ^ s->start >> 1 : s->start;
	uint32_t level = 0, below = 0;
	uint8_t i;

	for (i = 0; i < s->pins; i++) {
		uint32_t bit = position_bit(s->positions[i]);

		if (code & 1) {
			level |= bit;
		}
		code >>= 1;
		flips[i] = bit | below;
		if (!s->gray) {
			below |= bit;
		}
	}
	flips[i] = below;
	return level;
}

/* What changes in step 4 × quarter, quarter > 0. */
static inline uint32_t flip_of_fourth(uint32_t quarter, uint8_t pins)
{
	uint8_t low = (uint8_t)quarter;
	uint8_t n = 2;

	for (; low == 0 && n < MOST_SWEPT; low = (uint8_t)quarter) {
		quarter >>= 8;
		n = (uint8_t)(n + 8);
	}
	if (low == 0) {
		return flips[pins];
	}
	for (; (low & 1) == 0; low >>= 1) {
		n++;
	}
	return flips[n < pins ? n : pins];
}

__attribute__((noinline)) static uint32_t flip_of(uint32_t i, uint8_t pins)
{
	if (i & 1) {
		return flips[0];
	}
	return i & 2 ? flips[1] : flip_of_fourth(i >> 2, pins);
}

static inline uint32_t step(uint32_t flip, uint16_t settle, uint32_t mask, uint32_t signature)
{
	board_flip(flip);
	board_wait_16ths(settle);
	return signature_fold(signature, board_sample_of(mask));
}

/* Keeps the compiler from moving what changes these bytes to before or behind this place. */
static inline void fix(uint8_t *b3, uint8_t *b1, uint8_t *b0)
{
	__asm__ volatile("" : "+r"(*b3), "+r"(*b1), "+r"(*b0));
}

/* The same with the bytes of the signature apart, the highest first: they change
 * places without being moved. The signature is shifted while the socket settles. */
__attribute__((always_inline)) static inline void step_apart(uint32_t flip, uint16_t left, uint32_t mask, uint8_t *b3, uint8_t *b2, uint8_t *b1, uint8_t *b0)
{
	uint32_t sample;

	board_flip(flip);
	fix(b3, b1, b0);
	signature_shift(b3, b1, b0);
	fix(b3, b1, b0);
	if (left > 0) {
		board_wait_16ths(left);
	}
	sample = board_sample_of(mask);
	*b2 ^= (uint8_t)(sample >> 24);
	*b1 ^= (uint8_t)(sample >> 16);
	*b0 ^= (uint8_t)(sample >> 8);
	*b3 ^= (uint8_t)sample;
}

/* Steps from number i on, of which the one before is driven: the loop that the
 * speed of a sweep hangs on. Of four steps only one needs a look at its number. Left is
 * what is left of the settling when the signature is shifted. */
__attribute__((always_inline)) static inline uint32_t steps_apart(uint32_t i, uint8_t count, const struct layout *s, uint32_t signature, uint16_t left)
{
	uint32_t mask = s->mask, first = flips[0];
	uint16_t settle = s->settle;
	uint8_t pins = s->pins;
	uint32_t quarter;
	uint8_t b0, b1, b2, b3;

	for (; count > 0 && (i & 3) != 0; count--) {
		signature = step(flip_of(i, pins), settle, mask, signature);
		i++;
	}
	b0 = (uint8_t)signature;
	b1 = (uint8_t)(signature >> 8);
	b2 = (uint8_t)(signature >> 16);
	b3 = (uint8_t)(signature >> 24);
	for (quarter = i >> 2; count >= 4; quarter++) {
		step_apart(flip_of_fourth(quarter, pins), left, mask, &b3, &b2, &b1, &b0);
		step_apart(first, left, mask, &b2, &b1, &b0, &b3);
		step_apart(flips[1], left, mask, &b1, &b0, &b3, &b2);
		step_apart(first, left, mask, &b0, &b3, &b2, &b1);
		count = (uint8_t)(count - 4);
	}
	signature = b0 | (uint32_t)b1 << 8 | (uint32_t)b2 << 16 | (uint32_t)b3 << 24;
	for (i = quarter << 2; count > 0; count--) {
		signature = step(flip_of(i, pins), settle, mask, signature);
		i++;
	}
	return signature;
}

/* With and without a wait. Not inlined, so that each has all registers of the MCU to itself. */
__attribute__((noinline)) static uint32_t run_waiting(uint32_t i, uint8_t count, const struct layout *s, uint32_t signature)
{
	return steps_apart(i, count, s, signature, board_left_16ths(s->settle));
}

__attribute__((noinline)) static uint32_t run_at_once(uint32_t i, uint8_t count, const struct layout *s, uint32_t signature)
{
	return steps_apart(i, count, s, signature, 0);
}

/* One step that settles longer than the current may go unwatched, or is the first. */
static enum refusal run_slow(uint32_t flip, const struct layout *s, uint32_t *signature)
{
	enum refusal refusal;

	board_flip(flip);
	refusal = socket_wait_us((uint16_t)((s->settle + UINT32_C(15)) / 16));
	*signature = signature_fold(*signature, board_sample() & s->mask);
	return refusal;
}

/* The steps between two looks at the current: 1, or fours. */
static uint8_t steps_a_look(uint16_t settle)
{
	uint16_t most = (uint16_t)(GUARD_US * UINT32_C(16) / (STEP_16THS + (uint32_t)settle));

	if (most < 4) {
		return 1;
	}
	return (uint8_t)(most & ~3u);
}

static enum refusal steps(const struct layout *s, uint8_t **reply)
{
	uint8_t most = steps_a_look(s->settle);
	uint32_t signature = SIGNATURE_START;
	uint32_t i = s->start, left = s->count;
	uint16_t in_block = s->block;
	bool at_once = board_left_16ths(s->settle) == 0;

	while (left > 0) {
		enum refusal refusal = ACCEPTED;
		uint8_t now = most;

		if (in_block < now) {
			now = (uint8_t)in_block;
		}
		if (left < now) {
			now = (uint8_t)left;
		}
		if (left == s->count) { /* it is driven already */
			now = 1;
			refusal = run_slow(0, s, &signature);
		} else if (most == 1) {
			refusal = run_slow(flip_of(i, s->pins), s, &signature);
		} else {
			signature = at_once ? run_at_once(i, now, s, signature) : run_waiting(i, now, s, signature);
		}
		if (refusal == ACCEPTED) {
			refusal = socket_guard();
		}
		if (refusal != ACCEPTED) {
			return refusal;
		}
		board_watchdog();
		i += now;
		left -= now;
		in_block = (uint16_t)(in_block - now);
		if (in_block == 0 || left == 0) {
			*reply = put_u32(*reply, signature);
			signature = SIGNATURE_START;
			in_block = s->block;
		}
	}
	return ACCEPTED;
}

enum refusal sweep(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail)
{
	struct layout s;
	uint32_t swept, level;
	enum refusal refusal;

	*detail = length;
	if (!read_layout(&s, payload, length)) {
		return BAD_PAYLOAD;
	}
	refusal = may_sweep(&s, &swept, detail);
	if (refusal == BAD_PAYLOAD) {
		*detail = length;
	}
	if (refusal == ACCEPTED) {
		refusal = may_take(&s, detail);
	}
	if (refusal != ACCEPTED) {
		return refusal;
	}
	level = prepare(&s) | (s.level & ~swept);
	socket_drive(s.direction, level);
	refusal = steps(&s, reply);
	if (refusal != ACCEPTED) {
		*detail = socket_now()->reason;
	}
	return refusal;
}
