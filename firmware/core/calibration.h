/* Converts counts of the converter to voltages, and readings of the monitor to
 * currents, by constants that a host found and the adapter stores. */
#ifndef CALIBRATION_H
#define CALIBRATION_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

enum {
	CALIBRATED_CHANNELS = 16, /* the near ones; the far ones have a converter that needs none */
	CALIBRATION_LEN = CALIBRATION_FIXED_LEN + CALIBRATED_CHANNELS * CALIBRATION_CHANNEL_LEN
};

/* Begins: takes the stored constants, or the defaults if there are none or they are
 * damaged. */
void calibration_begin(void);

enum calibration_state calibration_now(void);

/* The record as SPEC.md lays it out, CALIBRATION_LEN bytes. */
const uint8_t *calibration_record(void);

/* Whether all values of a record are in range. */
bool calibration_sane(const uint8_t *record);

/* Stores a valid record and uses it from now on; takes up to 300 ms. */
void calibration_keep(const uint8_t *record);

/* Erases the stored record and uses the defaults; takes as long. */
void calibration_forget(void);

/* Voltage of a channel, mV, from the sum of 2^averaging conversions. */
uint16_t calibration_mv(uint8_t channel, uint32_t sum, uint8_t averaging);

/* Current in 10 µA from what the monitor gives, and the other way round; what is
 * CURRENT_NOT_MEASURED stays so. */
uint16_t calibration_current(uint16_t monitored);
uint16_t calibration_monitored(uint16_t current);

#endif
