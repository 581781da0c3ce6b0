/* What the core needs of the board it runs on. Each folder of ../board
 * implements this once, and the core never asks which it is.
 *
 * A word is a u32 with a bit a position of the socket: byte 0 (least
 * significant) L1-8, byte 1 L9-14, byte 2 R1-8, byte 3 R9-14.
 */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

/* What the board is. */
struct board_traits {
	uint32_t positions;          /* word of the positions that are there */
	uint32_t sense;              /* word of those seen on the socket side of the drive resistor */
	const uint8_t *high_switches; /* positions of the high-side switches, in the order of the bits of board_supply */
	const uint8_t *low_switches;  /* positions of the low-side switches, likewise */
	uint8_t high_count;
	uint8_t low_count;
	uint16_t features;           /* FEATURE_… of message.h, but for the monitor's */
	uint16_t conversion_us;      /* longest time of a conversion with what belongs to it, µs */
	uint16_t error_mv;           /* that a voltage may be off without a calibration, mV, beside that of the supply */
	uint16_t max_current_ma;     /* highest current limit, mA */
	const char *name;            /* printable ASCII, at most 32 characters */
};

extern const struct board_traits board_traits;

/* Socket. The core calls these only with what it has checked. */

/* Makes dir the driven positions, at their bits of level; level has no bit
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

/* What patterns do most, in few cycles. A word or a mask is its four bytes in the
 * order above, at any address; the near functions look at bytes 0 and 2 alone, the
 * positions L1-8 and R1-8, which are all of a chip of up to 16 pins. */

/* Toggles as board_flip does. */
void board_flip_near(const uint8_t *word);

/* Brings those positions of mask that are driven to their bits of word, and leaves
 * the others. */
void board_follow(const uint8_t *word, const uint8_t *mask);
void board_follow_near(const uint8_t *word, const uint8_t *mask);

/* Whether a position of mask reads otherwise than its bit of word; if so, what all
 * positions read is put at sample. */
bool board_differs(const uint8_t *word, const uint8_t *mask, uint32_t *sample);
bool board_differs_near(const uint8_t *word, const uint8_t *mask, uint32_t *sample);

/* Makes the positions of mask driven beside those that are, at their bits of word,
 * which has no other; or not driven any more. */
void board_join(const uint8_t *word, const uint8_t *mask);
void board_leave(const uint8_t *mask);

/* State of the rails: RAIL_OFF, RAIL_LOW or RAIL_HIGH of message.h. Changes a rail through off. */
void board_rails(uint8_t bias, uint8_t load);

/* Closes these switches and opens all others, the opening ones first; bit i is
 * switch i of the traits. */
void board_supply(uint8_t high_bits, uint16_t low_bits);

/* Whether the lines of the rails and of the supply switches read back as they were set. */
bool board_lines_hold(void);

/* Sets the current monitor up; false if there is none, or it does not answer. */
bool board_monitor(void);

/* Supply current as the monitor last measured it, not much more than a ms ago,
 * in 10 µA; CURRENT_NOT_MEASURED without a monitor that answers. Takes no time. */
uint16_t board_current(void);

/* Selects the position to convert: channel n senses the n-th of the sensed
 * positions, counted from the least significant bit of their word. */
void board_channel(uint8_t channel);

/* Converts the voltage of the selected position: 0 to 1023, in 1/1024 of the
 * MCU's supply. */
uint16_t board_convert(void);

/* Waits at least us µs, at most 1000. */
void board_wait_us(uint16_t us);

/* Waits at least n/16 µs. */
void board_wait_16ths(uint16_t n);

/* A clock for short times, 1/2 µs modulo 2^16. */
uint16_t board_clock(void);

/* Whether the clock has come to the time set last, as far as that lay ahead, but
 * less than 2^15. To be asked often: it takes next to no time. */
bool board_due(void);
void board_due_at(uint16_t clock);

/* Operator. */

bool board_button(void);

enum lamp {
	LAMP_READY, /* the firmware runs */
	LAMP_BUSY,  /* a request is being carried out */
	LAMP_POWER  /* a supply switch is closed */
};
void board_lamp(enum lamp lamp, bool lit);

/* Memory that keeps its bytes without power; erased ones are 0xFF. A write takes some ms. */
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

/* Selects the slower line rate, or the usual one. */
void board_line_rate(bool slower);

/* Time and resets. */

/* ms since the reset, modulo 2^32. */
uint32_t board_millis(void);

/* Tells the watchdog that the main loop runs. */
void board_watchdog(void);

/* RESET_… of message.h. */
uint8_t board_reset_cause(void);

/* Another number after each reset. */
uint16_t board_boot_id(void);

#endif
