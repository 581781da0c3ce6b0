package identify_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/identify"
	"chipassay/host/link"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/sample"
)

// circuits are those of the library, and candidates all that a chip may be, made once.
var circuits = sync.OnceValues(func() ([]*logic.Circuit, error) {
	parts, err := library.All()
	if err != nil {
		return nil, err
	}
	return logic.CompileAll(parts)
})

var candidates = sync.OnceValues(func() ([]match.Candidate, error) {
	all, err := circuits()
	if err != nil {
		return nil, err
	}
	memories, err := library.Memories()
	return match.Of(all, memories), err
})

// powerable are the types of the library that may be powered, one of each variant, the
// family drawn.
func powerable(t *testing.T, random *rand.Rand) (types []part.Type) {
	t.Helper()
	parts, err := library.All()
	require.NoError(t, err)
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal != "" {
				continue
			}
			typ := part.Type{Variant: v, Family: v.Families[random.IntN(len(v.Families))]}
			if !typ.Heavy() { // else the bias does not hold its inputs: TestWhatTheBiasDoesNotHold
				types = append(types, typ)
			}
		}
	}
	return types
}

// identified identifies a chip in the virtual socket, of which nothing is said.
func identified(t *testing.T, p identify.Plan, typ part.Type, defects ...virtual.Defect) *identify.Answer {
	t.Helper()
	chip, err := virtual.NewChip(typ, defects...)
	require.NoError(t, err)
	return answerOf(t, p, chip)
}

func answerOf(t *testing.T, p identify.Plan, chip *virtual.Chip) *identify.Answer {
	t.Helper()
	conn, err := virtual.Open(t.Context(), virtual.NewSocket(chip, 7))
	require.NoError(t, err)
	a, err := adapter.Open(t.Context(), link.New(conn, 0))
	require.NoError(t, err)
	defer a.Close()
	seat, err := a.Seat(14, 14, 7) // any: it is not known
	require.NoError(t, err)
	if p.Candidates == nil {
		p.Candidates, err = candidates()
		require.NoError(t, err)
	}
	p.Others = circuits
	answer, err := identify.Chip(t.Context(), seat, p)
	require.NoError(t, err)
	return answer
}

func typeOf(t *testing.T, name string) part.Type {
	t.Helper()
	typ, err := library.Open(name)
	require.NoError(t, err)
	return typ
}

// alike reports whether a part is a type's own or passes its whole test as well, as the proofs
// of the library have it.
func alike(t *testing.T, typ part.Type, number string) bool {
	t.Helper()
	numbers, _ := proof.Intruders(typ)
	return number == typ.Part().Number || slices.Contains(numbers, number)
}

// forEach tries cases two at a time, as many as a small machine has cores. A long run shows how
// far it is.
func forEach[T any](t *testing.T, cases []T, try func(t *testing.T, c T)) {
	t.Helper()
	slots := make(chan struct{}, 2)
	var done atomic.Int32
	progress := func() {
		if n := done.Add(1); sample.Long() && (n%50 == 0 || int(n) == len(cases)) {
			fmt.Fprintf(os.Stderr, "%s: %d of %d\n", t.Name(), n, len(cases))
		}
	}
	t.Run("all", func(t *testing.T) {
		for i, c := range cases {
			t.Run(strings.ReplaceAll(fmt.Sprint(i, " ", c), "/", "-"), func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				defer progress()
				try(t, c)
			})
		}
	})
}

// share counts how often something held, and takes the adapter's times.
type share struct {
	sync.Mutex
	of, held int
	missed   []string
	times    []time.Duration
}

func (s *share) note(held bool, format string, args ...any) {
	s.Lock()
	defer s.Unlock()
	s.of++
	if held {
		s.held++
	} else {
		s.missed = append(s.missed, fmt.Sprintf(format, args...))
	}
}

