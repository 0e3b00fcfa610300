package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"

	"denwright/care"
	"denwright/care/store"
)

// Where a command finds the database and the key where no flag says so.
const (
	envDatabase = "DENWRIGHT_DATABASE_URL"
	envKey      = "DENWRIGHT_KEY"
)

// noDatabase is the database's name for a service that keeps nothing.
const noDatabase = "none"

const databaseText = "`postgres://…` or the path of a SQLite file (default: " + envDatabase + ", else denwright/denwright.db in the user's data directory); give a password in PGPASSWORD or ~/.pgpass, since flags are seen by all users of the machine"

// databaseFlag reads --database. Its default is not the environment's value, which
// may hold a password and would be printed by -h.
func databaseFlag(f *flag.FlagSet) *string { return f.String("database", "", databaseText) }

// databaseOf is what the flag says, else the environment; empty for the default file.
func databaseOf(given string) string {
	if given == "" {
		return os.Getenv(envDatabase)
	}
	return given
}

// needed refuses to do without a database.
func needed(given string) (string, error) {
	database := databaseOf(given)
	if database == noDatabase {
		return "", usageError{"this needs a database, and --database or " + envDatabase + " says " + noDatabase}
	}
	return database, nil
}

// arguments parses flags and arguments, of which there are so many.
func arguments(f *flag.FlagSet, args []string, least, most int) ([]string, error) {
	rest, err := parse(f, args)
	if err != nil {
		return nil, err
	}
	if len(rest) < least || len(rest) > most {
		f.Usage()
		return nil, usageError{fmt.Sprintf("denwright %s: %d arguments given beside the flags; see above", f.Name(), len(rest))}
	}
	return rest, nil
}

// describe names a database without the user, the password and the parameters.
func describe(database string) string {
	if strings.HasPrefix(database, "postgres") && strings.Contains(database, ":") {
		if u, err := url.Parse(database); err == nil && u.Host != "" {
			return "postgres " + u.Host + u.Path
		}
		return "postgres"
	}
	path := strings.TrimPrefix(database, "sqlite:")
	if path == "" {
		path, _ = store.DefaultPath() // Open reports the fault
	}
	if absolute, err := filepath.Abs(path); err == nil {
		return absolute
	}
	return path
}

// keeping holds the flags of every command that works on what is kept.
type keeping struct {
	database, keyFile, as *string
	asJSON                *bool
}

func keepingFlags(f *flag.FlagSet) *keeping {
	return &keeping{
		database: databaseFlag(f),
		keyFile:  f.String("key-file", "", "a `file` that holds the key to act with (default: the key in "+envKey+"; without one, the person at this machine acts)"),
		as:       f.String("as", "", "act as the person at this machine, with no key, under this `name` in the audit trail (default: the user of this machine)"),
		asJSON:   f.Bool("json", false, "write JSON"),
	}
}

// kept is an open store, on whose behalf it is used, and how to answer.
type kept struct {
	*store.Store
	who    store.Caller
	asJSON bool
}

// kept parses the flags and arguments of a command that works on what is kept, and
// runs it on the store.
func (p *program) kept(ctx context.Context, f *flag.FlagSet, args []string, least, most int, do func(k *kept, rest []string) error) error {
	flags := keepingFlags(f)
	rest, err := arguments(f, args, least, most)
	if err != nil {
		return err
	}
	return flags.with(ctx, func(k *kept) error { return do(k, rest) })
}

// with runs a command on the store that the flags name. Only serve and migrate
// change a schema: here one that does not fit is refused.
func (flags *keeping) with(ctx context.Context, do func(*kept) error) error {
	database, err := needed(*flags.database)
	if err != nil {
		return err
	}
	s, err := openStore(database, false)
	if err != nil {
		return fmt.Errorf("database %s: %w", describe(database), err)
	}
	if err = s.Ready(ctx); err != nil {
		err = fmt.Errorf("database %s: %w", describe(database), err)
	} else {
		var who store.Caller
		if who, err = flags.caller(ctx, s); err == nil {
			err = do(&kept{s, who, *flags.asJSON})
		}
	}
	return errors.Join(err, s.Close())
}

func openStore(database string, migrate bool) (*store.Store, error) {
	files, err := care.EmbeddedFiles()
	if err != nil {
		return nil, err
	}
	return store.Open(store.Config{Database: database, Embedded: files, Migrate: migrate})
}

// caller is the holder of the key given, else the person at this machine, who
// owns the database anyway.
func (k *keeping) caller(ctx context.Context, s *store.Store) (store.Caller, error) {
	secret, from := os.Getenv(envKey), envKey
	if *k.keyFile != "" {
		raw, err := os.ReadFile(*k.keyFile)
		if errors.Is(err, os.ErrNotExist) {
			return store.Caller{}, usageError{fmt.Sprintf("no file %q", *k.keyFile)}
		}
		if err != nil {
			return store.Caller{}, err
		}
		secret, from = strings.TrimSpace(string(raw)), *k.keyFile
	}
	if *k.keyFile != "" && *k.as != "" {
		return store.Caller{}, usageError{"--as can't be combined with --key-file: the key says whose it is"}
	}
	if *k.keyFile != "" || secret != "" && *k.as == "" {
		who, err := s.Authenticate(ctx, secret)
		if err != nil {
			err = fmt.Errorf("key in %s: %w", from, err)
		}
		return who, err
	}
	name := *k.as
	if name == "" {
		u, err := user.Current()
		if err != nil || u.Username == "" {
			return store.Caller{}, usageError{"say who you are with --as, for the audit trail: this machine does not tell"}
		}
		name = u.Username
	}
	return store.Operator(name), nil
}

// organisation gives the id of an organisation named by its id or, to the person
// at the machine, by its name. Empty stays empty: a key's own.
func (k *kept) organisation(ctx context.Context, name string) (string, error) {
	if name == "" || k.who.Organisation != "" {
		return name, nil
	}
	all, err := k.Organisations(ctx, k.who)
	if err != nil {
		return "", err
	}
	for _, o := range all {
		if o.ID == name || o.Name == name {
			return o.ID, nil
		}
	}
	return "", usageError{fmt.Sprintf("no organisation %q; see denwright organisation list", name)}
}

// atMost collects a list page by page, until it ends or holds enough; 0 = all.
func atMost[T any](most int, read func(store.Page) (store.List[T], error)) ([]T, error) {
	if most < 0 {
		return nil, usageError{"--most is 0 (all) or more"}
	}
	out := []T{}
	for page := (store.Page{Limit: 200}); ; {
		if most > 0 {
			page.Limit = min(200, most-len(out))
		}
		part, err := read(page)
		if err != nil {
			return nil, err
		}
		out = append(out, part.Items...)
		if page.Cursor = part.Next; page.Cursor == "" || most > 0 && len(out) >= most {
			return out, nil
		}
	}
}

// storeFault gives the exit code for an error of the store, and what to do about it.
func storeFault(err error) (code int, remedy string) {
	switch {
	case errors.Is(err, store.ErrStale):
		return exitStale, "read it again, look at what changed, and repeat"
	case errors.Is(err, store.ErrUnauthenticated):
		return exitBadInput, "give a key that is in use, in " + envKey + " or --key-file"
	case errors.Is(err, store.ErrForbidden):
		return exitBadInput, "use a key that may; without a key the person at this machine acts"
	case errors.Is(err, store.ErrInvalid), errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrTokenReused):
		return exitBadInput, ""
	}
	return exitFailed, ""
}

// when writes an instant for people, in this machine's time zone.
func when(t time.Time) string { return t.Local().Format("2006-01-02 15:04:05") }
