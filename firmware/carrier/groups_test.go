package carrier

import (
	"slices"
	"testing"
)

func TestParseGroups(t *testing.T) {
	got, err := ParseGroups([]string{" Far", "load", "far"})
	if err != nil || !slices.Equal(got, []Group{Starter, Load, FarHalf}) {
		t.Errorf("%v, %v", got, err)
	}
	if _, err := ParseGroups([]string{"rails"}); err == nil {
		t.Error("rails is no group")
	}
}
