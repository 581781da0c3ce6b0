#include "fake.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapter.h"
#include "message.h"
#include "revision_b.h"
#include "walk.h"

struct fake fake;

const struct board_traits board_traits = {
	.high = REVISION_B_HIGH,
	.low = REVISION_B_LOW,
	.features = REVISION_B_FEATURES,
	.conversion_us = REVISION_B_CONVERSION_US,
	.far_conversion_us = REVISION_B_FAR_CONVERSION_US,
	.error_mv = REVISION_B_ERROR_MV,
	.max_current_ma = REVISION_B_MAX_CURRENT_MA,
	.name = "native",
};

void fake_fail(const char *what)
{
	fprintf(stderr, "the core broke a promise: %s\n", what);
	abort();
}

/* Words of the positions with a supply switch, from the table of firmware/README.md:
 * 1 4 5 8 22 28, and 1 4 7 8 9 10 11 12 14 21 24 25 28. */
#define HIGH UINT32_C(0x00410099)
#define LOW UINT32_C(0x00992FC9)

/* Notes what was turned off: d drives released, l load off, b bias low, B bias off,
 * h high side open, g low side open, w a wait of 10 µs or more. */
static void note(char what)
{
	size_t length = strlen(fake.order);

	if (length + 1 < sizeof fake.order) {
		fake.order[length] = what;
	}
}

static void check_socket(void)
{
	if ((fake.dir & ~UINT32_C(0x3FFF3FFF)) != 0) {
		fake_fail("drives a position that is not there");
	}
	if (fake.may != 0 && (fake.dir & ~fake.may) != 0) {
		fake_fail("drives a position that the program does not");
	}
	if ((fake.level & ~fake.dir) != 0) {
		fake_fail("gives a level to a position that is not driven");
	}
	if ((fake.high & fake.low) != 0) {
		fake_fail("closes both supply switches of a position");
	}
	if ((fake.high & (fake.high - 1)) != 0) {
		fake_fail("closes two high-side switches");
	}
	if ((fake.high & ~HIGH) != 0 || (fake.low & ~LOW) != 0) {
		fake_fail("closes a switch that is not there");
	}
	if (fake.low != 0 && !fake.cleared[CHAIN_LOW]) {
		fake_fail("turns on the switches of a chain that it did not clear");
	}
	if ((fake.dir & (fake.high | fake.low)) != 0) {
		fake_fail("drives a position whose supply switch is closed");
	}
	if ((fake.high | fake.low) != 0 && !fake.lamps[LAMP_POWER]) {
		fake_fail("closes a supply switch with the power lamp dark");
	}
}

