package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"
)

// A bench writes to its own file first and hands its rows over to the server after, as they are:
// with their numbers and digests. So the file is the whole of the bench's chain, and the server has
// the beginning of it, or all. That is why a row is handed over exactly once: the server takes only
// the one that follows its last, and after a kill or a lost answer the bench asks which that is.

// An outlet is the way from a bench's own file to the server.
type outlet struct {
	address string
	bench   benchRow

	mu     sync.Mutex
	server *Server // nil until it is first reached
	failed error   // why the last attempt failed, or nil
	pause  time.Duration
	again  time.Time // when the next attempt is made by itself
	asked  bool      // before this program's first row, whether the server has the same rows
}

// A benchRow is whose own file a file is.
type benchRow struct{ letter, id, server string }

// pause is how long after a failed attempt no other is made by itself, so that a bench without a
// network works on at once.
const pause = 15 * time.Second

// soon is how long the attempt after a row was written takes at most: on a dead line a bench waits no longer. What
// was taken until then stays taken.
const soon = 5 * time.Second

// ErrNoLetter is the error of a computer that is no bench.
var ErrNoLetter = errors.New("which bench is this? Give its letter once: --bench A. It stands before the numbers on its bags, as A17")

// OpenBench opens the bench's own file, from which rows are handed over to the server at the
// address. The letter is given the first time, for good, and then the server must be reached; later it
// may be empty, and the server away.
func OpenBench(ctx context.Context, address, letter, own string) (s *Store, err error) {
	if letter != "" && !letters.MatchString(letter) {
		return nil, fmt.Errorf("bench %q: a bench is named by one to three capital letters: A", letter)
	}
	if _, err := os.Stat(own); errors.Is(err, fs.ErrNotExist) {
		if letter == "" {
			return nil, ErrNoLetter
		}
		if err := vacant(ctx, address, letter); err != nil { // before there is a file of no bench
			return nil, err
		}
	}
	if s, err = Open(own); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
			s = nil
		}
	}()
	o := &outlet{address: address, pause: pause}
	if o.bench, err = s.benchRow(ctx); err != nil {
		return s, err
	}
	switch {
	case o.bench.letter == "" && letter == "":
		return s, ErrNoLetter
	case o.bench.letter == "":
		if o.bench, err = s.claim(ctx, address, letter); err != nil {
			return s, err
		}
	case letter != "" && letter != o.bench.letter:
		return s, fmt.Errorf("%s %w: it is the own file of bench %s, which is set once", own, ErrBench, o.bench.letter)
	}
	s.outlet, s.bench = o, o.bench.letter
	return s, nil
}

// Bench is the letter of the bench whose own file this is, or empty.
func (s *Store) Bench() string { return s.bench }

// Number is a chip's number as it is written on its bag: 17, or A17 where there are several benches.
func (s *Store) Number(n int64) string { return s.bench + strconv.FormatInt(n, 10) }

// SplitNumber parts the letter of the bench from a number that is typed, as A17 or a17. A bare number has none.
func SplitNumber(typed string) (letter, number string) {
	typed = strings.TrimSpace(typed)
	number = strings.TrimLeft(typed, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
	return strings.ToUpper(typed[:len(typed)-len(number)]), number
}

// Server is the server that rows are handed over to, reached. The error is ErrUnreachable where it is away.
func (s *Store) Server(ctx context.Context) (*Server, error) {
	if s.outlet == nil {
		return nil, errors.New("no server: these records are in a file alone")
	}
	if err := s.HandOver(ctx); err != nil {
		return nil, err
	}
	return s.outlet.server, nil
}

// On are the rows of a bench as the server has them. To those of this bench rows are added through its
// own file, as to s; to those of others none.
func (s *Store) On(ctx context.Context, letter string) (*Store, error) {
	server, err := s.Server(ctx)
	if err != nil {
		return nil, err
	}
	on, err := server.Of(ctx, letter)
	if err == nil && letter == s.bench {
		on.own = s
	}
	return on, err
}

func (s *Store) benchRow(ctx context.Context) (b benchRow, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT letter, id, server FROM bench").Scan(&b.letter, &b.id, &b.server)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return b, damaged(err)
}

// vacant is the error of a server that is away, or has the letter already.
func vacant(ctx context.Context, address, letter string) error {
	server, err := OpenServer(ctx, address)
	if err != nil {
		return fmt.Errorf("a bench gets its letter from the server: %w", err)
	}
	return errors.Join(server.vacant(ctx, letter), server.Close())
}

func (s *Server) vacant(ctx context.Context, letter string) error {
	var taken bool
	if err := s.all.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM chipassay.bench WHERE letter = ?)", letter).Scan(&taken); err != nil {
		return s.explain(err)
	}
	if taken {
		return fmt.Errorf("bench %s is another's, whose own file is elsewhere: choose another letter, or bring its records here with records move", letter)
	}
	return nil
}

