#include "fake.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapter.h"
#include "message.h"
#include "revision_a.h"

struct fake fake;

static const uint8_t high_switches[] = REVISION_A_HIGH_SWITCHES;
static const uint8_t low_switches[] = REVISION_A_LOW_SWITCHES;

const struct board_traits board_traits = {
	.positions = REVISION_A_POSITIONS,
	.sense = REVISION_A_SENSE,
	.high_switches = high_switches,
	.low_switches = low_switches,
	.high_count = REVISION_A_HIGH_COUNT,
	.low_count = REVISION_A_LOW_COUNT,
	.features = REVISION_A_FEATURES,
	.conversion_us = REVISION_A_CONVERSION_US,
	.error_mv = REVISION_A_ERROR_MV,
	.max_current_ma = REVISION_A_MAX_CURRENT_MA,
	.name = "native",
};

void fake_fail(const char *what)
{
	fprintf(stderr, "the core broke a promise: %s\n", what);
	abort();
}

/* The socket's positions at the bits of switches, without the core's help. */
static uint32_t word_of(const uint8_t *positions, uint32_t bits)
{
	static const uint8_t left[] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14};
	static const uint8_t right[] = {28, 27, 26, 25, 24, 23, 22, 21, 20, 19, 18, 17, 16, 15};
	uint32_t word = 0;
	unsigned i, j;

	for (i = 0; i < 13; i++) {
		for (j = 0; (bits >> i & 1) != 0 && j < 14; j++) {
			word |= positions[i] == left[j] ? UINT32_C(1) << j : 0;
			word |= positions[i] == right[j] ? UINT32_C(0x10000) << j : 0;
		}
	}
	return word;
}

static void check_socket(void)
{
	uint32_t high = word_of(high_switches, fake.high_bits);
	uint32_t low = word_of(low_switches, fake.low_bits);

	if ((fake.dir & ~UINT32_C(0x3FFF3FFF)) != 0) {
		fake_fail("drives a position that is not there");
	}
	if (fake.may != 0 && (fake.dir & ~fake.may) != 0) {
		fake_fail("drives a position that the program does not");
	}
	if ((fake.level & ~fake.dir) != 0) {
		fake_fail("gives a level to a position that is not driven");
	}
	if ((high & low) != 0) {
		fake_fail("closes both supply switches of a position");
	}
	if ((fake.high_bits & (fake.high_bits - 1)) != 0) {
		fake_fail("closes two high-side switches");
	}
	if (fake.high_bits >= 1 << REVISION_A_HIGH_COUNT || fake.low_bits >= 1 << REVISION_A_LOW_COUNT) {
		fake_fail("closes a switch that is not there");
	}
	if ((fake.dir & (high | low)) != 0) {
		fake_fail("drives a position whose supply switch is closed");
	}
	if (fake.bias > RAIL_HIGH || fake.load > RAIL_HIGH) {
		fake_fail("asks for a state that a rail does not have");
	}
	if ((high | low) != 0 && !fake.lamps[LAMP_POWER]) {
		fake_fail("closes a supply switch with the power lamp dark");
	}
}

void board_drive(uint32_t dir, uint32_t level)
{
	fake.dir = dir;
	board_level(level);
}

/* Notes the row that a strobe goes to. */
static void note_strobe(uint32_t level)
{
	uint32_t row = level & fake.watched;
	uint64_t *at = &fake.strobed_us[(row & 0xFF) | (row >> 8 & 0xFF00)];

	if ((fake.level & ~level & fake.strobe) == 0) {
		return;
	}
	if (*at != 0 && fake.us - *at > fake.longest_strobe_us) {
		fake.longest_strobe_us = fake.us - *at;
	}
	*at = fake.us;
	fake.strobes++;
}

void board_level(uint32_t level)
{
	note_strobe(level);
	fake.level = level;
	fake.history[fake.drives % FAKE_HISTORY] = level;
	fake.drives++;
	check_socket();
}

void board_flip(uint32_t word)
{
	if ((word & ~fake.dir) != 0) {
		fake_fail("toggles a position that is not driven");
	}
	board_level(fake.level ^ word);
}

uint32_t board_levels(void)
{
	return fake.level;
}

