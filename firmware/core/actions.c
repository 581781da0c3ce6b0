#include "actions.h"

#include "fitted.h"
#include "measure.h"

bool actions_read(const uint8_t *at, struct action *a)
{
	a->at_us = get_u32(at);
	a->direction = get_u32(at + 4);
	a->level = get_u32(at + 8);
	return measure_read_pulls(at[12], at + 13, a->pulls);
}

bool actions_layout(struct watch_layout *w, const uint8_t *payload, uint16_t length)
{
	uint16_t steps;

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
	steps = (uint16_t)(length / WATCH_ACTION_LEN - (w->halts ? 1 : 0)); /* of none it makes too many */
	w->actions = (uint8_t)steps;
	return (payload[0] & ~(WATCH_HALT | WATCH_UNPOWERED)) == 0 && payload[9] == 0 && length % WATCH_ACTION_LEN == 0 && steps >= 1 &&
	       steps <= MOST_ACTIONS && w->edges >= 1 && w->edges <= MOST_EDGES && w->averaging <= MOST_AVERAGING &&
	       (w->measured != 0 || w->averaging == 0);
}

enum refusal actions_may(const struct watch_layout *w, uint32_t *detail)
{
	uint32_t driven = 0, measured = position_bit(w->measured), watched = position_bit(w->watched);
	uint32_t last_us = 0;
	struct pulling pulls[PULLS] = {{false, 0}, {false, 0}};
	const uint8_t *at = w->at;
	enum refusal refusal;
	uint8_t i;

	for (i = 0; i < w->actions + (w->halts ? 1 : 0); i++) {
		bool halts = i == w->actions;
		struct action a;

		if (!actions_read(at, &a) || (i == 0 || halts ? a.at_us != 0 : a.at_us < last_us) || a.at_us >= w->until_us) {
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

enum refusal actions_may_take(const struct watch_layout *w, uint32_t *detail)
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
