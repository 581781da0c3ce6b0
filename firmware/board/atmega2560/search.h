/* Looking for the edges of one position, by timer 3. */
#ifndef SEARCH_H
#define SEARCH_H

#include "board.h"

/* The position's line, and its bit there. */
extern volatile uint8_t *watched_line;
extern uint8_t watched_bit;

/* Looks until timer 3 is there, at least 1 µs ahead, or all edges are found. Interrupts are off, let in
 * when one waits, and off again afterwards. */
void search(struct lookout *l, uint16_t until);

/* The same until then, less than 2^15 ahead, and asks whether to go on; then it is true, or they are on. */
bool search_on(struct lookout *l, uint16_t until);

/* As search, but lets none in, and may find the clock past it. */
void search_quietly(struct lookout *l, uint16_t until);

/* Puts down an edge; there is room. */
void search_put(struct lookout *l, uint16_t at, uint16_t gap);

#endif
