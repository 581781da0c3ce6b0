/* The socket: what is driven and switched on it, and what must never be. All
 * writes to the socket go through here, but that sweep.c and pattern.c toggle what
 * is driven themselves, for speed. */
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
	uint32_t reason;     /* what an OVERCURRENT or a FAULT has to say, as the detail of its error reply */
};

/* Begins: sets the current monitor up, and makes the socket safe. */
void socket_begin(void);

/* FEATURE_… of this adapter. */
uint16_t socket_features(void);

/* The present state, to read. */
const struct socket_state *socket_now(void);

/* Releases all, opens rails and switches. */
void socket_safe(enum safe_cause cause);

/* Whether anything is driven or switched on. */
bool socket_live(void);

/* Makes the socket safe if the current is over the limit, which is OVERCURRENT,
 * or the monitor that tells it falls silent, which is FAULT. */
enum refusal socket_guard(void);

void socket_rails(uint8_t bias, uint8_t load);

/* Whether supply switches may be closed together. */
enum refusal socket_may_power(uint8_t high, uint32_t low, uint32_t *detail);

/* Releases all positions, opens all switches, closes these: as socket_may_power
 * allows. FAULT if the monitor that is to watch the current does not answer:
 * then the socket is safe. */
enum refusal socket_power(uint8_t high, uint32_t low, uint16_t limit_ma);

/* Looks at what can be seen of the supply: whether the switches' lines read back
 * as set, and the positions they switch stand at the supply and at ground. FAULT
 * makes the socket safe. */
enum refusal socket_verify(void);

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

/* Drives the positions of dir, as socket_may_drive allows, to their bits of level. */
void socket_drive(uint32_t dir, uint32_t level);

/* Makes the positions of mask driven beside those that are, as socket_may_drive
 * allows, at their bits of word, which has no other; or not driven any more. */
void socket_join(const uint32_t *word, const uint32_t *mask);
void socket_leave(const uint32_t *mask);

/* Sets both rails and drives, as socket_may_drive allows. */
void socket_step(uint8_t bias, uint8_t load, uint32_t dir, uint32_t level);

/* Applies steps, all of whose directions socket_may_drive allows, and puts a
 * sample a step at samples. What is not ACCEPTED is from socket_guard. */
enum refusal socket_apply(const struct steps *steps, uint8_t *samples);

/* Waits, with an eye on the supply current and the watchdog. */
enum refusal socket_wait_us(uint16_t us);

/* Words with the bit of a position, 1 to 28. */
extern const uint32_t position_words[29];

/* Word with the bit of a position 1 to 28; 0 for any other number. */
static inline uint32_t position_bit(uint8_t position)
{
	return position_words[position <= 28 ? position : 0];
}

#endif
