/* The socket's lines. Ports B and C carry other lines beside the socket's, which
 * keep their state; no interrupt touches a port. */
#include <util/delay_basic.h>

#include "board.h"
#include "pins.h"
#include "revision_b.h"

/* For what the core calls in loops whose speed matters: link-time optimisation
 * alone would not put it into more than one of them. */
#define IN_LOOPS inline __attribute__((always_inline))

enum { CYCLES_PER_US = F_CPU / 1000000, CYCLES_PER_LOOP = 4, SHIFT_CYCLES = 12 };

const struct board_traits board_traits = {
	.high = REVISION_B_HIGH,
	.low = REVISION_B_LOW,
	.features = REVISION_B_FEATURES,
	.conversion_us = REVISION_B_CONVERSION_US,
	.far_conversion_us = REVISION_B_FAR_CONVERSION_US,
	.error_mv = REVISION_B_ERROR_MV,
	.max_current_ma = REVISION_B_MAX_CURRENT_MA,
	.name = "ATmega2560, revision B",
};

/* A shift by bytes would move them all. */
union bytes {
	uint32_t word;
	uint8_t byte[4];
};

static inline uint8_t byte_of(uint32_t word, uint8_t n)
{
	union bytes of;

	of.word = word;
	return of.byte[n];
}

void board_level(uint32_t level)
{
	PORTA = byte_of(level, 0);
	PORTC = (uint8_t)((PORTC & ~SIX) | byte_of(level, 1));
	PORTL = byte_of(level, 2);
	PORTB = (uint8_t)((PORTB & ~SIX) | byte_of(level, 3));
}

void board_drive(uint32_t dir, uint32_t level)
{
	/* A pin that is not driven keeps its port bit 0, so it has no pull-up. */
	DDRA &= byte_of(dir, 0);
	DDRC &= (uint8_t)(byte_of(dir, 1) | (uint8_t)~SIX);
	DDRL &= byte_of(dir, 2);
	DDRB &= (uint8_t)(byte_of(dir, 3) | (uint8_t)~SIX);
	board_level(level);
	DDRA = byte_of(dir, 0);
	DDRC |= byte_of(dir, 1);
	DDRL = byte_of(dir, 2);
	DDRB |= byte_of(dir, 3);
}

/* A 1 written to PINx toggles the bit of PORTx. */
IN_LOOPS void board_flip(uint32_t word)
{
	PINA = byte_of(word, 0);
	PINC = byte_of(word, 1);
	PINL = byte_of(word, 2);
	PINB = byte_of(word, 3);
}

/* The port bit of a position that is not driven is 0. */
IN_LOOPS uint32_t board_levels(void)
{
	union bytes set;

	set.byte[0] = PORTA;
	set.byte[1] = PORTC & SIX;
	set.byte[2] = PORTL;
	set.byte[3] = PORTB & SIX;
	return set.word;
}

IN_LOOPS uint32_t board_sample(void)
{
	union bytes read;

	read.byte[1] = PINC & SIX;
	read.byte[3] = PINB & SIX;
	read.byte[0] = PINF;
	read.byte[2] = PINK;
	return read.word;
}

IN_LOOPS uint32_t board_sample_of(uint32_t word)
{
	union bytes read;

	read.byte[1] = PINC & byte_of(word, 1);
	read.byte[3] = PINB & byte_of(word, 3);
	read.byte[0] = PINF & byte_of(word, 0);
	read.byte[2] = PINK & byte_of(word, 2);
	return read.word;
}

/* A cycle is 1/16 µs: four a turn, and three for the last. */
IN_LOOPS void board_wait_16ths(uint16_t n)
{
	uint16_t turns = n / CYCLES_PER_LOOP;

	__asm__ volatile("1: sbiw %0, 1\n"
			 "brcc 1b\n"
			 : "+w"(turns));
}

uint16_t board_left_16ths(uint16_t n)
{
	return n > SHIFT_CYCLES ? (uint16_t)(n - SHIFT_CYCLES) : 0;
}

void board_wait_us(uint16_t us)
{
	_delay_loop_2((uint16_t)(us * (CYCLES_PER_US / CYCLES_PER_LOOP)));
}
