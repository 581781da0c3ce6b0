/* The board of the virtual adapter: a socket that the host of the WebAssembly
 * module provides. It imports the functions below from module "env" and calls
 * fw_reset once. It calls fw_poll whenever time has passed, and after it has put
 * bytes into fw_rx_buffer and passed their number to fw_rx. During a call it reads
 * the time at fw_passed. */
#include "board.h"

#include "adapter.h"
#include "revision_b.h"
#include "walk.h"

#define IMPORT(name) __attribute__((import_module("env"), import_name(name)))
#define EXPORT(name) __attribute__((export_name(name)))

IMPORT("drive") extern void env_drive(uint32_t dir, uint32_t level);
IMPORT("sample") extern uint32_t env_sample(void);
IMPORT("pull") extern void env_pull(uint32_t which, uint32_t on, uint32_t up); /* enum pull */
IMPORT("supply") extern void env_supply(uint32_t high, uint32_t low); /* words of positions */
IMPORT("chain") extern uint32_t env_chain(uint32_t which); /* enum chain; its outputs */
IMPORT("converter") extern uint32_t env_converter(uint32_t which); /* whether it answers */
IMPORT("current") extern uint32_t env_current(void); /* 10 µA */
IMPORT("convert") extern uint32_t env_convert(uint32_t channel); /* channels and counts of board.h */
IMPORT("button") extern uint32_t env_button(void); /* 1 pressed, 0 not */
IMPORT("wait_us") extern void env_wait_us(uint32_t us);
IMPORT("millis") extern uint32_t env_millis(void);
IMPORT("micros") extern uint32_t env_micros(void); /* the same time in µs, modulo 2^32 */
IMPORT("sixteenths") extern uint32_t env_sixteenths(void); /* the same in 1/16 µs, with what is not reported yet */
/* Lets time pass until a position does not read so, at most so many 1/16 µs; gives how many
 * passed, NO_EDGE if it read so all the time. */
IMPORT("edge") extern uint32_t env_edge(uint32_t word, uint32_t high, uint32_t sixteenths);
IMPORT("tx") extern void env_tx(const uint8_t *at, uint32_t length);

EXPORT("fw_reset") void fw_reset(uint32_t cause);
EXPORT("fw_rx_buffer") uint8_t *fw_rx_buffer(void);
EXPORT("fw_rx_capacity") uint32_t fw_rx_capacity(void);
EXPORT("fw_rx") void fw_rx(uint32_t length);
EXPORT("fw_passed") uint32_t *fw_passed(void);
EXPORT("fw_poll") void fw_poll(void);

enum { TOLD_16THS = 50 * 16, INSTRUCTION_16THS = 40 };

enum { RX_CAPACITY = 2048, TX_CAPACITY = 16 }; /* bytes; of the line's time not too much passes at once */

#define NO_EDGE UINT32_MAX

enum { A_LOOK = 16 }; /* 1/16 µs from one look at a position to the next, as on the ATmega2560 */

enum { GO_ON_16THS = 16 * BOARD_GO_ON_US };

enum { TOGGLE_16THS = 12, SAMPLED_16THS = 80 }; /* as on the ATmega2560 */

enum { CONVERSION_US = 26, FAR_CONVERSION_US = 60, TOP = 4095 };

/* 1/16 µs from the end of the looks, or a halt, until what the core does next, as on the ATmega2560. */
enum { ENDING_16THS = 160 };

/* 1/16 µs from what an act releases to its levels, and to its pulls, as on the ATmega2560. */
enum { RELEASED_BEFORE = 4, PULLS_AFTER = BOARD_PULLED_ALONE_16THS - RELEASED_BEFORE };

const struct board_traits board_traits = {
	.high = REVISION_B_HIGH,
	.low = REVISION_B_LOW,
	.features = REVISION_B_FEATURES,
	.conversion_us = REVISION_B_CONVERSION_US,
	.far_conversion_us = REVISION_B_FAR_CONVERSION_US,
	.error_mv = REVISION_B_ERROR_MV,
	.max_current_ma = REVISION_B_MAX_CURRENT_MA,
	.name = "virtual, revision B",
};

static uint8_t rx[RX_CAPACITY];
static uint32_t rx_length, rx_taken;
static uint8_t tx[TX_CAPACITY];
static uint32_t tx_length;
static uint32_t now_ms; /* the time, as last asked for */
static bool time_passed; /* it may not be the time any more */
static uint32_t driven, levels;
static struct {
	bool on;
	uint32_t up, shifted;
} pulls[PULLS];
static struct act acts[MOST_ACTS];
static uint32_t passed_16ths; /* of a µs, not yet reported to the host */
static int32_t until_due_16ths;
static uint16_t due; /* by board_clock, when board_due is to say so */
static uint8_t reset_cause;
static uint16_t boot_id;
static uint8_t channel;
static uint8_t kept[BOARD_KEEPS]; /* what is not erased, inverted: all is, at the start */

