/* Loads a pattern program (SPEC.md, PATTERN). */
#ifndef LOAD_H
#define LOAD_H

#include <stdint.h>

#include "message.h"

/* Reads the LOAD in payload into program.h's program, and checks it whole. */
enum refusal load(const uint8_t *payload, uint16_t length, uint32_t *detail);

#endif
