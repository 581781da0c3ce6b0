#include "refresh.h"

#include "board.h"
#include "socket.h"

enum {
	SOON_CLOCKS = 40, /* is at once: it takes longer to set the clock, 1/2 µs */
	GUARD_FOURS = 32  /* times four rows between two looks at the current */
};

static struct refresh kept;
static bool paused;
static uint16_t begun; /* when the last one began, 1/2 µs */

enum refusal refresh_begin(const struct refresh *r)
{
	kept = *r;
	paused = false;
	begun = (uint16_t)(board_clock() - kept.after);
	return refresh_keep();
}

void refresh_forget(void)
{
	kept.after = 0;
}

void refresh_pause(bool is)
{
	if (paused && !is) {
		begun = (uint16_t)(board_clock() - kept.after);
	}
	paused = is;
}

bool refresh_is_kept(void)
{
	return kept.after != 0 && !paused;
}

uint16_t refresh_in(void)
{
	uint16_t since = (uint16_t)(board_clock() - begun);

	return since < kept.after - SOON_CLOCKS ? (uint16_t)(kept.after - since) : 0;
}

/* Strobes all rows, in the order of a Gray code from 0 on, and puts their address back. */
enum refusal refresh_now(void)
{
	const struct refresh *r = &kept;
	uint32_t address = board_levels() & r->address;
	uint16_t four = 1, left = r->rows / 4;

	begun = board_clock();
	board_flip(address);
	for (;;) {
		uint8_t fours = GUARD_FOURS;
		enum refusal refusal;

		if (left < GUARD_FOURS) {
			fours = (uint8_t)left;
		}
		board_strobes(r->strobe, r->bits, four, fours);
		four = (uint16_t)(four + fours);
		left = (uint16_t)(left - fours);
		if (left == 0) {
			break;
		}
		refusal = socket_guard();
		if (refusal != ACCEPTED) {
			return refusal;
		}
	}
	board_flip(address ^ r->last);
	board_watchdog();
	return socket_guard();
}

enum refusal refresh_keep(void)
{
	enum refusal refusal = ACCEPTED;

	if (refresh_is_kept()) {
		if (refresh_in() == 0) {
			refusal = refresh_now();
		}
		board_due_at((uint16_t)(board_clock() + refresh_in()));
	}
	return refusal;
}

enum refusal refresh_watch(void)
{
	enum refusal refusal = socket_guard();

	board_watchdog();
	return refusal == ACCEPTED ? refresh_keep() : refusal;
}
