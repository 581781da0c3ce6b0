package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// At a terminal the word is typed out: nothing shorter, and no yes, erases an EEPROM.
func TestErasingIsAgreedTo(t *testing.T) {
	for _, typed := range []string{"ERASE\n", " ERASE \n", "ERASE\r\n", "ERASE"} {
		var shown strings.Builder
		require.NoError(t, agreed(&shown, strings.NewReader(typed)), "%q", typed)
		require.Equal(t, "type ERASE to go on: ", shown.String())
	}
	for _, typed := range []string{"", "\n", "y\n", "yes\n", "erase\n", "E\n", "ERAS\n", "ERASE IT\n", "no\nERASE\n"} {
		require.ErrorContains(t, agreed(&strings.Builder{}, strings.NewReader(typed)), "nothing was written", "%q", typed)
	}
}

func TestRoughly(t *testing.T) {
	for d, words := range map[time.Duration]string{300 * time.Millisecond: "1 s", 49400 * time.Millisecond: "49 s", 119 * time.Second: "119 s",
		197 * time.Second: "3 minutes", 13*time.Minute + 10*time.Second: "13 minutes"} {
		require.Equal(t, words, roughly(d))
	}
}
