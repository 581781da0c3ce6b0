package record

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"chipassay/vectors/sample"
)

// childOf names the file to which this program, started by a test, appends.
const childOf = "CHIPASSAY_TEST_APPEND_TO"

// childAt is the server that it hands over to, if any.
const childAt = "CHIPASSAY_TEST_SERVER"

func TestMain(m *testing.M) {
	if path := os.Getenv(childOf); path != "" {
		if err := appendTo(path, os.Args[1:]); err != nil {
			fmt.Println("error", strings.ReplaceAll(err.Error(), "\n", " "))
			os.Exit(1)
		}
		os.Exit(0)
	}
	code := m.Run()
	stopCluster()
	os.Exit(code)
}

// appendTo appends records and prints serial and digest of each when Append has
// returned: as many as the first argument says, each with a report of the second's size in bytes.
func appendTo(path string, args []string) error {
	count, err1 := strconv.Atoi(args[0])
	size, err2 := strconv.Atoi(args[1])
	if err := errors.Join(err1, err2, limitFiles(args[2:])); err != nil {
		return err
	}
	var s *Store
	open := func() (err error) { s, err = Open(path); return err }
	if server := os.Getenv(childAt); server != "" {
		open = func() (err error) { s, err = OpenBench(context.Background(), server, "", path); return err }
	}
	if err := inTurn(open); err != nil {
		return err
	}
	defer s.Close()
	if s.outlet != nil {
		s.outlet.pause = 20 * time.Millisecond
	}
	fmt.Println("open")
	for range count {
		r := nand()
		r.Report = []byte(`{"note":"` + strings.Repeat("x", size) + `"}`)
		if err := inTurn(func() (err error) { r, err = s.Append(context.Background(), r); return err }); err != nil {
			return err
		}
		fmt.Println("record", r.Serial, r.Digest)
	}
	return nil
}

// inTurn tries again what another program kept waiting for too long: on a loaded
// machine their turns take long.
func inTurn(write func() error) error {
	for {
		err := write()
		if busy := new(sqlite.Error); !errors.As(err, &busy) || busy.Code()&0xff != sqlite3.SQLITE_BUSY {
			return err
		}
	}
}

func child(t *testing.T, path string, args ...string) (*exec.Cmd, io.Reader) {
	program, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(program, args...)
	c.Env = append(os.Environ(), childOf+"="+path)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	return c, out
}

// acknowledged reads what a child said it had appended, by serial number, and reports how many
// records that is so far.
func acknowledged(t *testing.T, out io.Reader, soFar func(int)) (records map[int64]string, said string) {
	t.Helper()
	records = map[int64]string{}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		var serial int64
		var digest string
		if n, _ := fmt.Sscanf(lines.Text(), "record %d %s", &serial, &digest); n == 2 && len(digest) == 64 {
			records[serial] = digest
			soFar(len(records))
		} else {
			said += lines.Text() + "\n"
		}
	}
	return records, said
}

// A program is killed at a random moment: before or while it makes the file (one
// kill in five), or while it appends to one that others were killed at. No record
// that it acknowledged is lost, none is half written, and the file opens each time.
func TestKilledAtRandomMoments(t *testing.T) {
	random := sample.Random(t)
	kills, dir := sample.Number(80, 400), t.TempDir()
	making := timeToMake(t, filepath.Join(dir, "first.sqlite"))
	kept, rows, total := filepath.Join(dir, "kept.sqlite"), 0, 0
	for i := range kills {
		path := kept
		if i%5 == 0 {
			path = filepath.Join(dir, fmt.Sprintf("new%d.sqlite", i))
		}
		records := killed(t, path, making, random)
		s, err := Open(path)
		require.NoError(t, err)
		for serial, digest := range records {
			require.Equal(t, digest, mustGet(t, s, serial).Digest)
		}
		total += len(records)
		var have int
		require.NoError(t, s.db.QueryRow("SELECT count(*) FROM record").Scan(&have))
		if path == kept {
			// One more may be on the disk than was acknowledged.
			require.Contains(t, []int{rows + len(records), rows + len(records) + 1}, have)
			rows = have
		}
		if path != kept || i%20 == 1 || i == kills-1 {
			verified(t, s, have)
		}
		require.NoError(t, s.Close())
	}
	t.Logf("%d kills; %d records acknowledged, %d in the kept file", kills, total, rows)
}

