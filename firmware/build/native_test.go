package main

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// link builds a program on the native board.
func link(t *testing.T, program string) string {
	t.Helper()
	folder, err := filepath.Abs(firmware)
	require.NoError(t, err)
	out := filepath.Join(t.TempDir(), program)
	command, err := native(folder, program, out)
	require.NoError(t, err)
	_, err = run(folder, command...)
	require.NoError(t, err)
	return out
}

// The tests of the core, in firmware/board/native/test, under sanitizers.
func TestCore(t *testing.T) {
	_, err := run(firmware, link(t, "test"), filepath.Join("..", "protocol", "golden"))
	require.NoError(t, err)
}

// seeds begin the fuzzing where it would come late by chance. Entries as
// firmware/board/native/fuzz/fuzz.c reads them: 2, number of the request, seq,
// length of the payload, payload.
var seeds = [][]byte{
	{2, 0, 0, 0, 2, 1, 1, 0, 2, 2, 2, 0}, // HELLO, STATUS, SAFE
	// POWER at 28 and 7; APPLY of two steps on 1 and 2; 256 ms; APPLY again.
	{2, 4, 1, 10, 28, 0, 100, 0, 1, 0, 0x40, 0, 0, 0,
		2, 5, 2, 16, 0, 0, 5, 0, 3, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0,
		3, 16,
		2, 5, 2, 16, 0, 0, 5, 0, 3, 0, 0, 0, 1, 0, 0, 0, 2, 0, 0, 0},
	// PULLS of both; APPLY with directions, unpowered; a current; POWER.
	{2, 3, 1, 10, 3, 0, 0xff, 0x3f, 0xff, 0x3f, 8, 0, 0, 0, 2, 5, 2, 16, 3, 0, 0xff, 0xff, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0,
		4, 100, 2, 4, 3, 10, 8, 0, 44, 1, 200, 0, 0, 0, 0x80, 0},
	// MEASURE without power, 7 driven high and 1 2 measured; the same with power at 28 and 7, which conflicts.
	{2, 6, 1, 28, 2, 0, 0, 0, 0x40, 0, 0, 0, 0x40, 0, 0, 0, 3, 0, 0, 0, 50, 0, 3, 1, 7, 0, 0, 0, 0, 0, 0, 0,
		2, 4, 2, 10, 28, 0, 100, 0, 1, 0, 0x40, 0, 0, 0,
		2, 6, 3, 28, 0, 0, 0, 0, 0x40, 0, 0, 0, 0x40, 0, 0, 0, 3, 0, 0, 0, 50, 0, 3, 1, 7, 0, 0, 0, 0, 0, 0, 0},
	// A reset as a starter; POWER at 28 and 7; HELLO.
	{8, 1, 2, 0, 0, 0, 2, 4, 1, 10, 28, 0, 100, 0, 1, 0, 0x40, 0, 0, 0, 2, 0, 2, 0},
	// SWEEP of 1 2 3 in Gray order, 16 steps, two a signature.
	{2, 4, 1, 10, 28, 0, 100, 0, 1, 0, 0x40, 0, 0, 0,
		2, 8, 2, 31, 1, 3, 8, 0, 7, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 16, 0, 0, 0, 2, 0, 0, 0, 7, 0, 0, 0, 1, 2, 3},
	// PATTERN: LOOP 0 from 0 to 3, LATCH, SHOW, CHECK, NEXT, END, without refresh; two RUNs.
	{7, 0, 6, 0, 0, 0, 17, 0, 0, 0, 3, 0, 3, 0, 0, 5, 0, 8, 0, 18, 0, 2, 1, 10, 0, 1, 10, 0},
	// The same with refresh, DRIVE and RELEASE of two groups, TAKE and EMIT.
	{7, 2, 11, 0, 0, 0, 17, 0, 0, 0, 3, 0, 3, 0, 0, 5, 0, 6, 3, 7, 3, 6, 1, 9, 1, 11, 18, 0, 3, 1, 10, 3, 1, 10, 3, 1, 10, 3},
	// WAITs of 0 ms with all rows refreshed in each: a RUN must end in its time.
	{7, 2, 11, 0, 0, 0, 17, 0, 0, 0, 3, 61, 3, 0, 0, 0, 5, 0, 6, 3, 7, 3, 6, 0, 0, 15, 0, 0, 0, 0, 0, 2, 197, 10, 3},
	// LOOP 0 from 0 to 255 over a CELL: CHECK and TURNED, of group 0 against 2, which counts; three RUNs with all errors logged.
	slices.Concat([]byte{7, 2, 11, 0, 0, 0, 17, 0, 0, 0, 255, 0, 19, 0x29, 0}, cellSeed, []byte{18, 3, 1, 1, 1}),
	// The same within another loop, and counted down, without refresh.
	slices.Concat([]byte{7, 0, 11, 0, 0, 17, 0, 0, 0, 3, 0, 17, 0, 255, 0, 0, 0, 19, 0x01, 1}, cellSeed, []byte{18, 18, 3, 1, 1, 1}),
	// A watch without power of 3 with three actions, halting, of 2 for its voltage, while 3 turns over twelve times.
	{9, 4, 3, 0x13, 0x88, 3, 64, 2, 2, 0, 1, 1, 1, 0, 100, 3, 1, 1, 4, 9, 1, 0, 0, 0, 2, 12, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 7},
	// CALIBRATION read and forgotten; the monitor silent; POWER.
	{2, 7, 1, 2, 0, 0, 2, 7, 2, 2, 2, 0, 5, 1, 0, 2, 4, 3, 10, 28, 0, 100, 0, 1, 0, 0x40, 0, 0, 0},
}

// cellSeed is two accesses, as the fuzz target reads them: CHECK of group 1 and TURNED of group 3, which toggle.
var cellSeed = []byte{2, 1, 0xff, 7, 3, 0x01, 0x02, 0x20, 0x23, 1, 3, 5, 0, 0, 1, 2, 4, 7}

// A short, repeatable run of the fuzz target; longer ones are started by hand
// (DEVELOPERS.md).
func TestCoreUnderAnyHost(t *testing.T) {
	fuzz := link(t, "fuzz")
	corpus := t.TempDir()
	for i, seed := range seeds {
		require.NoError(t, os.WriteFile(filepath.Join(corpus, strconv.Itoa(i)), seed, 0o666))
	}
	_, err := run(t.TempDir(), fuzz, "-runs=20000", "-seed=1", "-max_len=512", "-verbosity=0", corpus)
	require.NoError(t, err)
}
