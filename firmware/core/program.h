/* A pattern program as it is kept: load.c checks one into it, and pattern.c runs it. */
#ifndef PROGRAM_H
#define PROGRAM_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"
#include "refresh.h"

/* Opcodes: the table of SPEC.md. */
enum opcode {
	OP_END = 0x00,
	OP_FLIP = 0x01,
	OP_SET = 0x02,
	OP_LATCH = 0x03,
	OP_VALUE = 0x04,
	OP_SHOW = 0x05,
	OP_DRIVE = 0x06,
	OP_RELEASE = 0x07,
	OP_CHECK = 0x08,
	OP_TAKE = 0x09,
	OP_FOLD = 0x0A,
	OP_EMIT = 0x0B,
	OP_STEP = 0x0C,
	OP_SPOT = 0x0D,
	OP_PAUSE = 0x0E,
	OP_WAIT = 0x0F,
	OP_MARK = 0x10,
	OP_LOOP = 0x11,
	OP_NEXT = 0x12,
	OP_CELL = 0x13,
	OP_CONVERT = 0x14
};

enum {
	MOST_GROUPS = 16,
	MOST_GROUP_BITS = 16,
	MOST_NIBBLES = 16, /* of all groups */
	REGISTERS = 4
};

/* The positions with a bit each of 16 words, the values of a nibble. */
typedef uint32_t nibble[16];

struct group {
	uint32_t word;    /* how its positions are to be, or should read */
	uint32_t mask;    /* they */
	uint16_t nibbles; /* offset of its first in program_nibbles, bytes */
	uint8_t bits;
	uint8_t reserved; /* makes a group 12 bytes on every board */
};

struct loop {
	uint16_t value; /* the register */
	uint16_t last;
	uint16_t step; /* 1, or -1 modulo 2^16 */
	uint16_t body; /* offset of its first instruction */
};

struct program {
	bool loaded;
	uint16_t settle; /* 1/16 µs */
	uint8_t brief;   /* the same, if it is so brief that it is waited for in place; else 0, */
	bool lasting;    /* and it is not */
	uint32_t direction, level, mask;
	struct refresh refresh;
	uint8_t group_count;
	uint16_t most_output;  /* of a stretch, bytes */
	uint16_t length;       /* of the code */
};

/* The program that is loaded, or is being. */
extern struct program program;

/* Apart from the struct, so that the MCU has their addresses as constants. In the
 * code that is kept the number of a group or of a register stands as the offset of
 * its bytes, so that nothing is multiplied. */
extern struct group program_groups[MOST_GROUPS];
extern struct loop program_loops[REGISTERS];
extern nibble program_nibbles[MOST_NIBBLES];
extern uint8_t program_code[MAX_PAYLOAD - LOAD_HEADER_LEN];

static inline struct group *group_at(uint8_t offset)
{
	return (struct group *)(void *)((uint8_t *)program_groups + offset);
}

/* The group's first nibble. */
static inline const uint32_t *nibbles_of(const struct group *g)
{
	return (const uint32_t *)(void *)((uint8_t *)program_nibbles + g->nibbles);
}

static inline struct loop *loop_at(uint8_t offset)
{
	return (struct loop *)(void *)((uint8_t *)program_loops + offset);
}

/* Word of the group's positions for a value's lowest bits. */
uint32_t group_word(const struct group *g, uint16_t value);

#endif
