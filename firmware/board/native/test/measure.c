/* Voltages, and what the adapter keeps to make them right. The exchanges of the
 * golden files say what is measured; here is what may go wrong. */
#include <string.h>

#include "calibration.h"
#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"
#include "revision_a.h"
#include "socket.h"

static uint8_t payload[MAX_PAYLOAD];

/* count steps that drive 1 and measure the positions of a word. */
static size_t steps(uint16_t count, uint32_t positions, uint16_t settle_us, uint8_t averaging)
{
	uint8_t *at = put_u32(payload, MEASURE_UNPOWERED);

	for (; count > 0; count--) {
		at = put_u32(at, 1);
		at = put_u32(at, 0);
		at = put_u32(at, positions);
		at = put_u16(at, settle_us);
		at = put_u8(at, averaging);
		at = put_u8(at, 0);
	}
	return (size_t)(at - payload);
}

static void refused(uint8_t seq, uint8_t code, uint32_t detail)
{
	size_t length;
	const uint8_t *reply = host_reply(TYPE_ERROR, seq, &length);

	CHECK(length == 6 && reply[0] == code && get_u32(reply + 2) == detail);
}

/* 27 steps of all 16 positions fill a reply of 1026 bytes, 28 would take 1064. */
static void longest_reply(void)
{
	size_t length;

	fake_reset();
	host_ask(TYPE_MEASURE, 1, payload, steps(28, REVISION_A_SENSE, 0, 0));
	fake_run();
	refused(1, LIMIT, 1032);
	host_ask(TYPE_MEASURE, 2, payload, steps(27, REVISION_A_SENSE, 0, 0));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 2, &length);
	CHECK(length == 1026);
	host_ask(TYPE_MEASURE, 3, payload, steps(64, 0, 0, 7));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 3, &length);
	CHECK(length == 64 * 6);
}

/* 16 positions of 130 times 33 µs are 68.64 ms: 14 steps fit into a second, 15 do not. */
static void longest_run(void)
{
	size_t length;
	uint64_t us;

	fake_reset();
	host_ask(TYPE_MEASURE, 1, payload, steps(15, REVISION_A_SENSE, 0, 7));
	fake_run();
	refused(1, LIMIT, 1000);
	us = fake.us;
	host_ask(TYPE_MEASURE, 2, payload, steps(14, REVISION_A_SENSE, 0, 7));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 2, &length);
	CHECK(fake.us - us == 14 * 16 * 129 * 26); /* one conversion of each is thrown away */
	CHECK(fake.longest_unwatched_us <= 2000);
	host_ask(TYPE_MEASURE, 3, payload, steps(16, 0, 62501, 7));
	fake_run();
	refused(3, LIMIT, 1000);
}

static void overcurrent(void)
{
	size_t length;
	const uint8_t *reply;
	uint64_t us;

	fake_reset();
	host_power(1);
	us = fake.us;
	fake.trip_after = fake.drives + 3;
	host_ask(TYPE_MEASURE, 2, payload, steps(10, REVISION_A_SENSE, 100, 7));
	fake_run();
	reply = host_reply(TYPE_ERROR, 2, &length);
	CHECK(reply[0] == OVERCURRENT);
	CHECK(!socket_live());
	CHECK(fake.us - us <= 2 * (100 + 16 * 129 * 26) + 2000);
}

/* A monitor that is not there at the start is no fault, one that falls silent is. */
static void monitor(void)
{
	const uint8_t *reply;
	size_t length;

	fake_reset();
	fake.monitor_silent = true;
	fake_restart();
	CHECK((socket_features() & FEATURE_MONITOR) == 0);
	host_ask(TYPE_POWER, 1, (const uint8_t[]){28, 0, 100, 0, 10, 0, 0x40, 0, 0, 0}, POWER_LEN);
	fake_run();
	reply = host_reply(TYPE_POWER | TYPE_REPLY, 1, &length);
	CHECK(get_u16(reply) == CURRENT_NOT_MEASURED);

	fake_reset();
	CHECK((socket_features() & FEATURE_MONITOR) != 0);
	host_power(1);
	fake.monitor_silent = true;
	fake_pass(1);
	CHECK(!socket_live() && socket_now()->safe_cause == SAFE_FAULT);
	host_ask(TYPE_POWER, 2, (const uint8_t[]){28, 0, 100, 0, 10, 0, 0x40, 0, 0, 0}, POWER_LEN);
	fake_run();
	refused(2, FAULT, 0);
	CHECK(!socket_live());
}

