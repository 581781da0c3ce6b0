//go:build simavr

#include "machine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/sim_avr.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_twi.h>
#include <simavr/avr_uart.h>

#include "_cgo_export.h"

enum {
	HERTZ = 16000000,
	SUPPLY_MV = 5000,
	ADCSRB = 0x7B,
	MUX5 = 3 /* bit of ADCSRB: channels 8 to 15 */
};

struct machine {
	avr_t *avr;
	avr_io_t io; /* notified of resets */
	uintptr_t handle;
	uint64_t before; /* cycles up to the last reset */
	uint64_t start;  /* count at which that reset left the simulator */
	bool ran;        /* what machine_run was asked for */
	avr_int_vector_t *requests[2];
	avr_irq_t *adc;
	avr_irq_t *bus; /* to the MCU */
};

static void quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
	(void)avr;
	if (level <= LOG_ERROR) {
		vfprintf(stderr, format, arguments);
	}
}

/* Sleeping takes simulated time only. */
static void sleep_not(avr_t *avr, avr_cycle_count_t cycles)
{
	(void)avr;
	(void)cycles;
}

static avr_io_t *module(avr_t *avr, const char *kind)
{
	avr_io_t *io = avr->io_port;

	while (io != NULL && (io->kind == NULL || strcmp(io->kind, kind) != 0)) {
		io = io->next;
	}
	return io;
}

static avr_uart_t *usart0(avr_t *avr)
{
	avr_io_t *io;

	for (io = avr->io_port; io != NULL; io = io->next) {
		if (io->kind != NULL && strcmp(io->kind, "uart") == 0 && ((avr_uart_t *)io)->name == '0') {
			return (avr_uart_t *)io;
		}
	}
	return NULL;
}

/* Gives the voltage of the channel that is about to be converted. The library
 * keeps eight values, so channels 8 to 15 take those of 0 to 7. */
static void convert(avr_irq_t *irq, uint32_t value, void *param)
{
	struct machine *m = param;
	union {
		uint32_t value;
		avr_adc_mux_t mux;
	} trigger = {.value = value};
	unsigned upper = m->avr->data[ADCSRB] >> MUX5 & 1;

	(void)irq;
	if (trigger.mux.kind == ADC_MUX_SINGLE && trigger.mux.src < 8) {
		avr_raise_irq(m->adc + trigger.mux.src, avrsimMillivolts(m->handle, trigger.mux.src + 8 * upper));
	}
}

static bool adc_of_sixteen(struct machine *m)
{
	avr_adc_t *adc = (avr_adc_t *)module(m->avr, "adc");
	avr_irq_t *trigger = avr_io_getirq(m->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER);

	if (adc == NULL || trigger == NULL) {
		return false;
	}
	memcpy(adc->muxmode + 32, adc->muxmode, 8 * sizeof adc->muxmode[0]);
	m->adc = avr_io_getirq(m->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0);
	avr_irq_register_notify(trigger, convert, m);
	return true;
}

/* Carries what the MCU does on its I²C bus to Go, and the answer back. */
static void on_bus(avr_irq_t *irq, uint32_t value, void *param)
{
	struct machine *m = param;
	avr_twi_msg_irq_t did = {.u = {.v = value}};
	uint8_t what = did.u.twi.msg;

	(void)irq;
	if (what & TWI_COND_STOP) {
		avrsimBusStop(m->handle);
	}
	if (what & TWI_COND_START && avrsimBusStart(m->handle, did.u.twi.addr)) {
		avr_raise_irq(m->bus, avr_twi_irq_msg(TWI_COND_ACK, did.u.twi.addr, 1));
	}
	if (what & TWI_COND_WRITE && avrsimBusWrite(m->handle, did.u.twi.data)) {
		avr_raise_irq(m->bus, avr_twi_irq_msg(TWI_COND_ACK, did.u.twi.addr, 1));
	}
	if (what & TWI_COND_READ) {
		avr_raise_irq(m->bus, avr_twi_irq_msg(TWI_COND_READ, did.u.twi.addr, avrsimBusRead(m->handle)));
	}
}