void board_drive(uint32_t dir, uint32_t level)
{
	if (fake.dir != 0 && dir == 0) {
		note('d');
	}
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

static uint64_t clock_16ths(void)
{
	return 16 * fake.us + fake.sixteenths;
}

/* Whether the pulsing position has turned over an odd number of times up to now. */
static bool turned_over(void)
{
	uint8_t i = 0;

	while (fake.driven_at != 0 && i < fake.pulse_count && fake.driven_at + fake.pulses[i] <= clock_16ths()) {
		i++;
	}
	return (i & 1) != 0;
}

/* An empty socket: the supply and what is driven read so, the rest follows the load,
 * else the bias. */
uint32_t board_sample(void)
{
	uint32_t high = fake.high & ~fake.open;
	uint32_t low = (fake.low & ~fake.open) | fake.closed;
	uint32_t rest = 0;

	if (fake.pulls[PULL_LOAD].on) {
		rest = fake.pulls[PULL_LOAD].up;
	} else if (fake.pulls[PULL_BIAS].on) {
		rest = fake.pulls[PULL_BIAS].up;
	}
	return (high | (fake.level & fake.dir) | (rest & ~fake.dir & ~low)) ^ (turned_over() ? fake.pulsing : 0);
}

uint32_t board_sample_of(uint32_t word)
{
	return board_sample() & word;
}

bool board_converter(uint8_t which)
{
	return fake.converters[which];
}

void board_channel(uint8_t channel)
{
	if (channel > CHANNEL_REFERENCE_2 || (channel >= CHANNEL_L9 && !fake.converters[channel >= CHANNEL_R9])) {
		fake_fail("selects a channel that is not there");
	}
	fake.channel = channel;
}

/* The bit of a word that a channel measures: SPEC.md, and the table of firmware/README.md. */
static uint32_t bit_of(uint8_t channel)
{
	static const uint8_t bits[] = {0, 1, 2, 3, 4, 5, 6, 7, 16, 17, 18, 19, 20, 21, 22, 23, 8, 9, 10, 11, 12, 13, 15, 14, 24, 25, 26, 27, 28, 29, 31};

	return UINT32_C(1) << bits[channel];
}

/* The same socket in volts, its drivers without resistance: 10 kΩ to one end and
 * 1 kΩ to the other stand at 1/11 between them. */
uint16_t board_convert(void)
{
	uint32_t bit = bit_of(fake.channel);
	uint32_t fixed = fake.dir | fake.high | fake.low;
	bool near = fake.channel < CHANNEL_L9;
	uint16_t top = near ? 4 * 1023 : 4095;

	fake.us += near ? 26 : 45;
	if (fake.channel == CHANNEL_REFERENCE_1 || fake.channel == CHANNEL_REFERENCE_2) {
		return 2048; /* 2.500 V of 5 V */
	}
	if (fake.channel == CHANNEL_SUPPLY) {
		return top;
	}
	if (((fixed & ~fake.open) & bit) == 0 && fake.pulls[PULL_BIAS].on && fake.pulls[PULL_LOAD].on &&
	    ((fake.pulls[PULL_BIAS].up ^ fake.pulls[PULL_LOAD].up) & bit) != 0) {
		if (near) {
			return (fake.pulls[PULL_LOAD].up & bit) != 0 ? 4 * 931 : 4 * 93; /* 1024 × 10 / 11 and 1024 / 11 */
		}
		return (fake.pulls[PULL_LOAD].up & bit) != 0 ? 3724 : 372; /* the same of 4096 */
	}
	return (board_sample() & bit) != 0 ? top : 0;
}

uint16_t board_convert_held(const uint32_t *toggles, uint8_t pause)
{
	uint16_t count;
	uint8_t n;

	if (fake.channel >= CHANNEL_L9) {
		fake_fail("holds a far channel");
	}
	for (n = 0; n < 3; n++) {
		board_flip(toggles[n]);
	}
	board_wait_16ths(pause);
	count = board_convert();
	board_flip(toggles[0] ^ toggles[1] ^ toggles[2]);
	return count;
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

uint8_t board_chain(enum chain which)
{
	if (fake.dir != 0 || fake.high != 0 || fake.low != 0 || fake.pulls[PULL_BIAS].on || fake.pulls[PULL_LOAD].on) {
		fake_fail("shifts a 1 through a chain with something on");
	}
	fake.cleared[which] = fake.chains[which] != 0;
	return fake.chains[which];
}

static void set_pull(enum pull which, bool on, uint32_t up)
{
	if (on && !fake.cleared[which == PULL_BIAS ? CHAIN_BIAS : CHAIN_LOAD]) {
		fake_fail("turns on the resistors of a chain that it did not clear");
	}
	if ((up & ~UINT32_C(0x3FFF3FFF)) != 0 || (!on && up != 0)) {
		fake_fail("pulls what is no position, or with what is off");
	}
	if (which == PULL_LOAD && fake.pulls[which].on && !on) {
		note('l');
	}
	if (which == PULL_BIAS && on && up == 0) {
		note('b');
	}
	if (which == PULL_BIAS && fake.pulls[which].on && !on) {
		note('B');
	}
	fake.pulls[which].on = on;
	fake.pulls[which].up = up;
	if (on) {
		fake.stored[which] = up;
	}
	check_socket();
}

void board_pull(enum pull which, bool on, uint32_t up)
{
	set_pull(which, on, up);
	fake.pulled++;
	fake.us += on ? 23 : 1;
}

/* All groups share the registers' line: what is shifted for one is lost when another is. */
void board_shift(enum pull which, uint32_t up, bool at_once)
{
	fake.shifted = up;
	fake.shifts++;
	if (at_once) {
		fake.stored[which] = up;
		if (fake.pulls[which].on) {
			set_pull(which, true, up);
		}
	}
	fake.us += 13;
}

void board_supply(uint32_t high, uint32_t low)
{
	if ((fake.low & ~low) != 0 && fake.high_opened_us != 0 && fake.us - fake.high_opened_us < 10) {
		fake_fail("opens the low side less than 10 µs after the high side");
	}
	if ((fake.low & ~low) != 0 && fake.high != 0) {
		fake_fail("opens the low side with the high side closed");
	}
	if ((high & ~fake.high) != 0 && low != fake.low) {
		fake_fail("closes the high side before the low side is closed");
	}
	if (fake.dir != 0 && high != fake.high) {
		fake_fail("switches the high side while positions are driven");
	}
	if ((fake.high & ~high) != 0) {
		fake.high_opened_us = fake.us;
		note('h');
	}
	if (fake.low != 0 && low == 0) {
		note('g');
	}
	fake.high = high;
	fake.low = low;
	check_socket();
}

uint16_t board_current(void)
{
	if (fake.monitor_silent) {
		return CURRENT_NOT_MEASURED;
	}
	if (fake.high == 0) {
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
	if (us >= 10) {
		note('w');
	}
}

void board_wait_16ths(uint16_t n)
{
	fake.sixteenths += n;
	fake.us += fake.sixteenths / 16;
	fake.sixteenths %= 16;
}

uint16_t board_left_16ths(uint16_t n)
{
	return n;
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

void board_line_rate(uint8_t rate)
{
	fake.rate = rate;
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

uint16_t board_edge_clock(void)
{
	return (uint16_t)clock_16ths();
}

void board_act(uint8_t n, const struct act *a)
{
	if (n >= MOST_ACTS || (a->keeps & ~a->dir) != 0 || (a->level & ~a->dir) != 0 || (a->shifted & ~a->pulls) != 0) {
		fake_fail("plans an act that is none");
	}
	fake.acts[n] = *a;
}

static void act(const struct act *a)
{
	uint8_t which;

	if ((a->keeps & ~fake.dir) != 0) {
		fake_fail("keeps what is not driven");
	}
	board_drive(a->keeps, a->level & a->keeps);
	for (which = 0; which < PULLS; which++) {
		uint8_t bit = (uint8_t)(1u << which);
		uint32_t up = a->shifted & bit ? fake.shifted : fake.pulls[which].up;

		if ((a->pulls & bit) == 0) {
			up = 0;
		} else if (!fake.pulls[which].on && (a->shifted & bit) == 0) {
			up = fake.stored[which];
		}
		set_pull((enum pull)which, (a->pulls & bit) != 0, up);
	}
	board_drive(a->dir, a->level);
}

/* Makes an act now; gives the clock. */
static uint16_t make(uint8_t n)
{
	act(&fake.acts[n]);
	fake.acted++;
	if (fake.driven_at == 0) {
		fake.driven_at = clock_16ths();
	}
	return board_edge_clock();
}

void board_watch(uint32_t word)
{
	if (word == 0 || (word & (word - 1)) != 0) {
		fake_fail("looks at no one position");
	}
	fake.looked_at = word;
}

static void for_some(const struct lookout *l)
{
	if (l->found >= l->most) {
		fake_fail("looks for no edge");
	}
}

/* Looks every half µs until the clock is there. False if go_on said no. */
static bool looks(struct lookout *l, uint16_t until)
{
	uint16_t asked = board_edge_clock();

	while (l->found < l->most && (int16_t)(until - board_edge_clock()) > 0) {
		board_wait_16ths(8);
		if ((uint16_t)(board_edge_clock() - asked) >= 16 * BOARD_GO_ON_US) {
			asked = board_edge_clock();
			if (!l->go_on()) {
				return false;
			}
		}
		if (((board_sample() & fake.looked_at) != 0) != l->high) {
			struct board_edge *edge = &l->edges[l->found];

			l->high = !l->high;
			edge->at = board_edge_clock();
			edge->gap = (uint16_t)(board_edge_clock() - l->seen);
			l->found++;
		}
		l->seen = board_edge_clock();
	}
	return true;
}

uint8_t board_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until)
{
	uint16_t late = 0, before = *at;
	uint8_t made = 0;

	for_some(l);
	while (made < count) {
		uint16_t asked = *at;
		int16_t left;

		late = (uint16_t)(asked - before) < 16 * BOARD_CLOSE_US ? late : 0;
		before = asked;
		if (!looks(l, (uint16_t)(from + asked + late))) {
			return made;
		}
		left = (int16_t)(from + asked + late - board_edge_clock());
		if (l->found == l->most) { /* all edges were found */
			return made;
		}
		if (left > 0) {
			board_wait_16ths((uint16_t)left);
		}
		*at = (uint16_t)(make((uint8_t)(n + made)) - from);
		late = (uint16_t)(*at - asked);
		at++;
		made++;
	}
	(void)looks(l, until);
	return made;
}

void board_edges(struct lookout *l, uint16_t until)
{
	for_some(l);
	board_wait_16ths(8);
	(void)looks(l, until);
}

bool board_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until)
{
	uint8_t found = l->found, most = l->most;

	l->most = (uint8_t)(found + 1);
	board_edges(l, until);
	l->most = most;
	if (l->found == found) {
		return false;
	}
	*at = make(n);
	return true;
}

void fake_reset(void)
{
	memset(&fake, 0, sizeof fake);
	fake.chains[CHAIN_LOW] = 16;
	fake.chains[CHAIN_BIAS] = 32;
	fake.chains[CHAIN_LOAD] = 32;
	fake.converters[0] = true;
	fake.converters[1] = true;
	adapter_reset();
	fake.longest_unwatched_us = 0;
	fake.watched_us = fake.us;
	memset(fake.order, 0, sizeof fake.order);
}

/* All lines are inputs after a reset: everything is off. */
void fake_restart(void)
{
	fake.dir = 0;
	fake.level = 0;
	fake.high = 0;
	fake.low = 0;
	memset(fake.pulls, 0, sizeof fake.pulls);
	memset(fake.cleared, 0, sizeof fake.cleared);
	fake.high_opened_us = 0;
	adapter_reset();
	memset(fake.order, 0, sizeof fake.order);
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
