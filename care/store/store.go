// Package store keeps what must outlive the program: organisations and their
// keys, setups, assessments, and the curated records with their revisions. It is
// one implementation in SQL on two engines: SQLite in a file, which needs nothing
// else, and PostgreSQL, which several replicas share.
//
// The questions of the main job never come here: they are answered from a
// care.Catalogue, which Watch renews when a record is published. Assessments are
// JSON to this package; it computes nothing.
//
// Every method that takes a Caller enforces what its role may do and shows it
// only what its organisation owns. A method that returned nil has committed.
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	_ "modernc.org/sqlite" // the driver "sqlite": no C compiler is needed
)

// Config says which database, and how it is used.
type Config struct {
	// Database is postgres://… (all connection parameters of libpq), the path of a
	// SQLite file, or empty for DefaultPath.
	Database string
	// Embedded holds the records that the program carries: the folder care/data.
	Embedded fs.FS
	// Clock gives the time written into rows. time.Now when nil.
	Clock func() time.Time
	// Migrate brings the schema up to date on first use. Without it an older
	// schema is refused as a newer one is.
	Migrate bool
	// Connections bounds the pool; 8 when zero.
	Connections int
	// Timeout bounds each operation, connecting and waiting for a connection
	// included; 5 s when zero. The statement timeout of PostgreSQL is the same.
	Timeout time.Duration
}

// Store is safe for use by many goroutines. It connects on demand: a database
// that is down when the program starts is used as soon as it is up.
type Store struct {
	config Config
	engine engine
	source string  // DSN or path
	write  *sql.DB // SQLite: one connection, every transaction immediate
	read   *sql.DB // PostgreSQL: the same as write
	pool   *pgxpool.Pool

	embedded *embeddedSet

	checking sync.Mutex
	checked  atomic.Bool // the schema fits

	announce sync.Mutex
	changed  chan struct{} // closed and replaced on each change made by this Store
}

type engine string

const (
	sqliteEngine   engine = "sqlite"
	postgresEngine engine = "postgres"
)

// DefaultPath is denwright/denwright.db in the user's data directory:
// XDG_DATA_HOME or ~/.local/share, ~/Library/Application Support, %LocalAppData%.
func DefaultPath() (string, error) {
	home, err := os.UserHomeDir()
	dir := ""
	switch runtime.GOOS {
	case "windows":
		dir = os.Getenv("LocalAppData")
	case "darwin":
		dir = filepath.Join(home, "Library", "Application Support")
	default:
		if dir = os.Getenv("XDG_DATA_HOME"); dir == "" && home != "" {
			dir = filepath.Join(home, ".local", "share")
		}
	}
	if dir == "" {
		return "", fmt.Errorf("no data directory for this user; name a database: %w", err)
	}
	return filepath.Join(dir, "denwright", "denwright.db"), nil
}

// parseDatabase tells the engine, and the address or path.
func parseDatabase(database string) (engine, string, error) {
	if strings.HasPrefix(database, "postgres://") || strings.HasPrefix(database, "postgresql://") {
		return postgresEngine, database, nil
	}
	path := strings.TrimPrefix(database, "sqlite:")
	if path == "" {
		var err error
		if path, err = DefaultPath(); err != nil {
			return "", "", err
		}
	}
	if strings.Contains(path, "://") || strings.Contains(path, ":memory:") || strings.HasPrefix(path, "postgres:") || strings.HasPrefix(path, "postgresql:") {
		return "", "", invalid("database: give postgres://… or the path of a file")
	}
	path, err := filepath.Abs(path)
	return sqliteEngine, path, err
}

// sqliteDSN asks for a write-ahead log synced at every commit: an acknowledged
// write outlives a loss of power, not only of the process. Sorting needs no
// folder for temporary files, which a container may not have.
func sqliteDSN(path string, timeout time.Duration, more string) string {
	return fmt.Sprintf("%s?_pragma=busy_timeout(%d)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_pragma=temp_store(2)%s",
		sqliteFile(path), timeout.Milliseconds(), more)
}

// sqliteFile is a path as an address, so that no character in it is taken for a setting.
func sqliteFile(path string) string {
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String()
}