func (s *share) took(d time.Duration) {
	s.Lock()
	defer s.Unlock()
	s.times = append(s.times, d)
}

// percentile95 is the time that 95 of 100 stay below.
func (s *share) percentile95() time.Duration {
	slices.Sort(s.times)
	return s.times[len(s.times)*95/100]
}

// Of good chips of which nothing is said the true part, or one that no test tells from it,
// is named first in 98 of 100, none of them as something that it is not and certain, and the
// adapter takes half a second for those of 14 and 16 pins and one and a half for any.
func TestGoodChipsAreNamed(t *testing.T) {
	random := sample.Random(t)
	var first, small, all share
	forEach(t, sample.Of(random, 30, powerable(t, random)), func(t *testing.T, typ part.Type) {
		a := identified(t, identify.Plan{}, typ)
		named := len(a.Candidates) > 0 && alike(t, typ, a.Candidates[0].Part.Number)
		first.note(named, "%s: %v %s", typ.Name(), a.Candidates, a.Reason)
		require.False(t, a.Certain && !named, "certain of %v", a.Candidates)
		require.False(t, a.Certain && a.Verdict == verdict.Fail)
		require.Equal(t, len(typ.Variant.Pins), a.Seat.Pins)
		require.Equal(t, typ.Variant.GND(), a.Seat.GND)
		all.took(a.Probing)
		if len(typ.Variant.Pins) <= 16 {
			small.took(a.Probing)
		}
	})
	t.Logf("the true part first: %d of %d; 95 %% within %v, of at most 16 pins %v", first.held, first.of, all.percentile95(), small.percentile95())
	t.Log(strings.Join(first.missed, "\n"))
	require.GreaterOrEqual(t, 100*(first.held+1), 98*first.of)
	if sample.Long() { // of the adapter's reckoned time, which is the same on every machine
		require.LessOrEqual(t, small.percentile95(), 500*time.Millisecond)
		require.LessOrEqual(t, all.percentile95(), 1500*time.Millisecond)
	}
}

// With the true part left out, and all that are alike, nothing is certain.
func TestWhatIsMissingIsNeverCertainlyAnother(t *testing.T) {
	random := sample.Random(t)
	var accused share
	forEach(t, sample.Of(random, 20, powerable(t, random)), func(t *testing.T, typ part.Type) {
		a := identified(t, identify.Plan{Candidates: without(t, typ), NoTable: true}, typ)
		require.False(t, a.Certain, "certain of %v", a.Candidates)
		require.NotZero(t, a.Exit())
		accused.note(a.Verdict != verdict.Fail, "%s: %v %s", typ.Name(), a.Candidates, a.Reason)
	})
	t.Logf("called faulty %d of %d: %s", accused.of-accused.held, accused.of, strings.Join(accused.missed, "\n"))
	require.LessOrEqual(t, 100*(accused.of-accused.held), accused.of, "good chips that the library lacks")
}

// without are the candidates but for a type and all that are alike.
func without(t *testing.T, typ part.Type) []match.Candidate {
	t.Helper()
	all, err := candidates()
	require.NoError(t, err)
	return slices.DeleteFunc(slices.Clone(all), func(c match.Candidate) bool {
		return alike(t, typ, c.Variant.Part.Number) && slices.ContainsFunc(c.Variant.Families, func(f *part.Family) bool {
			return alike(t, part.Type{Variant: c.Variant, Family: f}, typ.Part().Number)
		})
	})
}

// A good chip may differ from the nearest part of the library as a fault would make it: an
// open-collector twin, one without the load or the strobe, one of other rules inside. It is not
// called faulty (data books, from memory).
func TestAGoodChipIsNotTheLibrarysFault(t *testing.T) {
	for name, nearest := range map[string]string{"74LS689": "74520", "74S65": "7464", "4055A": "4056", "74170": "74670", "74L71": "7472"} {
		typ := typeOf(t, name)
		a := identified(t, identify.Plan{Candidates: without(t, typ), NoTable: true}, typ)
		require.Equal(t, verdict.NotTested, a.Verdict, "%s: %s", name, a.Reason)
		require.Equal(t, nearest, a.Candidates[0].Part.Number, name)
		require.Contains(t, a.Reason, "or a good part that the library lacks")
	}
}