// claim makes a file that of a bench, if nobody has the letter.
func (s *Store) claim(ctx context.Context, address, letter string) (b benchRow, err error) {
	server, err := OpenServer(ctx, address)
	if err != nil {
		return b, fmt.Errorf("a bench gets its letter from the server: %w", err)
	}
	defer server.Close()
	if err := server.vacant(ctx, letter); err != nil {
		return b, err
	}
	b = benchRow{letter, randomID(), server.set}
	// Here first: after a kill between the two the letter is asked for again, with the same id.
	if err := s.setBench(ctx, b); err != nil {
		return b, err
	}
	return b, server.admit(ctx, b)
}

func (s *Store) setBench(ctx context.Context, b benchRow) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO bench (one, letter, id, server) VALUES (1, ?, ?, ?)", b.letter, b.id, b.server)
	return err
}

// admit gives a bench its letter and tables on the server, if it has them not yet.
func (s *Server) admit(ctx context.Context, b benchRow) error {
	var id string
	if err := s.all.QueryRowContext(ctx, "SELECT id FROM chipassay.bench WHERE letter = ?", b.letter).Scan(&id); errors.Is(err, sql.ErrNoRows) {
		if b.server != s.set { // a server that was restored has the bench, and is right
			return fmt.Errorf("%s has another set of records than the one that bench %s belongs to: give the address of that one, or restore a backup there", s.address, b.letter)
		}
		err = s.all.QueryRowContext(ctx, "SELECT chipassay.add_bench(?, ?)", b.letter, b.id).Scan(&id)
		if err != nil {
			return s.explain(err)
		}
	} else if err != nil {
		return s.explain(err)
	}
	if id != b.id {
		return fmt.Errorf("bench %s on %s %w: another file has the letter", b.letter, s.address, ErrBench)
	}
	return nil
}

// oneChain is the error of a file that differs from what the server has, as one that is restored from an old backup: the
// number that it would give next is on a bag already. So what waits is handed over before this program's first row. A server
// that is away stops nothing.
func (s *Store) oneChain(ctx context.Context) error {
	o := s.outlet
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.asked {
		ctx, cancel := context.WithTimeout(ctx, soon)
		defer cancel()
		_ = s.handOver(ctx)
	}
	if errors.Is(o.failed, ErrDiverged) {
		return o.failed
	}
	return nil
}

// handedSoon hands over what was just written. A failure is kept for Waiting, and a bench goes on.
func (s *Store) handedSoon(ctx context.Context) {
	o := s.outlet
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.failed != nil && time.Now().Before(o.again) {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, soon)
	defer cancel()
	_ = s.handOver(ctx)
}

// HandOver hands all rows over that the server does not have yet.
func (s *Store) HandOver(ctx context.Context) error {
	s.outlet.mu.Lock()
	defer s.outlet.mu.Unlock()
	return s.handOver(ctx)
}

func (s *Store) handOver(ctx context.Context) (err error) {
	o := s.outlet
	defer func() { o.asked, o.failed, o.again = true, err, time.Now().Add(o.pause) }()
	before := o.server
	if err = s.handOverOnce(ctx); before != nil && errors.Is(err, ErrUnreachable) {
		before.dropIdle() // which may be from before the server was away
		err = s.handOverOnce(ctx)
	}
	return err
}

func (s *Store) handOverOnce(ctx context.Context) error {
	o := s.outlet
	if o.server == nil {
		server, err := OpenServer(ctx, o.address)
		if err != nil {
			return err
		}
		if err := server.admit(ctx, o.bench); err != nil {
			return errors.Join(err, server.Close())
		}
		o.server = server
	}
	if err := o.server.take(ctx, s.db, o.bench.letter); err != nil {
		return o.server.explain(err)
	}
	return o.server.tie(ctx)
}

// Late is why what was written last is not handed over yet, or nil.
func (s *Store) Late() error {
	if s.outlet == nil {
		return nil
	}
	s.outlet.mu.Lock()
	defer s.outlet.mu.Unlock()
	return s.outlet.failed
}

// Handed is where the server is behind a bench's own file.
type Handed struct {
	bench   string
	Waiting int64 // rows that are not handed over yet: records, lots and photos
	First   int64 // number of the first such record, or 0
	Why     error // why not, or nil where nothing waits
}

// Waiting says what is not handed over yet, after one more attempt. For a file alone it is zero.
func (s *Store) Waiting(ctx context.Context) (h Handed, err error) {
	if s.outlet == nil {
		return h, nil
	}
	if h.Why = s.HandOver(ctx); h.Why == nil {
		return h, nil
	}
	return s.behind(ctx, h.Why)
}

// behind says how far the server is behind by what was handed over last: what it has is not known while it is away.
func (s *Store) behind(ctx context.Context, why error) (Handed, error) {
	h := Handed{bench: s.bench, Why: why}
	known, err := s.handedBefore(ctx)
	if err != nil {
		return h, err
	}
	now, err := s.Seals(ctx)
	if err != nil {
		return h, err
	}
	h.Waiting = now.Records.Count - known.Records.Count + now.Lots.Count - known.Lots.Count + now.Photos.Count - known.Photos.Count
	if now.Records.Count > known.Records.Count {
		h.First = known.Records.Count + 1
	}
	return h, nil
}
