/* Watching a position: what happens there after some actions, and when. */
#ifndef WATCH_H
#define WATCH_H

#include <stdint.h>

#include "message.h"

/* Carries out the WATCH in payload, and puts what it gives behind *reply. */
enum refusal watch(const uint8_t *payload, uint16_t length, uint8_t **reply, uint32_t *detail);

#endif
