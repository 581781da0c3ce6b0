#include "calibration.h"

#include "board.h"
#include "crc.h"

/* Offsets in the record. */
enum { SUPPLY = 0, SHUNT = 2, BIAS = 4, LOAD = 6, DRIVE = 8, COUNT = 10, GAIN = 0, OFFSET = 2 };

#define ONE 32768u /* of a gain */

static uint8_t record[CALIBRATION_LEN];
static enum calibration_state state;

const uint8_t *calibration_record(void)
{
	return record;
}

enum calibration_state calibration_now(void)
{
	return state;
}

/* The values of design and data sheets: firmware/README.md. */
static void take_defaults(void)
{
	uint8_t *at = record;
	uint8_t left;

	at = put_u16(at, 5000);  /* mV */
	at = put_u16(at, ONE);
	at = put_u16(at, 10000); /* Ω */
	at = put_u16(at, 1000);  /* Ω */
	at = put_u16(at, 145);   /* Ω */
	at = put_u8(at, CALIBRATED_CHANNELS);
	for (left = CALIBRATED_CHANNELS; left > 0; left--) {
		at = put_u16(at, ONE);
		at = put_u16(at, 0);
	}
}

static bool within(const uint8_t *at, uint16_t low, uint16_t high)
{
	uint16_t value = get_u16(at);

	return value >= low && value <= high;
}

bool calibration_sane(const uint8_t *from)
{
	const uint8_t *at = from + CALIBRATION_FIXED_LEN;
	uint8_t left;

	if (!within(from + SUPPLY, 4500, 5500) || !within(from + SHUNT, ONE - ONE / 20, ONE + ONE / 20) ||
	    !within(from + BIAS, 9000, 11000) || !within(from + LOAD, 900, 1100) || !within(from + DRIVE, 100, 200) ||
	    from[COUNT] != CALIBRATED_CHANNELS) {
		return false;
	}
	for (left = CALIBRATED_CHANNELS; left > 0; left--) {
		int16_t offset = (int16_t)get_u16(at + OFFSET);

		if (!within(at + GAIN, ONE - ONE / 20, ONE + ONE / 20) || offset < -100 || offset > 100) {
			return false;
		}
		at += CALIBRATION_CHANNEL_LEN;
	}
	return true;
}

static uint16_t crc_of(const uint8_t *bytes)
{
	uint16_t crc = CRC_INIT;
	uint8_t left;

	for (left = CALIBRATION_LEN; left > 0; left--) {
		crc = crc_step(crc, *bytes);
		bytes++;
	}
	return crc;
}

void calibration_begin(void)
{
	bool erased = true;
	uint16_t crc;
	uint8_t i;

	for (i = 0; i < CALIBRATION_LEN; i++) {
		record[i] = board_kept(i);
		erased = erased && record[i] == 0xFF;
	}
	crc = (uint16_t)((uint16_t)board_kept(CALIBRATION_LEN) << 8 | board_kept(CALIBRATION_LEN + 1));
	if (!erased && crc == crc_of(record) && calibration_sane(record)) {
		state = CALIBRATION_STORED;
		return;
	}
	state = erased ? CALIBRATION_NONE : CALIBRATION_DAMAGED;
	take_defaults();
}

static void keep(uint8_t at, uint8_t value)
{
	board_keep(at, value);
	board_watchdog();
}

void calibration_keep(const uint8_t *from)
{
	uint16_t crc = crc_of(from);
	uint8_t i;

	for (i = 0; i < CALIBRATION_LEN; i++) {
		record[i] = from[i];
		keep(i, from[i]);
	}
	keep(CALIBRATION_LEN, (uint8_t)(crc >> 8));
	keep(CALIBRATION_LEN + 1, (uint8_t)crc);
	state = CALIBRATION_STORED;
}

void calibration_forget(void)
{
	uint8_t i;

	for (i = 0; i < CALIBRATION_LEN + CRC_LEN; i++) {
		keep(i, 0xFF);
	}
	take_defaults();
	state = CALIBRATION_NONE;
}

/* A far channel has neither gain nor offset. No division, and no long shift by what is
 * not known when this is compiled: the MCU takes as long for one as for a conversion. */
uint16_t calibration_mv(uint8_t channel, uint32_t sum, uint8_t averaging)
{
	uint32_t mv = (sum * get_u16(record + SUPPLY) + ((uint32_t)2048 << averaging)) / 4096 >> averaging;
	const uint8_t *at;
	int32_t calibrated;

	if (channel >= CALIBRATED_CHANNELS) {
		return (uint16_t)mv;
	}
	at = record + CALIBRATION_FIXED_LEN + channel * CALIBRATION_CHANNEL_LEN;
	calibrated = (int32_t)((mv * get_u16(at + GAIN) + ONE / 2) / ONE) + (int16_t)get_u16(at + OFFSET);
	return calibrated < 0 ? 0 : (uint16_t)calibrated;
}

uint16_t calibration_current(uint16_t monitored)
{
	if (monitored == CURRENT_NOT_MEASURED) {
		return monitored;
	}
	return (uint16_t)(((uint32_t)monitored * get_u16(record + SHUNT) + ONE / 2) / ONE);
}

uint16_t calibration_monitored(uint16_t current)
{
	return (uint16_t)((uint32_t)current * ONE / get_u16(record + SHUNT));
}
