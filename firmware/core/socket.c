#include "socket.h"

#include "board.h"
#include "calibration.h"

enum {
	POSITIONS = 28,
	GUARD_US = 200,    /* longest time between two looks at the current, to a first order */
	LEVEL_US = 5,      /* what a step takes beside its settling: with one direction for all, */
	DIRECTION_US = 18, /* and with a direction each */
	SWITCH_US = 100,   /* for a supply switch to close */
	NEAR_SUPPLY = 768, /* least count of a position at the supply: 3/4 of it, for a fuse and a switch lie between */
	NEAR_GROUND = 128  /* most of one at ground */
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

/* Word of the positions of switches. */
static uint32_t switch_word(const uint8_t *positions, uint8_t count)
{
	uint32_t word = 0;
	uint8_t i;

	for (i = 0; i < count; i++) {
		word |= position_bit(positions[i]);
	}
	return word;
}

/* Bits of the switches at the positions of word. */
static uint16_t switch_bits(const uint8_t *positions, uint8_t count, uint32_t word)
{
	uint16_t bits = 0;
	uint8_t i;

	for (i = 0; word != 0 && i < count; i++) {
		if (word & position_bit(positions[i])) {
			bits |= (uint16_t)(1u << i);
		}
	}
	return bits;
}

void socket_drive(uint32_t dir, uint32_t level)
{
	now.driven = dir;
	board_drive(dir, level & dir);
}

void socket_join(const uint32_t *word, const uint32_t *mask)
{
	now.driven |= *mask;
	board_join((const uint8_t *)word, (const uint8_t *)mask);
}

void socket_leave(const uint32_t *mask)
{
	now.driven &= ~*mask;
	board_leave((const uint8_t *)mask);
}

static void supply(uint8_t high, uint32_t low, uint16_t limit_ma)
{
	const struct board_traits *t = &board_traits;

	now.high = high;
	now.low = low;
	now.switched = low | position_bit(high);
	now.limit_ma = limit_ma;
	/* The lamp is lit while a switch is closed, and a little before and after. */
	if (now.switched != 0) {
		board_lamp(LAMP_POWER, true);
	}
	board_supply((uint8_t)switch_bits(t->high_switches, t->high_count, position_bit(high)),
		     switch_bits(t->low_switches, t->low_count, low));
	if (now.switched == 0) {
		board_lamp(LAMP_POWER, false);
	}
}

bool socket_live(void)
{
	return now.driven != 0 || now.switched != 0 || now.bias != RAIL_OFF || now.load != RAIL_OFF;
}

/* Whether the supply went off by what the host did not ask for and may not know yet. */
static bool unasked(void)
{
	return now.switched == 0 &&
	       (now.safe_cause == SAFE_SILENCE || now.safe_cause == SAFE_OVERCURRENT || now.safe_cause == SAFE_FAULT);
}

void socket_safe(enum safe_cause cause)
{
	/* What finds it safe is not why it is, nor is the refusal that tells the host. */
	if ((socket_live() && !(cause == SAFE_REFUSED && unasked())) || cause == SAFE_RESET) {
		now.safe_cause = (uint8_t)cause;
	}
	/* Drives first: a driven pin of a chip without power would feed it through its clamps. */
	socket_drive(0, 0);
	supply(0, 0, 0);
	socket_rails(RAIL_OFF, RAIL_OFF);
}

void socket_begin(void)
{
	socket_safe(SAFE_RESET);
	monitored = board_monitor();
}

uint16_t socket_features(void)
{
	return (uint16_t)(board_traits.features | (monitored ? FEATURE_MONITOR : 0));
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
	uint8_t channel = 0;
	uint32_t bit;

	for (bit = 1; bit != 0; bit <<= 1) {
		if ((board_traits.sense & bit) == 0) {
			continue;
		}
		if (now.switched & bit) {
			board_channel(channel);
			if (!stands(bit == high)) {
				wrong |= bit;
			}
		}
		channel++;
	}
	if (wrong == 0 && board_lines_hold()) {
		return ACCEPTED;
	}
	now.reason = wrong != 0 ? wrong : now.switched;
	socket_safe(SAFE_FAULT);
	return FAULT;
}

void socket_rails(uint8_t bias, uint8_t load)
{
	now.bias = bias;
	now.load = load;
	board_rails(bias, load);
}

enum refusal socket_may_power(uint8_t high, uint32_t low, uint32_t *detail)
{
	const struct board_traits *t = &board_traits;
	uint32_t high_word = position_bit(high);