// One dead pin among several alike is a fault, and so is a dead load input of a chip that is
// marked as one that has it.
func TestWhatNoPartIsMadeLikeIsFaulty(t *testing.T) {
	for _, c := range []struct {
		name, defect, marking string
		verdict               verdict.Verdict
	}{
		{"7400", "1 stuck low", "", verdict.Fail},
		{"74LS373", "3 stuck low", "", verdict.Fail},
		{"74LS163", "14 dead pull-up", "", verdict.Fail},
		{"74163", "14 dead pull-up", "", verdict.Fail}, // whose data sheet forbids much of the probing
		{"74LS138", "6 open", "", verdict.Fail},        // as was measured before power
		{"74163", "9 stuck high", "SN74163N 7938", verdict.Fail},
		{"74163", "9 stuck high", "SN7416?N 7938", verdict.NotTested},
		{"74LS373", "11 stuck high", "", verdict.NotTested},
	} {
		d, err := virtual.ParseDefect(c.defect)
		require.NoError(t, err)
		a := identified(t, identify.Plan{Hint: identify.Hint{Marking: c.marking}, NoTable: true}, typeOf(t, c.name), d)
		require.Equal(t, c.verdict, a.Verdict, "%s, %s, %s: %v, %s", c.name, c.defect, c.marking, a.Candidates, a.Reason)
	}
}

// A broken chip has one fault of a signal pin.
type broken struct {
	typ    part.Type
	fault  fault.Fault
	defect virtual.Defect
}

func (b broken) String() string { return b.typ.Name() + " " + b.defect.String() }

// One fault of a signal pin: the true part is first in 85 of 100 and among the first three
// in 93, and its pin is named in most of them.
func TestBrokenChipsAreNamed(t *testing.T) {
	random := sample.Random(t)
	var first, three, pin, faulty share
	words := map[fault.Kind]string{fault.StuckLow: "stuck low", fault.StuckHigh: "stuck high", fault.NoPullUp: "dead pull-up", fault.NoPullDown: "dead pull-down", fault.Open: "open"}
	var chips []broken
	for _, typ := range sample.Of(random, 25, powerable(t, random)) {
		faults := slices.DeleteFunc(fault.PinFaults(typ.Variant), func(f fault.Fault) bool { return words[f.Kind] == "" })
		f := faults[random.IntN(len(faults))]
		d, err := virtual.ParseDefect(fmt.Sprintf("%d %s", f.Pin, words[f.Kind]))
		require.NoError(t, err)
		if _, err := virtual.NewChip(typ, d); err == nil {
			chips = append(chips, broken{typ, f, d})
		}
	}
	forEach(t, chips, func(t *testing.T, c broken) {
		a := identified(t, identify.Plan{}, c.typ, c.defect)
		at := slices.IndexFunc(a.Candidates, func(o identify.Candidate) bool { return alike(t, c.typ, o.Part.Number) })
		first.note(at == 0, "%s with %v: %v %s", c.typ.Name(), c.defect, a.Candidates, a.Reason)
		three.note(at >= 0 && at < 3, "")
		named := a.Test != nil && slices.Contains(a.Test.PinsFailed, c.fault.Pin)
		if at >= 0 {
			named = named || strings.Contains(strings.Join(a.Candidates[at].Faults, " "), fmt.Sprintf("pin %d ", c.fault.Pin))
		}
		pin.note(named, "")
		faulty.note(a.Verdict == verdict.Fail, "")
		require.False(t, a.Certain && a.Verdict.Passed() && at != 0, "certain of %v", a.Candidates)
	})
	slack := sample.Number(2, 0) // a small sample may miss by two
	t.Logf("first %d, of the first three %d, the pin named %d, called faulty %d, of %d", first.held, three.held, pin.held, faulty.held, first.of)
	t.Log(strings.Join(first.missed, "\n"))
	require.GreaterOrEqual(t, 100*(first.held+slack), 85*first.of)
	require.GreaterOrEqual(t, 100*(three.held+slack), 93*three.of)
	require.GreaterOrEqual(t, 100*(pin.held+slack), 85*pin.of)
}

