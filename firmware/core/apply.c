#include "apply.h"

#include "board.h"
#include "socket.h"

enum {
	GUARD_US = 200,   /* longest time between two looks at the current, to a first order */
	LEVEL_US = 5,     /* what a step takes beside its settling: with one direction for all, */
	DIRECTION_US = 18 /* and with a direction each */
};

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

enum refusal apply_steps(const struct steps *steps, uint8_t *samples)
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
