/* What the core needs from the board it runs on. Each folder of ../board implements
 * this once, and the core never asks which board it is.
 *
 * A word is a u32 with one bit for each position of the socket: byte 0 (least
 * significant) L1-8, byte 1 L9-14, byte 2 R1-8, byte 3 R9-14.
 */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

/* What the board is. The core finds out what of it is fitted (fitted.h). */
struct board_traits {
	uint32_t high;               /* word of the positions that may have a high-side switch, */
	uint32_t low;                /* and of those that may have one on the low side */
	uint16_t features;           /* FEATURE_… of message.h that are always there */
	uint16_t conversion_us;      /* longest time of a conversion with its overhead, µs: of the near channels, */
	uint16_t far_conversion_us;  /* and of the far ones */
	uint16_t error_mv;           /* most that a voltage may be off without a calibration, mV, besides the supply's error */
	uint16_t max_current_ma;     /* highest current limit, mA */
	const char *name;            /* printable ASCII, at most 32 characters */
};

extern const struct board_traits board_traits;

/* Socket. The core calls these only with what it has checked. */

/* Drives the positions of dir, and no others, to their bits of level; level has no bit
 * outside dir. Releases first, then changes levels, then drives new ones. */
void board_drive(uint32_t dir, uint32_t level);

/* Changes the levels of the positions that board_drive made driven, and nothing
 * else; level has no other bit. */
void board_level(uint32_t level);

/* Toggles the levels of these positions, which board_drive made driven. From one
 * to the next it takes at least 1/4 µs. */
void board_flip(uint32_t word);

/* Word of the driven positions whose level is high. */
uint32_t board_levels(void);

/* Word of the positions that read high; of these alone. */
uint32_t board_sample(void);
uint32_t board_sample_of(uint32_t word);

enum { MOST_ROW_BITS = 10, LEAST_ROW_BITS = 2 };

/* Strobes rows in the order of a Gray code, four at a time, the fours numbered from four
 * on: toggles the strobe, then it and the row's next bit together. The next bit is
 * bits[n], of MOST_ROW_BITS + 1, for a row whose number, from 1 on, has n zeros at its end. Each
 * toggle takes at least 1/4 µs. Whatever interrupts there are, the strobe is toggled back within
 * 2 µs. */
void board_strobes(uint32_t strobe, const uint32_t *bits, uint16_t four, uint8_t fours);

/* Accesses: what a CELL of a pattern does to a word of a memory (SPEC.md). */
enum access_kind { ACCESS_WRITE, ACCESS_TURNED, ACCESS_CHECK, ACCESS_TAKE };

/* Of a program; so many at least, whatever they are. */
enum { MOST_ACCESSES = 16, LEAST_ACCESSES = 8 };

struct access {
	uint8_t kind;                                  /* enum access_kind */
	uint8_t pause;                                 /* 1/16 µs */
	bool moves;                                    /* the away group's word comes with second, and goes with fourth */
	bool whole;                                    /* nothing interrupts it */
	bool last;                                     /* of its cell, */
	bool only_moves;                               /* and on the way to the next only what is away changes */
	uint32_t first, second, third, fourth, fifth; /* words that are toggled */
	uint32_t word, mask;                           /* levels of the positions that are driven or compared */
	uint32_t positions;                            /* all of the idle and the away group */
};

/* Takes note of access number n, 0 to MOST_ACCESSES - 1. They come in order. False if there is
 * no room for it. */
bool board_access(uint8_t n, const struct access *a);

/* A walk over cells. */
struct walk {
	const uint32_t *deltas; /* from a cell to the next, in their order */
	uint32_t away;          /* what is toggled when the away group's word comes or goes */
	uint8_t cells;          /* to be walked; afterwards those that are left */
	bool shows, moves;      /* what a delta is toggled in: the positions, away */
	bool begins;            /* a cell, else it goes on after the access at which it stopped */
	uint32_t sample;        /* of the access at which it stopped: of all its positions, */
	uint8_t stopped;        /* and its number */
	uint8_t first;          /* number of a cell's first access */
	uint32_t driven;        /* word of the driven positions */
};

