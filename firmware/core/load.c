/* Loads a pattern program. Everything is checked here and in check.c, so running it needs no checks. */
#include "load.h"

#include <stddef.h>

#include "board.h"
#include "check.h"
#include "fitted.h"
#include "program.h"
#include "socket.h"

enum {
	STRETCH_MS = 100,    /* longest stretch */
	ROW_US = 8,          /* twice what the refresh of a row takes, */
	ROW_LATE_US = 1,     /* and how much longer than in the one before, by interrupts */
	LATE_US = 230,       /* longest time between two checks of the refresh outside of RUN */
	LONGEST_REFRESH_US = 32000,
	SET_CLOCK_US = 20,   /* least time between two refreshes beside their own */
	BYTES_A_LOOK = 64    /* copied between two checks of current and refresh */
};

/* Reads a group, whose nibbles begin with number first; nothing if it is none. */
static const uint8_t *read_group(struct group *g, uint8_t first, const uint8_t *at, const uint8_t *end, struct findings *f)
{
	nibble *n = &program_nibbles[first];
	uint8_t i, v;

	if (at == end) {
		return NULL;
	}
	g->bits = *at;
	at++;
	if (g->bits < 1 || g->bits > MOST_GROUP_BITS || (size_t)(end - at) < g->bits || first + (g->bits + 3) / 4 > MOST_NIBBLES) {
		return NULL;
	}
	g->nibbles = (uint16_t)(first * sizeof(nibble));
	g->word = 0;
	g->mask = 0;
	for (i = 0; i < (g->bits + 3) / 4 * 4; i++) {
		uint32_t bit = i < g->bits ? position_bit(at[i]) : 0;
		uint32_t *without = n[i / 4];
		uint8_t count = (uint8_t)(1u << (i % 4));

		f->missing = f->missing || (bit == 0 && i < g->bits);
		if (g->mask & bit) {
			return NULL;
		}
		g->mask |= bit;
		without[0] = 0;
		/* The values with this bit are those without, and it. */
		for (v = 0; v < count; v++) {
			without[count + v] = without[v] | bit;
		}
		f->broken = refresh_watch(); /* a whole group takes too long */
		if (f->broken != ACCEPTED) {
			break;
		}
	}
	return at + g->bits;
}

static const uint8_t *read_groups(struct program *p, const uint8_t *at, const uint8_t *end, struct findings *f)
{
	uint8_t used = 0;
	uint8_t i;

	for (i = 0; i < p->group_count && at != NULL && f->broken == ACCEPTED; i++) {
		at = read_group(&program_groups[i], used, at, end, f);
		used = (uint8_t)(used + (program_groups[i].bits + 3) / 4);
	}
	return at;
}

/* Reads the fields before the groups. */
static bool read_header(struct program *p, const uint8_t *at)
{
	p->group_count = at[1];
	p->settle = get_u16(at + 2);
	p->lasting = p->settle > UINT8_MAX;
	p->brief = 0;
	if (!p->lasting) {
		p->brief = (uint8_t)p->settle;
	}
	p->direction = get_u32(at + 4);
	p->level = get_u32(at + 8) & p->direction;
	p->mask = get_u32(at + 12);
	return p->group_count <= MOST_GROUPS;
}

/* Reads the refresh, whose rows' address is in a group that was read. */
static bool read_refresh(struct program *p, const uint8_t *at, struct findings *f)
{
	struct refresh *r = &p->refresh;
	uint16_t period = get_u16(at + 16);
	uint8_t bits = at[18], group = at[19];
	uint8_t i;

	r->after = 0;
	r->rows = 0;
	r->address = 0;
	r->strobe = get_u32(at + 20);
	if (period == 0) {
		return bits == 0 && group == 0 && r->strobe == 0;
	}
	if (period > LONGEST_REFRESH_US || bits < LEAST_ROW_BITS || bits > MOST_ROW_BITS || group >= p->group_count ||
	    bits > program_groups[group].bits || r->strobe == 0 || (r->strobe & (r->strobe - 1)) != 0) {
		return false;
	}
	r->rows = (uint16_t)(1u << bits);
	for (i = 0; i <= MOST_ROW_BITS; i++) {
		r->bits[i] = 0;
	}
	for (i = 0; i < bits && f->broken == ACCEPTED; i++) {
		r->bits[i] = group_word(&program_groups[group], (uint16_t)(1u << i));
		r->address |= r->bits[i];
		f->broken = refresh_watch();
	}
	r->last = r->bits[bits - 1];
	f->touched |= r->address | r->strobe;
	return (r->address & r->strobe) == 0;
}

