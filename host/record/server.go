package record

import (
	"context"
	"crypto/rand"
	"database/sql"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"net"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

//go:embed schema-postgres5.sql
var postgres5 string

// firstOnServer is the first version that a server has. Versions are those of the file, so that
// both have the same columns.
const firstOnServer = 5

// serverSteps lead from an empty database to the present version, as migrations do.
var serverSteps = []string{postgres5}

// reachWithin is how long a server is tried before it is taken for unreachable.
const reachWithin = 3 * time.Second

// ErrUnreachable is the error for a server that does not answer, or lets nobody in.
var ErrUnreachable = errors.New("cannot be reached")

// ErrBench is the error for a bench that a letter or a file does not belong to.
var ErrBench = errors.New("is not this bench")

// A Server is the set of records of several benches, in a PostgreSQL database. Each bench has
// chains of its own there; what a bench hands over is added to them (see Bench).
type Server struct {
	address string // without a password
	config  *pgx.ConnConfig
	all     *sql.DB
	mu      sync.Mutex
	views   map[string]*sql.DB // by the bench's letter; under mu
	known   map[string]bool    // benches that are there; under mu
	set     string             // the id of the set of records
}

// IsServer reports whether a name of records is the address of a server, and not a file.
func IsServer(name string) bool {
	scheme, _, ok := strings.Cut(name, ":")
	return ok && (strings.EqualFold(scheme, "postgres") || strings.EqualFold(scheme, "postgresql")) // in any case: RFC 3986, 3.1
}

// OpenServer opens the records in a PostgreSQL database, and makes their tables if there are none.
// An address of a later version is refused (ErrNewer).
func OpenServer(ctx context.Context, address string) (*Server, error) {
	return openServer(ctx, address, serverSteps)
}

func openServer(ctx context.Context, address string, steps []string) (*Server, error) {
	scheme, rest, _ := strings.Cut(address, ":")
	config, err := pgx.ParseConfig(strings.ToLower(scheme) + ":" + rest)
	if err != nil { // its text may hold what was typed
		return nil, errors.New("the address of the records server is not understood: as postgres://name@host/database; the password belongs in ~/.pgpass or PGPASSWORD")
	}
	if config.ConnectTimeout == 0 || config.ConnectTimeout > reachWithin {
		config.ConnectTimeout = reachWithin
	}
	s := &Server{config: config, views: map[string]*sql.DB{}, known: map[string]bool{},
		address: "postgres://" + net.JoinHostPort(config.Host, strconv.Itoa(int(config.Port))) + "/" + config.Database}
	if strings.HasPrefix(config.Host, "/") {
		s.address = "postgres:" + config.Host + "/" + config.Database
	}
	s.all = s.connect("chipassay")
	soon, cancel := context.WithTimeout(ctx, 4*reachWithin)
	defer cancel()
	if err := s.migrate(soon, steps); err != nil {
		return nil, errors.Join(s.explain(err), s.Close())
	}
	if err := s.all.QueryRowContext(soon, "SELECT set_id FROM chipassay.version ORDER BY version LIMIT 1").Scan(&s.set); err != nil {
		return nil, errors.Join(s.explain(err), s.Close())
	}
	return s, nil
}

// connect makes a pool of connections that look for tables in a schema first.
func (s *Server) connect(schema string) *sql.DB {
	config := s.config.Copy()
	config.RuntimeParams["search_path"] = schema + ", chipassay"
	if schema == "chipassay" {
		config.RuntimeParams["search_path"] = schema
	}
	config.RuntimeParams["application_name"] = "chipassay"
	config.RuntimeParams["random_page_cost"] = "1.1" // as of a disk without moving heads: rows are better found by an index in order than sorted
	db := sql.OpenDB(connector{stdlib.GetConnector(*config)})
	db.SetMaxOpenConns(4)
	db.SetMaxIdleConns(mostIdle)
	return db
}

// mostIdle is how many connections wait for work, to each bench's tables.
const mostIdle = 2

// dropIdle closes the connections that wait for work, so that others are made.
func (s *Server) dropIdle() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, db := range append(slices.Collect(maps.Values(s.views)), s.all) {
		db.SetMaxIdleConns(0)
		db.SetMaxIdleConns(mostIdle)
	}
}

// view is the database with the tables of one bench.
func (s *Server) view(letter string) *sql.DB {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.views[letter] == nil {
		s.views[letter] = s.connect("chipassay_" + strings.ToLower(letter))
	}
	return s.views[letter]
}

// Close closes all connections.
func (s *Server) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.all.Close()
	for _, db := range s.views {
		err = errors.Join(err, db.Close())
	}
	return err
}

// Address is where the server is, without a password.
func (s *Server) Address() string { return s.address }

// All are the rows of all benches, to search and count. Numbers in it are not unique without the
// bench: what takes one number is asked of Of.
func (s *Server) All() *Store { return &Store{path: s.address, db: s.all, remote: s, all: true} }

