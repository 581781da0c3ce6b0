/* A register is found by what comes out of its chain, a converter by its answer. A
 * supply switch is found by closing it against the bias resistors: with all
 * positions pulled one way, nothing else in the socket can pull the other way, whatever
 * the chip, because no current flows. */
#include "fitted.h"

#include <stdbool.h>

#include "board.h"
#include "message.h"

enum {
	PULLED_US = 1000, /* for all positions to follow the bias: 10 kΩ, and a chip */
	SWITCHED_US = 100 /* for one to follow its switch, or the bias again: 500 pF at 10 kΩ */
};

struct fitted fitted;

/* Word of the outputs of a chain of bias or load resistors. */
static uint32_t outputs_word(uint8_t outputs)
{
	uint32_t word = 0;

	/* Registers in the order of their chain. */
	if (outputs >= 8) {
		word |= UINT32_C(0x000000FF);
	}
	if (outputs >= 16) {
		word |= UINT32_C(0x00FF0000);
	}
	if (outputs >= 24) {
		word |= UINT32_C(0x00003F00);
	}
	if (outputs >= 32) {
		word |= UINT32_C(0x3F000000);
	}
	return word;
}

/* Word of what the far converters measure. */
static uint32_t converters_word(void)
{
	uint32_t word = 0;

	if (board_converter(0)) {
		word |= UINT32_C(0x00003F00) | SUPPLY_BIT | REFERENCE_1_BIT;
	}
	if (board_converter(1)) {
		word |= UINT32_C(0x3F000000) | REFERENCE_2_BIT;
	}
	return word & ~(ALL_POSITIONS & ~fitted.positions);
}

/* Word of the switches of a side that work, of those that may be there: each pulls
 * its position against the bias when it is closed, and leaves it when it is open. */
static uint32_t switches(bool high, uint32_t may)
{
	uint32_t rest = high ? 0 : UINT32_MAX; /* how positions read with all switches open */
	uint32_t found = 0;
	uint32_t bit;

	board_pull(PULL_BIAS, true, high ? 0 : fitted.positions);
	board_wait_us(PULLED_US);
	for (bit = 1; bit != 0; bit <<= 1) {
		if ((may & bit) == 0 || ((board_sample() ^ rest) & bit) != 0) {
			continue;
		}
		board_supply(high ? bit : 0, high ? 0 : bit);
		board_wait_us(SWITCHED_US);
		if (((board_sample() ^ rest) & bit) != 0) {
			found |= bit;
		}
		board_supply(0, 0);
		board_wait_us(SWITCHED_US);
		board_watchdog();
	}
	return found;
}

void fitted_find(void)
{
	/* Each chain is cleared and read back before its outputs are ever turned on. */
	uint8_t low = board_chain(CHAIN_LOW);

	fitted.positions = outputs_word(board_chain(CHAIN_BIAS));
	fitted.load = outputs_word(board_chain(CHAIN_LOAD)) & fitted.positions;
	fitted.sense = NEAR_POSITIONS & fitted.positions;
	fitted.far = converters_word();
	fitted.high = 0;
	fitted.low = 0;
	if (fitted.positions != 0) {
		board_lamp(LAMP_POWER, true);
		if (low != 0) {
			fitted.low = switches(false, board_traits.low & fitted.positions);
		}
		fitted.high = switches(true, board_traits.high & fitted.positions);
		board_pull(PULL_BIAS, false, 0);
		board_lamp(LAMP_POWER, false);
	}
	fitted.features = board_traits.features;
	fitted.features |= fitted.positions != 0 ? FEATURE_BIAS : 0;
	fitted.features |= fitted.load != 0 ? FEATURE_LOAD : 0;
	fitted.features |= fitted.far != 0 ? FEATURE_FAR : 0;
}
