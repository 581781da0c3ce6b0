#include "measure.h"

#include "board.h"
#include "calibration.h"
#include "socket.h"

enum { LOAD_SHIFT = 2, RAIL_BITS = 3, GUARD_CONVERSIONS = 8 };

/* A step as SPEC.md lays it out. */
struct step {
	uint32_t dir, level;
	uint32_t positions; /* to be measured */
	uint16_t settle_us;
	uint8_t averaging;
	uint8_t bias, load; /* RAIL_…, or no rail's state */
};

static struct step read_step(const uint8_t *at)
{
	struct step s;

	s.dir = get_u32(at);
	s.level = get_u32(at + 4);
	s.positions = get_u32(at + 8);
	s.settle_us = get_u16(at + 12);
	s.averaging = at[14];
	s.bias = at[15] & RAIL_BITS;
	s.load = (uint8_t)(at[15] >> LOAD_SHIFT);
	return s;
}

static uint8_t count_of(uint32_t word)
{
	uint8_t count = 0;

	for (; word != 0; word &= word - 1) {
		count++;
	}
	return count;
}

/* Time that a step may take, µs: a conversion of each position is thrown away, and
 * its result takes as long again. */
static uint32_t step_us(const struct step *s)
{
	uint16_t conversions = (uint16_t)((1u << s->averaging) + 2);

	return s->settle_us + (uint32_t)count_of(s->positions) * conversions * board_traits.conversion_us;
}

enum refusal measure_may(const uint8_t *at, uint16_t count, uint32_t *detail)
{
	uint32_t driven = 0, positions = 0, us = 0, reply = 0;
	enum refusal refusal;

	for (; count > 0; count--) {
		struct step s = read_step(at);

		at += MEASURE_STEP_LEN;
		if (s.averaging > MOST_AVERAGING || s.bias > RAIL_HIGH || s.load > RAIL_HIGH) {
			return BAD_PAYLOAD;
		}
		driven |= s.dir;
		positions |= s.positions;
		us += step_us(&s);
		reply += MEASURED_LEN + (uint32_t)VOLTAGE_LEN * count_of(s.positions);
	}
	*detail = positions & ~board_traits.sense;
	if (*detail != 0) {
		return BAD_POSITION;
	}
	refusal = socket_may_drive(driven, detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	*detail = reply > MAX_REPLY_PAYLOAD ? MAX_REPLY_PAYLOAD : MAX_BUSY_MS;
	return reply > MAX_REPLY_PAYLOAD || us > MAX_BUSY_MS * UINT32_C(1000) ? LIMIT : ACCEPTED;
}

/* Measures one channel. The first conversion after a change of channel is thrown
 * away: the converter's capacitor still holds some of the channel before. */
static enum refusal measure_channel(uint8_t channel, uint8_t averaging, uint16_t *mv)
{
	uint8_t left = (uint8_t)(1u << averaging);
	uint32_t sum = 0;

	board_channel(channel);
	(void)board_convert();
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

/* Measures the positions of a step, in the order of their bits. */
static enum refusal measure_positions(const struct step *s, uint8_t **reply)
{
	uint32_t sensed = board_traits.sense;
	uint32_t left = s->positions;
	uint32_t bit = 1;
	uint8_t channel = 0;

	for (; left != 0; bit <<= 1) {
		if (left & bit) {
			uint16_t mv;
			enum refusal refusal = measure_channel(channel, s->averaging, &mv);

			if (refusal != ACCEPTED) {
				return refusal;
			}
			*reply = put_u16(*reply, mv);
			left &= ~bit;
		}
		if (sensed & bit) {
			channel++;
		}
	}
	return ACCEPTED;
}

enum refusal measure_run(const uint8_t *at, uint16_t count, uint8_t **reply)
{
	for (; count > 0; count--) {
		struct step s = read_step(at);
		enum refusal refusal;
		uint8_t *current;

		at += MEASURE_STEP_LEN;
		socket_step(s.bias, s.load, s.dir, s.level);
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