/* Supply at 8 and ground at 7, both sensed. A switch that does not close shows. */
static void switches(void)
{
	static const uint8_t power[] = {8, 0, 100, 0, 10, 0, 0x40, 0, 0, 0};
	static const uint32_t open[] = {0x80, 0x40, 0xC0};
	static const uint8_t rails[] = {RAIL_HIGH, RAIL_OFF};
	size_t i;

	for (i = 0; i < sizeof open / sizeof open[0]; i++) {
		fake_reset();
		fake.open = open[i];
		host_ask(TYPE_RAILS, 1, rails, sizeof rails); /* so that an open ground is high */
		fake_run();
		CHECK(host_count() == 1);
		host_ask(TYPE_POWER, 2, power, sizeof power);
		fake_run();
		/* With the rail high, a supply that does not come looks like one that does. */
		if (open[i] != 0x80) {
			refused(2, FAULT, 0x40);
			CHECK(!socket_live());
		} else {
			CHECK(host_count() == 1);
		}
	}
	fake_reset();
	fake.open = 0x80;
	host_ask(TYPE_POWER, 1, power, sizeof power);
	fake_run();
	refused(1, FAULT, 0x80);
	fake_reset();
	fake.lines_stuck = true;
	host_ask(TYPE_POWER, 1, power, sizeof power);
	fake_run();
	refused(1, FAULT, 0xC0);
}

/* What is kept is there after a restart, unless a bit of it turns over. */
static void kept(void)
{
	uint8_t record[CALIBRATION_MOST];
	size_t bit;

	fake_reset();
	memcpy(record, calibration_record(), calibration_length());
	put_u16(record, 4900);
	memmove(payload + CALIBRATION_HEADER_LEN, record, calibration_length());
	put_u16(payload, CALIBRATION_WRITE);
	host_ask(TYPE_CALIBRATION, 1, payload, (size_t)CALIBRATION_HEADER_LEN + calibration_length());
	fake_run();
	CHECK(host_count() == 1);
	CHECK(fake.longest_unwatched_us <= 4000);
	fake_restart();
	CHECK(calibration_now() == CALIBRATION_STORED);
	CHECK(memcmp(calibration_record(), record, calibration_length()) == 0);
	for (bit = 0; bit < 8u * (calibration_length() + 2u); bit++) {
		fake.kept[bit / 8] ^= (uint8_t)(1u << bit % 8);
		fake_restart();
		CHECK(calibration_now() == CALIBRATION_DAMAGED);
		CHECK(get_u16(calibration_record()) == 5000);
		fake.kept[bit / 8] ^= (uint8_t)(1u << bit % 8);
	}
	fake_restart();
	CHECK(calibration_now() == CALIBRATION_STORED);
}

/* Each value of the record at its limits and one beyond. SPEC.md, CALIBRATION. */
static void ranges(void)
{
	static const struct {
		uint8_t at;
		uint16_t low, high;
	} fields[] = {{0, 4500, 5500}, {2, 31130, 34406}, {4, 9000, 11000}, {6, 900, 1100}, {8, 150, 300}, {11, 31130, 34406}, {71, 31130, 34406}};
	uint8_t record[CALIBRATION_MOST];
	size_t i;
	int offset;

	fake_reset();
	memcpy(record, calibration_record(), calibration_length());
	CHECK(calibration_sane(record));
	for (i = 0; i < sizeof fields / sizeof fields[0]; i++) {
		uint16_t value = get_u16(record + fields[i].at);

		put_u16(record + fields[i].at, fields[i].low);
		CHECK(calibration_sane(record));
		put_u16(record + fields[i].at, (uint16_t)(fields[i].low - 1));
		CHECK(!calibration_sane(record));
		put_u16(record + fields[i].at, fields[i].high);
		CHECK(calibration_sane(record));
		put_u16(record + fields[i].at, (uint16_t)(fields[i].high + 1));
		CHECK(!calibration_sane(record));
		put_u16(record + fields[i].at, value);
	}
	for (offset = -110; offset <= 110; offset++) {
		put_u16(record + 73, (uint16_t)offset);
		CHECK(calibration_sane(record) == (offset >= -100 && offset <= 100));
	}
}

void test_measure(void)
{
	longest_reply();
	longest_run();
	overcurrent();
	monitor();
	switches();
	kept();
	ranges();
}
