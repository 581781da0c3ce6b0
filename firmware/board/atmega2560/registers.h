/* What the lines of the pulls' registers are to hold at PORTG. */
#ifndef REGISTERS_H
#define REGISTERS_H

#include <stdint.h>

/* With these groups on, a bit 1 << enum pull each, and the strobes low. */
uint8_t registers_enabled(uint8_t pulls);

/* The strobes of these groups. */
uint8_t registers_stores(uint8_t pulls);

#endif
