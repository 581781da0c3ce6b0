/* Sends a body as a frame, a byte whenever the line takes one. The body stays,
 * so that it can be sent again. */
#ifndef SENDER_H
#define SENDER_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

struct sender {
	uint16_t length;    /* of the body, with its CRC */
	uint16_t crc;       /* over the bytes looked at */
	uint16_t sent;      /* bytes of the body that are on the line, or were a zero that a code stands for */
	uint16_t looked;    /* bytes of the body looked at, for the end of the block after this one */
	uint8_t block;      /* bytes left of this block */
	uint8_t next_block; /* bytes of the next block that were looked at */
	bool next_known;    /* its end was found */
	bool at_zero;       /* this block ends at a zero */
	bool next_at_zero;
	bool busy;
	uint8_t body[MAX_REPLY_BODY];
};

/* Begins to send the first length bytes of the body, and a CRC. */
void sender_start(struct sender *s, uint16_t length);

/* Begins to send the same again. */
void sender_again(struct sender *s);

/* Whether the next byte is known without looking through a whole block for it. */
bool sender_ready(const struct sender *s);

/* The next byte for the line. Only while busy; ends with the delimiter. */
uint8_t sender_next(struct sender *s);

/* Does a little of the work ahead, in time that is free. */
void sender_prepare(struct sender *s);

#endif