// timeToMake is how long a program takes from its start until it has made the file
// of records. No test hangs on it: the kills are spread over it.
func timeToMake(t *testing.T, path string) time.Duration {
	t.Helper()
	began := time.Now()
	c, out := child(t, path, "0", "0")
	_, said := acknowledged(t, out, func(int) {})
	require.Equal(t, "open\n", said)
	require.NoError(t, c.Wait())
	return time.Since(began)
}

// killed starts a program that appends without end and kills it: where the file is
// there, after it acknowledged a number of records and within the time of another;
// where it is not, within the time that it takes to make one, or a little later.
func killed(t *testing.T, path string, making time.Duration, random *rand.Rand) map[int64]string {
	t.Helper()
	after, part := 2+random.IntN(4), random.Float64()
	began := time.Now()
	c, out := child(t, path, "1000000000", strconv.Itoa(random.IntN(20_000)))
	died := make(chan error, 1)
	kill := func(wait time.Duration) {
		time.Sleep(wait)
		died <- c.Process.Kill()
	}
	if _, err := os.Stat(path); err != nil {
		after = 0
		go kill(time.Duration(1.5 * part * float64(making)))
	}
	records, said := acknowledged(t, out, func(n int) {
		switch n {
		case after - 1:
			began = time.Now()
		case after:
			go kill(time.Duration(part * float64(time.Since(began))))
		}
	})
	require.NotContains(t, said, "error")
	require.NoError(t, <-died)
	require.Error(t, c.Wait()) // killed
	return records
}

// Three programs make one file at once and append to it.
func TestProgramsAppendAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.sqlite")
	const programs, each = 3, 60
	var outs []io.Reader
	var children []*exec.Cmd
	for range programs {
		c, out := child(t, path, strconv.Itoa(each), "500")
		outs, children = append(outs, out), append(children, c)
	}
	all := map[int64]string{}
	for i, out := range outs {
		records, said := acknowledged(t, out, func(int) {})
		require.Equal(t, "open\n", said)
		require.Len(t, records, each)
		require.NoError(t, children[i].Wait())
		for serial, digest := range records {
			require.NotContains(t, all, serial)
			all[serial] = digest
		}
	}
	s, err := Open(path)
	require.NoError(t, err)
	defer s.Close()
	verified(t, s, programs*each)
	for serial, digest := range all {
		require.Equal(t, digest, mustGet(t, s, serial).Digest)
	}
}

// SQLite's own limit of pages stands for a full disk where the system's limits
// cannot (see TestDiskFull).
func TestFull(t *testing.T) {
	s := newStore(t)
	s.db.SetMaxOpenConns(1) // the limit is a connection's
	var pages int
	require.NoError(t, s.db.QueryRow("PRAGMA page_count").Scan(&pages))
	_, err := s.db.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages+20))
	require.NoError(t, err)
	r := nand()
	r.Report = []byte(`{"note":"` + strings.Repeat("x", 5000) + `"}`)
	n := 0
	for ; err == nil; n++ {
		_, err = s.Append(t.Context(), r)
		require.Less(t, n, 100)
	}
	require.ErrorContains(t, err, "full")
	s.db.SetMaxOpenConns(0)
	verified(t, s, n-1)
	_, err = s.db.Exec("PRAGMA max_page_count = 100000")
	require.NoError(t, err)
	appended(t, s, r)
	verified(t, s, n)
}
