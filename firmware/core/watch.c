/* The board looks for edges, and asks now and then whether it is to go on: then the current
 * is looked at. Its clock has 16 bits and turns round every 4 ms: here it is carried on in 32. What an edge costs is
 * time in which the next one is not seen, so they are only put by, and written into the
 * reply at the end. */
#include "watch.h"

#include "board.h"
#include "fitted.h"
#include "measure.h"
#include "socket.h"

enum {
	A_US = 16,           /* of the clock */
	SPAN = 2000 * A_US   /* of looks in one go, less than half a turn of the clock */
};

/* An action as SPEC.md lays it out. */
struct action {
	uint32_t at; /* by the clock, after the first action */
	uint32_t direction, level;
	struct pulling pulls[PULLS];
	bool pulls_change; /* from those of the action before */
};

/* A watch as SPEC.md lays it out. */
struct layout {
	bool halts, unpowered;
	uint8_t watched, edges, measured, averaging, actions;
	uint32_t until_us;
	const uint8_t *at; /* its actions, then its halt */
};

/* The watch under way: all that the time between two looks hangs on is read before. */
static struct {
	bool halts;
	uint8_t most, planned;        /* edges, and actions */
	uint32_t until;               /* by the clock, after the first action */
	uint32_t now, start;          /* by the clock in 32 bits: the last look, and the first action */
	uint8_t edges, actions;       /* up to now */
	uint32_t acted[MOST_ACTIONS + 1]; /* when each was driven, and the halt */
	uint16_t asked;               /* by the clock: the last look at the current */
	struct board_eye eye;
} course;

static struct action actions[MOST_ACTIONS], halt;
static struct board_edge edges[MOST_EDGES];
/* The upper bits of their times, of those that were the first in a look; the others came
 * less than a turn after the one before. */
static uint8_t turns[MOST_EDGES];
enum { NOT_FIRST = 0xFF }; /* more than the longest watch has */
static enum refusal guarded;      /* what the last look at the current said */

/* Gives when it is, µs. */
static bool read_action(const uint8_t *at, struct action *a, uint32_t *at_us)
{
	*at_us = get_u32(at);
	a->at = A_US * *at_us;
	a->direction = get_u32(at + 4);
	a->level = get_u32(at + 8);
	return measure_read_pulls(at[12], at + 13, a->pulls);
}

static bool read_layout(struct layout *w, const uint8_t *payload, uint16_t length)
{
	uint16_t planned;

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
	planned = (uint16_t)(length / WATCH_ACTION_LEN - (w->halts ? 1 : 0)); /* of none it makes too many */
	w->actions = (uint8_t)planned;
	return (payload[0] & ~(WATCH_HALT | WATCH_UNPOWERED)) == 0 && payload[9] == 0 && length % WATCH_ACTION_LEN == 0 && planned >= 1 &&
	       planned <= MOST_ACTIONS && w->edges >= 1 && w->edges <= MOST_EDGES && w->averaging <= MOST_AVERAGING &&
	       (w->measured != 0 || w->averaging == 0);
}

static bool differ(const struct pulling *a, const struct pulling *b)
{
	return a->on != b->on || a->up != b->up;
}

/* Reads the actions, and whether they may be, as far as their positions go. */
static enum refusal may_act(const struct layout *w, uint32_t *detail)
{
	uint32_t driven = 0, measured = position_bit(w->measured), watched = position_bit(w->watched);
	uint32_t last_us = 0;
	struct pulling pulls[PULLS] = {{false, 0}, {false, 0}};
	const uint8_t *at = w->at;
	enum refusal refusal;
	uint8_t i;

