package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/golang-migrate/migrate/v4"
	"github.com/golang-migrate/migrate/v4/database"
	migratepgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	migratesqlite "github.com/golang-migrate/migrate/v4/database/sqlite"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"denwright/migrations"
)

// migrationWait bounds the wait for another replica that is migrating. Own choice.
const migrationWait = time.Minute

// SchemaStatus is where a database's schema stands.
type SchemaStatus struct {
	Engine  string
	Version uint // of the database; 0 = empty
	Known   uint // the newest that this program carries
	// CutShort: a migration began and did not report its end. Each runs in one
	// transaction, so it took place whole or not at all; look, then call ForceSchema.
	CutShort bool
}

// String says it in one line.
func (st SchemaStatus) String() string {
	text := fmt.Sprintf("%s schema at %d; this program knows %d", st.Engine, st.Version, st.Known)
	if err := st.fits(); err != nil {
		return text + ": " + err.Error()
	}
	return text + ": up to date"
}

func (st SchemaStatus) fits() error {
	switch {
	case st.CutShort:
		return fmt.Errorf("%w: migration %d is under way or was cut short; if nobody is migrating: where its tables are there, run `denwright migrate force %d`, else `denwright migrate force %d`, then `denwright migrate up`", ErrSchema, st.Version, st.Version, st.Version-1)
	case st.Version > st.Known:
		return fmt.Errorf("%w: the database is at schema %d and this program knows up to %d; use a newer program, or `denwright migrate down` of the newer one", ErrSchema, st.Version, st.Known)
	case st.Version < st.Known:
		return fmt.Errorf("%w: the database is at schema %d and this program needs %d; run `denwright migrate up`", ErrSchema, st.Version, st.Known)
	}
	return nil
}

// Schema tells where the schema of a database stands. It changes nothing.
func Schema(ctx context.Context, databaseURL string) (SchemaStatus, error) {
	engine, source, err := parseDatabase(databaseURL)
	if err != nil {
		return SchemaStatus{}, err
	}
	return schemaStatus(ctx, engine, source, 10*time.Second)
}

// MigrateUp applies what is missing. Several programs may call it at once: one
// migrates, the others wait and find nothing left to do.
func MigrateUp(ctx context.Context, databaseURL string) (SchemaStatus, error) {
	engine, source, err := parseDatabase(databaseURL)
	if err != nil {
		return SchemaStatus{}, err
	}
	return migrateUp(ctx, engine, source, 10*time.Second)
}

// MigrateDown takes back the newest steps. The data in what is dropped is lost.
func MigrateDown(ctx context.Context, databaseURL string, steps int) (SchemaStatus, error) {
	if steps < 1 {
		return SchemaStatus{}, invalid("steps is %d; give 1 or more", steps)
	}
	return migrating(ctx, databaseURL, func(m *migrate.Migrate) error { return m.Steps(-steps) })
}

// ForceSchema writes down that the schema is at the version, and runs nothing.
func ForceSchema(ctx context.Context, databaseURL string, version int) (SchemaStatus, error) {
	if version < 0 {
		return SchemaStatus{}, invalid("version is %d", version)
	}
	if version == 0 {
		version = database.NilVersion
	}
	return migrating(ctx, databaseURL, func(m *migrate.Migrate) error { return m.Force(version) })
}

func migrating(ctx context.Context, databaseURL string, do func(*migrate.Migrate) error) (SchemaStatus, error) {
	engine, source, err := parseDatabase(databaseURL)
	if err != nil {
		return SchemaStatus{}, err
	}
	status, err := schemaStatus(ctx, engine, source, 10*time.Second)
	if err == nil && status.Version > status.Known {
		return status, status.fits() // this program lacks the steps back
	}
	if err != nil {
		return status, err
	}
	if err := migrateWith(ctx, engine, source, 10*time.Second, do); err != nil {
		return status, err
	}
	return schemaStatus(ctx, engine, source, 10*time.Second)
}

func migrateUp(ctx context.Context, e engine, source string, connect time.Duration) (SchemaStatus, error) {
	status, err := schemaStatus(ctx, e, source, connect)
	if err != nil {
		return status, err
	}
	// What looks cut short may be another replica at work: the lock tells, by the wait for it.
	if status.CutShort || status.Version < status.Known {
		err := migrateWith(ctx, e, source, connect, (*migrate.Migrate).Up)
		var dirty migrate.ErrDirty
		if err != nil && !errors.As(err, &dirty) {
			return status, err
		}
		if status, err = schemaStatus(ctx, e, source, connect); err != nil {
			return status, err
		}
	}
	return status, status.fits()
}

