/* Revision A of the adapter: what every board that is one has in common. */
#ifndef REVISION_A_H
#define REVISION_A_H

#include "message.h"

/* All 28 positions; sense lines on L1-8 and R1-8. */
#define REVISION_A_POSITIONS 0x3FFF3FFFu
#define REVISION_A_SENSE 0x00FF00FFu

/* Positions of the supply switches; bit i of board_supply is switch i. */
#define REVISION_A_HIGH_SWITCHES {1, 4, 5, 8, 22, 28}
#define REVISION_A_LOW_SWITCHES {1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28}
enum { REVISION_A_HIGH_COUNT = 6, REVISION_A_LOW_COUNT = 13 };

/* The monitor's full scale is 320 mA; a limit must lie below to be seen. */
enum { REVISION_A_MAX_CURRENT_MA = 300 };

enum { REVISION_A_FEATURES = FEATURE_BIAS | FEATURE_LOAD | FEATURE_BUTTON | FEATURE_MEASURE | FEATURE_SWEEP | FEATURE_PATTERN };

/* A conversion takes 26 µs (13 cycles of 500 kHz), and some with what the core
 * does about it; all told it is good to 3 of 1024 parts (README.md). */
enum { REVISION_A_CONVERSION_US = 33, REVISION_A_ERROR_MV = 15 };

#endif
