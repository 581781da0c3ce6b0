/* What makes a count of the converter a voltage, and a reading of the monitor a
 * current: constants that a host found out and the adapter keeps. */
#ifndef CALIBRATION_H
#define CALIBRATION_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

enum {
	CALIBRATED_CHANNELS = 16, /* the near ones; the far ones have a converter that needs none */
	CALIBRATION_LEN = CALIBRATION_FIXED_LEN + CALIBRATED_CHANNELS * CALIBRATION_CHANNEL_LEN
};

/* Begins: takes the constants that are kept, or the defaults where none are, or
 * they are damaged. */
void calibration_begin(void);

enum calibration_state calibration_now(void);

/* The record as SPEC.md lays it out, CALIBRATION_LEN bytes. */
const uint8_t *calibration_record(void);

/* Whether a record holds only what can be. */
bool calibration_sane(const uint8_t *record);

/* Keeps a sane record and goes by it from now on; takes up to 300 ms. */
void calibration_keep(const uint8_t *record);

/* Erases what is kept and goes by the defaults; takes as long. */
void calibration_forget(void);

/* Voltage of a channel, mV, from the sum of 2^averaging conversions. */
uint16_t calibration_mv(uint8_t channel, uint32_t sum, uint8_t averaging);

/* Current in 10 µA from what the monitor gives, and the other way round; what is
 * CURRENT_NOT_MEASURED stays so. */
uint16_t calibration_current(uint16_t monitored);
uint16_t calibration_monitored(uint16_t current);

#endif
