/* The socket: what is driven and switched on it, and what must never be. All
 * writes to the socket go through here. */
#ifndef SOCKET_H
#define SOCKET_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

struct socket_state {
	uint32_t driven;     /* word of the driven positions */
	uint32_t switched;   /* word of the positions with a closed supply switch */
	uint32_t low;        /* those of them on the low side */
	uint16_t limit_ma;   /* current limit; 0 while not powered */
	uint8_t high;        /* position of the closed high-side switch, 0 none */
	uint8_t bias, load;  /* RAIL_… */
	uint8_t safe_cause;  /* why the socket last became safe */
	uint16_t tripped;    /* the current that last was over the limit, 10 µA */
};

/* The present state, to read. */
const struct socket_state *socket_now(void);

/* Releases all, opens rails and switches. */
void socket_safe(enum safe_cause cause);

/* Whether anything is driven or switched on. */
bool socket_live(void);

/* Makes the socket safe and says false if the current is over the limit. */
bool socket_guard(void);

void socket_rails(uint8_t bias, uint8_t load);

/* Whether supply switches may be closed together. */
enum refusal socket_may_power(uint8_t high, uint32_t low, uint32_t *detail);

/* Releases all positions, opens all switches, closes these: as socket_may_power allows. */
void socket_power(uint8_t high, uint32_t low, uint16_t limit_ma);

/* Whether the positions of dir may be driven. */
enum refusal socket_may_drive(uint32_t dir, uint32_t *detail);

/* A sequence of steps, where they came in the request. */
struct steps {
	const uint8_t *at; /* n levels, or n pairs of direction and level */
	uint16_t count;
	uint16_t settle_us;
	uint32_t direction; /* of all steps; not used with directions */
	bool directions;
};

/* Applies steps, all of whose directions socket_may_drive allows, and puts a
 * sample a step at samples. False if the current went over the limit: then the
 * socket is safe. */
bool socket_apply(const struct steps *steps, uint8_t *samples);

/* Waits, with an eye on the supply current and the watchdog; false as socket_guard. */
bool socket_wait_us(uint16_t us);

/* Word with the bit of a position 1 to 28; 0 for any other number. */
uint32_t position_bit(uint8_t position);

#endif
