/* The ADC, on the sense lines, against the MCU's own supply.
 *
 * Its clock is 500 kHz, 16 MHz / 32, so a conversion of 13 cycles takes 26 µs.
 * From memory of the data sheet: ten bits in full want 50 to 200 kHz, where all
 * errors together are 2.5 counts; at 1 MHz they are 3 with a low-impedance
 * source. 125 kHz would take four times as long for half a count, 2.4 mV. */
#include <avr/io.h>

#include "board.h"
#include "start.h"

enum {
	BY_32 = _BV(ADPS2) | _BV(ADPS0),
	SUPPLY_REFERENCE = _BV(REFS0)
};

void converter_start(void)
{
	ADMUX = SUPPLY_REFERENCE;
	ADCSRA = _BV(ADEN) | BY_32;
}

/* Channels 0-7 are PORTF, 8-15 PORTK. */
void board_channel(uint8_t channel)
{
	ADCSRB = channel & 8 ? _BV(MUX5) : 0;
	ADMUX = (uint8_t)(SUPPLY_REFERENCE | (channel & 7));
}

uint16_t board_convert(void)
{
	ADCSRA = _BV(ADEN) | _BV(ADSC) | BY_32;
	while (ADCSRA & _BV(ADSC)) {
	}
	return ADC;
}
