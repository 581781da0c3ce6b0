/* The shift registers: 74HC595s in three chains, which share data and clock. What is
 * shifted for one goes through all; only what is stored shows at the outputs. So a
 * chain is always shifted whole before it is stored. */
#include "board.h"
#include "pins.h"
#include "registers.h"
#include "shift.h"

enum { CYCLES_OF_BACK = 16 }; /* 4.7 kΩ into a pin and a wire, 0.2 µs, and the MCU's own synchroniser */

static uint8_t low_outputs;     /* of the chain of the low-side switches */
static bool low_stored = true; /* it took what it was to store last */

/* Data with the clock low, then the rising edge: a 1 written to PINx toggles the bit of
 * PORTx. Setting up and holding take a 74HC595 some 30 ns, half a cycle. */
static inline void clock_in(bool bit, uint8_t low, uint8_t high)
{
	PORTC = bit ? high : low;
	PINC = SHIFT_CLOCK;
}

void shift_bit(bool bit)
{
	uint8_t low = PORTC & (uint8_t)~(SHIFT_DATA | SHIFT_CLOCK);

	clock_in(bit, low, low | SHIFT_DATA);
	PORTC &= (uint8_t)~SHIFT_CLOCK;
}

void shift_out(uint8_t bits)
{
	uint8_t low = PORTC & (uint8_t)~(SHIFT_DATA | SHIFT_CLOCK);
	uint8_t high = low | SHIFT_DATA;

	clock_in(bits & 0x80, low, high);
	clock_in(bits & 0x40, low, high);
	clock_in(bits & 0x20, low, high);
	clock_in(bits & 0x10, low, high);
	clock_in(bits & 0x08, low, high);
	clock_in(bits & 0x04, low, high);
	clock_in(bits & 0x02, low, high);
	clock_in(bits & 0x01, low, high);
	PORTC &= (uint8_t)~SHIFT_CLOCK;
}

bool shift_back(enum chain which)
{
	__builtin_avr_delay_cycles(CYCLES_OF_BACK);
	if (which == CHAIN_LOW) {
		return (PINJ & LOW_BACK) != 0;
	}
	return (PIND & (which == CHAIN_BIAS ? BIAS_BACK : LOAD_BACK)) != 0;
}

static void store(enum chain which)
{
	uint8_t line = which == CHAIN_BIAS ? BIAS_STORE : LOAD_STORE;

	if (which == CHAIN_LOW) {
		PORTD |= LOW_STORE;
		PORTD &= (uint8_t)~LOW_STORE;
	} else {
		PORTG |= line;
		PORTG &= (uint8_t)~line;
	}
}

static void enable(enum chain which, bool on)
{
	uint8_t line = which == CHAIN_BIAS ? BIAS_OFF : LOAD_OFF;

	if (which == CHAIN_LOW) {
		PORTB = on ? PORTB & (uint8_t)~LOW_OFF : PORTB | LOW_OFF;
	} else {
		PORTG = on ? PORTG & (uint8_t)~line : PORTG | line;
	}
}

static void shift_zeros(void)
{
	uint8_t i;

	for (i = 0; i < SHIFT_LONGEST / 8; i++) {
		shift_out(0);
	}
}

uint8_t board_chain(enum chain which)
{
	uint8_t most = which == CHAIN_LOW ? 16 : 32;
	uint8_t outputs = 0;
	bool sound;
	uint8_t clocks;

	enable(which, false);
	shift_zeros();
	sound = !shift_back(which);
	for (clocks = 1; clocks <= SHIFT_LONGEST; clocks++) {
		shift_bit(clocks == 1);
		if (shift_back(which)) {
			sound = sound && outputs == 0; /* the 1 comes out once */
			outputs = clocks;
		}
	}
	store(which); /* zeros: the 1 is through */
	sound = sound && outputs % 8 == 0 && outputs <= most;
	if (!sound) {
		outputs = 0;
	}
	if (which == CHAIN_LOW) {
		low_outputs = outputs;
	}
	return outputs;
}

void board_shift(enum pull which, uint32_t up, bool at_once)
{
	shift_out((uint8_t)(up >> 24));
	shift_out((uint8_t)(up >> 8));
	shift_out((uint8_t)(up >> 16));
	shift_out((uint8_t)up);
	if (at_once) {
		store(which == PULL_BIAS ? CHAIN_BIAS : CHAIN_LOAD);
	}
}

void board_pull(enum pull which, bool on, uint32_t up)
{
	if (on) {
		board_shift(which, up, true);
	}
	enable(which == PULL_BIAS ? CHAIN_BIAS : CHAIN_LOAD, on);
}

