/* The monitor of the supply current: an I²C slave with 16-bit registers, high
 * byte first, that measures the voltage over the shunt again and again. A count
 * is 10 µV, which over 0.1 Ω is 100 µA.
 *
 * Asking for it takes 75 µs at 400 kHz, too long to wait for in the middle of
 * steps: so a timer asks every 400 µs, the interrupts of the bus carry it on, and
 * board_current gives what came last. From a current over the limit to the end
 * of a conversion that begins after it are two conversions at most, 1.07 ms; then
 * come the timer, the bus and the core's next look, 1.8 ms in all. */
#include <avr/interrupt.h>
#include <util/atomic.h>
#include <util/delay_basic.h>
#include <util/twi.h>

#include "board.h"
#include "message.h"
#include "pins.h"

#define BUS_HERTZ 400000ul

enum {
	ADDRESS = 0x40 << 1,
	SETTING = 0, /* register of the settings */
	SHUNT = 1,   /* register of the shunt's voltage */
	/* ±40 mV, 12 bits in 532 µs, the shunt alone, without end. */
	RANGE_40_MV = 0 << 11,
	BITS_12 = 3 << 3,
	SHUNT_WITHOUT_END = 5,
	SETTINGS = RANGE_40_MV | BITS_12 | SHUNT_WITHOUT_END,

	PERIOD_US = 400,
	TIMER_BY_64 = _BV(CS22),
	PATIENCE = 3, /* readings that may fail in a row */
	OF_A_COUNT = 10, /* 10 µA in one of 100 µA */
	MOST_COUNTS = 4000,

	CLOCKS_OF_A_BYTE = 9,
	HALF_CLOCK_LOOPS = F_CPU / 100000 / 2 / 3, /* of three cycles, for 100 kHz */
	BYTE_LOOPS = 200 /* turns of waiting for a byte, which takes 23 µs */
};

enum { GO = _BV(TWINT) | _BV(TWEN) };

static volatile uint16_t current = CURRENT_NOT_MEASURED;
static volatile bool reading; /* one is on its way */
static volatile uint8_t failed; /* in a row */

static void fail(void)
{
	reading = false;
	if (failed < PATIENCE) {
		failed++;
	} else {
		current = CURRENT_NOT_MEASURED;
	}
}

/* Asks, unless the last time is not answered yet: then the bus hangs. */
ISR(TIMER2_COMPA_vect)
{
	if (reading) {
		fail();
		TWCR = 0;
	}
	reading = true;
	TWCR = GO | _BV(TWSTA) | _BV(TWIE);
}

ISR(TWI_vect)
{
	static uint8_t high;
	uint16_t count;

	switch (TW_STATUS) {
	case TW_START:
		TWDR = ADDRESS | TW_READ;
		TWCR = GO | _BV(TWIE);
		break;
	case TW_MR_SLA_ACK:
		TWCR = GO | _BV(TWIE) | _BV(TWEA);
		break;
	case TW_MR_DATA_ACK:
		high = TWDR;
		TWCR = GO | _BV(TWIE);
		break;
	case TW_MR_DATA_NACK:
		/* A current that flows backwards is none. */
		count = high & 0x80 ? 0 : (uint16_t)((uint16_t)high << 8 | TWDR);
		current = (uint16_t)(OF_A_COUNT * (count < MOST_COUNTS ? count : MOST_COUNTS));
		failed = 0;
		reading = false;
		TWCR = GO | _BV(TWSTO);
		break;
	default:
		fail();
		TWCR = GO | _BV(TWSTO);
		break;
	}
}

/* Does one thing on the bus and waits until it is done; false if it is not, or
 * what it was is not acknowledged. */
static bool bus(uint8_t control)
{
	uint8_t left = BYTE_LOOPS;

	TWCR = (uint8_t)(GO | control);
	while ((TWCR & _BV(TWINT)) == 0) {
		left--;
		if (left == 0) {
			return false;
		}
	}
	return TW_STATUS == TW_START || TW_STATUS == TW_MT_SLA_ACK || TW_STATUS == TW_MT_DATA_ACK;
}

static bool put(uint8_t byte)
{
	TWDR = byte;
	return bus(0);
}

static bool put_register(uint8_t number)
{
	return bus(_BV(TWSTA)) && put(ADDRESS | TW_WRITE) && put(number);
}

static void stop(void)
{
	uint8_t left = BYTE_LOOPS;

	TWCR = GO | _BV(TWSTO);
	while ((TWCR & _BV(TWSTO)) != 0 && left > 0) {
		left--;
	}
}

/* Gives a slave that a reset broke off in the middle of a byte the clocks to end
 * it. The lines have pull-ups, so low is driven and high is not. */
static void free_bus(void)
{
	uint8_t clocks;

	for (clocks = CLOCKS_OF_A_BYTE; clocks > 0; clocks--) {
		DDRD |= MONITOR_CLOCK;
		_delay_loop_1(HALF_CLOCK_LOOPS);
		DDRD &= (uint8_t)~MONITOR_CLOCK;
		_delay_loop_1(HALF_CLOCK_LOOPS);
	}
}

bool board_monitor(void)
{
	bool answers;

	TIMSK2 = 0;
	TWCR = 0; /* whatever was on its way */
	free_bus();
	TWBR = (F_CPU / BUS_HERTZ - 16) / 2;
	TWSR = 0;
	answers = put_register(SETTING) && put((uint8_t)(SETTINGS >> 8)) && put((uint8_t)SETTINGS);
	stop();
	answers = answers && put_register(SHUNT); /* which every reading is of, from then on */
	stop();
	reading = false;
	failed = 0;
	current = answers ? 0 : CURRENT_NOT_MEASURED;
	if (answers) {
		OCR2A = PERIOD_US * (F_CPU / 1000000) / 64 - 1;
		TCCR2A = _BV(WGM21);
		TCCR2B = TIMER_BY_64;
		TIMSK2 = _BV(OCIE2A);
	}
	return answers;
}

uint16_t board_current(void)
{
	uint16_t last;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		last = current;
	}
	return last;
}