void board_drive(uint32_t dir, uint32_t level)
{
	driven = dir;
	board_level(level);
}

void board_level(uint32_t level)
{
	levels = level;
	env_drive(driven, level);
}

void board_flip(uint32_t word)
{
	board_level(levels ^ word);
}

uint32_t board_levels(void)
{
	return levels;
}

uint32_t board_sample(void)
{
	return env_sample();
}

uint32_t board_sample_of(uint32_t word)
{
	return env_sample() & word;
}

void board_pull(enum pull which, bool on, uint32_t up)
{
	pulls[which].on = on;
	pulls[which].up = up;
	env_pull(which, on, up);
}

void board_shift(enum pull which, uint32_t up, bool at_once)
{
	pulls[which].shifted = up;
	if (at_once) {
		pulls[which].up = up;
		env_pull(which, pulls[which].on, pulls[which].on ? up : 0);
	}
}

uint8_t board_chain(enum chain which)
{
	return (uint8_t)env_chain(which);
}

void board_supply(uint32_t high, uint32_t low)
{
	env_supply(high, low);
}

bool board_lines_hold(void)
{
	return true;
}

bool board_monitor(void)
{
	return true;
}

uint16_t board_current(void)
{
	uint32_t current = env_current();

	return current < CURRENT_NOT_MEASURED ? (uint16_t)current : CURRENT_NOT_MEASURED - 1;
}

bool board_converter(uint8_t which)
{
	return env_converter(which) != 0;
}

void board_channel(uint8_t to)
{
	channel = to;
}

uint16_t board_convert(void)
{
	uint32_t count = env_convert(channel);

	board_wait_us(channel < CHANNEL_L9 ? CONVERSION_US : FAR_CONVERSION_US);
	return count < TOP ? (uint16_t)count : TOP;
}

uint16_t board_convert_held(const uint32_t *toggles, uint8_t pause)
{
	uint8_t n;
	uint16_t count;

	for (n = 0; n < 3; n++) {
		board_flip(toggles[n]);
		board_wait_16ths(TOGGLE_16THS);
	}
	board_wait_16ths(pause);
	count = (uint16_t)env_convert(channel);
	board_wait_16ths(SAMPLED_16THS);
	board_flip(toggles[0] ^ toggles[1] ^ toggles[2]);
	board_wait_us(CONVERSION_US);
	return count < TOP ? count : TOP;
}

uint8_t board_kept(uint8_t at)
{
	return (uint8_t)~kept[at];
}

void board_keep(uint8_t at, uint8_t value)
{
	kept[at] = (uint8_t)~value;
}

void board_wait_us(uint16_t us)
{
	env_wait_us(us);
	until_due_16ths -= 16 * (int32_t)us;
	time_passed = true;
}

/* The host is called only now and then: a call takes longer than a step. */
void board_wait_16ths(uint16_t n)
{
	passed_16ths += n;
	until_due_16ths -= n;
	if (passed_16ths >= TOLD_16THS) {
		env_wait_us(passed_16ths / 16);
		passed_16ths %= 16;
		time_passed = true;
	}
}

uint16_t board_left_16ths(uint16_t n)
{
	return n;
}

uint16_t board_clock(void)
{
	return (uint16_t)(2 * env_micros() + passed_16ths / 8);
}

/* An instruction of a pattern takes time, as on the ATmega2560. */
bool board_due(void)
{
	board_wait_16ths(INSTRUCTION_16THS);
	return until_due_16ths <= 0;
}

void board_due_at(uint16_t clock)
{
	due = clock;
	until_due_16ths = 8 * (uint16_t)(clock - board_clock());
}

/* The host let time pass: on the line, or because it had nothing to say. */
static void time_was_passed(void)
{
	time_passed = true;
	until_due_16ths = 8 * (int16_t)(uint16_t)(due - board_clock());
}

bool board_button(void)
{
	return env_button() != 0;
}

void board_lamp(enum lamp lamp, bool lit)
{
	(void)lamp;
	(void)lit;
}

bool board_receive(uint8_t *byte)
{
	if (rx_taken == rx_length) {
		return false;
	}
	*byte = rx[rx_taken];
	rx_taken++;
	return true;
}

static void flush(void)
{
	if (tx_length > 0) {
		env_tx(tx, tx_length);
		tx_length = 0;
		time_was_passed();
	}
}

bool board_can_send(void)
{
	return true;
}

void board_send(uint8_t byte)
{
	if (tx_length == TX_CAPACITY) {
		flush();
	}
	tx[tx_length] = byte;
	tx_length++;
}

struct line_faults board_line_faults(void)
{
	struct line_faults none = {0, 0};

	return none;
}

void board_line_rate(uint8_t rate)
{
	(void)rate;
}

uint32_t board_millis(void)
{
	if (time_passed) {
		now_ms = env_millis();
		time_passed = false;
	}
	return now_ms;
}

void board_watchdog(void)
{
}