// Of are the rows of one bench, to read. The error is ErrBench where there is no such bench.
func (s *Server) Of(ctx context.Context, letter string) (*Store, error) {
	s.mu.Lock()
	known := s.known[letter] // and benches are never removed
	s.mu.Unlock()
	if !known {
		letters, err := s.Benches(ctx)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(letters, letter) {
			return nil, fmt.Errorf("%s has no bench %s; it has: %s", s.address, letter, strings.Join(letters, ", "))
		}
		s.mu.Lock()
		s.known[letter] = true
		s.mu.Unlock()
	}
	return &Store{path: s.address + ", bench " + letter, db: s.view(letter), remote: s, bench: letter}, nil
}

// Benches are the letters of all benches.
func (s *Server) Benches(ctx context.Context) (letters []string, err error) {
	rows, err := s.all.QueryContext(ctx, "SELECT letter FROM chipassay.bench ORDER BY letter")
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	for rows.Next() {
		var letter string
		if err := rows.Scan(&letter); err != nil {
			return nil, err
		}
		letters = append(letters, letter)
	}
	return letters, rows.Err()
}

// errTables is the error for tables that could not be made or changed.
var errTables = errors.New("the tables cannot be made")

// migrationLock is PostgreSQL's number of the lock under which versions change: "chip", 1.
const migrationLock = "SELECT pg_advisory_xact_lock(1667787120, 1)"

// migrate applies the steps that the database lacks, all or none, one program at a time.
func (s *Server) migrate(ctx context.Context, steps []string) error {
	newest := firstOnServer - 1 + len(steps)
	version, err := s.version(ctx, s.all)
	if err != nil || version == newest {
		return err
	}
	tx, err := s.all.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // no effect after the commit
	if _, err := tx.ExecContext(ctx, migrationLock); err != nil {
		return err
	}
	if version, err = s.version(ctx, tx); err != nil { // another program may have been here first
		return err
	}
	if version > newest {
		return fmt.Errorf("the database %s %w (version %d, this one knows %d): update chipassay", s.address, ErrNewer, version, newest)
	}
	set := ""
	if version > 0 {
		if err := tx.QueryRowContext(ctx, "SELECT set_id FROM chipassay.version LIMIT 1").Scan(&set); err != nil {
			return err
		}
	} else {
		set, version = randomID(), firstOnServer-1
	}
	for version < newest {
		// Many statements at once: PostgreSQL prepares only one.
		if _, err := tx.ExecContext(ctx, steps[version-firstOnServer+1], pgx.QueryExecModeSimpleProtocol); err != nil {
			return fmt.Errorf("to version %d: %w: %w", version+1, errTables, err)
		}
		version++
		if _, err := tx.ExecContext(ctx, "INSERT INTO chipassay.version (version, set_id) VALUES (?, ?)", version, set); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// version is that of the tables, or 0 where there are none.
func (s *Server) version(ctx context.Context, q queryer) (version int, err error) {
	var there bool
	// Asked of a table: to_regclass may answer from what the connection knew before it waited for the lock.
	err = q.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM pg_tables WHERE schemaname = 'chipassay' AND tablename = 'version')").Scan(&there)
	if err != nil || !there {
		return 0, err
	}
	return userVersion(ctx, q)
}

// randomID is 128 bits, hexadecimal.
func randomID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

var letters = regexp.MustCompile("^[A-Z]{1,3}$")

// explain says in one line what is wrong with a connection, and what to do.
func (s *Server) explain(err error) error {
	var refused *pgconn.PgError
	advice := ""
	switch {
	case err == nil:
		return nil
	case errors.As(err, &refused) && (refused.Code == "28P01" || refused.Code == "28000"):
		advice = fmt.Sprintf("it does not let %s in: check the name, and the password in ~/.pgpass or PGPASSWORD", s.config.User)
	case errors.As(err, &refused) && refused.Code == "3D000":
		advice = fmt.Sprintf("there is no database %s: make it there with createdb %s", s.config.Database, s.config.Database)
	case errors.As(err, &refused) && refused.Code == "42501" && errors.Is(err, errTables):
		return fmt.Errorf("records on %s: who connects first makes the tables, and %s has no right to: connect once as the database's owner, or run there ALTER DATABASE %s OWNER TO %s",
			s.address, s.config.User, s.config.Database, s.config.User)
	case errors.As(err, &refused) && refused.Code == "42501":
		return fmt.Errorf("records on %s: %s lacks a right: %s", s.address, s.config.User, oneLine(refused.Message))
	case errors.As(err, &refused) && strings.HasPrefix(refused.Code, "57P"):
		advice = "it is shutting down or starting: try again"
	case errors.As(err, &refused):
		return fmt.Errorf("records on %s: %w", s.address, err)
	case lostConnection(err):
		advice = "check that the server is running, and the network"
	default:
		return err
	}
	return fmt.Errorf("records server %s %w: %s", s.address, ErrUnreachable, advice)
}

// lostConnection reports whether an error is for the way to the server and not for what was asked.
func lostConnection(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	var refused *pgconn.PgError
	return !errors.As(err, &refused) && (errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, os.ErrDeadlineExceeded) ||
		errors.Is(err, context.DeadlineExceeded) || pgconn.SafeToRetry(err) || strings.Contains(err.Error(), "conn closed") ||
		strings.Contains(err.Error(), "unexpected EOF") || strings.Contains(err.Error(), "bad connection"))
}
