/* A COBS block is headed by its length, so each must be looked through before
 * its first byte goes out. That is done ahead, a few bytes of the next block while
 * the line is busy with one of this, and the CRC is taken on the way: a reply
 * then leaves at once, at the full rate. */
#include "sender.h"

#include "crc.h"

enum {
	FULL_BLOCK = 254,
	LOOKED_AT_ONCE = 8 /* bytes: long enough to be worth a call, and shorter than two on the line */
};

/* Looks at a few more bytes of the body for the end of the next block. */
static void look(struct sender *s)
{
	uint16_t crc = s->crc;
	uint16_t crc_at = (uint16_t)(s->length - CRC_LEN);
	uint16_t looked = s->looked;
	uint8_t block = s->next_block;
	uint8_t left = LOOKED_AT_ONCE;

	for (; left > 0; left--) {
		uint8_t byte;

		if (looked == s->length || block == FULL_BLOCK) {
			s->next_known = true;
			break;
		}
		byte = s->body[looked];
		looked++;
		crc = crc_step(crc, byte);
		if (looked == crc_at) {
			s->body[looked] = (uint8_t)(crc >> 8);
			s->body[looked + 1] = (uint8_t)crc;
		}
		if (byte == 0) {
			s->next_at_zero = true;
			s->next_known = true;
			break;
		}
		block++;
	}
	s->crc = crc;
	s->looked = looked;
	s->next_block = block;
}

void sender_again(struct sender *s)
{
	s->crc = CRC_INIT;
	s->sent = 0;
	s->looked = 0;
	s->block = 0;
	s->next_block = 0;
	s->next_known = false;
	s->next_at_zero = false;
	s->at_zero = true; /* as if a zero stood before the body: so even an empty block is sent */
	s->busy = true;
}

void sender_start(struct sender *s, uint16_t length)
{
	s->length = (uint16_t)(length + CRC_LEN);
	sender_again(s);
}

void sender_prepare(struct sender *s)
{
	if (s->busy && !s->next_known) {
		look(s);
	}
}

/* Heads the next block with its code, or ends the frame. */
static uint8_t next_code(struct sender *s)
{
	uint8_t code;

	if (s->sent == s->length && !s->at_zero) {
		s->busy = false;
		return 0;
	}
	while (!s->next_known) {
		look(s);
	}
	s->block = s->next_block;
	s->at_zero = s->next_at_zero;
	code = (uint8_t)(s->block + 1);
	s->next_block = 0;
	s->next_known = false;
	s->next_at_zero = false;
	if (s->block == 0 && s->at_zero) {
		s->sent++;
	}
	return code;
}

bool sender_ready(const struct sender *s)
{
	return s->block > 0 || s->next_known || (s->sent == s->length && !s->at_zero);
}

uint8_t sender_next(struct sender *s)
{
	uint8_t byte;

	if (s->block == 0) {
		return next_code(s);
	}
	byte = s->body[s->sent];
	s->sent++;
	s->block--;
	if (s->block == 0 && s->at_zero) {
		s->sent++;
	}
	return byte;
}
