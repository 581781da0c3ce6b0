/* Looking for the edges of one position, by timer 3. */
#ifndef SEARCH_H
#define SEARCH_H

#include "board.h"

/* What it is looking for, and what it has found. */
struct search {
	volatile uint8_t *line;
	uint8_t mask, level;
	uint8_t most, found;
	uint16_t seen; /* when the line was last looked at */
	struct board_edge *edges;
};

void search_begin(struct search *s, const struct board_eye *eye, uint8_t most, struct board_edge *edges);

/* Hands on how the position was last seen; gives the number of edges. */
uint8_t search_end(const struct search *s, struct board_eye *eye);

/* Looks until timer 3 is there, at least 1 µs ahead, or all edges came. Interrupts are off, let in
 * when one waits, and off again afterwards. */
void search(struct search *s, uint16_t until);

/* The same until then, and asks go_on as board_edges does; interrupts may be on before. */
void search_on(struct search *s, uint16_t until, bool (*go_on)(void));

/* As search, but lets none in, and may find the clock past it. */
void search_quietly(struct search *s, uint16_t until);

/* Puts down an edge, unless there are enough. */
void search_put(struct search *s, uint16_t at, uint16_t gap);

#endif