uint8_t registers_enabled(uint8_t pulls)
{
	uint8_t lines = PORTG & (uint8_t)~(BIAS_OFF | LOAD_OFF | BIAS_STORE | LOAD_STORE);

	if ((pulls & 1 << PULL_BIAS) == 0) {
		lines |= BIAS_OFF;
	}
	if ((pulls & 1 << PULL_LOAD) == 0) {
		lines |= LOAD_OFF;
	}
	return lines;
}

uint8_t registers_stores(uint8_t pulls)
{
	uint8_t lines = 0;

	if (pulls & 1 << PULL_BIAS) {
		lines |= BIAS_STORE;
	}
	if (pulls & 1 << PULL_LOAD) {
		lines |= LOAD_STORE;
	}
	return lines;
}

/* Outputs of the low-side chain for a word: 1 4 7 8 21 24 25 28, then 9 10 11 12 14. */
static uint16_t low_bits(uint32_t low)
{
	static const uint32_t outputs[] = {
		UINT32_C(1) << 0, UINT32_C(1) << 3, UINT32_C(1) << 6, UINT32_C(1) << 7,
		UINT32_C(1) << 23, UINT32_C(1) << 20, UINT32_C(1) << 19, UINT32_C(1) << 16,
		UINT32_C(1) << 8, UINT32_C(1) << 9, UINT32_C(1) << 10, UINT32_C(1) << 11, UINT32_C(1) << 13
	};
	uint16_t bits = 0;
	uint8_t i;

	for (i = sizeof outputs / sizeof outputs[0]; i > 0; i--) {
		bits = (uint16_t)(bits << 1);
		if (low & outputs[i - 1]) {
			bits |= 1;
		}
	}
	return bits;
}

/* Shifts the bits through the low-side chain, and reports whether what came out of it
 * meanwhile was the same. Nothing is between its end and the MCU's pin. */
static bool shift_low(uint16_t bits)
{
	bool same = true;
	uint8_t left;

	for (left = low_outputs; left > 0; left--) {
		uint8_t bit = bits >> (left - 1) & 1;

		same = ((PINJ & LOW_BACK) != 0) == bit && same;
		shift_bit(bit);
	}
	return same;
}

/* Stores only what the chain gives back, for which it is shifted twice. Its outputs are
 * on also with all switches open, to hold the gates down; they go off, where resistors
 * do that, if the chain does not shift any more. */
static void store_low_switches(uint32_t low)
{
	uint16_t bits = low_bits(low);

	if (low_outputs == 0) {
		return; /* not found, so its outputs are off */
	}
	(void)shift_low(bits);
	low_stored = shift_low(bits);
	if (low_stored) {
		store(CHAIN_LOW);
	}
	enable(CHAIN_LOW, low_stored);
}

/* Lines of the high-side switches for a word. */
static uint8_t high_lines(uint32_t high)
{
	static const struct {
		uint32_t bit;
		uint8_t line;
	} switches[] = {
		{UINT32_C(1) << 0, HIGH_1}, {UINT32_C(1) << 3, HIGH_4}, {UINT32_C(1) << 4, HIGH_5},
		{UINT32_C(1) << 7, HIGH_8}, {UINT32_C(1) << 22, HIGH_22}, {UINT32_C(1) << 16, HIGH_28}
	};
	uint8_t lines = 0;
	uint8_t i;

	for (i = 0; i < sizeof switches / sizeof switches[0]; i++) {
		if (high & switches[i].bit) {
			lines |= switches[i].line;
		}
	}
	return lines;
}

void board_supply(uint32_t high, uint32_t low)
{
	uint8_t lines = high_lines(high);

	PORTH = PORTH | (uint8_t)(HIGH_SWITCHES ^ lines);
	store_low_switches(low);
	PORTH &= (uint8_t)~lines;
}

bool board_lines_hold(void)
{
	return low_stored && ((PINH ^ PORTH) & HIGH_SWITCHES) == 0 &&
	       ((PING ^ PORTG) & (BIAS_STORE | LOAD_STORE | BIAS_OFF | LOAD_OFF)) == 0 && ((PINB ^ PORTB) & LOW_OFF) == 0 &&
	       ((PINJ ^ PORTJ) & CONVERTERS_OFF) == 0 && ((PINC ^ PORTC) & (SHIFT_DATA | SHIFT_CLOCK)) == 0 &&
	       ((PIND ^ PORTD) & LOW_STORE) == 0;
}
