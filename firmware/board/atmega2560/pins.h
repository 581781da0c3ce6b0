/* Which line of the ATmega2560 does what: the table of ../../README.md. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Drive: L1-8 PORTA, L9-14 PORTC 0-5, R1-8 PORTL, R9-14 PORTB 0-5.
 * Sense: L1-8 PORTF, R1-8 PORTK; the others on the pins that drive them. */
enum { SIX = 0x3F };

/* All shift registers, and DIN and CLK of both far converters: PORTC. */
enum {
	SHIFT_DATA = _BV(PC6),
	SHIFT_CLOCK = _BV(PC7)
};

/* A rising edge stores what was shifted: PORTD, PORTG and PORTG. */
enum {
	LOW_STORE = _BV(PD7),
	BIAS_STORE = _BV(PG0),
	LOAD_STORE = _BV(PG1)
};

/* Output enables, 0 = on: PORTB, PORTG and PORTG. */
enum {
	LOW_OFF = _BV(PB6),
	BIAS_OFF = _BV(PG2),
	LOAD_OFF = _BV(PG5)
};

/* Read-back, with pull-ups: the serial output of the low-side chain at PORTJ, those
 * of the bias and load chains with DOUT of the converters at PORTD. */
enum {
	LOW_BACK = _BV(PJ1),
	BIAS_BACK = _BV(PD2),
	LOAD_BACK = _BV(PD3)
};

/* Chip select of both converters, 0 = selected: PORTJ. */
enum { CONVERTERS_OFF = _BV(PJ0) };

/* High-side supply switches, 0 = on: PORTH 0, 1, 3, 4, 5, 6. */
enum {
	HIGH_1 = _BV(PH0),
	HIGH_4 = _BV(PH1),
	HIGH_5 = _BV(PH3),
	HIGH_8 = _BV(PH4),
	HIGH_22 = _BV(PH5),
	HIGH_28 = _BV(PH6),
	HIGH_SWITCHES = HIGH_1 | HIGH_4 | HIGH_5 | HIGH_8 | HIGH_22 | HIGH_28
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
