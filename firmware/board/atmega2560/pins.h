/* Which line of the ATmega2560 does what: the table of ../../README.md. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Drive: L1-8 PORTA, L9-14 PORTC 0-5, R1-8 PORTL, R9-14 PORTB 0-5.
 * Sense: L1-8 PORTF, R1-8 PORTK; the others on the pins that drive them. */
enum { SIX = 0x3F };

/* Rails, PORTG: each a half bridge, high side and low side. */
enum {
	BIAS_HIGH = _BV(PG0),
	BIAS_LOW = _BV(PG1),
	LOAD_HIGH = _BV(PG2),
	LOAD_LOW = _BV(PG5)
};

/* High-side supply switches, PORTH 0, 1, 3, 4, 5, 6. */
enum { HIGH_SWITCHES = _BV(PH0) | _BV(PH1) | _BV(PH3) | _BV(PH4) | _BV(PH5) | _BV(PH6) };

/* Latch of the low-side supply switches: PORTC and PORTD. */
enum {
	LATCH_DATA = _BV(PC6),
	LATCH_SHIFT = _BV(PC7),
	LATCH_STORE = _BV(PD7)
};

/* I²C of the current monitor: PORTD. */
enum { MONITOR_CLOCK = _BV(PD0) };

/* Operator: PORTE, and PORTB for the power lamp. */
enum {
	READY_LAMP = _BV(PE3),
	BUTTON = _BV(PE4),
	BUSY_LAMP = _BV(PE5),
	POWER_LAMP = _BV(PB7)
};

#endif
