/* CELL: the accesses of a march test to one word of a memory after the other (SPEC.md). */
#ifndef CELL_H
#define CELL_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "program.h"

/* A CELL in the program's code, from its opcode on; the accesses follow. In the code that
 * is kept, the groups and the register are offsets, and the count has the number of the
 * first access in its high nibble. */
enum { CELL_IDLE = 1, CELL_AWAY = 2, CELL_COUNTED = 3, CELL_REGISTER = 4, CELL_COUNT = 5, CELL_LEN = 6 };

/* An access. */
enum { ACCESS_KIND = 0, ACCESS_GROUP = 1, ACCESS_VALUE = 2, ACCESS_MARK = 4, ACCESS_PAUSE = 5, ACCESS_TOGGLES = 6, ACCESS_LEN = 22 };

/* Makes the accesses of the CELL at at; where the NEXT of its register follows and goes back
 * to it, of all cells. Gives the next instruction; nothing if the program is to be left,
 * and then that NEXT is at *place, if it goes on there. */
const uint8_t *cells(const uint8_t *at, const uint8_t **place);

/* Prepares for CELLs that count this group: to be called for each bit from 0 to
 * BLOCK_BITS - 1. */
enum { BLOCK_BITS = 5 };
void cells_prepare(const struct group *counted, uint8_t bit);

#endif
