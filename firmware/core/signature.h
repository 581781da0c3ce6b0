/* The signature of many samples: what a multiple-input signature register holds
 * after them (SPEC.md, SWEEP). */
#ifndef SIGNATURE_H
#define SIGNATURE_H

#include <stdint.h>

#define SIGNATURE_START UINT32_C(0xFFFFFFFF)

/* Multiplies the signature, in bytes, by x^8 modulo x^32 + x^16 + x^9 + x^2 + 1. Its
 * highest byte, b3, is the lowest afterwards, and the others, b2 too, are one higher. */
static inline void signature_shift(uint8_t *b3, uint8_t *b1, uint8_t *b0)
{
	uint8_t t = *b3;
	uint16_t at_9 = (uint16_t)(t << 1); /* two bytes from b0 on */
	uint16_t at_2 = (uint16_t)(at_9 << 1); /* two bytes from b3 on */

	*b1 = (uint8_t)(*b1 ^ t ^ (uint8_t)(at_9 >> 8));
	*b0 = (uint8_t)(*b0 ^ (uint8_t)at_9 ^ (uint8_t)(at_2 >> 8));
	*b3 = (uint8_t)(t ^ (uint8_t)at_2);
}

static inline uint32_t signature_fold(uint32_t signature, uint32_t sample)
{
	uint8_t b0 = (uint8_t)signature, b1 = (uint8_t)(signature >> 8), b2 = (uint8_t)(signature >> 16), b3 = (uint8_t)(signature >> 24);

	signature_shift(&b3, &b1, &b0);
	return (b3 | (uint32_t)b0 << 8 | (uint32_t)b1 << 16 | (uint32_t)b2 << 24) ^ sample;
}

#endif
