/* What is found at reset, with parts of the adapter missing or broken. The words are
 * those of the table of firmware/README.md. */
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"
#include "message.h"

/* Offsets in HELLO, from SPEC.md; those behind the name count from its end. */
enum { POSITIONS = 16, SENSE = 20, HIGH = 24, LOW = 28, FEATURES = 32, NAME = 47, MEASURED = 0, BIAS = 8, LOAD = 12, FAR = 16 };

/* What HELLO reports. */
struct report {
	uint32_t positions, sense, high, low, measured, bias, load, far;
	uint16_t features;
};

static struct report hello(void)
{
	struct report r;
	size_t length;
	const uint8_t *reply, *after;

	fake_restart();
	CHECK(fake.dir == 0 && fake.high == 0 && fake.low == 0 && !fake.pulls[PULL_BIAS].on && !fake.pulls[PULL_LOAD].on);
	CHECK(!fake.lamps[LAMP_POWER]);
	host_ask(TYPE_HELLO, 1, NULL, 0);
	fake_run();
	reply = host_reply(TYPE_HELLO | TYPE_REPLY, 1, &length);
	after = reply + NAME + 1 + reply[NAME];
	CHECK(reply + length == after + 22);
	r.positions = get_u32(reply + POSITIONS);
	r.sense = get_u32(reply + SENSE);
	r.high = get_u32(reply + HIGH);
	r.low = get_u32(reply + LOW);
	r.features = get_u16(reply + FEATURES);
	r.measured = get_u32(after + MEASURED);
	r.bias = get_u32(after + BIAS);
	r.load = get_u32(after + LOAD);
	r.far = get_u32(after + FAR);
	return r;
}

static void refused(uint8_t type, const uint8_t *payload, size_t length, uint32_t detail)
{
	const uint8_t *reply;
	size_t got;

	host_ask(type, 2, payload, length);
	fake_run();
	reply = host_reply(TYPE_ERROR, 2, &got);
	CHECK(reply[0] == BAD_POSITION && get_u32(reply + 2) == detail);
}

/* PULLS brings the board to these words, and STATUS reports them. */
static void pulled(uint8_t flags, uint32_t bias, uint32_t load, uint32_t bias_up, uint32_t load_up)
{
	uint8_t payload[PULLS_LEN] = {flags};
	const uint8_t *reply;
	size_t length;

	put_u32(payload + 2, bias);
	put_u32(payload + 6, load);
	host_ask(TYPE_PULLS, 4, payload, sizeof payload);
	fake_run();
	host_reply(TYPE_PULLS | TYPE_REPLY, 4, &length);
	CHECK(fake.pulls[PULL_BIAS].up == bias_up && fake.pulls[PULL_LOAD].up == load_up);
	host_ask(TYPE_STATUS, 5, NULL, 0);
	fake_run();
	reply = host_reply(TYPE_STATUS | TYPE_REPLY, 5, &length);
	CHECK(length == 38 && reply[1] == (flags & 1) && reply[2] == flags >> 1);
	CHECK(get_u32(reply + 30) == bias_up && get_u32(reply + 34) == load_up);
}

static void whole(void)
{
	struct report r;

	fake_reset();
	r = hello();
	CHECK(r.positions == 0x3FFF3FFF && r.sense == 0x00FF00FF && r.bias == 0x3FFF3FFF && r.load == 0x3FFF3FFF);
	CHECK(r.high == 0x00410099 && r.low == 0x00992FC9);
	CHECK(r.far == 0xBF00FF00 && r.measured == 0xBFFFFFFF);
	CHECK(r.features == 0xFFF);
	pulled(PULLS_BIAS | PULLS_LOAD, 0x00010002, 0x20000100, 0x00010002, 0x20000100);
	pulled(PULLS_LOAD, 0, 0x00400000, 0, 0x00400000);
	pulled(0, 0, 0, 0, 0);
}

/* Registers 1 and 2 of the bias, one of the low side with switches at 7 and 8, the high
 * side at 28; no load, no converter. */
