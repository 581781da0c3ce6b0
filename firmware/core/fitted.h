/* What is fitted of the adapter, which may be built in parts; found at reset. */
#ifndef FITTED_H
#define FITTED_H

#include <stdint.h>

struct fitted {
	uint32_t positions; /* word of the positions with a bias resistor: all that the adapter serves */
	uint32_t load;      /* word of those with a load resistor */
	uint32_t high;      /* word of those with a high-side switch that works, */
	uint32_t low;       /* and with one on the low side */
	uint32_t sense;     /* word of those seen on the socket's side of the drive resistor: the near ones */
	uint32_t far;       /* word of what the far converters measure, what is no position among it */
	uint16_t features;  /* FEATURE_…, but for the monitor's */
};

/* As it was found last. */
extern struct fitted fitted;

/* Finds it out. Nothing may be driven or switched on, and nothing is afterwards. A
 * chip in the socket gets 0.5 mA a pin at most, and their sum, 13 mA, at one. */
void fitted_find(void);

#endif