uint8_t board_reset_cause(void)
{
	return reset_cause;
}

uint16_t board_boot_id(void)
{
	return boot_id;
}

uint16_t board_edge_clock(void)
{
	return (uint16_t)env_sixteenths();
}

void board_act(uint8_t n, const struct act *a)
{
	acts[n] = *a;
}

/* Gives its time. */
static uint16_t act(const struct act *a)
{
	uint16_t at;
	uint8_t which;

	board_drive(a->keeps, levels & a->keeps);
	board_wait_16ths(RELEASED_BEFORE);
	at = board_edge_clock();
	board_level(a->level & a->keeps);
	board_wait_16ths(PULLS_AFTER);
	for (which = 0; which < PULLS; which++) {
		uint8_t bit = (uint8_t)(1u << which);
		bool on = (a->pulls & bit) != 0;

		if ((a->shifted & bit) != 0) {
			pulls[which].up = pulls[which].shifted;
		}
		if (on != pulls[which].on || (a->shifted & bit) != 0) {
			board_pull((enum pull)which, on, on ? pulls[which].up : 0);
		}
	}
	board_drive(a->dir, a->level);
	return at;
}

static uint32_t watched;

void board_watch(uint32_t word)
{
	watched = word;
}

/* False if go_on said no. */
static bool looks(struct lookout *l, uint16_t until)
{
	uint16_t asked = board_edge_clock();

	while (l->found < l->most) {
		uint16_t clock = board_edge_clock();
		uint16_t left = (uint16_t)(until - clock), gap = (uint16_t)(clock - l->seen);
		struct board_edge *edge = &l->edges[l->found];
		uint32_t passed;

		l->seen = clock;
		if (left == 0 || left >= 0x8000) {
			break;
		}
		if ((uint16_t)(clock - asked) >= GO_ON_16THS && left >= GO_ON_16THS / 4) {
			asked = clock;
			if (!l->go_on()) {
				return false;
			}
		}
		if (left > GO_ON_16THS) {
			left = GO_ON_16THS;
		}
		passed = env_edge(watched, l->high, left);
		until_due_16ths -= (int32_t)(passed == NO_EDGE ? left : passed);
		time_passed = true;
		if (passed == NO_EDGE) {
			continue;
		}
		if (passed > 0) { /* else it came before the look */
			gap = passed < A_LOOK ? (uint16_t)passed : A_LOOK;
		}
		l->high = !l->high;
		l->seen = board_edge_clock();
		edge->at = l->seen;
		edge->gap = gap;
		l->found++;
	}
	return true;
}

uint8_t board_acts(struct lookout *l, uint8_t n, uint8_t count, uint16_t from, uint16_t *at, uint16_t until)
{
	uint16_t late = 0, before = *at;
	uint8_t made = 0;

	while (made < count) {
		uint16_t asked = *at, when, left;

		late = (uint16_t)(asked - before) < 16 * BOARD_CLOSE_US ? late : 0;
		before = asked;
		when = (uint16_t)(from + asked + late - RELEASED_BEFORE);
		if (!looks(l, when)) {
			return made;
		}
		left = (uint16_t)(when - board_edge_clock());
		if (left < 0x8000) {
			if (l->found == l->most) { /* all edges were found */
				return made;
			}
			board_wait_16ths(left);
			time_passed = true;
		}
		*at = (uint16_t)(act(&acts[n + made]) - from);
		late = (uint16_t)(*at - asked);
		at++;
		made++;
	}
	(void)looks(l, until);
	return made;
}

void board_edges(struct lookout *l, uint16_t until)
{
	(void)looks(l, until);
	board_wait_16ths(ENDING_16THS);
}

bool board_halts(struct lookout *l, uint8_t n, uint16_t *at, uint16_t until)
{
	uint8_t found = l->found, most = l->most;

	l->most = (uint8_t)(found + 1);
	(void)looks(l, until);
	l->most = most;
	if (l->found == found) {
		return false;
	}
	*at = act(&acts[n]);
	board_wait_16ths(ENDING_16THS);
	return true;
}

void fw_reset(uint32_t cause)
{
	reset_cause = (uint8_t)cause;
	boot_id++;
	rx_length = 0;
	rx_taken = 0;
	tx_length = 0;
	time_passed = true;
	adapter_reset();
}

uint8_t *fw_rx_buffer(void)
{
	return rx;
}

uint32_t fw_rx_capacity(void)
{
	return RX_CAPACITY;
}

/* Address of the time not yet reported to the host, 1/16 µs. */
uint32_t *fw_passed(void)
{
	return &passed_16ths;
}

/* fw_poll takes all that is there, so the buffer is always free when the host writes to it. */
void fw_rx(uint32_t length)
{
	rx_length = length < RX_CAPACITY ? length : RX_CAPACITY;
	rx_taken = 0;
}

void fw_poll(void)
{
	time_was_passed();
	while (adapter_poll()) {
	}
	flush();
}
