/* The exchanges of the protocol's golden files. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "fake.h"
#include "host.h"

static void answered(const char *name, const uint8_t *want, size_t length, bool more)
{
	size_t got;
	const uint8_t *payload;
	size_t i;

	payload = host_reply(want[0], want[1], &got);
	want += 2;
	length -= 2;
	if (got == length || (more && got > length)) {
		if (memcmp(payload, want, length) == 0) {
			return;
		}
	}
	fprintf(stderr, "exchange %s: instead of that the payload is", name);
	for (i = 0; i < got; i++) {
		fprintf(stderr, " %02x", payload[i]);
	}
	fprintf(stderr, "\n");
	exit(1);
}

void test_exchanges(void)
{
	static struct golden line;
	static uint8_t bytes[FAKE_LINE];
	static char name[sizeof line.rest];
	unsigned answers = 0;
	bool more;

	golden_open("exchanges.txt");
	while (golden_next(&line)) {
		if (strcmp(line.key, "exchange") == 0) {
			strcpy(name, line.rest + 1);
			fake_reset();
		} else if (strcmp(line.key, "ask") == 0) {
			size_t length = golden_bytes(line.rest, bytes, &more);

			host_ask(bytes[0], bytes[1], bytes + 2, length - 2);
			fake_run();
		} else if (strcmp(line.key, "again") == 0) {
			host_again();
			fake_run();
		} else if (strcmp(line.key, "wait") == 0) {
			fake_pass((uint32_t)strtoul(line.rest, NULL, 10));
		} else if (strcmp(line.key, "answer") == 0) {
			answered(name, bytes, golden_bytes(line.rest, bytes, &more), more);
			answers++;
		} else {
			fprintf(stderr, "exchanges.txt: unknown key %s\n", line.key);
			exit(1);
		}
	}
	CHECK(answers >= 60);
}
