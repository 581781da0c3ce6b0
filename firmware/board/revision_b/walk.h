/* The walk and the refresh of boards that need not be quick, in terms of the others of board.h; to be
 * included once. */
#ifndef WALK_H
#define WALK_H

#include "board.h"

enum { ACCESS_16THS = 80 }; /* time that an access takes beside its pause, 1/16 µs */

static void strobe_once(uint32_t strobe, uint32_t then)
{
	board_flip(strobe);
	board_flip(strobe ^ then);
}

void board_strobes(uint32_t strobe, const uint32_t *bits, uint16_t four, uint8_t fours)
{
	for (; fours > 0; fours--) {
		uint16_t left = four;
		uint8_t n = 2;

		for (; (left & 1) == 0; left >>= 1) {
			n++;
		}
		strobe_once(strobe, bits[0]);
		strobe_once(strobe, bits[1]);
		strobe_once(strobe, bits[0]);
		strobe_once(strobe, bits[n]);
		four++;
	}
}

static struct access accesses[MOST_ACCESSES];

bool board_access(uint8_t n, const struct access *a)
{
	accesses[n] = *a;
	return true;
}

static void toggle(uint32_t word)
{
	if (word != 0) {
		board_flip(word);
	}
}

/* One access; whether it is to be looked at. */
static bool access_differs(struct walk *w, const struct access *a)
{
	uint32_t away = a->moves ? w->away : 0;

	toggle(a->first);
	if (a->kind == ACCESS_TURNED) {
		board_drive(w->driven | a->mask, board_levels() | a->word);
	}
	toggle(a->second ^ away);
	toggle(a->third);
	board_wait_16ths((uint16_t)(a->pause + ACCESS_16THS));
	if (a->kind >= ACCESS_CHECK) {
		w->sample = board_sample();
	}
	toggle(a->fourth ^ away);
	if (a->kind == ACCESS_TURNED) {
		board_drive(w->driven, board_levels() & ~a->mask);
	}
	toggle(a->fifth);
	return a->kind == ACCESS_TAKE || (a->kind == ACCESS_CHECK && ((w->sample ^ a->word) & a->mask) != 0);
}

bool board_walk(struct walk *w)
{
	uint8_t n = w->begins ? w->first : (uint8_t)(w->stopped + 1);
	bool ended = !w->begins && accesses[w->stopped].last;

	w->begins = false;
	for (;;) {
		for (; !ended; n++) {
			ended = accesses[n].last;
			if (access_differs(w, &accesses[n])) {
				w->stopped = n;
				return false;
			}
		}
		w->cells--;
		if (board_due() || w->cells == 0) {
			return true;
		}
		if (w->shows) {
			board_flip(*w->deltas);
		}
		if (w->moves) {
			w->away ^= *w->deltas;
		}
		w->deltas++;
		n = w->first;
		ended = false;
	}
}

#endif
