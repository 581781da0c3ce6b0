package assay_test

import (
	"fmt"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

func TestZZ(t *testing.T) {
	parts, err := library.All()
	if os.Getenv("MEM") != "" {
		parts, err = library.Memories()
	}
	require.NoError(t, err)
	seeds, _ := strconv.Atoi(os.Getenv("SEEDS"))
	n, bad := 0, map[string]int{}
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			for _, f := range v.Families {
				typ := part.Type{Variant: v, Family: f}
				for seed := range seeds {
					var all []virtual.Defect
					for _, text := range []string{os.Getenv("DEFECT")} {
						if text == "" {
							continue
						}
						d, err := virtual.ParseDefect(text)
						require.NoError(t, err)
						all = append(all, d)
					}
					chip, err := virtual.NewChip(typ, all...)
					require.NoError(t, err)
					chip.Vary(virtual.Sampled(typ, uint64(seed)))
					b := virtual.NewBoard()
					b.USB([]float64{5, 4.5, 5.25}[seed%3])
					b.Spread(1, uint64(seed))
					s, err := assay.Contact(t.Context(), bench{b.Socket(chip, 1), everywhere}, typ)
					require.NoError(t, err)
					n++
					if s.Found != os.Getenv("WANT") {
						bad[f.Name]++
						if bad[f.Name] < 4 {
							text := ""
							for _, v := range s.Volts {
								if v.Step != assay.PlacementStep {
									text += fmt.Sprintf(" %s.%d.%d=%.2f", v.Step[:2], v.Look, v.Position, v.Volts)
								}
							}
							t.Errorf("%s seed %d: %q %v\n %+v %s", typ.Name(), seed, s.Found, s.Silent, chip.Variety(), text)
						}
					} else if s.Silent {
						bad["silent"]++
					}
				}
			}
		}
	}
	t.Log(n, bad)
}
