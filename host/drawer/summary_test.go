package drawer

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// "drawer" is printed once, as a person would write it.
func TestTitleSaysDrawerOnce(t *testing.T) {
	for name, want := range map[string]string{
		"D3": "Drawer D3", "5": "Drawer 5", "Drawer 5": "Drawer 5", "drawer 5": "drawer 5", "": "Drawer ",
	} {
		assert.Equal(t, want, titled(name))
	}
}
