//go:build simavr

/* What mcu.go needs of libsimavr, in a form that Go can call. */
#ifndef MACHINE_H
#define MACHINE_H

#include <stdbool.h>
#include <stdint.h>

struct machine;

enum machine_end { RAN, CRASHED };
enum machine_interrupt { BYTE_RECEIVED, SEND_BUFFER_EMPTY };

/* An ATmega2560 at 16 MHz; NULL if the library has none. The handle comes back
 * with every call to Go. */
struct machine *machine_new(uintptr_t handle);
void machine_free(struct machine *m);

/* False if it does not fit. */
bool machine_flash(struct machine *m, void *code, uint32_t size, uint32_t address);
bool machine_eeprom(struct machine *m, void *bytes, uint32_t size, uint32_t address);

/* Hands reads or writes of a register to Go, instead of what the simulator does
 * there: avrsimRead gives what is read, avrsimWritten is called after the register
 * holds the value. */
void machine_watch_read(struct machine *m, uint16_t address);
void machine_watch_write(struct machine *m, uint16_t address);

void machine_reset(struct machine *m);
uint8_t machine_get(struct machine *m, uint16_t address);
void machine_set(struct machine *m, uint16_t address, uint8_t value);

/* Cycles since the start, over resets. */
uint64_t machine_cycles(struct machine *m);

/* Runs for some cycles, and what the last instruction takes beyond. */
enum machine_end machine_run(struct machine *m, uint64_t cycles);

/* Lets time pass without instructions, to the next event of the hardware at
 * most: for a program that is known to go in circles. Gives the cycles. */
uint64_t machine_skip(struct machine *m, uint64_t cycles);

/* Calls avrsimAlarm after so many cycles, 0 never; a new call replaces the old. */
void machine_alarm(struct machine *m, uint64_t cycles);

/* Level of an interrupt request of USART 0. */
void machine_request(struct machine *m, enum machine_interrupt which, bool level);

#endif
