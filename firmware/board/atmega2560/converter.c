/* The MCU's own converter, on the sense lines, and the two far ones; all against the
 * MCU's own supply.
 *
 * The clock of the MCU's is 500 kHz, 16 MHz / 32, so a conversion of 13 cycles takes
 * 26 µs. From memory of the data sheet: ten bits in full want 50 to 200 kHz, where all
 * errors together are 2.5 counts; at 1 MHz they are 3 with a low-impedance
 * source. 125 kHz would take four times as long for half a count, 2.4 mV.
 *
 * The far ones are MCP3208s. From memory of the data sheet: with CS low the host clocks
 * in a start bit, 1 for single-ended, and three bits of the channel, at rising edges;
 * sampling begins at the rising edge of the fifth clock and ends at the falling one of
 * the sixth, which gives a 0, the null bit; then each falling edge gives a bit, the
 * highest first. 2 MHz at most, and a bit is there 200 ns after its edge. Both convert
 * at once; the one that was asked for is read. */
#include <avr/io.h>
#include <util/atomic.h>
#include <util/delay_basic.h>

#include "board.h"
#include "pins.h"
#include "shift.h"
#include "start.h"

enum {
	BY_32 = _BV(ADPS2) | _BV(ADPS0),
	SUPPLY_REFERENCE = _BV(REFS0),
	SAMPLED_CYCLES = 32 * 5 / 2, /* from the start of a conversion until it has sampled: two periods and a half of its clock */

	NEAR_TO_FAR = 4,      /* a count of 10 bits in ones of 12 */
	FAR_BITS = 12,
	FAR_MOST = 4095,
	COMMAND = 0x18,       /* start and single-ended, before the channel */
	COMMAND_BITS = 5,
	HALF_CYCLES = 4,      /* of a clock: 250 ns at least */
	SAMPLE_LOOPS = 30 * (F_CPU / 1000000) / 4 /* 30 µs: 4.7 kΩ into 20 pF, to 1 mV */
};

#define NO_NULL_BIT 0xFFFFu

static uint8_t selected; /* channel */

void converter_start(void)
{
	ADMUX = SUPPLY_REFERENCE;
	ADCSRA = _BV(ADEN) | BY_32;
}

/* Channels 0-7 are PORTF, 8-15 PORTK. */
void board_channel(uint8_t channel)
{
	selected = channel;
	if (channel < CHANNEL_L9) {
		ADCSRB = channel & 8 ? _BV(MUX5) : 0;
		ADMUX = (uint8_t)(SUPPLY_REFERENCE | (channel & 7));
	}
}

static inline void clock_once(uint8_t low)
{
	PORTC = low | SHIFT_CLOCK;
	__builtin_avr_delay_cycles(HALF_CYCLES);
	PORTC = low;
	__builtin_avr_delay_cycles(HALF_CYCLES);
}

/* Selects the converters, and has them sample a channel of theirs, 0 to 7. */
static void far_sample(uint8_t channel)
{
	uint8_t command = (uint8_t)(COMMAND | channel);
	uint8_t low = PORTC & (uint8_t)~(SHIFT_DATA | SHIFT_CLOCK);
	uint8_t bit;

	PORTJ &= (uint8_t)~CONVERTERS_OFF;
	for (bit = 1 << (COMMAND_BITS - 1); bit != 0; bit >>= 1) {
		uint8_t with_bit = command & bit ? low | SHIFT_DATA : low;

		PORTC = with_bit; /* before the edge */
		clock_once(with_bit);
	}
	_delay_loop_2(SAMPLE_LOOPS);
}

/* Reads what was sampled; NO_NULL_BIT without that. Nothing may stretch it, for the
 * sample fades. */
static uint16_t far_read(uint8_t line)
{
	uint16_t bits = 0;
	uint8_t low = PORTC;
	bool null;
	uint8_t left;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		clock_once(low);
		null = (PIND & line) == 0;
		for (left = FAR_BITS; left > 0; left--) {
			clock_once(low);
			bits = (uint16_t)(bits << 1);
			if (PIND & line) {
				bits |= 1;
			}
		}
	}
	PORTJ |= CONVERTERS_OFF;
	return null ? bits : NO_NULL_BIT;
}

static uint8_t far_line(uint8_t which)
{
	return which == 0 ? BIAS_BACK : LOAD_BACK;
}

/* Its line is also a chain's, through 4.7 kΩ: filled with ones the chain gives a 1, as
 * nothing at all does, and only a converter a 0 where its null bit belongs. The bits
 * that go to the converter meanwhile, channel 7, are ones too. */
bool board_converter(uint8_t which)
{
	enum chain chain = which == 0 ? CHAIN_BIAS : CHAIN_LOAD;
	bool before, answers;
	uint8_t i;

	for (i = 0; i < SHIFT_LONGEST / 8; i++) {
		shift_out(0xFF);
	}
	before = shift_back(chain);
	far_sample(7);
	answers = far_read(far_line(which)) != NO_NULL_BIT;
	return before && answers && shift_back(chain);
}

/* Eight channels a converter. One that gives no null bit any more reads as the most. */
static uint16_t convert_far(void)
{
	uint16_t count;

	far_sample(selected & 7);
	count = far_read(far_line(selected >= CHANNEL_R9));
	return count == NO_NULL_BIT ? FAR_MOST : count;
}

/* What is written to PINx toggles. */
static inline void toggle(const uint8_t *word)
{
	PINA = word[0];
	PINC = word[1];
	PINL = word[2];
	PINB = word[3];
}

/* From memory of the data sheet: a conversion begins at the next rising edge of the converter's clock, a
 * period after it was asked for at most, and samples 1.5 periods after that. */
uint16_t board_convert_held(const uint32_t *toggles, uint8_t pause)
{
	uint32_t all = toggles[0] ^ toggles[1] ^ toggles[2];
	const uint8_t *first = (const uint8_t *)toggles;
	uint16_t turns = (uint16_t)(pause / 4 + 1);

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		toggle(first);
		toggle(first + 4);
		toggle(first + 8);
		_delay_loop_2(turns);
		ADCSRA = _BV(ADEN) | _BV(ADSC) | BY_32;
		__builtin_avr_delay_cycles(SAMPLED_CYCLES);
		toggle((const uint8_t *)&all);
	}
	while (ADCSRA & _BV(ADSC)) {
	}
	return (uint16_t)(NEAR_TO_FAR * ADC);
}

uint16_t board_convert(void)
{
	if (selected >= CHANNEL_L9) {
		return convert_far();
	}
	ADCSRA = _BV(ADEN) | _BV(ADSC) | BY_32;
	while (ADCSRA & _BV(ADSC)) {
	}
	return (uint16_t)(NEAR_TO_FAR * ADC);
}
