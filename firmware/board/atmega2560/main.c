/* Start, time, resets, and the operator's lines. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "adapter.h"
#include "board.h"
#include "message.h"
#include "pins.h"
#include "start.h"

enum {
	TICK_PRESCALER = 64,
	TICKS_PER_MS = F_CPU / 1000 / TICK_PRESCALER /* 250 */
};

static volatile uint32_t millis;
static uint8_t reset_flags __attribute__((section(".noinit")));
static uint16_t boot_id;
static uint16_t stored_boot_id EEMEM;

/* What the core keeps in the EEPROM begins here whatever else is there, so that
 * it outlives a change of the firmware. */
static uint8_t *const kept = (uint8_t *)16;

void keep_reset_flags(void) __attribute__((naked, used, section(".init3")));

/* Before main: after a watchdog reset the watchdog runs on, at its shortest time. */
void keep_reset_flags(void)
{
	reset_flags = MCUSR;
	MCUSR = 0;
	wdt_disable();
}

ISR(TIMER0_COMPA_vect)
{
	millis++;
}

/* Timer 1, whose registers no interrupt uses. */
inline uint16_t board_clock(void)
{
	return TCNT1;
}

inline bool board_due(void)
{
	return (TIFR1 & _BV(OCF1A)) != 0;
}

/* A time that an interrupt let pass in between would be met only after a whole
 * turn of the timer. */
inline void board_due_at(uint16_t clock)
{
	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		OCR1A = clock;
		TIFR1 = _BV(OCF1A);
		if ((uint16_t)(clock - TCNT1 - 1) >= 0x8000) {
			OCR1A = (uint16_t)(TCNT1 + 2);
		}
	}
}

uint32_t board_millis(void)
{
	uint32_t ms;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		ms = millis;
	}
	return ms;
}

void board_watchdog(void)
{
	wdt_reset();
}

uint8_t board_reset_cause(void)
{
	/* A power-on sets others beside its own. */
	if (reset_flags & _BV(PORF)) {
		return RESET_POWER_ON;
	}
	if (reset_flags & _BV(WDRF)) {
		return RESET_WATCHDOG;
	}
	if (reset_flags & _BV(BORF)) {
		return RESET_BROWN_OUT;
	}
	if (reset_flags & _BV(EXTRF)) {
		return RESET_EXTERNAL;
	}
	return reset_flags & _BV(JTRF) ? RESET_PROGRAM : RESET_UNKNOWN;
}

uint16_t board_boot_id(void)
{
	return boot_id;
}

uint8_t board_kept(uint8_t at)
{
	return eeprom_read_byte(kept + at);
}

void board_keep(uint8_t at, uint8_t value)
{
	eeprom_update_byte(kept + at, value);
}

bool board_button(void)
{
	return (PINE & BUTTON) == 0;
}

static void light(volatile uint8_t *port, uint8_t line, bool lit)
{
	if (lit) {
		*port |= line;
	} else {
		*port &= (uint8_t)~line;
	}
}

void board_lamp(enum lamp lamp, bool lit)
{
	switch (lamp) {
	case LAMP_READY:
		light(&PORTE, READY_LAMP, lit);
		break;
	case LAMP_BUSY:
		light(&PORTE, BUSY_LAMP, lit);
		break;
	case LAMP_POWER:
		light(&PORTB, POWER_LAMP, lit);
		break;
	}
}

/* All lines are inputs after a reset, and what they control is off by its own
 * resistors. Each becomes an output at the level that is off too: those that are off
 * at 1 get there by way of the pull-up, never through 0. */
static void lines_start(void)
{
	/* PF4-7 are sense lines, not the debugger's: JTD takes effect when it is
	 * written twice within four cycles. */
	uint8_t jtag_off = (uint8_t)(MCUCR | _BV(JTD));

	MCUCR = jtag_off;
	MCUCR = jtag_off;
	PORTH = HIGH_SWITCHES;
	PORTG = BIAS_OFF | LOAD_OFF;
	PORTB = LOW_OFF;
	PORTJ = CONVERTERS_OFF | LOW_BACK;
	PORTD = BIAS_BACK | LOAD_BACK;
	DDRH = HIGH_SWITCHES;
	DDRG = BIAS_STORE | LOAD_STORE | BIAS_OFF | LOAD_OFF;
	DDRB = LOW_OFF | POWER_LAMP;
	DDRJ = CONVERTERS_OFF;
	DDRC = SHIFT_DATA | SHIFT_CLOCK;
	DDRD = LOW_STORE;
	DDRE = READY_LAMP | BUSY_LAMP;
	PORTE = BUTTON; /* pull-up */
}

static void clock_start(void)
{
	OCR0A = TICKS_PER_MS - 1;
	TCCR0A = _BV(WGM01);
	TCCR0B = _BV(CS01) | _BV(CS00);
	TIMSK0 = _BV(OCIE0A);
	TCCR1B = _BV(CS11); /* by 8 */
	TCCR3B = _BV(CS30);
}

int main(void)
{
	lines_start();
	converter_start();
	adapter_reset();
	boot_id = (uint16_t)(eeprom_read_word(&stored_boot_id) + 1);
	eeprom_update_word(&stored_boot_id, boot_id);
	clock_start();
	serial_start();
	wdt_enable(WDTO_250MS);
	sei();
	for (;;) {
		(void)adapter_poll();
	}
}
