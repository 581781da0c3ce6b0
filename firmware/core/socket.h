/* The socket: what is driven and switched on it, and what must never be. All
 * writes to the socket go through here, but that sweep.c, pattern.c, cell.c and
 * refresh.c toggle what is driven themselves, for speed; and the accesses of cell.c
 * drive, from their begin to their end, what socket_may_drive allowed at LOAD. */
#ifndef SOCKET_H
#define SOCKET_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "message.h"

/* What resistors pull: the positions of up high and the others low, or none. */
struct pulling {
	bool on;
	uint32_t up;
};

struct socket_state {
	uint32_t driven;     /* word of the driven positions */
	uint32_t switched;   /* word of the positions with a closed supply switch */
	uint32_t low;        /* those of them on the low side */
	uint16_t limit_ma;   /* current limit; 0 while not powered */
	uint8_t high;        /* position of the closed high-side switch, 0 none */
	struct pulling pulls[PULLS];
	uint8_t safe_cause;  /* why the socket last became safe */
	uint32_t reason;     /* what an OVERCURRENT or a FAULT has to say, as the detail of its error reply */
};

/* Begins: makes the socket safe, finds out what is fitted, and sets the current
 * monitor up. */
void socket_begin(void);

/* FEATURE_… of this adapter. */
uint16_t socket_features(void);

/* The present state, to read. */
const struct socket_state *socket_now(void);

/* Releases all, opens all switches, turns all pulls off. */
void socket_safe(enum safe_cause cause);

/* Whether anything is driven or switched on. */
bool socket_live(void);

/* Makes the socket safe if the current is over the limit, which is OVERCURRENT,
 * or the monitor stops answering, which is FAULT. */
enum refusal socket_guard(void);

/* Whether resistors may pull so: words of positions that are high, each 0 where its
 * group is off. */
enum refusal socket_may_pull(const struct pulling *pulls, uint32_t *detail);

/* Pulls as socket_may_pull allows. What has no such resistor is left out. */
void socket_pull(const struct pulling *pulls);

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

/* Word of what can be measured: positions, and the three bits of message.h that
 * are none. */
uint32_t socket_measured(void);

/* Channel of the converters (board.h) for a bit of it, by the bit's number. */
uint8_t socket_channel(uint8_t bit);

/* Whether the positions of dir may be driven. */
enum refusal socket_may_drive(uint32_t dir, uint32_t *detail);

/* Drives the positions of dir, as socket_may_drive allows, to their bits of level. */
void socket_drive(uint32_t dir, uint32_t level);

/* Plans act n of a WATCH, 0 first, as socket_may_drive and socket_may_pull allow: what is driven and what
 * pulls from then on. Act 0 finds what pulls as it is to be. A halt, whose time nobody knows, turns
 * pulls off, and leaves them otherwise as they are. */
void socket_plan(uint8_t n, uint32_t dir, uint32_t level, const struct pulling *pulls, bool halt);

/* Whether registers are to be shifted before act n, and does that. */
bool socket_shifts(uint8_t n);
void socket_shift(uint8_t n);

/* Makes acts, as board_acts does; number 0 in any case. */
uint8_t socket_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until);

/* Makes an act that is a halt, when there is an edge, as board_halts does. What is in a hurry then comes
 * before socket_halted, which notes it, unless the socket was made safe. */
void socket_halted(uint8_t n);
bool socket_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until);

/* Makes the positions of mask driven beside those that are, as socket_may_drive
 * allows, at their bits of word, which has no other; or not driven any more. */
void socket_join(uint32_t word, uint32_t mask);
void socket_leave(uint32_t mask);

/* Sets those positions of mask that are driven to their bits of word. */
void socket_follow(uint32_t word, uint32_t mask);

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
