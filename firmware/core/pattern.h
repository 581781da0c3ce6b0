/* Patterns: a small program of loops, sent by the host, that drives, samples and
 * compares, so that a memory's test need not cross the line (SPEC.md, PATTERN). */
#ifndef PATTERN_H
#define PATTERN_H

#include <stdint.h>

#include "message.h"

/* Carries out the PATTERN in payload, and puts what it gives behind *reply. */
enum refusal pattern(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail);

/* Forgets the program. */
void pattern_forget(void);

/* Keeps the refresh up between requests; to be called at least every 200 µs. */
void pattern_watch(void);

#endif
