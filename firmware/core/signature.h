/* The signature of many samples: what a multiple-input signature register holds
 * after them (SPEC.md, SWEEP). */
#ifndef SIGNATURE_H
#define SIGNATURE_H

#include <stdint.h>

#define SIGNATURE_START UINT32_C(0xFFFFFFFF)

/* x^32 + x^22 + x^2 + x + 1, without x^32. */
#define SIGNATURE_POLYNOMIAL UINT32_C(0x00400007)

static inline uint32_t signature_fold(uint32_t signature, uint32_t sample)
{
	uint32_t folded = signature << 1;

	if (signature & UINT32_C(0x80000000)) {
		folded ^= SIGNATURE_POLYNOMIAL;
	}
	return folded ^ sample;
}

#endif
