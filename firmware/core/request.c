#include "request.h"

#include "apply.h"
#include "board.h"
#include "calibration.h"
#include "fitted.h"
#include "measure.h"
#include "message.h"
#include "pattern.h"
#include "socket.h"
#include "sweep.h"
#include "watch.h"

/* A request being answered. */
struct request {
	const uint8_t *payload;
	uint16_t length; /* of the payload */
	uint8_t *reply;  /* end of the reply so far */
	uint32_t detail; /* of a refusal */
};

static enum refusal refuse(struct request *r, enum refusal code, uint32_t detail)
{
	r->detail = detail;
	return code;
}

static enum refusal bad_payload(struct request *r)
{
	return refuse(r, BAD_PAYLOAD, r->length);
}

static enum refusal hello(struct request *r)
{
	static const uint32_t rates[RATE_COUNT] = {RATE_0, RATE_1, RATE_2};
	const struct board_traits *t = &board_traits;
	uint8_t *at = r->reply;
	uint8_t *name_length;
	const char *c;
	uint8_t i;

	if (r->length != 0) {
		return bad_payload(r);
	}
	socket_safe(SAFE_HELLO);
	at = put_u8(at, PROTOCOL_VERSION);
	at = put_u8(at, FIRMWARE_MAJOR);
	at = put_u8(at, FIRMWARE_MINOR);
	at = put_u8(at, FIRMWARE_PATCH);
	at = put_u16(at, board_boot_id());
	at = put_u16(at, MAX_PAYLOAD);
	at = put_u16(at, MAX_STEPS);
	at = put_u16(at, t->max_current_ma);
	at = put_u16(at, MAX_BUSY_MS);
	at = put_u16(at, SILENCE_MS);
	at = put_u32(at, fitted.positions);
	at = put_u32(at, fitted.sense);
	at = put_u32(at, fitted.high);
	at = put_u32(at, fitted.low);
	at = put_u16(at, socket_features());
	at = put_u8(at, RATE_COUNT);
	for (i = 0; i < RATE_COUNT; i++) {
		at = put_u32(at, rates[i]);
	}
	name_length = at;
	at++;
	for (c = t->name; *c != '\0'; c++) {
		at = put_u8(at, (uint8_t)*c);
	}
	*name_length = (uint8_t)(at - name_length - 1);
	at = put_u32(at, socket_measured());
	at = put_u16(at, t->conversion_us);
	at = put_u16(at, t->error_mv);
	at = put_u32(at, fitted.positions);
	at = put_u32(at, fitted.load);
	at = put_u32(at, fitted.far);
	r->reply = put_u16(at, t->far_conversion_us);
	return ACCEPTED;
}

static enum refusal status(struct request *r, const struct line_counters *counters)
{
	const struct socket_state *s = socket_now();
	uint8_t *at = r->reply;

	if (r->length != 0) {
		return bad_payload(r);
	}
	at = put_u8(at, (uint8_t)((s->high != 0 ? STATE_POWERED : 0) | (board_button() ? STATE_BUTTON : 0)));
	at = put_u8(at, s->pulls[PULL_BIAS].on);
	at = put_u8(at, s->pulls[PULL_LOAD].on);
	at = put_u8(at, s->high);
	at = put_u32(at, s->low);
	at = put_u32(at, s->driven);
	at = put_u16(at, calibration_current(board_current()));
	at = put_u16(at, s->limit_ma);
	at = put_u8(at, board_reset_cause());
	at = put_u8(at, s->safe_cause);
	at = put_u16(at, board_boot_id());
	at = put_u16(at, counters->frames);
	at = put_u16(at, counters->damaged);
	at = put_u16(at, counters->oversize);
	at = put_u16(at, counters->overruns);
	at = put_u16(at, counters->line_errors);
	at = put_u32(at, s->pulls[PULL_BIAS].up);
	r->reply = put_u32(at, s->pulls[PULL_LOAD].up);
	return ACCEPTED;
}

static enum refusal safe(struct request *r)
{
	if (r->length != 0) {
		return bad_payload(r);
	}
	socket_safe(SAFE_REQUEST);
	return ACCEPTED;
}

static enum refusal pulls(struct request *r)
{
	struct pulling pulling[PULLS];
	enum refusal refusal;

