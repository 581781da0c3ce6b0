/* The board looks for edges, and asks now and then whether it is to go on: then the current
 * is looked at. Its clock has 16 bits and turns round every 4 ms: here it is carried on in 32. What an edge costs is
 * time in which the next one is not seen, so they are only put by, and written into the
 * reply at the end. */
#include "watch.h"

#include "actions.h"
#include "board.h"
#include "measure.h"
#include "socket.h"

enum {
	A_US = 16,           /* of the clock */
	SPAN = 1900 * A_US,  /* of looks in one go, and from an action to the next: less than half a turn of the clock */
	LEAD = 94 * A_US     /* before an action the looks end: a look at the current, registers that are shifted, and what it takes to begin */
};

/* The watch under way: all that the time between two looks hangs on is read before. */
static struct {
	bool halts;
	uint8_t planned, actions;     /* actions in all, and up to now */
	uint32_t until;               /* by the clock, after the first action */
	uint32_t now, start;          /* by the clock in 32 bits: the last look, and the first action */
	uint32_t halted;              /* when the halt was, after the first action */
	uint16_t asked;               /* by the clock: the last look at the current */
	uint32_t watched;
	struct lookout lookout;
	struct pulling halt[PULLS]; /* what pulls after it */
} course;

/* What is measured at the end. */
static struct {
	bool wanted;
	uint8_t channel, averaging;
	uint16_t mv;
} voltage;

/* Planned actions: when they are due by the clock after the first, whether registers are shifted before, and how
 * many are made in one go from each on. */
static struct {
	uint32_t due;
	bool shifts;
	uint8_t in_one_go;
} planned[MOST_ACTIONS];
/* When each is to be by the clock after the first, and then when it was. */
static uint16_t acted[MOST_ACTIONS];
static struct board_edge edges[MOST_EDGES];
/* The upper bits of their times, of those that were the first in a look; the others came
 * less than a turn after the one before. */
static uint8_t turns[MOST_EDGES];
enum { NOT_FIRST = 0xFF }; /* more than the longest watch has */
static enum refusal guarded;      /* what the last look at the current said */

