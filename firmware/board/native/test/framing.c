/* Receiver and sender against the golden files, and against each other. */
#include <stdio.h>
#include <string.h>

#include "check.h"
#include "crc.h"
#include "fake.h"
#include "receiver.h"
#include "sender.h"

static struct receiver receiver;
static struct sender sender;

/* Feeds all bytes; what the last gives is returned, the others must give nothing. */
static enum receipt feed(const uint8_t *bytes, size_t length)
{
	enum receipt receipt = RECEIPT_NONE;
	size_t i;

	for (i = 0; i < length; i++) {
		CHECK(receipt == RECEIPT_NONE);
		receipt = receiver_take(&receiver, bytes[i]);
	}
	return receipt;
}

/* Sends a body of length bytes, its CRC not among them; the frame's length is returned. */
static size_t send(const uint8_t *body, size_t length, uint8_t *out)
{
	size_t at = 0;

	memcpy(sender.body, body, length);
	sender_start(&sender, (uint16_t)length);
	while (sender.busy) {
		if (at % 3 == 0) {
			sender_prepare(&sender);
		}
		out[at++] = sender_next(&sender);
	}
	return at;
}

/* The check value of the catalogue of parametrised CRC algorithms, entry
 * "CRC-16/IBM-3740", and its residue. */
static void crc_check_value(void)
{
	static const char digits[] = "123456789";
	uint16_t crc = CRC_INIT;
	size_t i;

	for (i = 0; i < 9; i++) {
		crc = crc_step(crc, (uint8_t)digits[i]);
	}
	CHECK(crc == 0x29B1);
	CHECK(crc_step(crc_step(crc, 0x29), 0xB1) == 0);
}

static void golden_frames(void)
{
	static struct golden line;
	static uint8_t body[FAKE_LINE], wire[FAKE_LINE], sent[FAKE_LINE];
	size_t length = 0, wire_length;
	unsigned frames = 0;
	bool more;

	golden_open("frames.txt");
	while (golden_next(&line)) {
		if (strcmp(line.key, "frame") == 0) {
			body[0] = 2; /* SPEC.md: the version */
			length = 1;
			frames++;
		} else if (strcmp(line.key, "wire") != 0) {
			length += golden_bytes(line.rest, body + length, &more);
		} else {
			wire_length = golden_bytes(line.rest, wire, &more);
			CHECK(feed(wire, wire_length) == RECEIPT_FRAME);
			CHECK(receiver.length == length);
			CHECK(memcmp(receiver.body, body, length) == 0);
			CHECK(send(body, length - 2, sent) == wire_length);
			CHECK(memcmp(sent, wire, wire_length) == 0);
		}
	}
	CHECK(frames >= 16);
}

/* These are no frames, so the receiver calls them damaged; but what it decoded is there. */
static void golden_cobs(void)
{
	static struct golden line;
	static uint8_t plain[FAKE_LINE], encoded[FAKE_LINE];
	size_t plain_length = 0, length;
	unsigned examples = 0;
	bool more;

	golden_open("cobs.txt");
	while (golden_next(&line)) {
		if (strcmp(line.key, "bytes") == 0) {
			plain_length = golden_bytes(line.rest, plain, &more);
			continue;
		}
		length = golden_bytes(line.rest, encoded, &more);
		encoded[length++] = 0;
		CHECK(feed(encoded, length) == RECEIPT_DAMAGED);
		CHECK(receiver.length == plain_length);
		CHECK(memcmp(receiver.body, plain, plain_length) == 0);
		examples++;
	}
	CHECK(examples >= 12);
}

static void damaged(void)
{
	static struct golden line;
	static uint8_t wire[FAKE_LINE];
	static const uint8_t body[] = {1, 2, 9};
	unsigned cases = 0;
	bool more;

	golden_open("damaged.txt");
	while (golden_next(&line)) {
		CHECK(feed(wire, golden_bytes(line.rest, wire, &more)) == RECEIPT_DAMAGED);
		CHECK(feed(wire, fake_frame(body, sizeof body, wire)) == RECEIPT_FRAME);
		CHECK(receiver.length == 5 && receiver.body[2] == 9);
		cases++;
	}
	CHECK(cases >= 7);
}

/* The longest body is taken, one byte more is not, and all after it is passed over. */
static void longest(void)
{
	static uint8_t body[FAKE_LINE], wire[FAKE_LINE];
	size_t i;

	for (i = 0; i < sizeof body; i++) {
		body[i] = (uint8_t)(i * 7);
	}
	CHECK(feed(wire, fake_frame(body, MAX_REQUEST_BODY - CRC_LEN, wire)) == RECEIPT_FRAME);
	CHECK(memcmp(receiver.body, body, MAX_REQUEST_BODY - CRC_LEN) == 0);
	CHECK(feed(wire, fake_frame(body, MAX_REQUEST_BODY - CRC_LEN + 1, wire)) == RECEIPT_OVERSIZE);
	CHECK(feed(wire, fake_frame(body, 5000, wire)) == RECEIPT_OVERSIZE);
	CHECK(feed(wire, fake_frame(body, 20, wire)) == RECEIPT_FRAME);
}

/* Every length, with rare, frequent and no zeros: the sender writes what the
 * reference writes, and the receiver reads it. Numbers from a linear
 * congruential generator (constants of Numerical Recipes), so that they repeat. */
static void round_trips(void)
{
	static uint8_t body[MAX_REPLY_BODY], wire[FAKE_LINE], sent[FAKE_LINE];
	uint32_t random = 1;
	size_t length, i, wire_length;
	unsigned zeros;

	for (length = HEADER_LEN; length <= MAX_REPLY_BODY - CRC_LEN; length++) {
		for (zeros = 0; zeros < 3; zeros++) {
			for (i = 0; i < length; i++) {
				random = random * 1664525 + 1013904223;
				body[i] = (uint8_t)(random >> 24);
				if (zeros == 0 && body[i] == 0) {
					body[i] = 1;
				}
				if (zeros == 2 && body[i] < 128) {
					body[i] = 0;
				}
			}
			wire_length = fake_frame(body, length, wire);
			CHECK(send(body, length, sent) == wire_length);
			CHECK(memcmp(sent, wire, wire_length) == 0);
			CHECK(feed(sent, wire_length) == RECEIPT_FRAME);
			CHECK(receiver.length == length + CRC_LEN);
			CHECK(memcmp(receiver.body, body, length) == 0);
		}
	}
}

void test_framing(void)
{
	receiver_reset(&receiver);
	crc_check_value();
	golden_frames();
	golden_cobs();
	damaged();
	longest();
	round_trips();
}
