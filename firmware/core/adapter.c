/* The main loop. Receiving comes first, because bytes do not wait; sending takes as
 * much as the line takes; a request is executed once the previous reply is gone. So
 * one whole request can come in while a reply goes out. */
#include "adapter.h"

#include "board.h"
#include "calibration.h"
#include "message.h"
#include "pattern.h"
#include "receiver.h"
#include "request.h"
#include "sender.h"
#include "socket.h"

static struct receiver receiver;
static struct sender sender;
static struct line_counters counters;

enum {
	BYTES_A_TURN = 8,  /* most that are received before the rest of the loop has its turn */
	TURNS_A_LOOK = 4,  /* turns of the loop for one check of current and clock while a reply goes out */
	UNSURE_MS = 2      /* after a change of the rate, when a byte of the rate before may end */
};

static bool pending; /* a request is in the receiver */

/* The request that was answered last; its reply is still in the sender. */
static struct {
	bool is;
	uint8_t type, seq;
	uint16_t crc;
} answered;

static bool heard;            /* an undamaged frame came, less than SILENCE_MS ago */
static uint32_t heard_ms;     /* when */
static uint32_t watched_ms;   /* when the line was last checked */
static uint8_t rate;          /* of the line, as board_line_rate numbers them */
static uint32_t rate_ms;      /* when it was selected */

static void count(uint16_t *counter, uint8_t more)
{
	*counter = more > UINT16_MAX - *counter ? UINT16_MAX : (uint16_t)(*counter + more);
}

static void hear(void)
{
	heard = true;
	heard_ms = board_millis();
}

static bool receive(void)
{
	uint8_t bytes = 0;
	uint8_t byte;

	while (!pending && bytes < BYTES_A_TURN && board_receive(&byte)) {
		bytes++;
		switch (receiver_take(&receiver, byte)) {
		case RECEIPT_NONE:
			break;
		case RECEIPT_FRAME:
			count(&counters.frames, 1);
			pending = true;
			hear();
			break;
		case RECEIPT_DAMAGED:
			count(&counters.damaged, 1);
			break;
		case RECEIPT_OVERSIZE:
			count(&counters.oversize, 1);
			break;
		}
	}
	return bytes > 0;
}

/* Answers the request in the receiver: executes it, or resends the reply if it is the same. */
static void answer(void)
{
	const uint8_t *body = receiver.body;
	uint16_t crc = get_u16(body + receiver.length - CRC_LEN);
	uint8_t type = body[1];

	if (answered.is && type != TYPE_HELLO && type == answered.type && body[2] == answered.seq && crc == answered.crc) {
		sender_again(&sender);
	} else {
		board_lamp(LAMP_BUSY, true);
		sender_start(&sender, request_carry_out(body, receiver.length, &counters, sender.body));
		board_lamp(LAMP_BUSY, false);
		answered.is = true;
		answered.type = type;
		answered.seq = body[2];
		answered.crc = crc;
		hear(); /* the host could not send meanwhile */
	}
	pending = false;
}

static void change_rate(uint8_t to)
{
	rate = to;
	rate_ms = board_millis();
	board_line_rate(to);
	receiver_reset(&receiver);
}

/* Does what no request asks for: checks the current and the refresh on each call, the
 * rest once a millisecond. */
static void watch(void)
{
	uint32_t ms = board_millis();
	struct line_faults faults;

	(void)socket_guard();
	if (ms == watched_ms) {
		return;
	}
	watched_ms = ms;
	faults = board_line_faults();
	count(&counters.overruns, faults.overruns);
	count(&counters.line_errors, faults.line_errors);
	if (heard && ms - heard_ms >= SILENCE_MS) {
		heard = false;
		if (socket_live()) {
			socket_safe(SAFE_SILENCE);
		}
	}
	if (heard || ms - rate_ms < UNSURE_MS) {
		return;
	}
	if (faults.line_errors > 0 && rate < RATE_COUNT - 1) {
		change_rate((uint8_t)(rate + 1));
	} else if (rate != 0 && ms - rate_ms >= SILENCE_MS) {
		change_rate(0);
	}
}

void adapter_reset(void)
{
	static const struct line_counters none;

	socket_begin(); /* before all else */
	calibration_begin();
	pattern_forget();
	receiver_reset(&receiver);
	sender.busy = false;
	counters = none;
	pending = false;
	answered.is = false;
	heard = false;
	rate = 0;
	watched_ms = board_millis();
	rate_ms = watched_ms - UNSURE_MS;
	board_lamp(LAMP_BUSY, false);
	board_lamp(LAMP_READY, true);
}

bool adapter_poll(void)
{
	static uint8_t turns;
	bool any = receive();

	board_watchdog();
	pattern_watch(); /* on every turn: a refresh does not wait for the checks */
	turns++;
	if (!sender.busy || turns % TURNS_A_LOOK == 0) {
		watch();
	}
	if (sender.busy) {
		if (board_can_send() && sender_ready(&sender)) {
			board_send(sender_next(&sender));
		}
		sender_prepare(&sender);
		return true;
	}
	if (pending) {
		answer();
		return true;
	}
	return any;
}