/* Makes all accesses of a cell, and goes on to the next by its delta, until all are
 * walked or board_due is so. False if it stopped after a TAKE, or after a CHECK that
 * found a difference and whose cell may be walked to its end before: then it is to be
 * called again. */
bool board_walk(struct walk *w);

/* Resistors that pull the positions, each to its own level, through registers with
 * an output a position. */
enum pull { PULL_BIAS, PULL_LOAD, PULLS };

/* Pulls the positions of up high and all others low; or none, when not on. */
void board_pull(enum pull which, bool on, uint32_t up);

/* The registers, in three chains: of the bias and load resistors, whose outputs are
 * L1-8, R1-8, L9-14 (and two to spare), R9-14; and of the low-side switches. */
enum chain { CHAIN_LOW, CHAIN_BIAS, CHAIN_LOAD };

/* Shifts a 1 through the chain with its outputs off, then stores zeros. Gives the
 * number of outputs after which the 1 comes out; 0 if it does not, or is distorted.
 * The outputs of a chain that is not found must not be turned on. */
uint8_t board_chain(enum chain which);

/* Closes the supply switches at these positions and opens all others, the opening
 * ones first. */
void board_supply(uint32_t high, uint32_t low);

/* Whether the lines of switches, pulls and converters read back as set, and the
 * register of the low-side switches as stored. */
bool board_lines_hold(void);

/* Sets the current monitor up; false if there is none, or it does not answer. */
bool board_monitor(void);

/* Supply current as the monitor last measured it, not much more than a ms ago,
 * in 10 µA; CURRENT_NOT_MEASURED without a monitor that answers. Takes no time. */
uint16_t board_current(void);

/* Channels of the converters. */
enum {
	CHANNEL_NEAR = 0,      /* 16: L1-8, R1-8 */
	CHANNEL_L9 = 16,       /* converter no. 1: 6, L9-14; */
	CHANNEL_REFERENCE_1 = 22,
	CHANNEL_SUPPLY = 23,   /* behind the shunt */
	CHANNEL_R9 = 24,       /* no. 2: 6, R9-14; */
	CHANNEL_REFERENCE_2 = 30
};

/* Whether far converter no. which + 1, 0 or 1, answers. */
bool board_converter(uint8_t which);

/* Selects the channel to convert. */
void board_channel(uint8_t channel);

/* Converts the voltage at the selected channel: 0 to 4095, in 1/4096 of the MCU's
 * supply. */
uint16_t board_convert(void);

/* Toggles three words one after the other, waits pause/16 µs, and converts the voltage that stands then at the
 * selected channel, a near one: once it has been sampled, all are toggled back. Nothing interrupts that;
 * from the first toggle to those back it takes 9 µs at most and the pause. */
uint16_t board_convert_held(const uint32_t *toggles, uint8_t pause);

/* Waits at least us µs, at most 1000. */
void board_wait_us(uint16_t us);

/* Waits at least n/16 µs. */
void board_wait_16ths(uint16_t n);

/* What is left of n/16 µs when signature_shift was called meanwhile: on a board that is
 * slow that takes a part of it. */
uint16_t board_left_16ths(uint16_t n);

/* A clock for short times, 1/2 µs modulo 2^16. */
uint16_t board_clock(void);

/* Whether the clock has reached the time set last, which was less than 2^15 ahead.
 * It takes next to no time, so call it often. */
bool board_due(void);
void board_due_at(uint16_t clock);

/* Operator. */

bool board_button(void);

enum lamp {
	LAMP_READY, /* the firmware runs */
	LAMP_BUSY,  /* a request is being executed */
	LAMP_POWER  /* a supply switch is closed */
};
void board_lamp(enum lamp lamp, bool lit);

