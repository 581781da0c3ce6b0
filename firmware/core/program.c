#include "program.h"

struct program program;

struct group program_groups[MOST_GROUPS];
struct loop program_loops[REGISTERS];
nibble program_nibbles[MOST_NIBBLES];
uint8_t program_code[MAX_PAYLOAD - LOAD_HEADER_LEN];

uint32_t group_word(const struct group *g, uint16_t value)
{
	const uint32_t *n = nibbles_of(g);
	uint32_t word = n[value & 15];
	uint8_t bits = g->bits;

	for (; bits > 4; bits = (uint8_t)(bits - 4)) {
		value >>= 4;
		n += 16;
		word |= n[value & 15];
	}
	return word;
}