/* Carries the clock on, less than a turn after it was last. */
static void carry_on(uint16_t clock)
{
	course.now += (uint16_t)(clock - (uint16_t)course.now);
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

/* Plans the actions and the halt, and looks at the current as it does: each takes some 80 µs. The
 * pulls of the first are set. */
static void plan(const struct watch_layout *w)
{
	const uint8_t *at = w->at;
	struct action a;
	uint8_t i;

	for (i = 0; i < w->actions && go_on(); i++) {
		(void)actions_read(at, &a); /* it was checked */
		at += WATCH_ACTION_LEN;
		if (i == 0) {
			socket_pull(a.pulls);
		}
		socket_plan(i, a.direction, a.level, a.pulls, false);
		planned[i].due = A_US * a.at_us;
		planned[i].shifts = socket_shifts(i);
		acted[i] = (uint16_t)planned[i].due;
	}
	for (i = w->actions; i > 0; i--) {
		uint8_t n = (uint8_t)(i - 1), end = w->halts ? (uint8_t)(w->actions - 1) : w->actions;
		uint8_t next = i;

		while (n > 0 && next < end && !planned[next].shifts && planned[next].due - planned[n].due < SPAN) {
			next++;
		}
		planned[n].in_one_go = (uint8_t)(next - n);
	}
	if (w->halts) {
		(void)actions_read(at, &a);
		socket_plan(w->actions, a.direction, a.level, a.pulls, true);
		course.halt[PULL_BIAS] = a.pulls[PULL_BIAS];
		course.halt[PULL_LOAD] = a.pulls[PULL_LOAD];
	}
}

static void begin(const struct watch_layout *w)
{
	uint8_t i;

	course.halts = w->halts;
	course.planned = w->actions;
	course.until = A_US * w->until_us;
	course.actions = 0;
	course.watched = position_bit(w->watched);
	board_watch(course.watched);
	course.lookout.edges = edges;
	course.lookout.most = w->edges;
	course.lookout.found = 0;
	course.lookout.go_on = go_on;
	guarded = ACCEPTED;
	for (i = 0; i < MOST_EDGES; i++) {
		turns[i] = NOT_FIRST;
	}
	plan(w);
}

/* Notes of the edges from number first on, which were seen since the clock, in 32 bits, was so, when the first was. */
static void put_down(uint32_t since, uint8_t first)
{
	uint8_t turn = (uint8_t)(since >> 16);

	if (course.lookout.found > first) {
		turns[first] = (uint8_t)(edges[first].at < (uint16_t)since ? turn + 1 : turn);
	}
}

/* Leaves the edge that is to halt for look_and_halt. */
static void unsee(void)
{
	struct lookout *l = &course.lookout;

	l->found--;
	l->high = !l->high;
	l->seen = (uint16_t)(edges[l->found].at - edges[l->found].gap);
}

/* When the looks end, by the clock in 32 bits: before the next action, or for good. */
static uint32_t look_until(void)
{
	return course.start + (course.actions < course.planned ? planned[course.actions].due - LEAD : course.until);
}

/* Makes up to count actions, and looks on. */
static void make(uint8_t count)
{
	struct lookout *l = &course.lookout;
	uint8_t n = course.actions, found = l->found, most = l->most, made;
	uint32_t since = course.now, last = course.start + planned[n + count - 1].due, until;
	bool halting = course.halts && n + 1 == course.planned;

	course.actions = (uint8_t)(n + count);
	until = look_until();
	if (voltage.wanted) { /* then look ends it, always equally long before that */
		until -= LEAD;
	}
	if ((int32_t)(until - last) > SPAN) {
		until = last + SPAN;
	}
	if (halting) {
		until = last;
		l->most = (uint8_t)(found + 1);
	}
	made = socket_acts(l, n, count, (uint16_t)course.start, acted + n, (uint16_t)until);
	l->most = most;
	course.actions = (uint8_t)(n + made);
	if (made > 0) {
		carry_on((uint16_t)((uint16_t)course.start + acted[course.actions - 1]));
		if (n == 0) { /* it came as soon as could be */
			course.start = course.now;
			acted[0] = 0;
		}
		if (halting && l->found > found) {
			unsee();
		}
	}
	put_down(since, found);
	carry_on(board_edge_clock());
}

/* Makes the next action at its time, which is not far ahead, and others with it. The first, which is made at
 * once, and the last before a halt stand alone. */
static void act(void)
{
	if (planned[course.actions].shifts) {
		planned[course.actions].shifts = false; /* an edge may break it off before the action */
		socket_shift(course.actions);
	}
	make(planned[course.actions].in_one_go);
}

/* The board asks in a long look; of short ones, and of actions without any, one in so many does. */
static void ask(void)
{
	if ((uint16_t)((uint16_t)course.now - course.asked) > 2 * BOARD_GO_ON_US * A_US) {
		(void)go_on();
	}
}

/* Measures, once, at the end. */
static void measure(void)
{
	if (voltage.wanted) {
		voltage.wanted = false;
		guarded = measure_selected(voltage.channel, voltage.averaging, &voltage.mv);
	}
}

/* Halts at the next edge, if one comes before the clock is there. What pulls otherwise than before does
 * so after the registers are shifted. All the rest waits until the voltage is measured. */
static void look_and_halt(uint16_t until)
{
	uint8_t found = course.lookout.found;
	uint16_t at;

	if (!socket_halts(&course.lookout, course.planned, &at, until)) {
		return;
	}
	if (course.halt[PULL_BIAS].on || course.halt[PULL_LOAD].on) {
		socket_pull(course.halt);
	}
	measure();
	if (guarded == ACCEPTED) {
		socket_halted(course.planned);
	}
	put_down(course.now, found);
	carry_on(at);
	course.halted = course.now - course.start;
	course.actions++;
}

static bool is_over(void)
{
	return guarded != ACCEPTED || course.lookout.found == course.lookout.most || course.actions > course.planned;
}

/* Looks for edges up to a time by the clock in 32 bits. With all actions done it is the end: then the voltage
 * is measured, and an edge may halt. */
static void look(uint32_t end)
{
	bool acts = course.actions < course.planned;

	while (!is_over() && (int32_t)(end - course.now) > 0) {
		bool last = end - course.now <= SPAN;
		uint16_t until = (uint16_t)(last ? end : course.now + SPAN);

		if (course.halts && !acts) {
			look_and_halt(until);
		} else {
			uint8_t found = course.lookout.found;

			board_edges(&course.lookout, until);
			if (last && !acts) {
				measure();
			}
			put_down(course.now, found);
		}
		if (last) {
			return;
		}
		carry_on(board_edge_clock());
		ask();
	}
}

/* Acts and looks until it is over, and says why in *stopped. */
static enum refusal run(uint8_t *stopped)
{
	course.lookout.seen = board_edge_clock();
	course.lookout.high = board_sample_of(course.watched) != 0;
	course.asked = course.lookout.seen;
	course.now = course.lookout.seen;
	course.start = course.now;
	act();
	while (!is_over() && course.actions < course.planned) {
		look(look_until());
		carry_on(board_edge_clock());
		ask();
		if (!is_over()) {
			act();
		}
	}
	look(look_until());
	if (guarded == ACCEPTED) {
		measure();
	}
	*stopped = STOPPED_TIME;
	if (course.actions > course.planned) {
		*stopped = STOPPED_HALT;
	} else if (course.lookout.found == course.lookout.most) {
		*stopped = STOPPED_EDGES;
	}
	return guarded;
}

static uint8_t *put_times(uint8_t *at)
{
	uint32_t clock = 0;
	uint8_t i;

	for (i = 0; i < course.actions && i < course.planned; i++) {
		at = put_u32(at, planned[i].due + (uint16_t)(acted[i] - (uint16_t)planned[i].due));
	}
	if (course.actions > course.planned) {
		at = put_u32(at, course.halted);
	}
	for (i = 0; i < course.lookout.found; i++) {
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
static enum refusal carry_out(const struct watch_layout *w, uint8_t **reply)
{
	uint8_t stopped = STOPPED_TIME, bit = 0;
	uint8_t *at = *reply;
	enum refusal refusal;

	begin(w);
	voltage.wanted = w->measured != 0;
	voltage.averaging = w->averaging;
	voltage.mv = 0;
	if (voltage.wanted) {
		while (position_bit(w->measured) >> bit != 1) {
			bit++;
		}
		/* Before it matters, for it takes a conversion's time. */
		voltage.channel = socket_channel(bit);
		measure_select(voltage.channel);
	}
	refusal = go_on() ? run(&stopped) : guarded;
	if (refusal != ACCEPTED) {
		return refusal;
	}
	at = put_u8(at, course.lookout.high != ((course.lookout.found & 1) != 0));
	at = put_u8(at, course.lookout.high);
	at = put_u8(at, stopped);
	at = put_u8(at, course.actions);
	at = put_u8(at, course.lookout.found);
	at = put_u8(at, BOARD_ACT_16THS);
	at = put_u16(at, voltage.mv);
	at = put_u32(at, board_sample());
	*reply = put_times(at);
	return ACCEPTED;
}

enum refusal watch(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail)
{
	struct watch_layout w;
	enum refusal refusal;

	*detail = length;
	if (!actions_layout(&w, payload, length)) {
		return BAD_PAYLOAD;
	}
	refusal = actions_may(&w, detail);
	if (refusal == BAD_PAYLOAD) {
		*detail = length;
	}
	if (refusal == ACCEPTED) {
		refusal = actions_may_take(&w, detail);
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
