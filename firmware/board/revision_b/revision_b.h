/* Revision B of the adapter: what every board that is one has in common. */
#ifndef REVISION_B_H
#define REVISION_B_H

#include "message.h"

/* Words of the positions with a supply switch, where all are fitted: on the high side
 * 1 4 5 8 22 28, on the low side 1 4 7 8 21 24 25 28 and 9 10 11 12 14. */
#define REVISION_B_HIGH UINT32_C(0x00410099)
#define REVISION_B_LOW UINT32_C(0x00992FC9)

/* The monitor's full scale is 400 mA; a limit must lie below to be seen. */
enum { REVISION_B_MAX_CURRENT_MA = 300 };

enum {
	REVISION_B_FEATURES = FEATURE_BUTTON | FEATURE_MEASURE | FEATURE_SWEEP | FEATURE_PATTERN | FEATURE_WATCH | FEATURE_CELL | FEATURE_CONVERT |
	                      FEATURE_ACCESSES
};

/* A conversion takes 26 µs (13 cycles of 500 kHz), or of a far one 30 µs of sampling
 * and 25 of clocks, and some with what the core does about it; in total a near one is
 * good to 3 of 1024 parts (README.md). */
enum { REVISION_B_CONVERSION_US = 33, REVISION_B_FAR_CONVERSION_US = 65, REVISION_B_ERROR_MV = 15 };

#endif
