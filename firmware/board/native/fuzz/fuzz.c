/* A host that sends anything. The input is a list of what it does; each byte that
 * begins an entry says what, and the rest of the entry how. fake.c ends the
 * program when the core asks the board for what must never be. */
#include <stddef.h>
#include <string.h>

#include "fake.h"
#include "message.h"

int LLVMFuzzerTestOneInput(const uint8_t *input, size_t length);

struct entries {
	const uint8_t *at;
	size_t left;
};

static uint8_t next(struct entries *e)
{
	if (e->left == 0) {
		return 0;
	}
	e->left--;
	return *e->at++;
}

static size_t next_bytes(struct entries *e, uint8_t *out, size_t most)
{
	size_t length = next(e);
	size_t i;

	for (i = 0; i < length && i < most && e->left > 0; i++) {
		out[i] = next(e);
	}
	return i;
}

/* Every reply is a sound frame: the core's own receiver is not asked, only that
 * each delimiter ends one that is long enough. */
static void check_replies(void)
{
	size_t i, begin = 0;

	for (i = 0; i < fake.from_core_length; i++) {
		if (fake.from_core[i] == 0) {
			if (i - begin < MIN_BODY + 1) {
				fake_fail("sends a frame that is too short");
			}
			begin = i + 1;
		}
	}
	if (begin != fake.from_core_length) {
		fake_fail("leaves a frame without its end");
	}
	fake.from_core_length = 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *input, size_t length)
{
	static uint8_t body[256 + HEADER_LEN], wire[FAKE_LINE];
	struct entries e = {input, length};
	size_t n;

	fake_reset();
	while (e.left > 0) {
		switch (next(&e) % 7) {
		case 0: /* bytes as they are */
			n = next_bytes(&e, wire, 255);
			fake_put(wire, n);
			break;
		case 1: /* a sound frame of any version */
			n = next_bytes(&e, body, 255);
			fake_put(wire, fake_frame(body, n, wire));
			break;
		case 2: /* a sound request of a type that is known */
			body[0] = PROTOCOL_VERSION;
			body[1] = (uint8_t)(1 + next(&e) % 10);
			body[2] = next(&e);
			n = next_bytes(&e, body + HEADER_LEN, 255);
			fake_put(wire, fake_frame(body, HEADER_LEN + n, wire));
			break;
		case 3:
			fake_pass(next(&e) * 16u);
			break;
		case 4:
			fake.current = (uint16_t)(next(&e) << 8);
			break;
		case 5:
			fake.monitor_silent = (next(&e) & 1) != 0;
			fake.open = next(&e);
			break;
		default:
			fake.faults.line_errors = 1;
			fake_pass(1);
			break;
		}
		fake_run();
		check_replies();
	}
	return 0;
}
