/* Sweeps: many steps by one request, whose samples go back as signatures. */
#ifndef SWEEP_H
#define SWEEP_H

#include <stdint.h>

#include "message.h"

/* Carries out the SWEEP in payload, and puts what it gives behind *reply. */
enum refusal sweep(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail);

#endif
