#include "socket.h"

#include "board.h"
#include "calibration.h"
#include "fitted.h"

enum {
	POSITIONS = 28,
	GUARD_US = 200,    /* longest time between two looks at the current, to a first order */
	SWITCH_US = 100,   /* for a supply switch to close, */
	HIGH_OFF_US = 10,  /* and for one on the high side to open */
	NEAR_SUPPLY = 3072, /* least count of a position at the supply: 3/4 of it, for a fuse and a switch lie between */
	NEAR_GROUND = 512   /* most of one at ground */
};

/* Channel of the converters, by the number of a bit of a word. Bit 30 is none. */
static const uint8_t channels[32] = {
	CHANNEL_NEAR, 1, 2, 3, 4, 5, 6, 7,
	CHANNEL_L9, 17, 18, 19, 20, 21, CHANNEL_SUPPLY, CHANNEL_REFERENCE_1,
	8, 9, 10, 11, 12, 13, 14, 15,
	CHANNEL_R9, 25, 26, 27, 28, 29, 0, CHANNEL_REFERENCE_2
};

static struct socket_state now;
static bool monitored;        /* the current monitor answered at the start */
static uint16_t trip;         /* the limit, as the monitor gives it */

const struct socket_state *socket_now(void)
{
	return &now;
}

#define LEFT(position) (UINT32_C(1) << ((position) - 1))
#define RIGHT(position) (UINT32_C(1) << (44 - (position)))

const uint32_t position_words[29] = {
	0,
	LEFT(1), LEFT(2), LEFT(3), LEFT(4), LEFT(5), LEFT(6), LEFT(7), LEFT(8), LEFT(9), LEFT(10), LEFT(11), LEFT(12), LEFT(13), LEFT(14),
	RIGHT(15), RIGHT(16), RIGHT(17), RIGHT(18), RIGHT(19), RIGHT(20), RIGHT(21), RIGHT(22), RIGHT(23), RIGHT(24), RIGHT(25), RIGHT(26),
	RIGHT(27), RIGHT(28)
};

void socket_drive(uint32_t dir, uint32_t level)
{
	now.driven = dir;
	board_drive(dir, level & dir);
}

void socket_join(uint32_t word, uint32_t mask)
{
	now.driven |= mask;
	board_drive(now.driven, (board_levels() & ~mask) | word);
}

void socket_follow(uint32_t word, uint32_t mask)
{
	board_flip((board_levels() ^ word) & mask & now.driven);
}

void socket_leave(uint32_t mask)
{
	now.driven &= ~mask;
	board_drive(now.driven, board_levels() & ~mask);
}

static void supply(uint8_t high, uint32_t low, uint16_t limit_ma)
{
	now.high = high;
	now.low = low;
	now.switched = low | position_bit(high);
	now.limit_ma = limit_ma;
	/* The lamp is lit while a switch is closed, and a little before and after. */
	if (now.switched != 0) {
		board_lamp(LAMP_POWER, true);
	}
	board_supply(position_bit(high), low);
	if (now.switched == 0) {
		board_lamp(LAMP_POWER, false);
	}
}

/* Opens all switches, the low side when the high side is off for sure: the ground of
 * a chip is the last thing that it loses. */
static void supply_off(void)
{
	if (now.high != 0) {
		supply(0, now.low, 0);
		board_wait_us(HIGH_OFF_US);
	}
	supply(0, 0, 0);
}

static uint32_t resistors(enum pull which)
{
	return which == PULL_BIAS ? fitted.positions : fitted.load;
}

static void pull(enum pull which, bool on, uint32_t up)
{
	struct pulling *p = &now.pulls[which];

	up &= resistors(which);
	if (p->on != on || p->up != up) {
		p->on = on;
		p->up = up;
		board_pull(which, on, up);
	}
}

bool socket_live(void)
{
	return now.driven != 0 || now.switched != 0 || now.pulls[PULL_BIAS].on || now.pulls[PULL_LOAD].on;
}

/* Whether the supply went off by what the host did not ask for and may not know yet. */
static bool unasked(void)
{
	return now.switched == 0 &&
	       (now.safe_cause == SAFE_SILENCE || now.safe_cause == SAFE_OVERCURRENT || now.safe_cause == SAFE_FAULT);
}