	for (i = 0; i < w->actions + (w->halts ? 1 : 0); i++) {
		bool halts = i == w->actions;
		struct action *a = halts ? &halt : &actions[i];
		uint32_t at_us;

		if (!read_action(at, a, &at_us) || (i == 0 || halts ? at_us != 0 : at_us < last_us) || at_us >= w->until_us) {
			return BAD_PAYLOAD;
		}
		at += WATCH_ACTION_LEN;
		last_us = at_us;
		a->pulls_change = i == 0 || halts || differ(&a->pulls[PULL_BIAS], &actions[i - 1].pulls[PULL_BIAS]) ||
		                  differ(&a->pulls[PULL_LOAD], &actions[i - 1].pulls[PULL_LOAD]);
		driven |= a->direction;
		pulls[PULL_BIAS].on |= a->pulls[PULL_BIAS].on;
		pulls[PULL_BIAS].up |= a->pulls[PULL_BIAS].up;
		pulls[PULL_LOAD].on |= a->pulls[PULL_LOAD].on;
		pulls[PULL_LOAD].up |= a->pulls[PULL_LOAD].up;
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
static void carry_on(uint16_t clock)
{
	course.now += (uint16_t)(clock - (uint16_t)course.now);
}

static void begin(const struct layout *w)
{
	uint8_t i;

	course.halts = w->halts;
	course.most = w->edges;
	course.planned = w->actions;
	course.until = A_US * w->until_us;
	course.edges = 0;
	course.actions = 0;
	course.eye.word = position_bit(w->watched);
	guarded = ACCEPTED;
	for (i = 0; i < MOST_EDGES; i++) {
		turns[i] = NOT_FIRST;
	}
}

static void first_action(void)
{
	socket_pull(actions[0].pulls);
	course.eye.seen = board_edge_clock();
	course.eye.high = (board_sample() & course.eye.word) != 0;
	course.start = socket_drive_at(actions[0].direction, actions[0].level);
	course.now = course.start;
	course.acted[0] = 0;
	course.actions = 1;
}

static void next_action(void)
{
	const struct action *a = &actions[course.actions];

	if (a->pulls_change) {
		socket_pull(a->pulls);
	}
	carry_on(socket_drive_at(a->direction, a->level));
	course.acted[course.actions] = course.now - course.start;
	course.actions++;
}

static bool go_on(void)
{
	board_watchdog();
	course.asked = board_edge_clock();
	if (guarded == ACCEPTED) { /* once it has made the socket safe, it finds nothing wrong any more */
		guarded = socket_guard();
	}
	return guarded == ACCEPTED;
}

/* Looks for edges up to a time after the first action; with all actions done and a halt to
 * come, for one. Gives whether it halts, which comes before all else. */
static bool look(uint32_t until)
{
	uint16_t low = (uint16_t)course.now;
	uint8_t turn = (uint8_t)(course.now >> 16);
	uint8_t at = course.edges, more;
	bool halting = course.halts && course.actions == course.planned;

	more = board_edges(&course.eye, (uint16_t)(course.start + until), halting ? 1 : (uint8_t)(course.most - at), edges + at, go_on);
	halting = halting && more > 0;
	if (halting) {
		carry_on(socket_halt(halt.direction, halt.level, halt.pulls));
		course.acted[course.planned] = course.now - course.start;
		course.actions++;
	}
	if (more > 0) {
		turns[at] = (uint8_t)(edges[at].at < low ? turn + 1 : turn);
		course.edges = (uint8_t)(at + more);
	}
	return halting;
}

/* Acts and looks until it is over, and says why in *stopped. */
static enum refusal run(uint8_t *stopped)
{
	first_action();
	course.asked = (uint16_t)course.now;
	while (guarded == ACCEPTED) {
		uint32_t passed = course.now - course.start;
		bool acts = course.actions < course.planned;
		uint32_t next = acts ? actions[course.actions].at : course.until;

		if (passed >= next && !acts) {
			*stopped = STOPPED_TIME;
			return ACCEPTED;
		}
		if (passed >= next) {
			next_action();
			next = course.now - course.start; /* a look at least, before the next */
		} else if (next - passed > SPAN) {
			next = passed + SPAN;
		}
		if (look(next)) {
			*stopped = STOPPED_HALT;
			return ACCEPTED;
		}
		if (course.edges == course.most) {
			*stopped = STOPPED_EDGES;
			return ACCEPTED;
		}
		carry_on(board_edge_clock());
		/* The board asks in a long look; of short ones, between actions, one in so many does. */
		if ((uint16_t)((uint16_t)course.now - course.asked) > BOARD_GO_ON_US * A_US) {
			(void)go_on();
		}
	}
	return guarded;
}

static uint8_t *put_times(uint8_t *at)
{
	uint32_t clock = 0;
	uint8_t i;

	for (i = 0; i < course.actions; i++) {
		at = put_u32(at, course.acted[i]);
	}
	for (i = 0; i < course.edges; i++) {
		if (turns[i] != NOT_FIRST) {
			clock = (uint32_t)turns[i] << 16 | edges[i].at;
		} else {
			clock += (uint16_t)(edges[i].at - (uint16_t)clock);
		}
		at = put_u32(at, clock - course.start);
		at = put_u16(at, edges[i].gap);
	}
	return at;
}

/* Watches, then measures, and writes the reply. */
static enum refusal carry_out(const struct layout *w, uint8_t **reply)
{
	uint8_t channel = 0, stopped = STOPPED_TIME, bit = 0;
	uint16_t mv = 0;
	enum refusal refusal;
	uint8_t *at = *reply;

	begin(w);
	if (w->measured != 0) {
		while (position_bit(w->measured) >> bit != 1) {
			bit++;
		}
		/* Before it matters, for it takes a conversion's time. */
		channel = socket_channel(bit);
		measure_select(channel);
	}
	refusal = run(&stopped);
	if (refusal == ACCEPTED && w->measured != 0) {
		refusal = measure_selected(channel, w->averaging, &mv);
	}
	if (refusal != ACCEPTED) {
		return refusal;
	}
	at = put_u8(at, course.eye.high != ((course.edges & 1) != 0));
	at = put_u8(at, course.eye.high);
	at = put_u8(at, stopped);
	at = put_u8(at, course.actions);
	at = put_u8(at, course.edges);
	at = put_u8(at, 0);
	at = put_u16(at, mv);
	at = put_u32(at, board_sample());
	*reply = put_times(at);
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
