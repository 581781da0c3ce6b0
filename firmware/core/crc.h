/* CRC-16/IBM-3740: polynomial 0x1021, not reflected, not inverted. */
#ifndef CRC_H
#define CRC_H

#include <stdint.h>

#define CRC_INIT 0xFFFFu

/* Continues sum over one byte, without a table: after the structure of
 * x^16 + x^12 + x^5 + 1, in bytes, which an 8-bit MCU shifts cheaply. */
static inline uint16_t crc_step(uint16_t sum, uint8_t byte)
{
	uint8_t high = (uint8_t)(sum >> 8);
	uint8_t low = (uint8_t)sum;
	uint8_t x = (uint8_t)(byte ^ high);

	x = (uint8_t)(x ^ (x >> 4));
	high = (uint8_t)(low ^ (uint8_t)(x << 4) ^ (x >> 3));
	low = (uint8_t)(x ^ (uint8_t)(x << 5));
	return (uint16_t)((uint16_t)((uint16_t)high << 8) | low);
}

#endif
