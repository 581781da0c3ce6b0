package record

import (
	"context"
	"database/sql/driver"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5/stdlib"
)

// The statements of this package are SQLite's. inPostgres has what PostgreSQL says otherwise;
// ?+ is the placeholder that comes next, once more before it.
var inPostgres = strings.NewReplacer(
	"char(", "chr(",
	"PRAGMA user_version", "SELECT coalesce(max(version), 0) FROM chipassay.version",
	"ON CONFLICT DO UPDATE SET n = n + excluded.n", "ON CONFLICT (key, bench) DO UPDATE SET n = tally.n + excluded.n",
	"LEFT JOIN report USING (serial)", "LEFT JOIN report USING (bench, serial)",
	"replaced.serial = record.serial", "replaced.serial = record.serial AND replaced.bench = record.bench",

	// SQLite's LIKE takes ASCII letters in either case.
	"marking || char(10) || operator || char(10) || reason || char(10) || note LIKE",
	`(marking || chr(10) || operator || chr(10) || reason || chr(10) || note) COLLATE "C" ILIKE`,

	// The function of that name in the tables of version 5 takes three times as long.
	"julianday(date_from) + julianday(date_to)", "(nullif(date_from, '')::date - date '2000-01-01') + (nullif(date_to, '')::date - date '2000-01-01')",
	"julianday(?)", "(?::text::date - date '2000-01-01')",

	// As the index is.
	"WHERE lot = ?1", "WHERE left(lot, 200) = left(?1, 200) AND lot = ?1",
)

// postgres is a statement as PostgreSQL wants it, with $1 for ? and ?1. No statement has a
// question mark of its own.
func postgres(statement string) string {
	parts := strings.Split(inPostgres.Replace(statement), "?")
	var b strings.Builder
	b.WriteString(parts[0])
	n := 0
	for _, rest := range parts[1:] {
		b.WriteString("$")
		if rest == "" || rest[0] < '1' || rest[0] > '9' { // it has no number of its own
			n++
			b.WriteString(strconv.Itoa(n))
		}
		b.WriteString(rest)
	}
	return b.String()
}

// A connector makes connections that take SQLite's statements.
type connector struct{ driver.Connector }

func (c connector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return translated{conn.(*stdlib.Conn)}, nil
}

type translated struct{ *stdlib.Conn }

func (t translated) Prepare(statement string) (driver.Stmt, error) {
	return t.Conn.Prepare(postgres(statement))
}

func (t translated) PrepareContext(ctx context.Context, statement string) (driver.Stmt, error) {
	return t.Conn.PrepareContext(ctx, postgres(statement))
}

func (t translated) ExecContext(ctx context.Context, statement string, args []driver.NamedValue) (driver.Result, error) {
	return t.Conn.ExecContext(ctx, postgres(statement), args)
}

func (t translated) QueryContext(ctx context.Context, statement string, args []driver.NamedValue) (driver.Rows, error) {
	return t.Conn.QueryContext(ctx, postgres(statement), args)
}
