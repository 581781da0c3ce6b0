/* The refresh of a dynamic memory: all its rows are strobed at least once a period
 * (SPEC.md, PATTERN). */
#ifndef REFRESH_H
#define REFRESH_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "message.h"

struct refresh {
	uint16_t after;  /* from the beginning of one to that of the next, 1/2 µs; 0 no refresh */
	uint16_t rows;
	uint32_t address; /* word of the rows' address */
	uint32_t bits[MOST_ROW_BITS + 1]; /* those that are not used are 0 */
	uint32_t last; /* its highest bit: the last code of a Gray count */
	uint32_t strobe;
};

/* Begins this one, at once, instead of the one before. */
enum refusal refresh_begin(const struct refresh *r);

void refresh_forget(void);

/* While it is paused none is made; after it one is due. */
void refresh_pause(bool paused);

/* Whether a refresh is to be kept. */
bool refresh_is_kept(void);

/* Time until the next is due, 1/2 µs; 0 it is. */
uint16_t refresh_in(void);

/* Makes one, where the memory is at rest; what is not ACCEPTED is from socket_guard. */
enum refusal refresh_now(void);

/* Makes one if it is due, and sets board_due for the next. */
enum refusal refresh_keep(void);

/* The same with a look at the current and the watchdog: what takes long calls it now
 * and then. */
enum refusal refresh_watch(void);

#endif