void socket_safe(enum safe_cause cause)
{
	/* If it is safe already the cause stays; so does it on the refusal that reports this. */
	if ((socket_live() && !(cause == SAFE_REFUSED && unasked())) || cause == SAFE_RESET) {
		now.safe_cause = (uint8_t)cause;
	}
	/* Whatever pulls a pin high would feed a chip without power through its clamps. */
	socket_drive(0, 0);
	pull(PULL_LOAD, false, 0);
	if (now.pulls[PULL_BIAS].on) {
		pull(PULL_BIAS, true, 0);
	}
	supply_off();
	pull(PULL_BIAS, false, 0);
}

void socket_begin(void)
{
	static const struct socket_state nothing;

	/* A reset may have left anything: what the state says off is turned off too. */
	now = nothing;
	board_pull(PULL_BIAS, false, 0);
	board_pull(PULL_LOAD, false, 0);
	socket_safe(SAFE_RESET);
	fitted_find();
	monitored = board_monitor();
}

uint16_t socket_features(void)
{
	return (uint16_t)(fitted.features | (monitored ? FEATURE_MONITOR : 0));
}

enum refusal socket_guard(void)
{
	uint16_t current;

	if (now.high == 0 || !monitored) {
		return ACCEPTED;
	}
	current = board_current();
	if (current <= trip) {
		return ACCEPTED;
	}
	if (current == CURRENT_NOT_MEASURED) {
		socket_safe(SAFE_FAULT);
		now.reason = 0;
		return FAULT;
	}
	socket_safe(SAFE_OVERCURRENT);
	now.reason = calibration_current(current);
	return OVERCURRENT;
}

/* Whether the selected position stands where its switch puts it. */
static bool stands(bool at_supply)
{
	uint16_t count;

	(void)board_convert(); /* the first after a change of channel */
	count = board_convert();
	return at_supply ? count >= NEAR_SUPPLY : count <= NEAR_GROUND;
}

enum refusal socket_verify(void)
{
	uint32_t high = position_bit(now.high);
	uint32_t wrong = now.switched & (board_sample() ^ high);
	uint32_t left = now.switched & socket_measured();
	uint32_t bit = 1;
	uint8_t n;

	for (n = 0; left != 0; n++) {
		if (left & bit) {
			board_channel(channels[n]);
			if (!stands(bit == high)) {
				wrong |= bit;
			}
			left &= ~bit;
		}
		bit <<= 1;
	}
	if (wrong == 0 && board_lines_hold()) {
		return ACCEPTED;
	}
	now.reason = wrong != 0 ? wrong : now.switched;
	socket_safe(SAFE_FAULT);
	return FAULT;
}

enum refusal socket_may_pull(const struct pulling *pulls, uint32_t *detail)
{
	uint8_t which;

	*detail = (pulls[PULL_BIAS].up | pulls[PULL_LOAD].up) & ~ALL_POSITIONS;
	for (which = 0; *detail == 0 && which < PULLS; which++) {
		if (pulls[which].on && resistors((enum pull)which) == 0) {
			*detail = ALL_POSITIONS;
		}
	}
	return *detail != 0 ? BAD_POSITION : ACCEPTED;
}

void socket_pull(const struct pulling *pulls)
{
	pull(PULL_BIAS, pulls[PULL_BIAS].on, pulls[PULL_BIAS].up);
	pull(PULL_LOAD, pulls[PULL_LOAD].on, pulls[PULL_LOAD].up);
}

uint32_t socket_measured(void)
{
	return fitted.sense | fitted.far;
}

uint8_t socket_channel(uint8_t bit)
{
	return channels[bit];
}

/* Planned acts, after which the socket is so; shifts has a bit 1 << enum pull for a group whose
 * registers are to be shifted before. */
static struct {
	uint32_t dir;
	struct pulling pulls[PULLS];
	uint8_t shifts;
} acts[MOST_ACTS];

