/* A board for tests: an empty socket that is recorded, a line that is two
 * buffers, and a clock that the test turns. It ends the program with a message
 * when the core asks for what must never be. */
#ifndef FAKE_H
#define FAKE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "board.h"

enum { FAKE_LINE = 16384, FAKE_HISTORY = 4096 };

struct fake {
	/* The socket as the core left it. */
	uint32_t dir, level;
	struct {
		bool on;
		uint32_t up;
	} pulls[PULLS];
	uint32_t high, low; /* words of the closed supply switches */
	bool cleared[3];     /* chains that board_chain found and left at zero */
	uint64_t high_opened_us;
	char order[64];      /* what was turned off, in letters: see fake.c */
	uint32_t drives; /* calls of board_drive, board_level and board_flip */
	uint32_t history[FAKE_HISTORY]; /* levels after each of them, modulo their number */
	uint32_t watched;           /* word of the positions whose levels are an address, */
	uint32_t strobe;            /* taken when this one goes low */
	uint64_t strobed_us[65536]; /* when that last was so, by the two near bytes of it */
	uint64_t longest_strobe_us; /* longest time between two, but the first */
	uint32_t strobes;
	uint8_t channel;
	uint8_t kept[BOARD_KEEPS]; /* inverted, so that a new board's is erased */

	/* What the test sets. */
	uint16_t current;    /* 10 µA, while a high-side switch is closed */
	uint32_t trip_after; /* drives after which the current is 200 mA; 0 never */
	uint64_t us;         /* the clock, µs; waiting turns it too */
	uint32_t sixteenths; /* of a µs, beside it */
	uint16_t due;        /* time of the short clock */
	uint32_t pulsing;       /* word of a position that turns over */
	uint32_t pulses[80];    /* so many 1/16 µs after the first act since the reset, */
	uint8_t pulse_count;    /* in order */
	bool button;
	bool monitor_silent;
	bool lines_stuck; /* do not read back as set */
	uint8_t chains[3]; /* outputs that board_chain finds */
	bool converters[2]; /* those that answer */
	uint32_t open;    /* word of positions whose supply switches never close, */
	uint32_t closed;  /* and of those whose low-side switches never open */
	uint32_t may;     /* word of the positions that may be driven; 0 as any */
	struct line_faults faults;
	uint64_t driven_at; /* 1/16 µs of the clock at the first act; 0 for none yet */
	uint32_t acted;     /* acts made */
	uint32_t pulled;    /* calls of board_pull, */
	uint32_t shifts;    /* and of board_shift */
	struct act acts[MOST_ACTS]; /* that are planned */
	uint32_t looked_at;           /* the position whose edges are looked for */
	uint32_t shifted;           /* what the registers were shifted last, */
	uint32_t stored[PULLS];     /* and what they hold */

	/* The line. */
	uint8_t to_core[FAKE_LINE];
	size_t to_core_length, to_core_taken;
	uint8_t from_core[FAKE_LINE];
	size_t from_core_length;
	uint8_t send_every; /* the line takes a byte on each so-many-th asking; 0 as 1 */
	uint8_t asked;
	uint8_t rate;
	bool lamps[3];
	uint64_t longest_unwatched_us; /* longest time between two calls of board_watchdog */
	uint64_t watched_us;
};

extern struct fake fake;

/* A new board with everything fitted, and adapter_reset. */
void fake_reset(void);

/* adapter_reset alone, with what the board keeps and what the test set. */
void fake_restart(void);

/* Puts bytes on the line to the core. */
void fake_put(const uint8_t *bytes, size_t length);

/* Runs the main loop until it has nothing to do. */
void fake_run(void);

/* Lets ms ms pass, with the main loop running. */
void fake_pass(uint32_t ms);

/* Encodes a body and its CRC as a frame, with its delimiter; the length is returned. */
size_t fake_frame(const uint8_t *body, size_t length, uint8_t *out);

/* Ends the program: the core did what it must not. */
void fake_fail(const char *what);

#endif
