/* The RUN that is being carried out: what is looked at meanwhile, and what it puts out. */
#ifndef RUN_H
#define RUN_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"
#include "program.h"

/* What the next NEXT has to see to. */
enum { ATTEND_REFRESH = 1 << 0, ATTEND_STOP = 1 << 1 };

struct run {
	uint8_t *output, *end;
	uint32_t begin_ms;
	uint16_t budget_ms;
	uint8_t attention; /* ATTEND_… */
	bool log;
	enum refusal refusal; /* that broke it off */
};

extern struct run run;

extern uint32_t run_errors; /* since LOAD */

/* Looks at all that is to be looked at, when board_due says so; false if the socket was
 * made safe. */
bool run_look(void);

/* Sees to what was put off; false if the program is to be left. */
bool run_attend(void);

/* Puts bytes out; the next stretch may have no room left then. */
void run_put_out(uint32_t value, uint8_t bytes);

/* Puts a group's bits of a sample out. */
void run_take(const struct group *g, uint32_t sample);

/* Counts an error, and puts its record out. */
void run_count_error(const struct group *g, uint8_t mark, uint32_t sample);

#endif
