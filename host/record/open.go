package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	_ "modernc.org/sqlite"
)

// Why a file is refused. It is then left byte for byte as it was.
var (
	ErrForeign = errors.New("is not a file of chipassay records")
	ErrDamaged = errors.New("is damaged")
	ErrNewer   = errors.New("was written by a later chipassay")
)

// busyTimeout is how long one program waits for another's write.
const busyTimeout = 10 * time.Second

// A Store is an open file of records. Several programs may have it open, and
// several goroutines may use it, at once.
type Store struct {
	path   string
	db     *sql.DB
	bench  string  // the letter of the bench whose own file it is, or empty
	outlet *outlet // the way to the server, or nil where there is none
	own    *Store  // where rows are written that are added to those of remote, or nil
	remote *Server // the server whose rows these are, to read, or nil
	all    bool    // these are the rows of all benches; own may be this one's
}

// DefaultPath is where a person's records are kept when no other file is
// named. Its folder is made if there is none.
func DefaultPath() (string, error) { return pathOf("records.sqlite") }

// PracticePath is where the records of practice with virtual chips are, beside them.
func PracticePath() (string, error) { return pathOf("practice.sqlite") }

// BenchPath is where the own file of a bench of several is, beside them.
func BenchPath() (string, error) { return pathOf("bench.sqlite") }

func pathOf(name string) (string, error) {
	const advice = "where to keep records: %w; name a file with --records FILE"
	dir, err := dataDir()
	if err != nil {
		return "", fmt.Errorf(advice, err)
	}
	dir = filepath.Join(dir, "chipassay")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf(advice, err)
	}
	return filepath.Join(dir, name), nil
}

// dataDir is the folder for a person's data: %LocalAppData%, which does not
// roam; Application Support; elsewhere that of the XDG base directories.
func dataDir() (string, error) {
	switch runtime.GOOS {
	case "windows":
		return os.UserCacheDir()
	case "darwin", "ios":
		return os.UserConfigDir()
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return dir, nil
	}
	home, err := os.UserHomeDir()
	return filepath.Join(home, ".local", "share"), err
}

// Open opens the file of records at path, and makes it if there is none. A file
// that is foreign, damaged or of a later version is refused with ErrForeign,
// ErrDamaged or ErrNewer.
//
// What is checked: header, length, tables and triggers, the digests of the last
// rows, and in a file of up to 64 MiB every page. Verify checks all of any file.
func Open(path string) (*Store, error) { return open(path, migrations) }

func open(path string, steps []string) (*Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err := stray(path); err != nil {
		return nil, err
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if err := create(path, steps); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, fmt.Errorf("make records file %s: %w", path, err)
		}
	}
	if err := inspect(path, steps); err != nil {
		return nil, err
	}
	db, err := connect(path, readWrite)
	if err != nil {
		return nil, err
	}
	if err := prepare(db, steps); err != nil {
		return nil, errors.Join(fmt.Errorf("records file %s: %w", path, err), db.Close())
	}
	return &Store{path: path, db: db}, nil
}

// Close closes the file. Of a bench, what was not handed over is tried once more. What is read from a
// server is closed with the Server.
func (s *Store) Close() error {
	if s.remote != nil {
		return nil
	}
	if o := s.outlet; o != nil && o.failed != nil {
		within, cancel := context.WithTimeout(context.Background(), reachWithin)
		_ = s.HandOver(within) // what waits is in the file
		cancel()
	}
	err := s.db.Close()
	if s.outlet != nil && s.outlet.server != nil {
		err = errors.Join(err, s.outlet.server.Close())
	}
	return err
}

// Path is the file's absolute path.
func (s *Store) Path() string { return s.path }

// stray refuses a log of writes without the file that it belongs to: the file
// was moved or deleted without it, and a new one would take up its writes.
func stray(path string) error {
	for _, end := range []string{"-wal", "-journal"} {
		// The log is looked for first: another program may be making both now.
		if _, err := os.Stat(path + end); err != nil {
			continue
		}
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("records file %s is missing, but its latest writes are in %s: put the file back, or move the other away",
				path, path+end)
		}
	}
	return nil
}

// The ways to open a database.
const (
	readWrite = "rw"
	makeNew   = "rwc"
	readOnly  = "ro"
	untouched = "ro&immutable=1" // no locks, no files beside it: for one that nobody writes
)

// connect opens a database. Every commit is on the disk when it returns.
func connect(path, mode string) (*sql.DB, error) {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	if !strings.HasPrefix(u.Path, "/") { // a Windows drive
		u.Path = "/" + u.Path
	}
	q := url.Values{"_txlock": {"immediate"}}
	for _, pragma := range []string{
		fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()),
		"synchronous(FULL)",
		"fullfsync(1)", // macOS: past the drive's cache
		"checkpoint_fullfsync(1)",
		"page_size(8192)",       // of a new file: three reports a page
		"recursive_triggers(1)", // REPLACE INTO meets the triggers too
		"trusted_schema(0)",
		"cache_size(-32000)",           // KiB
		"journal_size_limit(67108864)", // bytes; after an import the log shrinks again
	} {
		q.Add("_pragma", pragma)
	}
	u.RawQuery = "mode=" + mode + "&" + q.Encode()
	return sql.Open("sqlite", u.String())
}

// create makes a file with the tables in it, at once: it is put together under
// another name, so that whoever sees it sees it whole.
func create(path string, steps []string) (err error) {
	return place(path, func(temporary string) error {
		db, err := connect(temporary, makeNew)
		if err != nil {
			return err
		}
		return errors.Join(prepare(db, steps), db.Close())
	})
}

// place makes the file at path by having it written under a temporary name
// beside it, and never over an existing one (fs.ErrExist).
func place(path string, write func(temporary string) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	temporary := f.Name()
	defer func() {
		if e := os.Remove(temporary); !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}()
	if err := f.Close(); err != nil {
		return err
	}
	if err := write(temporary); err != nil {
		return err
	}
	if err := syncFile(temporary); err != nil {
		return err
	}
	if err := rename(temporary, path); err != nil {
		return err
	}
	if dir, err := os.Open(filepath.Dir(path)); err == nil {
		_ = dir.Sync() // not every system can; the name may then be lost with the power, the file not torn
		_ = dir.Close()
	}
	return nil
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// rename gives a file a name that no file has.
func rename(from, to string) error {
	err := os.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	// A file system without links, as FAT on a memory stick: take the name first.
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Rename(from, to))
}

// prepare brings a database to the present version, in WAL mode.
func prepare(db *sql.DB, steps []string) error {
	var mode string
	if err := db.QueryRow("PRAGMA journal_mode = WAL").Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("this file system does not allow safe use by two programs (journal mode %s): keep the records on a local disk", mode)
	}
	return migrate(context.Background(), db, steps)
}
