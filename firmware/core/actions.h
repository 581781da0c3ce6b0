/* A WATCH as SPEC.md lays it out: read, and whether it may be carried out. */
#ifndef ACTIONS_H
#define ACTIONS_H

#include <stdbool.h>
#include <stdint.h>

#include "socket.h"

/* An action as SPEC.md lays it out. */
struct action {
	uint32_t at_us; /* after the first */
	uint32_t direction, level;
	struct pulling pulls[PULLS];
};

/* A watch as SPEC.md lays it out. */
struct watch_layout {
	bool halts, unpowered;
	uint8_t watched, edges, measured, averaging, actions;
	uint32_t until_us;
	const uint8_t *at; /* its actions, then its halt */
};

/* Reads the action at at; false if its flags are none. */
bool actions_read(const uint8_t *at, struct action *a);

/* Reads all but the actions; false if the payload is none. */
bool actions_layout(struct watch_layout *w, const uint8_t *payload, uint16_t length);

/* Whether the actions may be, as far as their positions go. */
enum refusal actions_may(const struct watch_layout *w, uint32_t *detail);

/* Whether it may be now, and takes no longer than a request may. */
enum refusal actions_may_take(const struct watch_layout *w, uint32_t *detail);

#endif
