package report

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A photo is on the page of its chip, as RFC 2397 has it, and not in what is stored.
func TestThePageShowsThePhoto(t *testing.T) {
	var page, object bytes.Buffer
	d := Document{Photo: &Photo{JPEG: []byte("\xff\xd8\xff\xd9"), SHA256: strings.Repeat("a", 64), Width: 24, Height: 16, Added: time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)}}
	require.NoError(t, d.WriteHTML(&page))
	require.Contains(t, page.String(), `<figure class="photo"><img src="data:image/jpeg;base64,/9j/2Q==" width="24" height="16" alt="The chip's top, photographed">`+
		`<figcaption>Photo added on 2 March 2026, 08:30 UTC. The test does not look at it.</figcaption></figure>`)
	require.NoError(t, d.WriteJSON(&object))
	require.NotContains(t, strings.ToLower(object.String()), "photo")
}
