/* A program that does to the MCU's registers what the line says, so that a test
 * of the bench can make every mistake that a firmware can make.
 *
 *   w LOW HIGH VALUE   writes a register
 *   r LOW HIGH         sends what it reads from one
 *   d MS               hears nothing for some milliseconds
 *   h                  hangs until the watchdog bites, in 15 ms
 *   c                  sends the cause of the last reset, MCUSR
 */
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/delay.h>

static uint8_t cause __attribute__((section(".noinit")));

void keep_cause(void) __attribute__((naked, used, section(".init3")));
void keep_cause(void)
{
	cause = MCUSR;
	MCUSR = 0;
	wdt_disable();
}

static uint8_t receive(void)
{
	while (!(UCSR0A & _BV(RXC0))) {
	}
	return UDR0;
}

static void send(uint8_t byte)
{
	while (!(UCSR0A & _BV(UDRE0))) {
	}
	UDR0 = byte;
}

static volatile uint8_t *receive_address(void)
{
	uint16_t address = receive();

	address |= (uint16_t)(receive() << 8);
	return (volatile uint8_t *)address;
}

int main(void)
{
	volatile uint8_t *at;
	uint8_t ms;

	UCSR0A = _BV(U2X0);
	UBRR0 = 1; /* 1 Mbaud */
	UCSR0B = _BV(RXEN0) | _BV(TXEN0);
	for (;;) {
		switch (receive()) {
		case 'w':
			at = receive_address();
			*at = receive();
			break;
		case 'r':
			send(*receive_address());
			break;
		case 'd':
			for (ms = receive(); ms > 0; ms--) {
				_delay_ms(1);
			}
			break;
		case 'h':
			wdt_enable(WDTO_15MS);
			for (;;) {
			}
		case 'c':
			send(cause);
			break;
		}
	}
}
