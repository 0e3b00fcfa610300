package main

import (
	"context"
	"flag"
	"fmt"
	"strconv"

	"denwright/care/quantity"
	"denwright/care/store"
)

const migrateUsage = `denwright migrate ACTION [flags]

The schema of the database. denwright serve brings it up to date by itself, also
when several start at once. A schema newer than the program's is refused.

  denwright migrate status              where it stands; exit code 1 where it does not fit
  denwright migrate up                  apply what is missing; makes a SQLite file
  denwright migrate down --lose-data    take back the newest step, and the data in it
  denwright migrate force N             after a migration that was cut short: write down
                                        that the schema is at N, and run nothing
`

func (p *program) migrate(ctx context.Context, args []string) error {
	return p.dispatch(ctx, "migrate", migrateUsage, args, map[string]action{
		"status": func(p *program, ctx context.Context, f *flag.FlagSet, args []string) error {
			fits, err := p.migrated(f, args, 0, func(database string, _ []string) (store.SchemaStatus, error) {
				return store.Schema(ctx, database)
			})
			if err == nil && !fits {
				return exitError(exitFailed)
			}
			return err
		},
		"up": func(p *program, ctx context.Context, f *flag.FlagSet, args []string) error {
			_, err := p.migrated(f, args, 0, func(database string, _ []string) (store.SchemaStatus, error) {
				return store.MigrateUp(ctx, database)
			})
			return err
		},
		"down": func(p *program, ctx context.Context, f *flag.FlagSet, args []string) error {
			steps := f.Int("steps", 1, "how many steps")
			agreed := f.Bool("lose-data", false, "the data in what is dropped may be lost")
			_, err := p.migrated(f, args, 0, func(database string, _ []string) (store.SchemaStatus, error) {
				if !*agreed {
					return store.SchemaStatus{}, usageError{"this drops tables and what is in them: copy the database first, then repeat with --lose-data"}
				}
				return store.MigrateDown(ctx, database, *steps)
			})
			return err
		},
		"force": func(p *program, ctx context.Context, f *flag.FlagSet, args []string) error {
			_, err := p.migrated(f, args, 1, func(database string, rest []string) (store.SchemaStatus, error) {
				version, err := strconv.Atoi(rest[0])
				if err != nil {
					return store.SchemaStatus{}, usageError{fmt.Sprintf("%q is not the number of a schema", rest[0])}
				}
				return store.ForceSchema(ctx, database, version)
			})
			return err
		},
	})
}

// migrated does something with a schema, and says where it stands then.
func (p *program) migrated(f *flag.FlagSet, args []string, words int, do func(database string, rest []string) (store.SchemaStatus, error)) (fits bool, err error) {
	given := databaseFlag(f)
	asJSON := f.Bool("json", false, "write JSON")
	rest, err := arguments(f, args, words, words)
	if err != nil {
		return false, err
	}
	database, err := needed(*given)
	if err != nil {
		return false, err
	}
	status, err := do(database, rest)
	if err != nil {
		return false, fmt.Errorf("database %s: %w", describe(database), err)
	}
	fits = status.Version == status.Known && !status.CutShort
	if *asJSON {
		return fits, writeJSON(p.out, struct {
			Engine   string `json:"engine"`
			Version  uint   `json:"version"`
			Known    uint   `json:"known"`
			CutShort bool   `json:"cut_short"`
			Fits     bool   `json:"fits"`
		}{status.Engine, status.Version, status.Known, status.CutShort, fits}, quantity.Metric)
	}
	_, err = fmt.Fprintf(p.out, "%s\n", status)
	return fits, err
}
