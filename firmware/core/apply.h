/* Steps, one after the other: what APPLY asks for (SPEC.md). */
#ifndef APPLY_H
#define APPLY_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

/* A sequence of steps, where they came in the request. */
struct steps {
	const uint8_t *at; /* n levels, or n pairs of direction and level */
	uint16_t count;
	uint16_t settle_us;
	uint32_t direction; /* of all steps; not used with directions */
	bool directions;
};

/* Applies steps, all of whose directions socket_may_drive allows, and puts a
 * sample a step at samples. What is not ACCEPTED is from socket_guard. */
enum refusal apply_steps(const struct steps *steps, uint8_t *samples);

#endif