/* An empty socket: the supply and what is driven read so, the rest follows the stronger rail. */
uint32_t board_sample(void)
{
	uint32_t high = word_of(high_switches, fake.high_bits) & ~fake.open;
	uint32_t low = word_of(low_switches, fake.low_bits) & ~fake.open;
	bool rail = fake.load == RAIL_OFF ? fake.bias == RAIL_HIGH : fake.load == RAIL_HIGH;
	uint32_t rest = rail ? REVISION_A_POSITIONS : 0;

	return high | (fake.level & fake.dir) | (rest & ~fake.dir & ~low);
}

uint32_t board_sample_of(uint32_t word)
{
	return board_sample() & word;
}

void board_flip_near(const uint8_t *word)
{
	board_flip(get_u32(word) & UINT32_C(0x00FF00FF));
}

void board_follow(const uint8_t *word, const uint8_t *mask)
{
	board_flip((fake.level ^ get_u32(word)) & get_u32(mask) & fake.dir);
}

void board_follow_near(const uint8_t *word, const uint8_t *mask)
{
	board_flip((fake.level ^ get_u32(word)) & get_u32(mask) & fake.dir & UINT32_C(0x00FF00FF));
}

bool board_differs(const uint8_t *word, const uint8_t *mask, uint32_t *sample)
{
	*sample = board_sample();
	return ((*sample ^ get_u32(word)) & get_u32(mask)) != 0;
}

bool board_differs_near(const uint8_t *word, const uint8_t *mask, uint32_t *sample)
{
	if ((get_u32(mask) & ~UINT32_C(0x00FF00FF)) != 0) {
		fake_fail("takes positions for near that are not");
	}
	return board_differs(word, mask, sample);
}

void board_join(const uint8_t *word, const uint8_t *mask)
{
	board_drive(fake.dir | get_u32(mask), (fake.level & ~get_u32(mask)) | get_u32(word));
}

void board_leave(const uint8_t *mask)
{
	board_drive(fake.dir & ~get_u32(mask), fake.level & ~get_u32(mask));
}

void board_channel(uint8_t channel)
{
	if (channel > 15) {
		fake_fail("selects a channel that is not there");
	}
	fake.channel = channel;
}

/* The same socket in volts, its drivers without resistance: 10 kΩ to one rail and
 * 1 kΩ to the other stand at 1/11 between them. */
uint16_t board_convert(void)
{
	uint32_t bit = fake.channel < 8 ? UINT32_C(1) << fake.channel : UINT32_C(1) << (fake.channel + 8);
	uint32_t fixed = fake.dir | word_of(high_switches, fake.high_bits) | word_of(low_switches, fake.low_bits);

	fake.us += 26;
	if (((fixed & ~fake.open) & bit) == 0 && fake.bias != RAIL_OFF && fake.load != RAIL_OFF && fake.bias != fake.load) {
		return fake.load == RAIL_LOW ? 93 : 931; /* 1024 / 11 and 1024 × 10 / 11 */
	}
	return (board_sample() & bit) != 0 ? 1023 : 0;
}

bool board_lines_hold(void)
{
	return !fake.lines_stuck;
}

bool board_monitor(void)
{
	return !fake.monitor_silent;
}

uint8_t board_kept(uint8_t at)
{
	return (uint8_t)~fake.kept[at];
}

void board_keep(uint8_t at, uint8_t value)
{
	if (at >= BOARD_KEEPS) {
		fake_fail("keeps more than there is room for");
	}
	fake.us += 3400; /* ATmega2560, from memory: 3.3 ms a byte */
	fake.kept[at] = (uint8_t)~value;
}

void board_rails(uint8_t bias, uint8_t load)
{
	fake.bias = bias;
	fake.load = load;
	check_socket();
}

void board_supply(uint8_t high_bits, uint16_t low_bits)
{
	fake.high_bits = high_bits;
	fake.low_bits = low_bits;
	check_socket();
}

uint16_t board_current(void)
{
	if (fake.monitor_silent) {
		return CURRENT_NOT_MEASURED;
	}
	if (fake.high_bits == 0) {
		return 0;
	}
	return fake.trip_after > 0 && fake.drives >= fake.trip_after ? 20000 : fake.current;
}

void board_wait_us(uint16_t us)
{
	if (us == 0 || us > 1000) {
		fake_fail("waits for 0 or for more than 1000 µs at once");
	}
	fake.us += us;
}

