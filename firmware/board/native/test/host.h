/* The host's end of the line, for tests. */
#ifndef HOST_H
#define HOST_H

#include <stddef.h>
#include <stdint.h>

/* Sends a request; its frame stays for host_again. */
void host_ask(uint8_t type, uint8_t seq, const uint8_t *payload, size_t length);
void host_again(void);

/* The payload of the one reply that came, which must have this type and seq. */
const uint8_t *host_reply(uint8_t type, uint8_t seq, size_t *length);

/* The number of sound frames that came since the last call of host_reply or host_count. */
unsigned host_count(void);

/* Supply on at positions 28 and 7 with a limit of 100 mA and 10 ms of settling. */
void host_power(uint8_t seq);

/* An APPLY payload of steps levels that count up, with 1 and 2 driven. */
size_t host_steps(uint8_t *payload, uint16_t steps, uint16_t settle_us);

/* One of the u16 counters of STATUS, by its offset. */
uint16_t host_counter(uint8_t seq, size_t offset);

#endif
