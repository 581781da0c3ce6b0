/* The signature of many samples: what a multiple-input signature register holds
 * after them (SPEC.md, SWEEP). */
#ifndef SIGNATURE_H
#define SIGNATURE_H

#include <stdint.h>

#define SIGNATURE_START UINT32_C(0xFFFFFFFF)

/* s x^8 + sample modulo x^32 + x^16 + x^9 + x^2 + 1, whose terms lie near bytes. */
static inline uint32_t signature_fold(uint32_t signature, uint32_t sample)
{
	uint8_t top = (uint8_t)(signature >> 24);
	uint16_t twice = (uint16_t)(top << 1);

	signature = (signature << 8) ^ ((uint32_t)top << 16) ^ ((uint32_t)twice << 8) ^ (uint16_t)(twice << 1) ^ top;
	return signature ^ sample;
}

#endif
