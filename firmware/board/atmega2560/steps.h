/* The steps of the walk over cells. Each access is translated into some at LOAD (steps.c); walk.c
 * has their code. A step is the address of its code and the bytes that it uses. */
#ifndef STEPS_H
#define STEPS_H

#include <stdint.h>

/* A step for each port (a L1-8, c L9-14, l R1-8, b R9-14), and for each two. */
#define STEPS_OF_PORTS(m) m(a) m(c) m(l) m(b)
#define STEPS_OF_PAIRS(m) \
	m(a, a) m(a, c) m(a, l) m(a, b) m(c, a) m(c, c) m(c, l) m(c, b) m(l, a) m(l, c) m(l, l) m(l, b) m(b, a) m(b, c) m(b, l) m(b, b)

/* Where the steps of each access begin, and behind the last one's their end. */
extern const uint8_t *steps_begin[];

#endif
