/* The code of a pattern program, checked once so that running it needs no checks. */
#ifndef CHECK_H
#define CHECK_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"
#include "program.h"

/* What the code does. */
struct findings {
	uint32_t touched;  /* positions that it toggles */
	uint32_t released; /* that it releases */
	uint32_t driven;   /* that it drives later, */
	uint32_t turned;   /* and those of them that an access drives */
	uint8_t accesses, counted; /* those of CELLs, and the group that they count */
	uint32_t stretch_us, longest_us;
	uint32_t output, most_output;
	uint8_t nest[REGISTERS]; /* registers of the loops that are open */
	uint8_t depth;
	uint32_t unmeasured; /* positions that it converts and cannot */
	bool missing; /* a number of a position that is none */
	bool crowded; /* the board had no room for an access */
	enum refusal broken; /* what aborted it */
};


/* Walks the code of p once, as it stands, and translates it into the stored form. False if it is
 * none, or that was aborted. */
bool check_code(const struct program *p, struct findings *f);

#endif
