package page

import (
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/bench"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/stock"
)

// recordViews are the pages of the records.
var recordViews = []string{"/drawers", "/stock", "/charts", "/lots"}

// An answered is what a page answers.
type answered struct {
	status int
	header http.Header
	body   string
}

// ask asks for a page, or sends a form to it.
func (s served) ask(t testing.TB, address string, form url.Values) answered {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, address, nil)
	if form != nil {
		r = httptest.NewRequest(http.MethodPost, address, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return answered{w.Code, w.Header(), w.Body.String()}
}

// keep keeps the records of reports that were tested once, by the names of their files.
func (s served) keep(t testing.TB, change func(*record.Record), names ...string) (numbers []int64) {
	t.Helper()
	for _, name := range names {
		object, err := os.ReadFile(filepath.Join("..", "report", "testdata", name+".json"))
		require.NoError(t, err)
		r, err := record.FromReport(object)
		require.NoError(t, err)
		r.Drawer, r.Marking = "D3", r.Type
		if change != nil {
			change(&r)
		}
		kept, err := s.Bench.Records().Append(t.Context(), r)
		require.NoError(t, err)
		numbers = append(numbers, kept.Serial)
	}
	return numbers
}

// practise runs a drawer of the virtual chips.
func (s served) practise(t testing.TB, drawer string) {
	t.Helper()
	require.NoError(t, s.Bench.Run(bench.Order{Drawer: drawer}))
	for {
		state, changed := s.Bench.State()
		if state.Work == bench.Idle {
			return
		}
		if d := state.Drawer; !d.Standing.Testing && d.Standing.Awaits != "" {
			_ = s.Bench.Start() // it is refused while the one before is not done
		}
		select {
		case <-changed:
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// hrefs are the addresses of a page's own links.
var hrefs = regexp.MustCompile(`href="(/[^"]*)"`)

// crawl follows all links of the records' pages once, and gives what they answer by address.
func (s served) crawl(t *testing.T) map[string]answered {
	t.Helper()
	seen := map[string]answered{}
	next := slices.Clone(recordViews)
	for len(next) > 0 {
		address := strings.Split(next[0], "#")[0]
		next = next[1:]
		if _, ok := seen[address]; ok || address == "/" || strings.HasPrefix(address, "/static/") {
			continue
		}
		a := s.ask(t, address, nil)
		seen[address] = a
		for _, m := range hrefs.FindAllStringSubmatch(a.body, -1) {
			next = append(next, strings.ReplaceAll(m[1], "&amp;", "&"))
		}
	}
	return seen
}

// Each page of records without a chip says so in words, and where to begin.
func TestRecordsWithoutChips(t *testing.T) {
	s := serve(t, twoChips)
	for _, view := range recordViews {
		a := s.ask(t, view, nil)
		assert.Equal(t, http.StatusOK, a.status, view)
		words := "No chips yet: begin on the"
		if view == "/lots" {
			words = "No lot was opened yet."
		}
		assert.Contains(t, a.body, words, view)
		assert.Contains(t, a.body, "records of practice with virtual chips", view)
	}
	for address, words := range map[string]string{
		"/chip/1": "There is no such chip", "/chip/x": "There is no such chip", "/lots/depot-1": "There is no such lot", "/certificate?n=1": "There is no such chip",
		"/report": "There is no report", "/nowhere": "There is no such page", "/certificate": "No chip was asked for", "/labels?size=63.5x38.1": "No chip was asked for",
	} {
		a := s.ask(t, address, nil)
		assert.Equal(t, http.StatusNotFound, a.status, address)
		assert.Contains(t, a.body, words, address)
		assert.Contains(t, a.body, `aria-label="Pages"`, "%s: the frame stands around it", address)
	}
	assert.Equal(t, "[]\n", s.ask(t, "/export?format=json", nil).body)
}

// Every link of the pages leads somewhere, and each page shows what the records have.
func TestRecordsOfChips(t *testing.T) {
	s := serve(t, twoChips)
	s.keep(t, nil, "pass", "fail", "pass-but", "not-tested", "in-part", "version1", "wrong-part")
	s.keep(t, func(r *record.Record) {
		r.Drawer, r.Lot, r.Note = "cabinet,  left", "depot-1", "from point controller A"
	}, "pass")
	s.practise(t, "D1")
	pages := s.crawl(t)
	for address, a := range pages {
		assert.Less(t, a.status, 400, "%s\n%s", address, a.body)
	}
	paper := regexp.MustCompile(`<(?:a href|form [^>]*action)="/(?:certificate|report|labels|chip/\d+/json)[^>]*>`)
	papers := 0
	for address, a := range pages {
		for _, tag := range paper.FindAllString(a.body, -1) {
			papers++
			assert.Contains(t, tag, `target="_blank"`, "%s: a paper in place of the only page would pause a run", address)
		}
	}
	assert.Greater(t, papers, 10)
	for address, words := range map[string][]string{
		"/drawers":                         {">D3</a>", ">cabinet,  left</a>", ">7 chips</p>", "from point controller A", "PASS, BUT", "NOT TESTED", "95 % interval"},
		"/stock":                           {"Good:", "To discard:", "Still good for something:", "Not tested: test again"},
		"/charts":                          {"Commonest failing pins", "Output levels", "Clopper and Pearson"},
		"/lots":                            {"Without a plan", ">depot-1</a>"},
		"/chip/9":                          {"the number on its bag", "What the grades mean", "raw voltages", "shorts, 4, V", "<h1>7400</h1>", "7806 (1978)"},
		"/chip/10":                         {"No certificate: record of a test that failed", "failed</text>"},
		"/drawers?drawer=D3":               {`<option value="D3" selected>`, `aria-current="true"`},
		"/certificate?n=1":                 {"Record SHA-256"},
		"/export?format=csv":               {"serial,kind,time"},
		"/report":                          {"All chips", "10 chips"},
		"/drawers?lot=depot-1":             {`value="depot-1"`},
		"/drawers?drawer=cabinet%2C++left": {"from point controller A"},
		"/chip/8":                          {`href="/lots/depot-1"`, "Note"},
		"/charts?drawer=D3":                {"Chips from drawer D3"},
		"/charts?verdict=fail":             {"All chips in the records"},
		"/drawers?text=POINT":              {"from point controller A"},
		"/stock?drawer=nowhere":            {"No chip matches."},
		"/drawers?part=nothing":            {"No chip matches."},
		"/charts?family=HC":                {"No chip matches."},
		"/drawers?after=nothing":           {"from point controller A"},
	} {
		a, ok := pages[address]
		if !ok {
			a = s.ask(t, address, nil)
		}
		for _, w := range words {
			assert.Contains(t, a.body, w, address)
		}
	}
	assert.NotContains(t, s.ask(t, "/drawers?drawer=D3", nil).body, "from point controller A", "it is in another drawer")
	for address, a := range pages {
		if policy := a.header.Get("Content-Security-Policy"); policy != "" {
			assert.Contains(t, policy, "default-src 'none'; style-src 'unsafe-inline';", address)
			assert.NotContains(t, policy, "script", address)
		} else if strings.Contains(a.header.Get("Content-Type"), "html") {
			assert.NotContains(t, a.body, "style=", "%s: the policy of the pages allows no such style", address)
		}
	}
}

// The stock is in the order of the parts' numbers, and each line leads to its own chips.
func TestStockInOrder(t *testing.T) {
	s := serve(t, twoChips)
	for _, part := range []string{"74138", "7420"} { // as text 74138 would come first
		s.keep(t, func(r *record.Record) { r.Part, r.Type, r.Family = part, part, "74" }, "pass")
	}
	body := s.ask(t, "/stock", nil).body
	assert.Less(t, strings.Index(body, ">7420</a>"), strings.Index(body, ">74138</a>"))
	r, err := s.Bench.Records().Get(t.Context(), 1)
	require.NoError(t, err)
	assert.Contains(t, body, fmt.Sprintf(`href="/drawers?drawer=D3&amp;family=74&amp;from=%[1]d&amp;part=74138&amp;to=%[1]d#chips"`, r.Year))
}

// Text of a person is inert wherever it stands, also in the address of a lot.
func TestHostileRecords(t *testing.T) {
	s := serve(t, twoChips)
	const hostile = `</style></title><script>alert(1)</script><img src=x onerror=alert(2)>"'&{{.}}` + "\u202Etset\u2066"
	for _, lot := range []string{hostile, "..", "a/b?c#d", "%2e%2e"} {
		s.keep(t, func(r *record.Record) {
			r.Drawer, r.Marking, r.Operator, r.Note, r.Reason, r.Type, r.Lot = hostile, hostile, hostile, hostile, hostile, hostile, lot
		}, "fail")
		a := s.ask(t, "/lots", url.Values{"name": {lot}, "size": {"500"}, "aql": {"1.0"}, "level": {"II"}, "source": {hostile}, "do": {"open"}})
		require.Equal(t, http.StatusSeeOther, a.status, a.body)
		shown := s.ask(t, a.header.Get("Location"), nil)
		assert.Equal(t, http.StatusOK, shown.status, "%s, at %s", lot, a.header.Get("Location"))
	}
	for address, a := range s.crawl(t) {
		if a.status >= 400 {
			assert.Equal(t, http.StatusUnprocessableEntity, a.status, "%s: a certificate of a type that was not tested is refused\n%s", address, a.body)
		}
		if !strings.Contains(a.header.Get("Content-Type"), "html") {
			continue
		}
		for _, bad := range []string{"<script>alert", "<img src=x", "\u202E", "\u2066", "ZgotmplZ"} {
			assert.NotContains(t, a.body, bad, address)
		}
	}
}

var shownNumbers = regexp.MustCompile(`data-label="Number"><a href="/chip/(\d+)">`)

// The list has the newest first, in pages that leave nothing out and have nothing twice, also
// where a chip is added in between.
func TestPagesOfTheList(t *testing.T) {
	s := serve(t, twoChips)
	museum(t, s.Bench.Records().Path(), 120)
	var numbers []int
	var sizes []int
	for address := "/drawers"; address != ""; {
		a := s.ask(t, address, nil)
		found := shownNumbers.FindAllStringSubmatch(a.body, -1)
		sizes = append(sizes, len(found))
		for _, m := range found {
			n, err := strconv.Atoi(m[1])
			require.NoError(t, err)
			numbers = append(numbers, n)
		}
		if address == "/drawers" {
			s.keep(t, nil, "pass")
		}
		address = ""
		if m := regexp.MustCompile(`href="([^"#]*)#chips" rel="next"`).FindStringSubmatch(a.body); m != nil {
			address = strings.ReplaceAll(m[1], "&amp;", "&")
		} else {
			assert.Contains(t, a.body, "These are the oldest.")
		}
	}
	assert.Equal(t, []int{50, 50, 20}, sizes)
	var want []int
	for n := 120; n > 0; n-- {
		want = append(want, n)
	}
	assert.Equal(t, want, numbers)
	a := s.ask(t, "/drawers?drawer=D1&verdict=fail", nil) // every eleventh from the third on: 3, 14, … 113
	assert.Len(t, shownNumbers.FindAllString(a.body, -1), 11)
	assert.NotContains(t, a.body, `rel="next"`)
}

// What is wrong with a filter stands in a line beside its field, with what was typed in it,
// and nothing is listed meanwhile.
func TestWrongFilters(t *testing.T) {
	s := serve(t, twoChips)
	s.keep(t, nil, "pass")
	for asked, words := range map[string]string{
		"family=ZZ": "there is no such family", "verdict=perhaps": "one of pass, pass-but, fail, not-tested", "grade=A": "one of strong, sound",
		"from=7600": "there is no week 00", "to=yesterday": "give a year (1979)", "to=1970&from=1980": "is before 1980", "lot=depot-2": "no lot exists yet",
	} {
		name, typed, _ := strings.Cut(strings.Split(asked, "&")[0], "=")
		for _, view := range []string{"/drawers?", "/stock?", "/charts?"} {
			if view == "/charts?" && (name == "verdict" || name == "grade") {
				continue
			}
			a := s.ask(t, view+asked, nil)
			assert.Equal(t, http.StatusUnprocessableEntity, a.status, view+asked)
			assert.Regexp(t, `id="wrong-`+name+`">[^<]*`+regexp.QuoteMeta(words), a.body, view+asked)
			assert.Regexp(t, `name="`+name+`"[^>]*aria-describedby="wrong-`+name+`"`, a.body, view+asked)
			assert.Contains(t, a.body, `value="`+typed+`"`, view+asked)
			assert.NotContains(t, a.body, `/chip/1"`, view+asked)
		}
		assert.Equal(t, http.StatusUnprocessableEntity, s.ask(t, "/export?format=csv&"+asked, nil).status, "no file of everything for a filter that is wrong: %s", asked)
	}
	assert.Equal(t, 1, strings.Count(s.ask(t, "/drawers?family=ZZ&from=7600", nil).body, `id="wrong-family"`))
	assert.Contains(t, s.ask(t, "/drawers?family=ZZ&from=7600", nil).body, `id="wrong-from"`, "all that is wrong is said at once")
	assert.Regexp(t, `id="wrong-by">one of part`, s.ask(t, "/charts?by=colour", nil).body)
}

// A correction and a taking back keep the chip's number and show in its history; what is
// wrong with one is said beside its field, and nothing is written.
func TestCorrections(t *testing.T) {
	s := serve(t, twoChips)
	n := s.keep(t, nil, "pass")[0]
	rows := func() (n int) {
		for range s.Bench.Records().Find(t.Context(), record.Query{All: true}) {
			n++
		}
		return n
	}
	require.Equal(t, http.StatusSeeOther, s.ask(t, "/lots", url.Values{"name": {"depot-1"}, "size": {"500"}, "aql": {"1.0"}, "level": {"II"}}).status)
	a := s.ask(t, fmt.Sprintf("/chip/%d/correct", n), url.Values{"marking": {"74LS10N"}, "date-code": {"7938"}, "drawer": {"D4"}, "lot": {""}, "operator": {""}, "note": {"cleaned"}})
	require.Equal(t, http.StatusSeeOther, a.status, a.body)
	assert.Equal(t, "/chip/1#history", a.header.Get("Location"))
	a = s.ask(t, "/chip/1", nil)
	for _, words := range []string{"<h1>74LS10N</h1>", "7938: week 38 of 1979", "cleaned", "corrected: ", `<a href="/drawers?drawer=D4#chips">`} {
		assert.Contains(t, a.body, words)
	}
	assert.Equal(t, "/chip/1", s.ask(t, "/chip/2", nil).header.Get("Location"), "record 2 is about chip 1")
	assert.Equal(t, 1, strings.Count(a.body, "(current)"))
	assert.Regexp(t, `corrected: [^<]*<strong>\(current\)`, a.body)
	for _, paper := range []string{"/certificate?n=1", "/report", "/labels?n=1&size=63.5x38.1"} {
		assert.Contains(t, s.ask(t, paper, nil).body, "7938 (1979)", "%s is of the current record", paper)
	}
	assert.Contains(t, s.ask(t, "/report", nil).body, "74LS10N")
	for _, wrong := range []struct {
		what string
		form url.Values
		says string
	}{
		{"correct", url.Values{"date-code": {"7600"}}, `id="wrong-date-code">date code &#34;7600&#34;: there is no week 00`},
		{"correct", url.Values{"drawer": {" D4 "}, "note": {"cleaned"}}, "Nothing was changed"},
		{"correct", url.Values{}, "Nothing was changed"},
		{"takeback", url.Values{"why": {" "}}, `id="wrong-why">say why`},
		{"correct", url.Values{"lot": {"depot 1"}}, `id="wrong-lot">there is no lot &#34;depot 1&#34;; similar: depot-1`},
	} {
		before := rows()
		a := s.ask(t, "/chip/1/"+wrong.what, wrong.form)
		assert.Equal(t, http.StatusUnprocessableEntity, a.status, wrong.form)
		assert.Contains(t, a.body, wrong.says, wrong.form)
		assert.Equal(t, before, rows(), wrong.form)
	}
	assert.Contains(t, s.ask(t, "/chip/1/correct", url.Values{"date-code": {"7600"}}).body, `value="7600"`, "what was typed is still there")
	for _, why := range []string{"the drawer was right", "the wrong chip was in the socket"} {
		require.Equal(t, http.StatusSeeOther, s.ask(t, "/chip/1/takeback", url.Values{"why": {why}}).status)
		assert.Contains(t, s.ask(t, "/chip/1", nil).body, why)
	}
	a = s.ask(t, "/chip/1", nil)
	assert.Contains(t, a.body, "All records of this chip were taken back.")
	assert.NotContains(t, a.body, `method="post"`, "there is nothing to correct")
	assert.Contains(t, s.ask(t, "/drawers", nil).body, "No chips yet")
	assert.Equal(t, http.StatusUnprocessableEntity, s.ask(t, "/chip/1/correct", url.Values{"note": {"x"}}).status)
}

// A plan can be looked at before its lot is opened, and is fixed then. The plans are those of
// ISO 2859-1, tables 1 and 2-A: 500 chips at level II have letter H, 50 chips; at AQL 1.0 Ac 1, Re 2.
func TestLots(t *testing.T) {
	s := serve(t, twoChips)
	form := func(do string, more ...string) url.Values {
		f := url.Values{"name": {"depot-1"}, "size": {"500"}, "aql": {"1.0"}, "level": {"II"}, "decides": {"levels"}, "source": {"signal department"}, "do": {do}}
		for i := 0; i < len(more); i += 2 {
			f.Set(more[i], more[i+1])
		}
		return f
	}
	a := s.ask(t, "/lots", form("plan"))
	assert.Contains(t, a.body, "50 chips")
	assert.Contains(t, a.body, "Ac 1, Re 2")
	assert.Contains(t, a.body, `value="signal department"`)
	assert.Contains(t, s.ask(t, "/lots", nil).body, "No lot was opened yet.", "a plan alone opens none")
	for name, typed := range map[string]string{"size": "many", "name": "", "severity": "harsh", "level": "IV"} {
		a := s.ask(t, "/lots", form("open", name, typed))
		assert.Equal(t, http.StatusUnprocessableEntity, a.status, name)
		assert.Contains(t, a.body, `id="wrong-`+name+`"`, name)
	}
	a = s.ask(t, "/lots", form("open"))
	require.Equal(t, http.StatusSeeOther, a.status, a.body)
	assert.Equal(t, "/lots/depot-1", a.header.Get("Location"))
	assert.NotContains(t, s.ask(t, "/lots/depot-1", nil).body, "Its chips")
	s.keep(t, func(r *record.Record) { r.Lot = "depot-1" }, "pass", "fail", "fail")
	a = s.ask(t, "/lots/depot-1", nil)
	assert.Contains(t, a.body, "Its chips")
	assert.Contains(t, a.body, "Rejected")
	assert.Contains(t, a.body, "3 of 50 chips of the sample")
	assert.Contains(t, s.ask(t, "/lots", nil).body, "3 of 50 tested, 2 nonconforming")
	assert.Equal(t, http.StatusSeeOther, s.ask(t, "/lots", form("open")).status, "the same again changes nothing")
	a = s.ask(t, "/lots", form("open", "size", "1000"))
	assert.Equal(t, http.StatusUnprocessableEntity, a.status)
	assert.Contains(t, a.body, "was opened with another plan")
}

// What is printed stands alone, without script; what is taken away is a file that other
// programs read, of the chips asked for alone.
func TestPapers(t *testing.T) {
	s := serve(t, twoChips)
	s.keep(t, nil, "pass", "fail", "pass-but")
	s.keep(t, func(r *record.Record) { r.Drawer = "D4" }, "pass")
	s.keep(t, func(r *record.Record) { r.Drawer, r.Lot = "D5", "depot-1" }, "pass", "fail")
	for address, words := range map[string]string{
		"/certificate?n=2,1": "2 chips: 1 pass, 1 fail", "/certificate?n=1,1": "record 1", "/certificate?lot=depot-1": "Lot depot-1, 2 chips", "/certificate?n=1&n=2": "2 chips", "/certificate?drawer=D4": "record 4", "/report?drawer=D3": "Drawer D3",
		"/labels?n=1,2&size=63.5x38.1": "no. 2, drawer D3", "/labels?drawer=D4&size=63.5x38.1&skip=3": "no. 4",
	} {
		a := s.ask(t, address, nil)
		require.Equal(t, http.StatusOK, a.status, "%s\n%s", address, a.body)
		assert.Contains(t, a.body, words, address)
		assert.Contains(t, a.header.Get("Content-Security-Policy"), "default-src 'none'; style-src 'unsafe-inline'", address)
		assert.NotContains(t, a.body, "aria-label=\"Pages\"", address)
	}
	for address, words := range map[string]string{
		"/labels?n=1&size=2x2": "too small to be read", "/labels?n=1&size=big": "cannot be laid out", "/labels?n=1&size=63.5x38.1&skip=99": "a sheet has", "/labels?n=1&size=63.5x38.1&skip=x": "no number of labels",
		"/certificate?n=one": "no chip&#39;s number", "/export?format=xlsx": "csv, json or jsonl", "/report?from=x": "From: give a year",
	} {
		a := s.ask(t, address, nil)
		assert.Equal(t, http.StatusUnprocessableEntity, a.status, address)
		assert.Contains(t, a.body, words, address)
	}
	table := s.ask(t, "/export?format=csv&drawer=D3", nil)
	rows, err := csv.NewReader(strings.NewReader(table.body)).ReadAll()
	require.NoError(t, err)
	assert.Len(t, rows, 4, "a header and three chips")
	assert.Equal(t, `attachment; filename="chips.csv"`, table.header.Get("Content-Disposition"))
	var list []record.Line
	require.NoError(t, json.Unmarshal([]byte(s.ask(t, "/export?format=json&verdict=fail&drawer=D3", nil).body), &list))
	require.Len(t, list, 1)
	assert.Equal(t, int64(2), list[0].Chip)
	for line := range strings.Lines(s.ask(t, "/export?format=jsonl", nil).body) {
		assert.True(t, json.Valid([]byte(line)), line)
	}
	var report struct{ Verdict string }
	require.NoError(t, json.Unmarshal([]byte(s.ask(t, "/chip/2/json", nil).body), &report))
	assert.Equal(t, "fail", report.Verdict)
}

// A paper is of a bounded number of chips, and a shelf of a bounded number of lines; both say so.
func TestTooMany(t *testing.T) {
	s := serve(t, twoChips)
	museum(t, s.Bench.Records().Path(), 1500)
	a := s.ask(t, "/certificate", nil)
	assert.Equal(t, http.StatusUnprocessableEntity, a.status)
	assert.Contains(t, a.body, "more than 200 chips")
	assert.Contains(t, s.ask(t, "/labels?size=63.5x38.1", nil).body, "more than 1000 chips")
	list := []record.Holding{}
	for year := range mostHoldings + 3 {
		list = append(list, record.Holding{Type: "7400", Year: 1900 + year, Tally: record.Tally{Strong: 2, Reject: 1}}, record.Holding{Tally: record.Tally{Reject: 4}})
	}
	shelf := shelfOf(stock.Shelves[0], list)
	assert.Equal(t, []int{2 * (mostHoldings + 3), mostHoldings, 3}, []int{shelf.Sum, len(shelf.Lines), shelf.Left})
	assert.Equal(t, "100.0", shelf.Lines[0].Wide)
	shelf = shelfOf(stock.Shelves[3], list[:2])
	assert.Equal(t, "25.0", shelf.Lines[0].Wide, "of 4 on the fullest line")
}

// A chip of n pins stands at the lever end of the 28 positions: its pin p is at p on the left, and at
// 28 - (n - p) on the right.
func TestPinAt(t *testing.T) {
	for n := 8; n <= 28; n += 2 {
		d := report.Document{}
		for p := 1; p <= n; p++ {
			d.Pins = append(d.Pins, report.Pin{Number: p, Name: fmt.Sprintf("name of %d", p)})
		}
		at := map[int]int{}
		for p := 1; p <= n; p++ {
			if p <= n/2 {
				at[p] = p
			} else {
				at[28-(n-p)] = p
			}
		}
		for position := 1; position <= 28; position++ {
			pin, name := pinAt(d, position)
			assert.Equal(t, at[position], pin, "%d pins, position %d", n, position)
			if pin > 0 {
				assert.Equal(t, fmt.Sprintf("name of %d", pin), name)
			}
		}
	}
	pin, _ := pinAt(report.Document{}, 5)
	assert.Zero(t, pin, "version 1 of a report knows no pins")
}

// museum puts so many chips of the tram museum's seven drawers into a file of records, by
// SQL of the database's own: by Append, which waits for the disk, 100,000 would take minutes.
// Their digests are none, which only a check of the records would notice.
func museum(t testing.TB, file string, chips int) {
	t.Helper()
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(`
WITH RECURSIVE chip (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM chip WHERE n < ?)
INSERT INTO record SELECT n, 'test', '2026-03-02T08:00:00.000Z', 7400 + n / 50 % 12, 7400 + n / 50 % 12, '74', 'D' || (1 + n / 600 % 7), '', 'workshop',
	'SN' || (7400 + n / 50 % 12) || 'N', printf('%02d27', 72 + n % 17), printf('19%d-07-04', 72 + n % 17), printf('19%d-07-10', 72 + n % 17), 1972 + n % 17,
	iif(n % 11 = 3, 'fail', 'pass'), iif(n % 11 = 3, 'reject', 'strong'), iif(n % 11 = 3, 'pin 3 (1Y) is stuck low', 'all 256 vectors answered'), '', '',
	'virtual', '2.0.0', '', '', n, 0, 0, 0, '', '', printf('%064d', n) FROM chip`, chips)
	require.NoError(t, err)
	_, err = db.Exec(`INSERT INTO tally SELECT drawer, part, type, family, date_year, lot, verdict, grade, count(*) FROM record GROUP BY 1, 2, 3, 4, 5, 6, 7, 8`)
	require.NoError(t, err)
}

// With 40,000 chips the list opens in about the time that it takes with 1,000, at its start,
// in its middle and for a drawer. The bound is generous: what reads every chip takes forty times as long.
func TestManyChipsOpenWithoutAStall(t *testing.T) {
	const few, many, most = 1000, 40_000, 10
	takes := func(s served, address string) time.Duration {
		start := time.Now()
		a := s.ask(t, address, nil)
		took := time.Since(start)
		require.Len(t, shownNumbers.FindAllString(a.body, -1), perPage, address)
		return took
	}
	small, large := serve(t, twoChips), serve(t, twoChips)
	museum(t, small.Bench.Records().Path(), few)
	museum(t, large.Bench.Records().Path(), many)
	for _, address := range []string{"/drawers", "/drawers?after=500", "/drawers?drawer=D1", "/drawers?text=vectors"} {
		short, long := time.Hour, time.Hour // the shortest of each
		for range 7 {
			short, long = min(short, takes(small, address)), min(long, takes(large, address))
		}
		ratio := float64(long) / float64(short)
		t.Logf("%s: %.1f times as long with %d chips as with %d", address, ratio, many, few)
		assert.Less(t, ratio, float64(most), address)
	}
}