void board_wait_16ths(uint16_t n)
{
	fake.sixteenths += n;
	fake.us += fake.sixteenths / 16;
	fake.sixteenths %= 16;
}

uint16_t board_clock(void)
{
	return (uint16_t)(2 * fake.us + fake.sixteenths / 8);
}

/* An instruction of a pattern takes 2.5 µs. */
bool board_due(void)
{
	board_wait_16ths(40);
	return (int16_t)(board_clock() - fake.due) >= 0;
}

void board_due_at(uint16_t clock)
{
	if ((uint16_t)(clock - board_clock()) > INT16_MAX) {
		fake_fail("sets a time that is past");
	}
	fake.due = clock;
}

bool board_button(void)
{
	return fake.button;
}

void board_lamp(enum lamp lamp, bool lit)
{
	fake.lamps[lamp] = lit;
}

bool board_receive(uint8_t *byte)
{
	if (fake.to_core_taken == fake.to_core_length) {
		return false;
	}
	*byte = fake.to_core[fake.to_core_taken++];
	return true;
}

bool board_can_send(void)
{
	fake.asked++;
	return fake.send_every == 0 || fake.asked % fake.send_every == 0;
}

void board_send(uint8_t byte)
{
	if (fake.from_core_length == FAKE_LINE) {
		fake.from_core_length = 0; /* a test that looks at it does not send so much */
	}
	fake.from_core[fake.from_core_length++] = byte;
}

struct line_faults board_line_faults(void)
{
	static const struct line_faults none;
	struct line_faults faults = fake.faults;

	fake.faults = none;
	return faults;
}

void board_line_rate(bool slower)
{
	fake.slower = slower;
}

uint32_t board_millis(void)
{
	return (uint32_t)(fake.us / 1000);
}

void board_watchdog(void)
{
	if (fake.us - fake.watched_us > fake.longest_unwatched_us) {
		fake.longest_unwatched_us = fake.us - fake.watched_us;
	}
	fake.watched_us = fake.us;
}

uint8_t board_reset_cause(void)
{
	return RESET_POWER_ON;
}

uint16_t board_boot_id(void)
{
	return 0x1234;
}

void fake_reset(void)
{
	memset(&fake, 0, sizeof fake);
	adapter_reset();
}

void fake_restart(void)
{
	adapter_reset();
}

void fake_put(const uint8_t *bytes, size_t length)
{
	if (fake.to_core_taken == fake.to_core_length) {
		fake.to_core_taken = 0;
		fake.to_core_length = 0;
	}
	if (length > FAKE_LINE - fake.to_core_length) {
		length = FAKE_LINE - fake.to_core_length;
	}
	memcpy(fake.to_core + fake.to_core_length, bytes, length);
	fake.to_core_length += length;
}

void fake_run(void)
{
	uint32_t turns = 0;

	while (adapter_poll()) {
		turns++;
		if (turns > 1000000) {
			fake_fail("the main loop never comes to rest");
		}
	}
}

void fake_pass(uint32_t ms)
{
	for (; ms > 0; ms--) {
		fake.us += 1000;
		fake_run();
	}
}

/* The CRC by long division, a bit at a time, and COBS after the paper's words:
 * the core's own are not asked. */
size_t fake_frame(const uint8_t *body, size_t length, uint8_t *out)
{
	static uint8_t whole[FAKE_LINE];
	uint32_t crc = 0xFFFF;
	size_t i, code = 0, at = 1;
	int bit;

	for (i = 0; i < length; i++) {
		whole[i] = body[i];
		crc ^= (uint32_t)body[i] << 8;
		for (bit = 0; bit < 8; bit++) {
			crc = (crc & 0x8000) != 0 ? (crc << 1 ^ 0x1021) & 0xFFFF : crc << 1;
		}
	}
	whole[length++] = (uint8_t)(crc >> 8);
	whole[length++] = (uint8_t)crc;
	out[code] = 1;
	for (i = 0; i < length; i++) {
		if (out[code] == 0xFF) {
			code = at++;
			out[code] = 1;
		}
		if (whole[i] == 0) {
			code = at++;
			out[code] = 1;
		} else {
			out[at++] = whole[i];
			out[code]++;
		}
	}
	out[at++] = 0;
	return at;
}