/* Copies the code; all of it at once takes too long. False if that was aborted. */
static bool copy_code(const uint8_t *at, uint16_t length, struct findings *f)
{
	uint16_t done = 0;

	while (done < length && f->broken == ACCEPTED) {
		uint16_t part = (uint16_t)(length - done);

		if (part > BYTES_A_LOOK) {
			part = BYTES_A_LOOK;
		}
		__builtin_memcpy(program_code + done, at + done, part);
		done = (uint16_t)(done + part);
		f->broken = refresh_watch();
	}
	return f->broken == ACCEPTED;
}

/* The refusal for positions, if there is one. */
static enum refusal may_touch(const struct program *p, const struct findings *f, uint32_t *detail)
{
	uint32_t named = p->direction | p->mask | f->touched;
	enum refusal refusal;
	uint8_t i;

	for (i = 0; i < p->group_count; i++) {
		named |= program_groups[i].mask;
	}
	*detail = (named & ~fitted.positions) | (f->touched & ~(p->direction & ~f->released)) | (f->turned & (p->direction | f->driven)) | f->unmeasured;
	if (*detail != 0 || f->missing) {
		return BAD_POSITION;
	}
	refusal = socket_may_drive(p->direction | f->driven | f->turned, detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	*detail = 0;
	return socket_now()->high == 0 ? NOT_POWERED : ACCEPTED;
}

static enum refusal may_take(struct program *p, const struct findings *f, uint16_t period_us, uint32_t *detail)
{
	uint32_t least_us = f->longest_us + LATE_US + SET_CLOCK_US + (uint32_t)ROW_US * p->refresh.rows;

	*detail = STRETCH_MS;
	if (f->longest_us > STRETCH_MS * UINT32_C(1000)) {
		return LIMIT;
	}
	*detail = MAX_REPLY_PAYLOAD - RUN_REPLY_LEN;
	if (f->most_output > MAX_REPLY_PAYLOAD - RUN_REPLY_LEN) {
		return LIMIT;
	}
	p->most_output = (uint16_t)f->most_output;
	if (period_us == 0) {
		return ACCEPTED;
	}
	*detail = least_us;
	if (period_us < least_us) {
		return LIMIT;
	}
	p->refresh.after = (uint16_t)(2 * (period_us - f->longest_us - LATE_US - (uint32_t)ROW_LATE_US * p->refresh.rows));
	return ACCEPTED;
}

enum refusal load(const uint8_t *payload, uint16_t length, uint32_t *detail)
{
	struct program *p = &program;
	static const struct findings none;
	struct findings f = none;
	const uint8_t *end = payload + length;
	const uint8_t *at;
	bool sound = false;
	enum refusal refusal;

	p->loaded = false;
	*detail = length;
	if (length < LOAD_HEADER_LEN || !read_header(p, payload)) {
		return BAD_PAYLOAD;
	}
	at = read_groups(p, payload + LOAD_HEADER_LEN, end, &f);
	if (at != NULL && at != end && f.broken == ACCEPTED && read_refresh(p, payload, &f)) {
		p->length = (uint16_t)(end - at);
		sound = copy_code(at, p->length, &f) && check_code(p, &f);
	}
	if (f.broken != ACCEPTED) {
		*detail = socket_now()->reason;
		return f.broken;
	}
	if (f.crowded) {
		*detail = f.accesses;
		return LIMIT;
	}
	if (!sound) {
		return BAD_PAYLOAD;
	}
	refusal = may_touch(p, &f, detail);
	if (refusal == ACCEPTED) {
		refusal = may_take(p, &f, get_u16(payload + 16), detail);
	}
	p->loaded = refusal == ACCEPTED;
	return refusal;
}
