/* Carries out a request. */
#ifndef REQUEST_H
#define REQUEST_H

#include <stdint.h>

/* What the line saw since the reset. */
struct line_counters {
	uint16_t frames, damaged, oversize, overruns, line_errors;
};

/* Carries out the request in body, length bytes with header and CRC, and writes
 * the body of the reply without its CRC; its length is returned. A request is
 * checked whole before any of it is done; one that is refused or broken off
 * makes the socket safe. */
uint16_t request_carry_out(const uint8_t *body, uint16_t length, const struct line_counters *counters, uint8_t *reply);

#endif