/* Non-volatile memory; erased bytes are 0xFF. A write takes some ms. */
enum { BOARD_KEEPS = 96 }; /* bytes */
uint8_t board_kept(uint8_t at);
void board_keep(uint8_t at, uint8_t value);

/* Serial line. */

/* Takes the next byte that came; false if there is none. */
bool board_receive(uint8_t *byte);

/* Whether board_send takes a byte without waiting. */
bool board_can_send(void);
void board_send(uint8_t byte);

/* What went wrong on the line since the last call. */
struct line_faults {
	uint8_t overruns;    /* bytes lost for want of time */
	uint8_t line_errors; /* bytes without a stop bit */
};
struct line_faults board_line_faults(void);

/* Selects a line rate: 0 the usual one, RATE_0 of message.h, or one of the slower. */
void board_line_rate(uint8_t rate);

/* Time and resets. */

/* ms since the reset, modulo 2^32. */
uint32_t board_millis(void);

/* Resets the watchdog: the main loop runs. */
void board_watchdog(void);

/* RESET_… of message.h. */
uint8_t board_reset_cause(void);

/* Another number after each reset. */
uint16_t board_boot_id(void);

/* Edges. */

/* A clock for edges, 1/16 µs modulo 2^16. */
uint16_t board_edge_clock(void);

/* An act: what changes at once. */
struct act {
	uint32_t keeps;      /* word of the driven positions that are not released */
	uint32_t dir, level; /* then as board_drive has them */
	uint8_t pulls;       /* a bit 1 << enum pull for each group that pulls from then on, */
	uint8_t shifted;     /* and for that one, if any, whose registers then take what board_shift shifted */
};

enum { MOST_ACTS = 9 };

/* Takes note of act n, of the positions and resistors that socket.c allows. */
void board_act(uint8_t n, const struct act *a);

/* Shifts a group's levels; they show with the act that says so, or at once: then what pulls does
 * so otherwise from now on. */
void board_shift(enum pull which, uint32_t up, bool at_once);

/* An edge: when it was seen, and how long the position had not been looked at before. */
struct board_edge {
	uint16_t at, gap;
};

/* Selects the position, by its word, whose edges are looked for from now on. */
void board_watch(uint32_t word);

/* A lookout for its edges. */
struct lookout {
	bool high;                /* how the position read when it was last looked at, */
	uint16_t seen;            /* and when that was */
	struct board_edge *edges; /* room for most */
	uint8_t most, found;
	bool (*go_on)(void);      /* asked every BOARD_GO_ON_US or a quarter more; false ends it */
};

enum { BOARD_GO_ON_US = 200 };

/* Looks until the clock is there, less than 2^15 ahead, or all edges are found, one more at least,
 * or go_on says no. From one look to the next it takes 3/4 µs at most, and up to 20 µs now and then for what
 * cannot wait. */
void board_edges(struct lookout *l, uint16_t until);

/* Makes up to count acts, from number n on, each so long after from, by the edge clock, which is less than 2^15
 * ahead, or at once if that is past; puts there how long after it each was. One that is late delays those less than BOARD_CLOSE_US behind it by
 * as much. Nothing interrupts an act. It releases, changes the levels, then the pulls, then drives. Its time is that of the
 * levels; all is within BOARD_ACT_16THS of it, and BOARD_PULLED_ALONE_16THS pass from a release to the pulls, 2
 * more or less. It looks, as board_edges does, before and between the acts, and after them until the clock is
 * there; an act's own edge is seen within 1.5 µs, and is never put down before the act. Gives how many acts were made:
 * fewer if all edges were found, or go_on said no, before one. */
enum { BOARD_CLOSE_US = 32, BOARD_ACT_16THS = 8, BOARD_PULLED_ALONE_16THS = 8 };
uint8_t board_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until);

/* Looks as board_edges does, for one edge more, and makes act n at once when it is seen; puts there when. Gives
 * whether it was. */
bool board_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until);

#endif
