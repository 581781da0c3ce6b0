/* Takes the bytes of the line one by one, and finds the frames in them. */
#ifndef RECEIVER_H
#define RECEIVER_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"

enum receipt {
	RECEIPT_NONE,    /* nothing is complete */
	RECEIPT_FRAME,   /* a sound frame: its body is in the receiver until the next byte */
	RECEIPT_DAMAGED, /* not COBS, too short, or a wrong CRC */
	RECEIPT_OVERSIZE /* longer than any request */
};

struct receiver {
	uint16_t length; /* bytes of the body so far; MAX_REQUEST_BODY + 1 for too many */
	uint16_t crc;    /* over them */
	uint8_t left;    /* bytes left in the COBS block */
	bool zero_next;  /* a zero follows the block, if anything does */
	bool begun;
	uint8_t body[MAX_REQUEST_BODY];
};

/* Forgets a frame that has begun. */
void receiver_reset(struct receiver *r);

enum receipt receiver_take(struct receiver *r, uint8_t byte);

#endif
