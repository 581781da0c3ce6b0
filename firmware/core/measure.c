#include "measure.h"

#include "board.h"
#include "calibration.h"
#include "socket.h"

enum { GUARD_CONVERSIONS = 8 };

/* A step as SPEC.md lays it out. */
struct step {
	uint32_t dir, level;
	uint32_t positions; /* to be measured, or what is no position */
	uint16_t settle_us;
	uint8_t averaging;
	struct pulling pulls[PULLS];
};

bool measure_read_pulls(uint8_t flags, const uint8_t *words, struct pulling *pulls)
{
	pulls[PULL_BIAS].on = (flags & PULLS_BIAS) != 0;
	pulls[PULL_BIAS].up = get_u32(words);
	pulls[PULL_LOAD].on = (flags & PULLS_LOAD) != 0;
	pulls[PULL_LOAD].up = get_u32(words + 4);
	return (flags & ~(PULLS_BIAS | PULLS_LOAD)) == 0 && (pulls[PULL_BIAS].on || pulls[PULL_BIAS].up == 0) &&
	       (pulls[PULL_LOAD].on || pulls[PULL_LOAD].up == 0);
}

/* False if it holds a value that is none. */
static bool read_step(const uint8_t *at, struct step *s)
{
	s->dir = get_u32(at);
	s->level = get_u32(at + 4);
	s->positions = get_u32(at + 8);
	s->settle_us = get_u16(at + 12);
	s->averaging = at[14];
	return measure_read_pulls(at[15], at + 16, s->pulls) && s->averaging <= MOST_AVERAGING;
}

static uint8_t count_of(uint32_t word)
{
	uint8_t count = 0;

	for (; word != 0; word &= word - 1) {
		count++;
	}
	return count;
}

/* Time that the voltages of a step may take, µs: a conversion of each position is
 * thrown away, and its result takes as long again. */
uint32_t measure_voltages_us(uint8_t near, uint8_t far, uint8_t averaging)
{
	uint16_t conversions = (uint16_t)((1u << averaging) + 2);
	uint16_t once_us = (uint16_t)(near * board_traits.conversion_us + far * board_traits.far_conversion_us);

	return (uint32_t)once_us * conversions;
}

enum refusal measure_may(const uint8_t *at, uint16_t count, uint32_t *detail)
{
	uint32_t driven = 0, positions = 0, us = 0, reply = 0;
	struct pulling pulls[PULLS] = {{false, 0}, {false, 0}};
	enum refusal refusal;

	for (; count > 0; count--) {
		struct step s;
		uint8_t near, far;

		if (!read_step(at, &s)) {
			return BAD_PAYLOAD;
		}
		at += MEASURE_STEP_LEN;
		pulls[PULL_BIAS].on |= s.pulls[PULL_BIAS].on;
		pulls[PULL_BIAS].up |= s.pulls[PULL_BIAS].up;
		pulls[PULL_LOAD].on |= s.pulls[PULL_LOAD].on;
		pulls[PULL_LOAD].up |= s.pulls[PULL_LOAD].up;
		driven |= s.dir;
		positions |= s.positions;
		near = count_of(s.positions & NEAR_POSITIONS);
		far = count_of(s.positions & ~NEAR_POSITIONS);
		us += s.settle_us + measure_voltages_us(near, far, s.averaging);
		reply += (uint16_t)(MEASURED_LEN + VOLTAGE_LEN * (near + far));
	}
	*detail = positions & ~socket_measured();
	if (*detail != 0) {
		return BAD_POSITION;
	}
	refusal = socket_may_pull(pulls, detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	refusal = socket_may_drive(driven, detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	*detail = reply > MAX_REPLY_PAYLOAD ? MAX_REPLY_PAYLOAD : MAX_BUSY_MS;
	return reply > MAX_REPLY_PAYLOAD || us > MAX_BUSY_MS * UINT32_C(1000) ? LIMIT : ACCEPTED;
}

/* The first conversion after a change of channel is discarded: the converter's
 * capacitor still holds some of the channel before. */
void measure_select(uint8_t channel)
{
	board_channel(channel);
	(void)board_convert();
}

enum refusal measure_selected(uint8_t channel, uint8_t averaging, uint16_t *mv)
{
	uint8_t left = (uint8_t)(1u << averaging);
	uint32_t sum = 0;

	for (; left > 0; left--) {
		if (left % GUARD_CONVERSIONS == 0) {
			enum refusal refusal = socket_guard();

			if (refusal != ACCEPTED) {
				return refusal;
			}
			board_watchdog();
		}
		sum += board_convert();
	}
	*mv = calibration_mv(channel, sum, averaging);
	return socket_guard();
}

static enum refusal measure_channel(uint8_t channel, uint8_t averaging, uint16_t *mv)
{
	measure_select(channel);
	return measure_selected(channel, averaging, mv);
}

/* Measures the positions of a step, in the order of their bits. */
static enum refusal measure_positions(const struct step *s, uint8_t **reply)
{
	uint32_t left = s->positions;
	uint8_t bit;

	for (bit = 0; left != 0; bit++) {
		if (left & 1) {
			uint16_t mv;
			enum refusal refusal = measure_channel(socket_channel(bit), s->averaging, &mv);

			if (refusal != ACCEPTED) {
				return refusal;
			}
			*reply = put_u16(*reply, mv);
		}
		left >>= 1;
	}
	return ACCEPTED;
}

enum refusal measure_run(const uint8_t *at, uint16_t count, uint8_t **reply)
{
	for (; count > 0; count--) {
		struct step s;
		enum refusal refusal;
		uint8_t *current;

		(void)read_step(at, &s); /* it was checked */
		at += MEASURE_STEP_LEN;
		socket_pull(s.pulls);
		socket_drive(s.dir, s.level);
		refusal = socket_wait_us(s.settle_us);
		if (refusal != ACCEPTED) {
			return refusal;
		}
		current = put_u32(*reply, board_sample());
		*reply = current + 2;
		refusal = measure_positions(&s, reply);
		if (refusal != ACCEPTED) {
			return refusal;
		}
		put_u16(current, calibration_current(board_current()));
		board_watchdog();
	}
	return ACCEPTED;
}
