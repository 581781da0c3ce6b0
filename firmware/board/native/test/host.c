#include "host.h"

#include <string.h>

#include "check.h"
#include "fake.h"
#include "message.h"
#include "receiver.h"

static uint8_t frame[FAKE_LINE];
static size_t frame_length;
static struct receiver receiver;

void host_ask(uint8_t type, uint8_t seq, const uint8_t *payload, size_t length)
{
	static uint8_t body[FAKE_LINE];

	body[0] = PROTOCOL_VERSION;
	body[1] = type;
	body[2] = seq;
	if (length > 0) {
		memcpy(body + HEADER_LEN, payload, length);
	}
	frame_length = fake_frame(body, HEADER_LEN + length, frame);
	host_again();
}

void host_again(void)
{
	fake_put(frame, frame_length);
}

unsigned host_count(void)
{
	unsigned frames = 0;
	size_t i;

	receiver_reset(&receiver);
	for (i = 0; i < fake.from_core_length; i++) {
		enum receipt receipt = receiver_take(&receiver, fake.from_core[i]);

		CHECK(receipt == RECEIPT_NONE || receipt == RECEIPT_FRAME);
		frames += receipt == RECEIPT_FRAME ? 1 : 0;
	}
	fake.from_core_length = 0;
	return frames;
}

const uint8_t *host_reply(uint8_t type, uint8_t seq, size_t *length)
{
	CHECK(host_count() == 1);
	CHECK(receiver.body[0] == PROTOCOL_VERSION);
	CHECK(receiver.body[1] == type);
	CHECK(receiver.body[2] == seq);
	*length = (size_t)(receiver.length - MIN_BODY);
	return receiver.body + HEADER_LEN;
}

void host_power(uint8_t seq)
{
	static const uint8_t payload[] = {28, 0, 100, 0, 10, 0, 0x40, 0, 0, 0};
	size_t length;

	host_ask(TYPE_POWER, seq, payload, sizeof payload);
	fake_run();
	host_reply(TYPE_POWER | TYPE_REPLY, seq, &length);
}

size_t host_steps(uint8_t *payload, uint16_t steps, uint16_t settle_us)
{
	uint8_t *at = payload;
	uint16_t i;

	at = put_u8(at, 0);
	at = put_u8(at, 0);
	at = put_u16(at, settle_us);
	at = put_u32(at, 3);
	for (i = 0; i < steps; i++) {
		at = put_u32(at, i);
	}
	return (size_t)(at - payload);
}

uint16_t host_counter(uint8_t seq, size_t offset)
{
	const uint8_t *payload;
	size_t length;

	host_ask(TYPE_STATUS, seq, NULL, 0);
	fake_run();
	payload = host_reply(TYPE_STATUS | TYPE_REPLY, seq, &length);
	CHECK(offset + 2 <= length);
	return get_u16(payload + offset);
}
