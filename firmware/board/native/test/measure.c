/* Voltages, and what the adapter keeps to make them right. The exchanges of the
 * golden files say what is measured; here is what may go wrong. */
#include <string.h>

#include "calibration.h"
#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"
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
		at = put_u32(at, 0);
		at = put_u32(at, 0);
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
	host_ask(TYPE_MEASURE, 1, payload, steps(28, NEAR_POSITIONS, 0, 0));
	fake_run();
	refused(1, LIMIT, 1032);
	host_ask(TYPE_MEASURE, 2, payload, steps(27, NEAR_POSITIONS, 0, 0));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 2, &length);
	CHECK(length == 1026);
	host_ask(TYPE_MEASURE, 3, payload, steps(42, 0, 0, 7));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 3, &length);
	CHECK(length == 42 * 6);
}

/* 16 positions of 130 times 33 µs are 68.64 ms: 14 steps fit into a second, 15 do not. */
static void longest_run(void)
{
	size_t length;
	uint64_t us;

	fake_reset();
	host_ask(TYPE_MEASURE, 1, payload, steps(15, NEAR_POSITIONS, 0, 7));
	fake_run();
	refused(1, LIMIT, 1000);
	us = fake.us;
	host_ask(TYPE_MEASURE, 2, payload, steps(14, NEAR_POSITIONS, 0, 7));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 2, &length);
	CHECK(fake.us - us == 14 * 16 * 129 * 26); /* one conversion of each is thrown away */
	CHECK(fake.longest_unwatched_us <= 2000);
	host_ask(TYPE_MEASURE, 3, payload, steps(16, 0, 62501, 7));
	fake_run();
	refused(3, LIMIT, 1000);
}

/* What the far converters measure, in the order of its bits: L9, the supply behind the
 * shunt and the reference, L1 before and R1 after them, R9, and the reference again. A
 * far one takes 65 µs of the time that a request may: 15 of 130 conversions and 8 of
 * near ones are 161.07 ms, so six steps fit into a second. */
static void far(void)
{
	static const uint16_t mv[] = {0, 0, 4999, 2500, 0, 0, 2500}; /* of 5000: 4095/4096, 2048/4096 */
	const uint32_t positions = 1 | UINT32_C(1) << 8 | SUPPLY_BIT | REFERENCE_1_BIT | UINT32_C(1) << 16 | UINT32_C(1) << 24 | REFERENCE_2_BIT;
	const uint8_t *reply;
	size_t length, i;

	fake_reset();
	host_ask(TYPE_MEASURE, 1, payload, steps(1, positions, 0, 3));
	fake_run();
	reply = host_reply(TYPE_MEASURE | TYPE_REPLY, 1, &length);
	CHECK(length == 6 + 2 * sizeof mv / sizeof mv[0]);
	for (i = 0; i < sizeof mv / sizeof mv[0]; i++) {
		CHECK(get_u16(reply + 6 + 2 * i) == mv[i]);
	}
	host_ask(TYPE_MEASURE, 2, payload, steps(7, UINT32_C(0xBF00FFFF), 0, 7));
	fake_run();
	refused(2, LIMIT, 1000);
	host_ask(TYPE_MEASURE, 3, payload, steps(6, UINT32_C(0xBF00FFFF), 0, 7));
	fake_run();
	host_reply(TYPE_MEASURE | TYPE_REPLY, 3, &length);
	CHECK(fake.longest_unwatched_us <= 2000);
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
	host_ask(TYPE_MEASURE, 2, payload, steps(10, NEAR_POSITIONS, 100, 7));
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
	static const uint8_t pulls[PULLS_LEN] = {PULLS_BIAS, 0, 0xFF, 0x3F, 0xFF, 0x3F};
	size_t i;

	for (i = 0; i < sizeof open / sizeof open[0]; i++) {
		fake_reset();
		fake.open = open[i];
		host_ask(TYPE_PULLS, 1, pulls, sizeof pulls); /* so that an open ground is high */
		fake_run();
		CHECK(host_count() == 1);
		host_ask(TYPE_POWER, 2, power, sizeof power);
		fake_run();
		/* With the bias high, a supply that does not come looks like one that does. */
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
	uint8_t record[CALIBRATION_LEN];
	size_t bit;

	fake_reset();
	memcpy(record, calibration_record(), CALIBRATION_LEN);
	put_u16(record, 4900);
	memmove(payload + CALIBRATION_HEADER_LEN, record, CALIBRATION_LEN);
	put_u16(payload, CALIBRATION_WRITE);
	host_ask(TYPE_CALIBRATION, 1, payload, CALIBRATION_HEADER_LEN + CALIBRATION_LEN);
	fake_run();
	CHECK(host_count() == 1);
	CHECK(fake.longest_unwatched_us <= 4000);
	fake_restart();
	CHECK(calibration_now() == CALIBRATION_STORED);
	CHECK(memcmp(calibration_record(), record, CALIBRATION_LEN) == 0);
	for (bit = 0; bit < 8 * (CALIBRATION_LEN + 2); bit++) {
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
	} fields[] = {{0, 4500, 5500}, {2, 31130, 34406}, {4, 9000, 11000}, {6, 900, 1100}, {8, 100, 200}, {11, 31130, 34406}, {71, 31130, 34406}};
	uint8_t record[CALIBRATION_LEN];
	size_t i;
	int offset;

	fake_reset();
	memcpy(record, calibration_record(), CALIBRATION_LEN);
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
	far();
	overcurrent();
	monitor();
	switches();
	kept();
	ranges();
}
