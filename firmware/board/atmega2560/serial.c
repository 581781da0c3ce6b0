/* UART 0, eight data bits, no parity, one stop bit.
 *
 * At 1 Mbaud a byte takes 160 cycles, and the MCU holds two and a part: the main
 * loop cannot promise to be back that soon in the middle of a step. So an
 * interrupt puts them into a ring, and the main loop takes them from there.
 * Sending waits for nobody, so it is polled. */
#include <avr/interrupt.h>
#include <util/atomic.h>

#include "board.h"
#include "message.h"
#include "start.h"

enum {
	/* With double speed the rate is F_CPU / 8 / (UBRR + 1). */
	UBRR_0 = F_CPU / 8 / RATE_0 - 1,
	UBRR_1 = F_CPU / 8 / RATE_1 - 1,
	UBRR_2 = (F_CPU / 8 + RATE_2 / 2) / RATE_2 - 1
};

static volatile uint8_t ring[256]; /* the indices go round by themselves */
static volatile uint8_t overruns, line_errors;

/* Indices into the ring, in registers that the interrupt reaches in one cycle. */
#define HEAD GPIOR0 /* where the next byte goes: the interrupt's */
#define TAIL GPIOR1 /* where the next byte is taken: the main loop's */

static void count(volatile uint8_t *counter)
{
	if (*counter < UINT8_MAX) {
		(*counter)++;
	}
}

/* A damaged byte, or no room for it: the slow path, so in C. */
void receive_fault(uint8_t state) __attribute__((used));
void receive_fault(uint8_t state)
{
	count(state & _BV(FE0) ? &line_errors : &overruns);
}

/* Takes a byte in 49 cycles; what the compiler makes of the same in C takes 90,
 * and then a byte with its decoding does not fit into 160. It keeps to three
 * registers, and leaves the slow path to receive_fault. st does not use RAMPZ. */
ISR(USART0_RX_vect, ISR_NAKED)
{
	__asm__ volatile(
		"push r24                 \n"
		"in   r24, __SREG__       \n"
		"push r24                 \n"
		"push r30                 \n"
		"push r31                 \n"
		"lds  r31, %[state]       \n" /* before the byte, with which it goes */
		"lds  r24, %[byte]        \n"
		"andi r31, %[faults]      \n"
		"brne 1f                  \n"
		"in   r30, %[head]        \n"
		"clr  r31                 \n"
		"subi r30, lo8(-(%[ring]))\n"
		"sbci r31, hi8(-(%[ring]))\n"
		"st   Z, r24              \n" /* the place at the head is always free */
		"in   r30, %[head]        \n"
		"inc  r30                 \n"
		"in   r24, %[tail]        \n"
		"clr  r31                 \n"
		"cp   r30, r24            \n"
		"breq 1f                  \n"
		"out  %[head], r30        \n"
		"0: pop r31               \n"
		"pop  r30                 \n"
		"pop  r24                 \n"
		"out  __SREG__, r24       \n"
		"pop  r24                 \n"
		"reti                     \n"
		"1: push r0               \n" /* all that a C function may change */
		"push r1                  \n"
		"push r18                 \n"
		"push r19                 \n"
		"push r20                 \n"
		"push r21                 \n"
		"push r22                 \n"
		"push r23                 \n"
		"push r25                 \n"
		"push r26                 \n"
		"push r27                 \n"
		"mov  r24, r31            \n"
		"clr  r1                  \n"
		"call receive_fault       \n"
		"pop  r27                 \n"
		"pop  r26                 \n"
		"pop  r25                 \n"
		"pop  r23                 \n"
		"pop  r22                 \n"
		"pop  r21                 \n"
		"pop  r20                 \n"
		"pop  r19                 \n"
		"pop  r18                 \n"
		"pop  r1                  \n"
		"pop  r0                  \n"
		"rjmp 0b                  \n"
		:
		: [state] "i"(_SFR_MEM_ADDR(UCSR0A)), [byte] "i"(_SFR_MEM_ADDR(UDR0)), [faults] "M"(_BV(FE0) | _BV(DOR0)),
		  [head] "I"(_SFR_IO_ADDR(HEAD)), [tail] "I"(_SFR_IO_ADDR(TAIL)), [ring] "i"(ring));
}

void serial_start(void)
{
	UCSR0A = _BV(U2X0);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UBRR0 = UBRR_0;
	UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

bool board_receive(uint8_t *byte)
{
	uint8_t tail = TAIL;

	if (tail == HEAD) {
		return false;
	}
	*byte = ring[tail];
	TAIL = (uint8_t)(tail + 1);
	return true;
}

bool board_can_send(void)
{
	return (UCSR0A & _BV(UDRE0)) != 0;
}

void board_send(uint8_t byte)
{
	UDR0 = byte;
}

struct line_faults board_line_faults(void)
{
	struct line_faults faults = {0, 0};

	if (overruns != 0 || line_errors != 0) {
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			faults.overruns = overruns;
			faults.line_errors = line_errors;
			overruns = 0;
			line_errors = 0;
		}
	}
	return faults;
}

void board_line_rate(uint8_t rate)
{
	static const uint8_t ubrr[RATE_COUNT] = {UBRR_0, UBRR_1, UBRR_2};

	UBRR0 = ubrr[rate];
}
