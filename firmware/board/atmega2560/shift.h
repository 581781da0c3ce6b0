/* The line that all shift registers share with the far converters. */
#ifndef SHIFT_H
#define SHIFT_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

enum { SHIFT_LONGEST = 40 }; /* clocks that pass through any chain, with some to spare */

/* Shifts a bit. */
void shift_bit(bool bit);

/* Shifts eight, the highest first. */
void shift_out(uint8_t bits);

/* What comes out of a chain, or of the converter on the same line, once it has had
 * time to settle. */
bool shift_back(enum chain which);

#endif