	if (r->length != PULLS_LEN || r->payload[1] != 0 || !measure_read_pulls(r->payload[0], r->payload + 2, pulling)) {
		return bad_payload(r);
	}
	refusal = socket_may_pull(pulling, &r->detail);
	if (refusal == ACCEPTED) {
		socket_pull(pulling);
	}
	return refusal;
}

static enum refusal power(struct request *r)
{
	uint8_t high, reserved;
	uint16_t limit_ma, settle_ms;
	uint32_t low;
	enum refusal refusal;

	if (r->length != POWER_LEN) {
		return bad_payload(r);
	}
	high = r->payload[0];
	reserved = r->payload[1];
	limit_ma = get_u16(r->payload + 2);
	settle_ms = get_u16(r->payload + 4);
	low = get_u32(r->payload + 6);
	if (reserved != 0 || (high != 0 && low == 0) || (high != 0) != (limit_ma != 0)) {
		return bad_payload(r);
	}
	refusal = socket_may_power(high, low, &r->detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	if (limit_ma > board_traits.max_current_ma) {
		return refuse(r, LIMIT, board_traits.max_current_ma);
	}
	if (settle_ms > MAX_BUSY_MS) {
		return refuse(r, LIMIT, MAX_BUSY_MS);
	}
	refusal = socket_power(high, low, limit_ma);
	for (; refusal == ACCEPTED && settle_ms > 0; settle_ms--) {
		refusal = socket_wait_us(1000);
		board_watchdog();
	}
	if (refusal == ACCEPTED) {
		refusal = socket_guard();
	}
	if (refusal == ACCEPTED && high != 0) {
		refusal = socket_verify();
	}
	if (refusal != ACCEPTED) {
		return refuse(r, refusal, socket_now()->reason);
	}
	r->reply = put_u16(r->reply, calibration_current(board_current()));
	return ACCEPTED;
}

/* Whether every direction of the steps may be driven. */
static enum refusal may_apply(const struct steps *steps, uint32_t *detail)
{
	const uint8_t *at = steps->at;
	uint32_t all = steps->direction;
	uint16_t i;

	for (i = 0; steps->directions && i < steps->count; i++) {
		all |= get_u32(at);
		at += 8;
	}
	return socket_may_drive(all, detail);
}

static enum refusal apply(struct request *r)
{
	struct steps steps;
	uint8_t flags, step_len;
	uint16_t bytes;
	enum refusal refusal;

	if (r->length < APPLY_HEADER_LEN) {
		return bad_payload(r);
	}
	flags = r->payload[0];
	steps.directions = (flags & APPLY_DIRECTIONS) != 0;
	steps.settle_us = get_u16(r->payload + 2);
	steps.direction = get_u32(r->payload + 4);
	steps.at = r->payload + APPLY_HEADER_LEN;
	step_len = steps.directions ? 8 : 4;
	bytes = (uint16_t)(r->length - APPLY_HEADER_LEN);
	steps.count = (uint16_t)(bytes / step_len);
	if ((flags & ~(APPLY_DIRECTIONS | APPLY_UNPOWERED)) != 0 || r->payload[1] != 0 || bytes % step_len != 0 ||
	    steps.count == 0 || (steps.directions && steps.direction != 0)) {
		return bad_payload(r);
	}
	refusal = may_apply(&steps, &r->detail);
	if (refusal != ACCEPTED) {
		return refusal;
	}
	if (socket_now()->high == 0 && (flags & APPLY_UNPOWERED) == 0) {
		return refuse(r, NOT_POWERED, 0);
	}
	if ((uint32_t)steps.count * steps.settle_us > MAX_BUSY_MS * UINT32_C(1000)) {
		return refuse(r, LIMIT, MAX_BUSY_MS);
	}
	refusal = apply_steps(&steps, r->reply);
	if (refusal != ACCEPTED) {
		return refuse(r, refusal, socket_now()->reason);
	}
	r->reply += SAMPLE_LEN * steps.count;
	return ACCEPTED;
}

static enum refusal measure(struct request *r)
{
	const uint8_t *steps = r->payload + MEASURE_HEADER_LEN;
	uint16_t bytes, count;
	enum refusal refusal;

