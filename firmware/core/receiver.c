#include "receiver.h"

#include "crc.h"

void receiver_reset(struct receiver *r)
{
	r->length = 0;
	r->crc = CRC_INIT;
	r->left = 0;
	r->zero_next = false;
	r->begun = false;
}

static void store(struct receiver *r, uint8_t byte)
{
	if (r->length >= MAX_REQUEST_BODY) {
		r->length = MAX_REQUEST_BODY + 1;
		return;
	}
	r->body[r->length] = byte;
	r->length++;
	r->crc = crc_step(r->crc, byte);
}

/* Judges what stands before a delimiter. The next byte begins a new frame. */
static enum receipt complete(struct receiver *r)
{
	bool begun = r->begun;
	bool whole = r->left == 0;
	uint16_t length = r->length;

	r->begun = false;
	r->left = 0;
	if (!begun) {
		return RECEIPT_NONE;
	}
	if (length > MAX_REQUEST_BODY) {
		return RECEIPT_OVERSIZE;
	}
	/* The CRC of a body with its CRC behind it is 0. */
	if (!whole || length < MIN_BODY || r->crc != 0) {
		return RECEIPT_DAMAGED;
	}
	return RECEIPT_FRAME;
}

enum receipt receiver_take(struct receiver *r, uint8_t byte)
{
	if (byte == 0) {
		return complete(r);
	}
	if (r->left > 0) { /* first, for it is nearly always so */
		r->left--;
		store(r, byte);
		return RECEIPT_NONE;
	}
	if (!r->begun) {
		receiver_reset(r);
		r->begun = true;
	}
	if (r->zero_next) {
		store(r, 0);
	}
	r->left = (uint8_t)(byte - 1);
	r->zero_next = byte != 0xFF;
	return RECEIPT_NONE;
}