// A driver without a supply is not powered, and named by how its pins are joined; a receiver
// whose inputs the bias does not hold is never named for certain.
func TestWhatTheBiasDoesNotHold(t *testing.T) {
	for _, number := range []string{"2003", "2803"} {
		a := identified(t, identify.Plan{}, typeOf(t, number))
		require.NotEmpty(t, a.Candidates, a.Reason)
		require.Equal(t, number, a.Candidates[0].Part.Number)
		require.False(t, a.Certain)
		require.Nil(t, a.Record, "it was not powered")
		require.Equal(t, 3, a.Exit())
		require.Contains(t, a.Reason, "chipassay test "+number)
	}
	for _, number := range []string{"1489", "9637"} {
		a := identified(t, identify.Plan{}, typeOf(t, number))
		require.False(t, a.Certain, "%s: %v", number, a.Candidates)
		require.NotEqual(t, verdict.Fail, a.Verdict)
	}
}

// Where no single fault explains a chip, the pins that are right show what it is: of two dead
// gates, two inputs that touch, an output that is late, a contact that comes and goes.
func TestWhatIsRightNamesTheNearestPart(t *testing.T) {
	for _, c := range []struct {
		name, nearest string
		but           part.Pins
		defects       []string
	}{
		{"7400", "7400", part.PinSet(3, 6), []string{"3 stuck low", "6 stuck high"}},
		{"7408", "7408", part.PinSet(1, 3, 4, 6), []string{"1 shorted to 4"}},
		{"7410", "7410", part.PinSet(12), []string{"12 rises 200 us late"}},
		{"7490", "7490", part.PinSet(12), []string{"14 intermittent 50"}},
	} {
		var defects []virtual.Defect
		for _, text := range c.defects {
			d, err := virtual.ParseDefect(text)
			require.NoError(t, err)
			defects = append(defects, d)
		}
		a := identified(t, identify.Plan{NoTable: true}, typeOf(t, c.name), defects...)
		require.Equal(t, 3, a.Exit(), c.name)
		require.NotNil(t, a.Nearest, "%s: %s", c.name, a.Reason)
		require.Equal(t, c.nearest, a.Candidates[0].Part.Number)
		require.Equal(t, c.nearest, a.Nearest.Variant.Part.Number)
		require.Zero(t, a.Nearest.But&^c.but, "%s: %v", c.name, a.Nearest.But)
		require.Contains(t, a.Reason, "answers as a "+c.nearest)
	}
}

// Parts that leave open what was seen explain every chip. One whose inputs drive here is not
// named, and the chip is not tested as it: as a 4056 a 74HC42 took 150 mA.
func TestAChipIsNotTestedAsAPartWhoseInputsDrive(t *testing.T) {
	contact, err := virtual.ParseDefect("12 intermittent 20")
	require.NoError(t, err)
	dead, err := virtual.ParseDefect("4 dead pull-down")
	require.NoError(t, err)
	a := identified(t, identify.Plan{NoTable: true}, typeOf(t, "74HC42"), contact, dead)
	require.Zero(t, a.Tests)
	require.Equal(t, 3, a.Exit())
	require.NotContains(t, a.Reason, "too much")
}