	if (r->length < MEASURE_HEADER_LEN) {
		return bad_payload(r);
	}
	bytes = (uint16_t)(r->length - MEASURE_HEADER_LEN);
	count = bytes / MEASURE_STEP_LEN;
	if ((r->payload[0] & ~MEASURE_UNPOWERED) != 0 || r->payload[1] != 0 || get_u16(r->payload + 2) != 0 || count == 0 ||
	    bytes % MEASURE_STEP_LEN != 0) {
		return bad_payload(r);
	}
	refusal = measure_may(steps, count, &r->detail);
	if (refusal == BAD_PAYLOAD) {
		return bad_payload(r);
	}
	/* A lower code is answered first. */
	if ((refusal == ACCEPTED || refusal == LIMIT) && socket_now()->high == 0 && (r->payload[0] & MEASURE_UNPOWERED) == 0) {
		return refuse(r, NOT_POWERED, 0);
	}
	if (refusal != ACCEPTED) {
		return refusal;
	}
	refusal = measure_run(steps, count, &r->reply);
	return refusal == ACCEPTED ? ACCEPTED : refuse(r, refusal, socket_now()->reason);
}

static enum refusal calibration(struct request *r)
{
	const uint8_t *record = r->payload + CALIBRATION_HEADER_LEN;
	const uint8_t *kept;
	bool write;
	uint8_t i;

	if (r->length < CALIBRATION_HEADER_LEN || r->payload[0] > CALIBRATION_FORGET || r->payload[1] != 0) {
		return bad_payload(r);
	}
	write = r->payload[0] == CALIBRATION_WRITE;
	if (r->length - CALIBRATION_HEADER_LEN != (write ? CALIBRATION_LEN : 0) || (write && !calibration_sane(record))) {
		return bad_payload(r);
	}
	if (r->payload[0] != CALIBRATION_READ) {
		socket_safe(SAFE_REQUEST); /* for it takes long, and the limit changes its meaning */
	}
	if (write) {
		calibration_keep(record);
	} else if (r->payload[0] == CALIBRATION_FORGET) {
		calibration_forget();
	}
	r->reply = put_u8(r->reply, (uint8_t)calibration_now());
	kept = calibration_record();
	for (i = 0; i < CALIBRATION_LEN; i++) {
		r->reply = put_u8(r->reply, kept[i]);
	}
	return ACCEPTED;
}

static enum refusal dispatch(struct request *r, uint8_t version, uint8_t type, const struct line_counters *counters)
{
	if (version != PROTOCOL_VERSION) {
		return refuse(r, BAD_VERSION, PROTOCOL_VERSION);
	}
	if (type != TYPE_STATUS && type != TYPE_PATTERN) {
		pattern_forget();
	}
	switch (type) {
	case TYPE_HELLO:
		return hello(r);
	case TYPE_STATUS:
		return status(r, counters);
	case TYPE_SAFE:
		return safe(r);
	case TYPE_PULLS:
		return pulls(r);
	case TYPE_POWER:
		return power(r);
	case TYPE_APPLY:
		return apply(r);
	case TYPE_MEASURE:
		return measure(r);
	case TYPE_CALIBRATION:
		return calibration(r);
	case TYPE_SWEEP:
		return sweep(r->payload, r->length, &r->reply, &r->detail);
	case TYPE_PATTERN:
		return pattern(r->payload, r->length, &r->reply, &r->detail);
	case TYPE_WATCH:
		return watch(r->payload, r->length, &r->reply, &r->detail);
	default:
		return refuse(r, BAD_TYPE, type);
	}
}

uint16_t request_carry_out(const uint8_t *body, uint16_t length, const struct line_counters *counters, uint8_t *reply)
{
	struct request r = {body + HEADER_LEN, (uint16_t)(length - MIN_BODY), reply + HEADER_LEN, 0};
	uint8_t type = body[1];
	enum refusal refusal = dispatch(&r, body[0], type, counters);

	reply[0] = PROTOCOL_VERSION;
	reply[1] = (uint8_t)(type | TYPE_REPLY);
	reply[2] = body[2];
	if (refusal != ACCEPTED) {
		if (refusal != OVERCURRENT && refusal != FAULT) {
			socket_safe(SAFE_REFUSED);
		}
		reply[1] = TYPE_ERROR;
		r.reply = put_u8(reply + HEADER_LEN, (uint8_t)refusal);
		r.reply = put_u8(r.reply, type);
		r.reply = put_u32(r.reply, r.detail);
	}
	return (uint16_t)(r.reply - reply);
}