static void starter(void)
{
	static const uint8_t load[PULLS_LEN] = {PULLS_LOAD};
	static const uint8_t measure_l9[] = {MEASURE_UNPOWERED, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0};
	static const uint8_t drive_l9[] = {APPLY_UNPOWERED, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0};
	static const uint8_t high_at_1[] = {1, 0, 100, 0, 1, 0, 0x40, 0, 0, 0};
	static const uint8_t low_at_24[] = {28, 0, 100, 0, 1, 0, 0, 0, 0x10, 0};
	struct report r;

	fake_reset();
	fake.chains[CHAIN_LOW] = 8;
	fake.chains[CHAIN_BIAS] = 16;
	fake.chains[CHAIN_LOAD] = 0;
	fake.converters[0] = false;
	fake.converters[1] = false;
	fake.open = ~UINT32_C(0x000100C0);
	r = hello();
	CHECK(r.positions == 0x00FF00FF && r.sense == 0x00FF00FF && r.bias == 0x00FF00FF && r.load == 0);
	CHECK(r.high == 0x00010080 && r.low == 0x000100C0);
	CHECK(r.far == 0 && r.measured == 0x00FF00FF);
	CHECK(r.features == 0xF7D);
	refused(TYPE_PULLS, load, sizeof load, 0x3FFF3FFF);
	refused(TYPE_MEASURE, measure_l9, sizeof measure_l9, 0x100);
	refused(TYPE_APPLY, drive_l9, sizeof drive_l9, 0x100);
	refused(TYPE_POWER, high_at_1, sizeof high_at_1, 1);
	refused(TYPE_POWER, low_at_24, sizeof low_at_24, 0x100000);
	host_power(3);
	pulled(PULLS_BIAS, 0x3FFF3FFF, 0, 0x00FF00FF, 0); /* what has no resistor is left out */
}

/* A chain that does not shift is never turned on: fake.c ends the test if it is. */
static void chains(void)
{
	struct report r;

	fake_reset();
	fake.chains[CHAIN_LOW] = 0;
	r = hello();
	CHECK(r.low == 0 && r.high == 0x00410099 && r.positions == 0x3FFF3FFF);
	fake_reset();
	fake.chains[CHAIN_BIAS] = 0;
	r = hello();
	CHECK(r.positions == 0 && r.bias == 0 && r.load == 0 && r.high == 0 && r.low == 0 && (r.features & FEATURE_BIAS) == 0);
	fake_reset();
	fake.chains[CHAIN_LOAD] = 24;
	r = hello();
	CHECK(r.load == 0x00FF3FFF && r.positions == 0x3FFF3FFF);
	fake_reset();
	fake.chains[CHAIN_BIAS] = 16; /* the far half's load resistors stand alone */
	r = hello();
	CHECK(r.positions == 0x00FF00FF && r.load == 0x00FF00FF && r.low == 0x009900C9);
	CHECK(r.far == (SUPPLY_BIT | REFERENCE_1_BIT | REFERENCE_2_BIT));
}

static void converters(void)
{
	struct report r;

	fake_reset();
	fake.converters[0] = false;
	r = hello();
	CHECK(r.far == 0xBF000000 && r.measured == 0xBFFF00FF && (r.features & FEATURE_FAR) != 0);
	fake_reset();
	fake.converters[1] = false;
	r = hello();
	CHECK(r.far == 0x0000FF00);
	fake.converters[0] = false;
	r = hello();
	CHECK(r.far == 0 && (r.features & FEATURE_FAR) == 0);
}

/* A switch that never closes is not there, nor is one that never opens; the others are. */
static void switches(void)
{
	struct report r;

	fake_reset();
	fake.open = 0x00010040; /* 28, both of them, and 7 */
	r = hello();
	CHECK(r.high == 0x00400099 && r.low == 0x00982F89);
	fake_reset();
	fake.closed = 0x80; /* 8, whose high side is left out too: it cannot pull against it */
	r = hello();
	CHECK((r.low & 0x80) == 0);
}

void test_fitted(void)
{
	whole();
	starter();
	chains();
	converters();
	switches();
}
