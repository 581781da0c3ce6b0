/* Steps that measure: pulls and drives as a step says, and the voltages of
 * positions and the supply current that come of them. */
#ifndef MEASURE_H
#define MEASURE_H

#include <stdint.h>

#include "message.h"
#include "socket.h"

/* Reads what is pulled from flags and two words, as PULLS and a step have them; false
 * if they hold a value that is none. */
bool measure_read_pulls(uint8_t flags, const uint8_t *words, struct pulling *pulls);

/* Time that the voltages of so many near and far positions may take, µs. */
uint32_t measure_voltages_us(uint8_t near, uint8_t far, uint8_t averaging);

/* Selects a channel, and discards its first conversion. */
void measure_select(uint8_t channel);

/* Measures the selected channel. What is not ACCEPTED is from socket_guard. */
enum refusal measure_selected(uint8_t channel, uint8_t averaging, uint16_t *mv);

/* Whether count steps, as they came in the request, may run. */
enum refusal measure_may(const uint8_t *at, uint16_t count, uint32_t *detail);

/* Runs them and puts what they give behind *reply. What is not ACCEPTED is from
 * socket_guard. */
enum refusal measure_run(const uint8_t *at, uint16_t count, uint8_t **reply);

#endif
