/* The adapter: a line, a socket, and the requests. */
#ifndef ADAPTER_H
#define ADAPTER_H

#include <stdbool.h>

/* Begins: the socket safe, nothing heard. Call once, before adapter_poll. */
void adapter_reset(void);

/* The body of the main loop. False when there was nothing to do. */
bool adapter_poll(void);

#endif
