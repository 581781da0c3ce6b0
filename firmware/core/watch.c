/* The board looks for edges in one go between two looks at the current. Its clock has
 * 16 bits and turns round every 4 ms: here it is carried on in 32. What an edge costs is
 * time in which the next one is not seen, so they are only put by, and written into the
 * reply at the end. */
#include "watch.h"

#include "board.h"
#include "fitted.h"
#include "measure.h"
#include "socket.h"

enum {
	A_US = 16,           /* of the clock */
	LOOK = 200 * A_US    /* longest time between two looks at the current, to a first order */
};

/* An action as SPEC.md lays it out. */
struct action {
	uint32_t at_us, direction, level;
	struct pulling pulls[PULLS];
};

/* A watch as SPEC.md lays it out. */
struct layout {
	bool halts, unpowered;
	uint8_t watched, edges, measured, averaging, actions;
	uint32_t until_us;
	const uint8_t *at; /* its actions, then its halt */
};

/* A watch under way. */
struct course {
	uint32_t now, start; /* by the clock in 32 bits: the last look, and the first action's drive */
	struct board_eye eye;
	uint8_t edges, actions;    /* up to now */
	uint32_t acted[MOST_ACTIONS]; /* when each was driven */
};

static struct board_edge edges[MOST_EDGES];
static uint8_t turns[MOST_EDGES]; /* the upper bits of their times */

static bool read_action(const uint8_t *at, struct action *a)
{
	a->at_us = get_u32(at);
	a->direction = get_u32(at + 4);
	a->level = get_u32(at + 8);
	return measure_read_pulls(at[12], at + 13, a->pulls);
}

static bool read_layout(struct layout *w, const uint8_t *payload, uint16_t length)
{
	uint16_t actions;

	if (length < WATCH_HEADER_LEN) {
		return false;
	}
	w->halts = (payload[0] & WATCH_HALT) != 0;
	w->unpowered = (payload[0] & WATCH_UNPOWERED) != 0;
	w->watched = payload[1];
	w->until_us = get_u32(payload + 2);
	w->edges = payload[6];
	w->measured = payload[7];
	w->averaging = payload[8];
	w->at = payload + WATCH_HEADER_LEN;
	length = (uint16_t)(length - WATCH_HEADER_LEN);
	actions = (uint16_t)(length / WATCH_ACTION_LEN - (w->halts ? 1 : 0)); /* of none it makes too many */
	w->actions = (uint8_t)actions;
	return (payload[0] & ~(WATCH_HALT | WATCH_UNPOWERED)) == 0 && payload[9] == 0 && length % WATCH_ACTION_LEN == 0 && actions >= 1 &&
	       actions <= MOST_ACTIONS && w->edges >= 1 && w->edges <= MOST_EDGES && w->averaging <= MOST_AVERAGING &&
	       (w->measured != 0 || w->averaging == 0);
}

/* Whether a watch may run, as far as its positions go. */
static enum refusal may_act(const struct layout *w, uint32_t *detail)
{
	uint32_t driven = 0, measured = position_bit(w->measured), watched = position_bit(w->watched);
	uint32_t last_us = 0;
	struct pulling pulls[PULLS] = {{false, 0}, {false, 0}};
	const uint8_t *at = w->at;
	enum refusal refusal;
	uint8_t i;

	for (i = 0; i < w->actions + (w->halts ? 1 : 0); i++) {
		bool halt = i == w->actions;
		struct action a;

		if (!read_action(at, &a) || (i == 0 || halt ? a.at_us != 0 : a.at_us < last_us) || a.at_us >= w->until_us) {
			return BAD_PAYLOAD;
		}
		at += WATCH_ACTION_LEN;
		last_us = a.at_us;
		driven |= a.direction;
		pulls[PULL_BIAS].on |= a.pulls[PULL_BIAS].on;
		pulls[PULL_BIAS].up |= a.pulls[PULL_BIAS].up;
		pulls[PULL_LOAD].on |= a.pulls[PULL_LOAD].on;
		pulls[PULL_LOAD].up |= a.pulls[PULL_LOAD].up;
	}
	*detail = (watched & ~fitted.positions) | (measured & ~socket_measured()) | (watched & driven & ~fitted.sense);
	if (*detail != 0 || watched == 0 || (measured == 0 && w->measured != 0)) {
		return BAD_POSITION;
	}
	refusal = socket_may_pull(pulls, detail);
	return refusal == ACCEPTED ? socket_may_drive(driven, detail) : refusal;
}

static enum refusal may_take(const struct layout *w, uint32_t *detail)
{
	bool near = (position_bit(w->measured) & NEAR_POSITIONS) != 0;
	uint32_t us = 0;

	*detail = 0;
	if (socket_now()->high == 0 && !w->unpowered) {
		return NOT_POWERED;
	}
	if (w->measured != 0) {
		us = measure_voltages_us(near, !near, w->averaging);
	}
	*detail = MAX_BUSY_MS;
	return w->until_us > MAX_BUSY_MS * UINT32_C(1000) - us ? LIMIT : ACCEPTED;
}

/* Carries the clock on, less than a turn after it was last. */
static void carry_on(struct course *c, uint16_t clock)
{
	c->now += (uint16_t)(clock - (uint16_t)c->now);
}