void socket_plan(uint8_t n, uint32_t dir, uint32_t level, const struct pulling *pulls, bool halt)
{
	struct act a = {n == 0 ? now.driven : acts[n - 1].dir, dir, level & dir, 0, 0};
	uint8_t which;

	a.keeps &= dir;
	acts[n].dir = dir;
	acts[n].shifts = 0;
	for (which = 0; which < PULLS; which++) {
		struct pulling *p = &acts[n].pulls[which];
		uint8_t bit = (uint8_t)(1u << which);

		p->on = pulls[which].on;
		p->up = pulls[which].up & resistors((enum pull)which);
		if (halt && p->on) {
			*p = acts[n - 1].pulls[which];
		}
		if (p->on) {
			a.pulls |= bit;
			if (n > 0 && !(acts[n - 1].pulls[which].on && acts[n - 1].pulls[which].up == p->up)) {
				acts[n].shifts |= bit;
			}
		}
	}
	a.shifted = acts[n].shifts & 1 << PULL_BIAS ? 1 << PULL_BIAS : acts[n].shifts;
	board_act(n, &a);
}

bool socket_shifts(uint8_t n)
{
	return acts[n].shifts != 0;
}

/* All registers share the line: of two groups the bias waits for the act, and the load shows at
 * once, where it pulls already. */
void socket_shift(uint8_t n)
{
	bool bias = (acts[n].shifts & 1 << PULL_BIAS) != 0;

	if (acts[n].shifts & 1 << PULL_LOAD) {
		board_shift(PULL_LOAD, acts[n].pulls[PULL_LOAD].up, bias);
	}
	if (bias) {
		board_shift(PULL_BIAS, acts[n].pulls[PULL_BIAS].up, false);
	}
}

static void acted(uint8_t n)
{
	now.driven = acts[n].dir;
	now.pulls[PULL_BIAS] = acts[n].pulls[PULL_BIAS];
	now.pulls[PULL_LOAD] = acts[n].pulls[PULL_LOAD];
}

uint8_t socket_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until)
{
	uint8_t high = now.high, made;

	acted((uint8_t)(n + count - 1)); /* before, for what follows an act is in a hurry */
	made = board_acts(l, n, count, from, at, until);
	if (made < count && now.high == high) { /* else it was made safe meanwhile */
		acted((uint8_t)(n + made - 1));
	}
	return made;
}

bool socket_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until)
{
	return board_halts(l, n, at, until);
}

void socket_halted(uint8_t n)
{
	acted(n);
}

enum refusal socket_may_power(uint8_t high, uint32_t low, uint32_t *detail)
{
	uint32_t high_word = position_bit(high);

	*detail = (high_word & ~fitted.high) | (low & ~fitted.low);
	if (*detail != 0 || high > POSITIONS) {
		return BAD_POSITION;
	}
	*detail = high_word & low;
	return *detail != 0 ? CONFLICT : ACCEPTED;
}

enum refusal socket_power(uint8_t high, uint32_t low, uint16_t limit_ma)
{
	socket_drive(0, 0);
	supply_off();
	/* Set up anew: it may have lost its setting unseen. */
	if (high != 0 && monitored && !board_monitor()) {
		socket_safe(SAFE_FAULT);
		now.reason = 0;
		return FAULT;
	}
	trip = calibration_monitored((uint16_t)(100u * limit_ma));
	supply(0, low, 0);
	supply(high, low, limit_ma);
	board_wait_us(SWITCH_US);
	return ACCEPTED;
}

enum refusal socket_may_drive(uint32_t dir, uint32_t *detail)
{
	*detail = dir & ~fitted.positions;
	if (*detail != 0) {
		return BAD_POSITION;
	}
	*detail = dir & now.switched;
	return *detail != 0 ? CONFLICT : ACCEPTED;
}

enum refusal socket_wait_us(uint16_t us)
{
	while (us > GUARD_US) {
		enum refusal refusal;

		board_wait_us(GUARD_US);
		us = (uint16_t)(us - GUARD_US);
		board_watchdog();
		refusal = socket_guard();
		if (refusal != ACCEPTED) {
			return refusal;
		}
	}
	if (us > 0) {
		board_wait_us(us);
	}
	return ACCEPTED;
}
