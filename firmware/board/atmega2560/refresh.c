/* The strobes of a refresh. Interrupts wait for four rows, 3 µs: the UART holds two bytes,
 * 20 µs. A port is toggled again after 4 cycles or more. */
#include <avr/interrupt.h>

#include "board.h"
#include "pins.h"

/* The bytes of a word lie in memory as board.h has them. */
static inline const uint8_t *bytes_of(const uint32_t *word)
{
	return (const uint8_t *)word;
}

/* The next bit after four rows. */
static inline const uint8_t *next_bit(const uint32_t *bits, uint16_t four)
{
	uint8_t low = (uint8_t)four;

	bits += 2;
	if (low == 0) {
		low = (uint8_t)(four >> 8);
		bits += 8;
	}
	for (; (low & 1) == 0; low >>= 1) {
		bits++;
	}
	return bytes_of(bits);
}

static inline void toggle_near(uint8_t left, uint8_t right)
{
	PINA = left;
	PINL = right;
	__asm__ volatile("nop");
}

/* Rows of near positions, L1-8 and R1-8. */
__attribute__((noinline)) static void strobe_near(const uint8_t *strobe, const uint32_t *bits, uint16_t four, uint8_t fours)
{
	const uint8_t *first = bytes_of(&bits[0]), *second = bytes_of(&bits[1]);
	uint8_t left = strobe[0], right = strobe[2];
	uint8_t left_1 = left ^ first[0], right_1 = right ^ first[2];
	uint8_t left_2 = left ^ second[0], right_2 = right ^ second[2];

	for (; fours > 0; fours--) {
		const uint8_t *next = next_bit(bits, four);
		uint8_t left_n = left ^ next[0], right_n = right ^ next[2];

		cli();
		toggle_near(left, right);
		toggle_near(left_1, right_1);
		toggle_near(left, right);
		toggle_near(left_2, right_2);
		toggle_near(left, right);
		toggle_near(left_1, right_1);
		toggle_near(left, right);
		toggle_near(left_n, right_n);
		sei();
		four++;
	}
}

static inline void flip(const uint8_t *word, const uint8_t *then)
{
	PINA = word[0] ^ then[0];
	PINC = word[1] ^ then[1];
	PINL = word[2] ^ then[2];
	PINB = word[3] ^ then[3];
}

static inline void strobe_row(const uint8_t *strobe, const uint8_t *next)
{
	static const uint8_t none[4];

	cli();
	flip(strobe, none);
	flip(strobe, next);
	sei();
}

__attribute__((noinline)) static void strobe_any(const uint8_t *strobe, const uint32_t *bits, uint16_t four, uint8_t fours)
{
	const uint8_t *first = bytes_of(&bits[0]), *second = bytes_of(&bits[1]);

	for (; fours > 0; fours--) {
		const uint8_t *next = next_bit(bits, four);

		strobe_row(strobe, first);
		strobe_row(strobe, second);
		strobe_row(strobe, first);
		strobe_row(strobe, next);
		four++;
	}
}

void board_strobes(uint32_t strobe, const uint32_t *bits, uint16_t four, uint8_t fours)
{
	const uint8_t *word = bytes_of(&strobe);
	const uint8_t *bit = bytes_of(bits), *end = bytes_of(bits + MOST_ROW_BITS);
	uint8_t far = word[1] | word[3];

	for (; bit != end; bit += 4) {
		far |= bit[1];
		far |= bit[3];
	}
	if (far == 0) {
		strobe_near(word, bits, four, fours);
	} else {
		strobe_any(word, bits, four, fours);
	}
}