	*detail = (high_word & ~switch_word(t->high_switches, t->high_count)) |
		  (low & ~switch_word(t->low_switches, t->low_count));
	if (*detail != 0 || high > POSITIONS) {
		return BAD_POSITION;
	}
	*detail = high_word & low;
	return *detail != 0 ? CONFLICT : ACCEPTED;
}

enum refusal socket_power(uint8_t high, uint32_t low, uint16_t limit_ma)
{
	socket_drive(0, 0);
	supply(0, 0, 0);
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
	*detail = dir & ~board_traits.positions;
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

void socket_step(uint8_t bias, uint8_t load, uint32_t dir, uint32_t level)
{
	socket_rails(bias, load);
	socket_drive(dir, level);
}

/* Steps with one direction, which is driven already: the loop that the speed of
 * a test hangs on. Not inlined, so that it has all registers of the MCU to itself. */
__attribute__((noinline)) static const uint8_t *run_levels(const uint8_t *at, uint16_t count, uint32_t dir, uint16_t settle_us, uint8_t *samples)
{
	for (; count > 0; count--) {
		board_level(get_u32(at) & dir);
		at += 4;
		if (settle_us > 0) {
			board_wait_us(settle_us);
		}
		samples = put_u32(samples, board_sample());
	}
	return at;
}

static const uint8_t *run_directions(const uint8_t *at, uint16_t count, uint16_t settle_us, uint8_t *samples)
{
	for (; count > 0; count--) {
		socket_drive(get_u32(at), get_u32(at + 4));
		at += 8;
		if (settle_us > 0) {
			board_wait_us(settle_us);
		}
		samples = put_u32(samples, board_sample());
	}
	return at;
}

/* One step that settles longer than the current may go unwatched. */
static enum refusal run_slow(const struct steps *steps, const uint8_t **at, uint8_t *sample)
{
	uint32_t dir = steps->direction;
	enum refusal refusal;

	if (steps->directions) {
		dir = get_u32(*at);
		*at += 4;
	}
	socket_drive(dir, get_u32(*at));
	*at += 4;
	refusal = socket_wait_us(steps->settle_us);
	if (refusal == ACCEPTED) {
		put_u32(sample, board_sample());
	}
	return refusal;
}

enum refusal socket_apply(const struct steps *steps, uint8_t *samples)
{
	const uint8_t *at = steps->at;
	uint16_t left = steps->count;
	uint16_t run = 1;
	enum refusal refusal;

	if (steps->settle_us <= GUARD_US) {
		run = (uint16_t)(GUARD_US / (steps->settle_us + (steps->directions ? DIRECTION_US : LEVEL_US)) + 1);
	}
	if (!steps->directions) {
		socket_drive(steps->direction, get_u32(at));
	}
	while (left > 0) {
		if (run > left) {
			run = left;
		}
		if (steps->settle_us > GUARD_US) {
			refusal = run_slow(steps, &at, samples);
			if (refusal != ACCEPTED) {
				return refusal;
			}
		} else if (steps->directions) {
			at = run_directions(at, run, steps->settle_us, samples);
		} else {
			at = run_levels(at, run, steps->direction, steps->settle_us, samples);
		}
		samples += SAMPLE_LEN * run;
		left = (uint16_t)(left - run);
		board_watchdog();
		refusal = socket_guard();
		if (refusal != ACCEPTED) {
			return refusal;
		}
	}
	return ACCEPTED;
}
