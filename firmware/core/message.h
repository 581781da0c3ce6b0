/* The numbers and layouts of the protocol: version 2 of protocol/SPEC.md. */
#ifndef MESSAGE_H
#define MESSAGE_H

#include <stdint.h>

enum {
	PROTOCOL_VERSION = 2,

	FIRMWARE_MAJOR = 2,
	FIRMWARE_MINOR = 0,
	FIRMWARE_PATCH = 0
};

enum {
	TYPE_HELLO = 0x01,
	TYPE_STATUS = 0x02,
	TYPE_SAFE = 0x03,
	TYPE_PULLS = 0x04,
	TYPE_POWER = 0x05,
	TYPE_APPLY = 0x06,
	TYPE_MEASURE = 0x07,
	TYPE_CALIBRATION = 0x08,
	TYPE_SWEEP = 0x09,
	TYPE_PATTERN = 0x0A,
	TYPE_WATCH = 0x0B,
	TYPE_REPLY = 0x80,
	TYPE_ERROR = 0xFF
};

/* Why a request was refused or broken off. */
enum refusal {
	ACCEPTED = 0,
	BAD_VERSION = 1,
	BAD_TYPE = 2,
	BAD_PAYLOAD = 3,
	BAD_POSITION = 4,
	CONFLICT = 5,
	NOT_POWERED = 6,
	OVERCURRENT = 7,
	LIMIT = 8,
	FAULT = 9,
	NO_PROGRAM = 10
};

enum { PULLS_BIAS = 1 << 0, PULLS_LOAD = 1 << 1 }; /* of the flags of PULLS and of a step of MEASURE */

enum {
	FEATURE_BIAS = 1 << 0,
	FEATURE_LOAD = 1 << 1,
	FEATURE_MONITOR = 1 << 2,
	FEATURE_BUTTON = 1 << 3,
	FEATURE_MEASURE = 1 << 4,
	FEATURE_SWEEP = 1 << 5,
	FEATURE_PATTERN = 1 << 6,
	FEATURE_FAR = 1 << 7,
	FEATURE_WATCH = 1 << 8,
	FEATURE_CELL = 1 << 9,
	FEATURE_CONVERT = 1 << 10,
	FEATURE_ACCESSES = 1 << 11
};

enum { STATE_POWERED = 1 << 0, STATE_BUTTON = 1 << 1 };

enum reset_cause {
	RESET_UNKNOWN = 0,
	RESET_POWER_ON = 1,
	RESET_EXTERNAL = 2,
	RESET_BROWN_OUT = 3,
	RESET_WATCHDOG = 4,
	RESET_PROGRAM = 5
};

enum safe_cause {
	SAFE_RESET = 1,
	SAFE_REQUEST = 2,
	SAFE_HELLO = 3,
	SAFE_SILENCE = 4,
	SAFE_REFUSED = 5,
	SAFE_OVERCURRENT = 6,
	SAFE_FAULT = 7
};

enum { APPLY_DIRECTIONS = 1 << 0, APPLY_UNPOWERED = 1 << 1 };

enum { MEASURE_UNPOWERED = 1 << 1 }; /* as in APPLY */

enum { SWEEP_GRAY = 1 << 0 };

enum { WATCH_HALT = 1 << 0, WATCH_UNPOWERED = 1 << 1 }; /* the latter as in APPLY */

enum { STOPPED_TIME = 0, STOPPED_EDGES = 1, STOPPED_HALT = 2 }; /* why a WATCH ended */

enum { PATTERN_LOAD = 0, PATTERN_RUN = 1 };

enum { RUN_LOG = 1 << 0 };

enum { RUN_ENDED = 0, RUN_CONTINUES = 1 };

enum { CALIBRATION_READ = 0, CALIBRATION_WRITE = 1, CALIBRATION_FORGET = 2 };