static bool bus_of_slaves(struct machine *m)
{
	avr_irq_t *out = avr_io_getirq(m->avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT);

	m->bus = avr_io_getirq(m->avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
	if (out == NULL || m->bus == NULL) {
		return false;
	}
	avr_irq_register_notify(out, on_bus, m);
	return true;
}

static void was_reset(avr_io_t *io)
{
	struct machine *m = io->avr->custom.data;

	m->before = machine_cycles(m);
	m->start = m->avr->cycle;
	avrsimReset(m->handle);
}

struct machine *machine_new(uintptr_t handle)
{
	struct machine *m = calloc(1, sizeof *m);
	avr_uart_t *uart;

	avr_global_logger_set(quiet);
	m->handle = handle;
	m->avr = avr_make_mcu_by_name("atmega2560");
	if (m->avr == NULL) {
		free(m);
		return NULL;
	}
	avr_init(m->avr);
	m->avr->frequency = HERTZ;
	m->avr->vcc = m->avr->avcc = m->avr->aref = SUPPLY_MV;
	m->avr->sleep = sleep_not;
	m->avr->custom.data = m;
	m->io.kind = "bench";
	m->io.reset = was_reset;
	avr_register_io(m->avr, &m->io);
	uart = usart0(m->avr);
	if (uart == NULL || !adc_of_sixteen(m) || !bus_of_slaves(m)) {
		machine_free(m);
		return NULL;
	}
	m->requests[BYTE_RECEIVED] = &uart->rxc;
	m->requests[SEND_BUFFER_EMPTY] = &uart->udrc;
	return m;
}

void machine_free(struct machine *m)
{
	avr_terminate(m->avr);
	free(m->avr);
	free(m);
}

bool machine_flash(struct machine *m, void *code, uint32_t size, uint32_t address)
{
	if (address > m->avr->flashend || size > m->avr->flashend + 1 - address) {
		return false;
	}
	avr_loadcode(m->avr, code, size, address);
	if (address + size > m->avr->codeend) {
		m->avr->codeend = address + size;
	}
	return true;
}

bool machine_eeprom(struct machine *m, void *bytes, uint32_t size, uint32_t address)
{
	avr_eeprom_desc_t contents = {.ee = bytes, .offset = (uint16_t)address, .size = size};

	if (address > m->avr->e2end || size > m->avr->e2end + 1u - address) {
		return false;
	}
	avr_ioctl(m->avr, AVR_IOCTL_EEPROM_SET, &contents);
	return true;
}

static uint8_t hand_read(avr_t *avr, avr_io_addr_t address, void *param)
{
	struct machine *m = param;

	avr->data[address] = avrsimRead(m->handle, address);
	return avr->data[address];
}

static void hand_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
	struct machine *m = param;

	avr->data[address] = value;
	avrsimWritten(m->handle, address, value);
}

void machine_watch_read(struct machine *m, uint16_t address)
{
	m->avr->io[AVR_DATA_TO_IO(address)].r.c = hand_read;
	m->avr->io[AVR_DATA_TO_IO(address)].r.param = m;
}

void machine_watch_write(struct machine *m, uint16_t address)
{
	m->avr->io[AVR_DATA_TO_IO(address)].w.c = hand_write;
	m->avr->io[AVR_DATA_TO_IO(address)].w.param = m;
}

void machine_reset(struct machine *m)
{
	avr_reset(m->avr);
}

uint8_t machine_get(struct machine *m, uint16_t address)
{
	return m->avr->data[address];
}

void machine_set(struct machine *m, uint16_t address, uint8_t value)
{
	m->avr->data[address] = value;
}

uint64_t machine_cycles(struct machine *m)
{
	return m->before + m->avr->cycle - m->start;
}

static avr_cycle_count_t end_of_run(avr_t *avr, avr_cycle_count_t when, void *param)
{
	struct machine *m = param;

	(void)avr;
	(void)when;
	m->ran = true;
	return 0;
}

enum machine_end machine_run(struct machine *m, uint64_t cycles)
{
	uint64_t end = machine_cycles(m) + cycles;

	while (machine_cycles(m) < end) {
		/* A reset takes the timers away, so this one is set until it was not. */
		m->ran = false;
		avr_cycle_timer_register(m->avr, end - machine_cycles(m), end_of_run, m);
		m->avr->run_cycle_count = 1; /* takes the new timer into account */
		while (!m->ran && machine_cycles(m) < end) {
			int state = avr_run(m->avr);

			if (state == cpu_Crashed || state == cpu_Done) {
				return CRASHED;
			}
		}
	}
	avr_cycle_timer_cancel(m->avr, end_of_run, m);
	return RAN;
}

uint64_t machine_skip(struct machine *m, uint64_t cycles)
{
	avr_cycle_timer_slot_p next = m->avr->cycle_timers.timer;
	avr_cycle_count_t from = m->avr->cycle;
	avr_cycle_count_t to = from + cycles;

	if (next != NULL && next->when < to) {
		to = next->when;
	}
	if (to > from) {
		m->avr->cycle = to;
		m->avr->run_cycle_count = 1;
	}
	return m->avr->cycle - from;
}

static avr_cycle_count_t alarm_rings(avr_t *avr, avr_cycle_count_t when, void *param)
{
	struct machine *m = param;

	(void)avr;
	(void)when;
	avrsimAlarm(m->handle);
	return 0;
}

void machine_alarm(struct machine *m, uint64_t cycles)
{
	avr_cycle_timer_cancel(m->avr, alarm_rings, m);
	if (cycles > 0) {
		avr_cycle_timer_register(m->avr, cycles, alarm_rings, m);
		m->avr->run_cycle_count = 1;
	}
}

void machine_request(struct machine *m, enum machine_interrupt which, bool level)
{
	avr_int_vector_t *request = m->requests[which];

	if (level && !request->pending && avr_regbit_get(m->avr, request->enable)) {
		avr_raise_interrupt(m->avr, request);
	} else if (!level && request->pending) {
		avr_clear_interrupt(m->avr, request);
	}
}