// Open prepares a store and contacts nothing but the file system. ErrInvalid
// where the database can't be understood.
func Open(c Config) (*Store, error) {
	if c.Clock == nil {
		c.Clock = time.Now
	}
	if c.Connections <= 0 {
		c.Connections = 8
	}
	if c.Timeout <= 0 {
		c.Timeout = 5 * time.Second
	}
	if c.Embedded == nil {
		return nil, invalid("no embedded records were given")
	}
	engine, source, err := parseDatabase(c.Database)
	if err != nil {
		return nil, err
	}
	carried, err := newEmbeddedSet(c.Embedded)
	if err != nil {
		return nil, err
	}
	s := &Store{config: c, engine: engine, source: source, embedded: carried, changed: make(chan struct{})}
	if engine == sqliteEngine {
		if err := os.MkdirAll(filepath.Dir(source), 0o700); err != nil {
			return nil, fmt.Errorf("data directory: %w", err)
		}
		if s.write, err = sql.Open("sqlite", sqliteDSN(source, c.Timeout, "&_txlock=immediate")); err != nil {
			return nil, err
		}
		// One writer at a time is the engine's rule; here it queues instead of failing.
		s.write.SetMaxOpenConns(1)
		if s.read, err = sql.Open("sqlite", sqliteDSN(source, c.Timeout, "&_pragma=query_only(1)")); err != nil {
			return nil, err
		}
		s.read.SetMaxOpenConns(c.Connections)
		s.read.SetMaxIdleConns(c.Connections)
		return s, nil
	}
	pc, err := pgxpool.ParseConfig(source)
	if err != nil {
		return nil, invalid("database: %s", redacted(err))
	}
	pc.MaxConns = int32(c.Connections)
	pc.MaxConnLifetime = 30 * time.Minute
	pc.HealthCheckPeriod = 15 * time.Second
	s.limits(pc.ConnConfig)
	s.pool, err = pgxpool.NewWithConfig(context.Background(), pc)
	if err != nil {
		return nil, invalid("database: %s", redacted(err))
	}
	s.write = stdlib.OpenDBFromPool(s.pool)
	s.read = s.write
	return s, nil
}

// limits sets the timeouts of one PostgreSQL connection.
func (s *Store) limits(c *pgx.ConnConfig) {
	c.ConnectTimeout = s.config.Timeout
	c.RuntimeParams["application_name"] = "denwright"
	c.RuntimeParams["statement_timeout"] = fmt.Sprint(s.config.Timeout.Milliseconds())
	c.RuntimeParams["lock_timeout"] = fmt.Sprint(s.config.Timeout.Milliseconds())
	c.RuntimeParams["idle_in_transaction_session_timeout"] = fmt.Sprint(4 * s.config.Timeout.Milliseconds())
}

// redacted keeps the address, and with it a password, out of a message about a
// malformed one. The driver quotes it before it says what is wrong.
func redacted(err error) string {
	text := err.Error()
	if i := strings.LastIndex(text, "`: "); i >= 0 {
		text = "the address can't be read: " + text[i+len("`: "):]
	}
	if i := strings.Index(text, "://"); i >= 0 {
		if j := strings.LastIndex(text, "@"); j > i {
			text = text[:i+3] + "…" + text[j:]
		}
	}
	return text
}

// Close ends all connections.
func (s *Store) Close() error {
	err := s.write.Close()
	if s.read != s.write {
		err = errors.Join(err, s.read.Close())
	}
	if s.pool != nil {
		s.pool.Close()
	}
	return err
}

// Engine names the engine: sqlite or postgres.
func (s *Store) Engine() string { return string(s.engine) }

// Shared reports whether several replicas may use the database at once.
func (s *Store) Shared() bool { return s.engine == postgresEngine }

// Ready checks that the database answers and its schema fits, after migrating it
// if so configured. ErrSchema is final; ErrUnavailable may pass.
func (s *Store) Ready(ctx context.Context) error {
	if err := s.ensure(ctx); err != nil {
		return err
	}
	return s.reading(ctx, func(ctx context.Context, q queryer) error {
		var one int
		return q.QueryRowContext(ctx, `SELECT 1`).Scan(&one)
	})
}

// ensure checks the schema before the first use.
func (s *Store) ensure(ctx context.Context) error {
	if s.checked.Load() {
		return nil
	}
	s.checking.Lock()
	defer s.checking.Unlock()
	if s.checked.Load() {
		return nil
	}
	look := schemaStatus
	if s.config.Migrate {
		look = migrateUp
	}
	status, err := look(ctx, s.engine, s.source, s.config.Timeout)
	if err != nil {
		return err
	}
	if err := status.fits(); err != nil {
		return err
	}
	s.checked.Store(true)
	return nil
}

// queryer is what a transaction and a pool share.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// writing runs f in one transaction, bounded by the configured timeout. A
// transaction that PostgreSQL ended to break a deadlock is run again.
func (s *Store) writing(caller context.Context, f func(ctx context.Context, tx queryer) error) error {
	if err := s.ensure(caller); err != nil {
		return err
	}
	for attempt := 1; ; attempt++ {
		err := s.transact(caller, f)
		if attempt < 3 && isSerialization(err) {
			continue
		}
		return classify(caller, err)
	}
}