enum calibration_state {
	CALIBRATION_NONE = 0,
	CALIBRATION_STORED = 1,
	CALIBRATION_DAMAGED = 2
};

#define CURRENT_NOT_MEASURED 0xFFFFu

enum {
	HEADER_LEN = 3, /* version, type, seq */
	CRC_LEN = 2,
	MIN_BODY = HEADER_LEN + CRC_LEN,

	POWER_LEN = 10,
	PULLS_LEN = 10,
	APPLY_HEADER_LEN = 8,
	SAMPLE_LEN = 4,
	MEASURE_HEADER_LEN = 4,
	MEASURE_STEP_LEN = 24,
	MEASURED_LEN = 6, /* of a step's reply before its voltages */
	VOLTAGE_LEN = 2,
	CALIBRATION_HEADER_LEN = 2,
	CALIBRATION_FIXED_LEN = 11, /* of the record, before its channels */
	CALIBRATION_CHANNEL_LEN = 4,
	SWEEP_HEADER_LEN = 28, /* before its positions */
	WATCH_HEADER_LEN = 10, /* before its actions */
	WATCH_ACTION_LEN = 21,
	WATCH_REPLY_LEN = 12, /* before the times */
	LOAD_HEADER_LEN = 24,  /* of a PATTERN, before its groups */
	RUN_LEN = 4,
	RUN_REPLY_LEN = 14, /* before its output */

	MAX_STEPS = 256,
	MAX_PAYLOAD = APPLY_HEADER_LEN + 4 * MAX_STEPS,
	MAX_REPLY_PAYLOAD = MAX_PAYLOAD,
	MAX_REQUEST_BODY = HEADER_LEN + MAX_PAYLOAD + CRC_LEN,
	MAX_REPLY_BODY = HEADER_LEN + MAX_REPLY_PAYLOAD + CRC_LEN
};

enum { MOST_AVERAGING = 7 }; /* 2^7 conversions */

enum { MOST_EDGES = 64, MOST_ACTIONS = 8 }; /* of a WATCH */

enum { MOST_SWEPT = 24, MOST_SIGNATURES = 256 }; /* of a SWEEP */

#define SILENCE_MS 2000u  /* without a sound frame while anything is on */
#define MAX_BUSY_MS 1000u /* longest run of one request */

/* Line rates, baud, the usual one first: from one to the next slower. */
enum { RATE_COUNT = 3 };
#define RATE_0 1000000u
#define RATE_1 500000u
#define RATE_2 38400u

/* Words. The near positions are L1-8 and R1-8, which are all of a chip of up to 16
 * pins; the others are far. */
#define ALL_POSITIONS UINT32_C(0x3FFF3FFF)
#define NEAR_POSITIONS UINT32_C(0x00FF00FF)

/* What the converters measure that is no position, at bits of a word that are none. */
#define SUPPLY_BIT (UINT32_C(1) << 14)      /* the socket's supply behind the shunt */
#define REFERENCE_1_BIT (UINT32_C(1) << 15) /* 2.500 V, by converter no. 1 */
#define REFERENCE_2_BIT (UINT32_C(1) << 31) /* the same by no. 2 */

/* Little-endian fields, at any address. */

static inline uint16_t get_u16(const uint8_t *at)
{
	return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

static inline uint32_t get_u32(const uint8_t *at)
{
	return get_u16(at) | (uint32_t)get_u16(at + 2) << 16;
}

static inline uint8_t *put_u8(uint8_t *at, uint8_t value)
{
	at[0] = value;
	return at + 1;
}

static inline uint8_t *put_u16(uint8_t *at, uint16_t value)
{
	at[0] = (uint8_t)value;
	at[1] = (uint8_t)(value >> 8);
	return at + 2;
}

static inline uint8_t *put_u32(uint8_t *at, uint32_t value)
{
	return put_u16(put_u16(at, (uint16_t)value), (uint16_t)(value >> 16));
}

#endif