static void act(const struct layout *w, struct course *c)
{
	struct action a;
	uint16_t clock;

	(void)read_action(w->at + WATCH_ACTION_LEN * c->actions, &a); /* it was checked */
	socket_pull(a.pulls);
	if (c->actions == 0) {
		c->now = board_edge_clock();
		c->eye.seen = (uint16_t)c->now;
		c->eye.high = (board_sample() & c->eye.word) != 0;
	}
	clock = socket_drive_at(a.direction, a.level);
	carry_on(c, clock);
	if (c->actions == 0) {
		c->start = c->now;
	}
	c->acted[c->actions] = c->now - c->start;
	c->actions++;
}

/* Looks for edges up to a time; with all actions done and a halt to come, for one. Gives
 * whether it halts, which comes before all else. */
static bool look(const struct layout *w, struct course *c, const struct action *halt, uint32_t until)
{
	uint16_t low = (uint16_t)c->now;
	uint8_t turn = (uint8_t)(c->now >> 16);
	uint8_t from = c->edges, more;
	bool halting = w->halts && c->actions == w->actions;

	more = board_edges(&c->eye, (uint16_t)until, halting ? 1 : (uint8_t)(w->edges - from), edges + from);
	if (halting && more > 0) {
		socket_drive(halt->direction, halt->level);
		socket_pull(halt->pulls);
	}
	for (; more > 0; more--) {
		turns[c->edges] = (uint8_t)(edges[c->edges].at < low ? turn + 1 : turn);
		c->edges++;
	}
	return halting && c->edges > from;
}

/* Acts and looks until it is over, and says why in *stopped. */
static enum refusal run(const struct layout *w, struct course *c, uint8_t *stopped)
{
	struct action halt = {0, 0, 0, {{false, 0}, {false, 0}}};
	enum refusal refusal = ACCEPTED;

	if (w->halts) {
		(void)read_action(w->at + WATCH_ACTION_LEN * w->actions, &halt);
	}
	act(w, c);
	while (refusal == ACCEPTED) {
		uint32_t next = A_US * w->until_us;
		uint32_t passed = c->now - c->start;

		if (c->actions < w->actions) {
			next = A_US * get_u32(w->at + WATCH_ACTION_LEN * c->actions);
		}
		if (passed >= next) {
			if (c->actions == w->actions) {
				*stopped = STOPPED_TIME;
				return ACCEPTED;
			}
			act(w, c);
			continue;
		}
		if (next - passed > LOOK) {
			next = passed + LOOK;
		}
		if (look(w, c, &halt, c->start + next)) {
			*stopped = STOPPED_HALT;
			return ACCEPTED;
		}
		if (c->edges == w->edges) {
			*stopped = STOPPED_EDGES;
			return ACCEPTED;
		}
		carry_on(c, board_edge_clock());
		board_watchdog();
		refusal = socket_guard();
	}
	return refusal;
}

static uint8_t *put_times(uint8_t *at, const struct course *c)
{
	uint8_t i;

	for (i = 0; i < c->actions; i++) {
		at = put_u32(at, c->acted[i]);
	}
	for (i = 0; i < c->edges; i++) {
		at = put_u32(at, ((uint32_t)turns[i] << 16 | edges[i].at) - c->start);
		at = put_u16(at, edges[i].gap);
	}
	return at;
}

/* Watches, then measures, and writes the reply. */
static enum refusal carry_out(const struct layout *w, uint8_t **reply)
{
	struct course c = {0, 0, {position_bit(w->watched), false, 0}, 0, 0, {0}};
	uint8_t channel = 0, stopped = STOPPED_TIME, bit = 0;
	uint16_t mv = 0;
	bool begin;
	enum refusal refusal;
	uint8_t *at = *reply;

	if (w->measured != 0) {
		while (position_bit(w->measured) >> bit != 1) {
			bit++;
		}
		/* Before it matters, for it takes a conversion's time. */
		channel = socket_channel(bit);
		measure_select(channel);
	}
	refusal = run(w, &c, &stopped);
	if (refusal == ACCEPTED && w->measured != 0) {
		refusal = measure_selected(channel, w->averaging, &mv);
	}
	if (refusal != ACCEPTED) {
		return refusal;
	}
	begin = c.eye.high != ((c.edges & 1) != 0);
	at = put_u8(at, begin);
	at = put_u8(at, c.eye.high);
	at = put_u8(at, stopped);
	at = put_u8(at, c.actions);
	at = put_u8(at, c.edges);
	at = put_u8(at, 0);
	at = put_u16(at, mv);
	at = put_u32(at, board_sample());
	*reply = put_times(at, &c);
	return ACCEPTED;
}

enum refusal watch(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail)
{
	struct layout w;
	enum refusal refusal;

	*detail = length;
	if (!read_layout(&w, payload, length)) {
		return BAD_PAYLOAD;
	}
	refusal = may_act(&w, detail);
	if (refusal == BAD_PAYLOAD) {
		*detail = length;
	}
	if (refusal == ACCEPTED) {
		refusal = may_take(&w, detail);
	}
	if (refusal != ACCEPTED) {
		return refusal;
	}
	refusal = carry_out(&w, reply);
	if (refusal != ACCEPTED) {
		*detail = socket_now()->reason;
	}
	return refusal;
}