func (s *Store) transact(caller context.Context, f func(ctx context.Context, tx queryer) error) error {
	ctx, cancel := context.WithTimeout(caller, s.config.Timeout)
	defer cancel()
	tx, err := s.begin(ctx, s.write, nil)
	if err != nil {
		return err
	}
	if err := f(ctx, tx); err != nil {
		// Once the context is over the driver's error says less than the context's.
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// reading runs f on one consistent view of the database.
func (s *Store) reading(caller context.Context, f func(ctx context.Context, q queryer) error) error {
	if err := s.ensure(caller); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(caller, s.config.Timeout)
	defer cancel()
	tx, err := s.beginReading(ctx)
	if err != nil {
		return classify(caller, err)
	}
	err = f(ctx, tx)
	return classify(caller, errors.Join(err, ignoreDone(tx.Rollback())))
}

// begin starts a transaction. A connection that was lost while it lay idle shows
// when it is used; as nothing has been asked yet, the next one is taken, until all
// of a pool have been tried and one more, which is new.
func (s *Store) begin(ctx context.Context, db *sql.DB, o *sql.TxOptions) (*sql.Tx, error) {
	for attempt := 0; ; attempt++ {
		tx, err := db.BeginTx(ctx, o)
		if err == nil || attempt == s.config.Connections || ctx.Err() != nil || !wasLostIdle(err) {
			return tx, err
		}
	}
}

func (s *Store) beginReading(ctx context.Context) (*sql.Tx, error) {
	return s.begin(ctx, s.read, &sql.TxOptions{ReadOnly: true, Isolation: s.snapshotLevel()})
}

// snapshotLevel is the isolation at which all statements of a transaction see
// one state. SQLite has no other.
func (s *Store) snapshotLevel() sql.IsolationLevel {
	if s.engine == postgresEngine {
		return sql.LevelRepeatableRead
	}
	return sql.LevelDefault
}

// now is the time by the store's clock, as written into rows.
func (s *Store) now() time.Time { return s.config.Clock().UTC().Truncate(time.Microsecond) }

func instant(micro int64) time.Time { return time.UnixMicro(micro).UTC() }

func instantOf(micro sql.NullInt64) *time.Time {
	if !micro.Valid {
		return nil
	}
	t := instant(micro.Int64)
	return &t
}

// newID makes a UUID of version 7 (RFC 9562): milliseconds, then 74 random bits,
// so that identifiers sort by time and can't be guessed.
func newID(at time.Time) string {
	var b [16]byte
	rand.Read(b[6:]) // never fails: the runtime ends the program instead
	for ms, i := uint64(at.UnixMilli()), 5; i >= 0; i-- {
		b[i] = byte(ms)
		ms >>= 8
	}
	b[6] = b[6]&0x0f | 0x70
	b[8] = b[8]&0x3f | 0x80
	h := hex.EncodeToString(b[:])
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

// Page asks for a part of a list. The zero value asks for the first 50.
type Page struct {
	Cursor string // from List.Next; opaque
	Limit  int    // 1 to 200; 50 when zero
}

// List is one page.
type List[T any] struct {
	Items []T
	Next  string // cursor of the next page; empty on the last
}

// resolve gives the id after which to go on, and how many to read: one more than
// asked, which tells whether there is a next page.
func (p Page) resolve() (after string, limit int, err error) {
	limit = p.Limit
	if limit == 0 {
		limit = 50
	}
	if limit < 1 || limit > 200 {
		return "", 0, invalid("limit is %d; it runs from 1 to 200", limit)
	}
	raw, err := base64.RawURLEncoding.DecodeString(p.Cursor)
	if err != nil || len(raw) > 64 {
		return "", 0, invalid("cursor is not one of ours")
	}
	return string(raw), limit + 1, nil
}

// page cuts the surplus item off and makes the cursor from the last one shown.
func page[T any](items []T, limit int, id func(T) string) List[T] {
	l := List[T]{Items: items}
	if len(items) >= limit {
		l.Items = items[:limit-1]
		l.Next = base64.RawURLEncoding.EncodeToString([]byte(id(l.Items[len(l.Items)-1])))
	}
	return l
}

// collect scans every row.
func collect[T any](ctx context.Context, q queryer, scan func(row) (T, error), query string, args ...any) (out []T, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		item, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, item)
	}
	return out, rows.Err()
}

// one scans a single row; ErrNotFound where there is none.
func one[T any](ctx context.Context, q queryer, scan func(row) (T, error), query string, args ...any) (T, error) {
	item, err := scan(q.QueryRowContext(ctx, query, args...))
	if errors.Is(err, sql.ErrNoRows) {
		return item, ErrNotFound
	}
	return item, err
}

type row interface{ Scan(into ...any) error }

// changedOne turns an update that met no row into the error that says why.
func changedOne(r sql.Result, err error) func(none error) error {
	return func(none error) error {
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		if err == nil && n != 1 {
			return none
		}
		return err
	}
}