// migrateWith runs do under a lock that the engine itself releases when the
// program dies: PostgreSQL's advisory lock, or a transaction on a file beside
// the SQLite database.
func migrateWith(ctx context.Context, e engine, source string, connect time.Duration, do func(*migrate.Migrate) error) (err error) {
	db, err := openForSchema(ctx, e, source, connect)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, ignoreClosed(db.Close())) }()
	var driver database.Driver
	if e == postgresEngine {
		driver, err = migratepgx.WithInstance(db, &migratepgx.Config{})
	} else {
		release, lockErr := lockSQLite(ctx, source)
		if lockErr != nil {
			return lockErr
		}
		defer func() { err = errors.Join(err, release()) }()
		driver, err = migratesqlite.WithInstance(db, &migratesqlite.Config{})
	}
	if err != nil {
		return classify(ctx, fmt.Errorf("migrate: %w", err))
	}
	files, err := iofs.New(migrations.Files, string(e))
	if err != nil {
		return err
	}
	m, err := migrate.NewWithInstance("embedded", files, string(e), driver)
	if err != nil {
		return err
	}
	m.LockTimeout = migrationWait
	defer func() {
		sourceErr, databaseErr := m.Close()
		err = errors.Join(err, sourceErr, ignoreClosed(databaseErr))
	}()
	if err := do(m); err != nil && !errors.Is(err, migrate.ErrNoChange) {
		return classify(ctx, fmt.Errorf("migrate: %w", err))
	}
	return nil
}

func ignoreClosed(err error) error {
	if errors.Is(err, sql.ErrConnDone) {
		return nil
	}
	return err
}

// lockSQLite holds an exclusive transaction on a file of its own. golang-migrate's
// lock for SQLite holds within one process only.
func lockSQLite(ctx context.Context, path string) (release func() error, err error) {
	db, err := sql.Open("sqlite", fmt.Sprintf("%s?_pragma=busy_timeout(%d)&_txlock=exclusive", sqliteFile(path+".migrate"), migrationWait.Milliseconds()))
	if err != nil {
		return nil, err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return nil, errors.Join(classify(ctx, fmt.Errorf("migrate: lock: %w", err)), db.Close())
	}
	return func() error { return errors.Join(tx.Rollback(), db.Close()) }, nil
}

// openForSchema opens one plain connection without a statement timeout: a
// migration may take long, and so may the wait for another's.
func openForSchema(ctx context.Context, e engine, source string, connect time.Duration) (*sql.DB, error) {
	if e == sqliteEngine {
		if err := os.MkdirAll(filepath.Dir(source), 0o700); err != nil {
			return nil, err
		}
		return sql.Open("sqlite", sqliteDSN(source, migrationWait, ""))
	}
	pc, err := pgx.ParseConfig(source)
	if err != nil {
		return nil, invalid("database: %s", redacted(err))
	}
	pc.ConnectTimeout = connect
	pc.RuntimeParams["application_name"] = "denwright migrate"
	db := stdlib.OpenDB(*pc)
	probe, cancel := context.WithTimeout(ctx, connect)
	defer cancel()
	if err := db.PingContext(probe); err != nil {
		return nil, errors.Join(classify(ctx, err), db.Close())
	}
	return db, nil
}

// schemaStatus reads the version table, and treats its absence as version 0. An
// absent SQLite file is not made.
func schemaStatus(ctx context.Context, e engine, source string, connect time.Duration) (st SchemaStatus, err error) {
	st.Engine = string(e)
	if st.Known, err = newest(e); err != nil {
		return st, err
	}
	if e == sqliteEngine {
		if _, err := os.Stat(source); errors.Is(err, fs.ErrNotExist) {
			return st, nil
		}
	}
	db, err := openForSchema(ctx, e, source, connect)
	if err != nil {
		return st, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	bounded, cancel := context.WithTimeout(ctx, connect)
	defer cancel()
	table := `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'schema_migrations'`
	if e == postgresEngine {
		table = `SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = 'schema_migrations'`
	}
	var there int
	if err := db.QueryRowContext(bounded, table).Scan(&there); err != nil || there == 0 {
		return st, classify(ctx, err)
	}
	err = db.QueryRowContext(bounded, `SELECT version, dirty FROM schema_migrations`).Scan(&st.Version, &st.CutShort)
	if errors.Is(err, sql.ErrNoRows) {
		return st, nil
	}
	return st, classify(ctx, err)
}

// newest is the highest number among the embedded pairs.
func newest(e engine) (uint, error) {
	files, err := iofs.New(migrations.Files, string(e))
	if err != nil {
		return 0, err
	}
	last, err := files.First()
	for err == nil {
		var next uint
		if next, err = files.Next(last); err == nil {
			last = next
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return last, files.Close()
	}
	return 0, errors.Join(err, files.Close())
}