// What is not seated right is not powered, whatever it is.
func TestAChipThatIsNotSeatedRightIsNotPowered(t *testing.T) {
	for _, c := range []struct{ part, defect, found string }{
		{"7400", "reversed", "put in backwards"},
		{"4011", "reversed", "put in backwards"},
		{"74LS163", "reversed", "put in backwards"},
		{"74HC245", "reversed", "put in backwards"},
		{"7400", "shifted 1", "shifted by one"},
		{"7400", "empty", contact.EmptySocket},
		{"7400", "5 shorted to 6", "5 and 6 shorted"},
	} {
		d, err := virtual.ParseDefect(c.defect)
		require.NoError(t, err)
		a := identified(t, identify.Plan{}, typeOf(t, c.part), d)
		require.NotNil(t, a.Seating, "%s %s", c.part, c.defect)
		require.Contains(t, a.Seating.Found, c.found, "%s %s", c.part, c.defect)
		require.Nil(t, a.Record)
		require.Equal(t, verdict.NotTested, a.Verdict)
		require.Equal(t, 3, a.Exit())
	}
}

// The inputs say what family it is: low currents of the data books (from memory), 74 some
// 1 mA, 74LS some 0.2 mA, MOS none.
func TestTheFamilyIsByItsInputs(t *testing.T) {
	for name, technology := range map[string]string{"7400": "bipolar", "74LS00": "bipolar", "74L00": "bipolar", "4011B": "MOS", "74HC00": "MOS"} {
		typ := typeOf(t, name)
		a := identified(t, identify.Plan{}, typ)
		require.Equal(t, technology, a.Technology, name)
		require.NotEmpty(t, a.Candidates, name)
		require.Equal(t, typ.Family, a.Candidates[0].Families[0], name)
		require.Equal(t, verdict.Pass, a.Verdict, name)
		require.True(t, a.Certain, "%s: %v", name, a.Doubts)
		require.Zero(t, a.Exit())
	}
}

// A counter by ten and one by sixteen on the same pins are told apart (data books, from memory).
func TestADecadeIsToldFromABinaryCounter(t *testing.T) {
	for _, name := range []string{"74LS162", "74LS163", "40102", "40103"} {
		typ := typeOf(t, name)
		a := identified(t, identify.Plan{}, typ)
		require.True(t, alike(t, typ, a.Candidates[0].Part.Number), "%s is named %v", name, a.Candidates)
		require.NotNil(t, a.Test)
		require.Equal(t, verdict.Pass, a.Test.Verdict, name)
	}
}

// A one-shot without its capacitor shows nothing that excludes or proves it: it is named, it
// is never certain, and it is not called good.
func TestAOneShotIsNamedAndNotCertain(t *testing.T) {
	a := identified(t, identify.Plan{}, typeOf(t, "74121"))
	require.Equal(t, "74121", a.Candidates[0].Part.Number)
	require.False(t, a.Certain)
	require.Equal(t, verdict.NotTested, a.Verdict)
	require.Equal(t, 3, a.Exit())
}

// Readable digits order what is left, and exclude nothing: of two parts of one function it
// is the marked one, and a wrong hint changes nothing.
func TestAHintOrdersAndExcludesNothing(t *testing.T) {
	typ := typeOf(t, "74LS37") // a 74LS00 with stronger outputs
	for _, marking := range []string{"74LS00 7938", "74??00"} {
		a := identified(t, identify.Plan{Hint: identify.Hint{Marking: marking}}, typ)
		require.Equal(t, "7400", a.Candidates[0].Part.Number, marking)
	}
	a := identified(t, identify.Plan{Hint: identify.Hint{Marking: "??LS37"}}, typ)
	require.Equal(t, "7437", a.Candidates[0].Part.Number)
	a = identified(t, identify.Plan{Hint: identify.Hint{Marking: "7493", Pins: 16, Kind: "counter"}}, typeOf(t, "7402"))
	require.Equal(t, "7402", a.Candidates[0].Part.Number)
	require.True(t, a.Certain)
}
