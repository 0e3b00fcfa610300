package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"runtime"
	"runtime/debug"
	"sync"
	"time"

	"denwright/api"
	"denwright/care"
	"denwright/care/store"
)

const serveUsage = `denwright serve [flags]

Answers over HTTP: the JSON API under /v1, its contract at /openapi.yaml.

Setups, assessments, keys and corrected records are kept in a database: a SQLite
file, made on the first start, or PostgreSQL, which several replicas share. Questions
are answered from memory and need none. While the database can't be reached, they are
answered from the last records seen, at a start from those that the program carries;
what must be kept is refused with 503. A database that returns is used again without
a restart. With --database none nothing is kept.

Flags:
`

func (p *program) serve(ctx context.Context, args []string) error {
	f := p.flags("serve", serveUsage)
	address := f.String("address", "127.0.0.1:8080", "host and port to listen on")
	database := databaseFlag(f)
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return usageError{"serve takes flags only"}
	}
	log := logger(p.err)
	at := databaseOf(*database)
	kept, err := serviceStore(at, log)
	if err != nil {
		return err
	}
	if kept == nil {
		c, err := loadEmbedded()
		if err != nil {
			return err
		}
		settleMemory()
		return api.New(c, log).Run(ctx, *address, api.Config{})
	}
	server := api.New(nil, log)
	k := &keeper{Store: kept, log: log, use: server.SetCatalogue, collect: debug.SetGCPercent(loadingGC)}
	if _, err := os.Stat(describe(at)); kept.Engine() == "sqlite" && errors.Is(err, fs.ErrNotExist) {
		k.embedded() // a file yet to be made says nothing else
	}
	background, stop := context.WithCancel(ctx)
	var work sync.WaitGroup
	work.Go(func() { kept.Watch(background, store.DefaultPoll, k.take, k.report) })
	work.Go(func() { k.house(background) })
	err = server.Run(ctx, *address, api.Config{Store: kept})
	stop()
	work.Wait()
	return errors.Join(err, kept.Close())
}

// Own choices: what a service may hold is memoryLeast, or with a larger catalogue
// three times what it lives on once that is loaded.
const (
	memoryLeast = 30 << 20
	memoryTimes = 3
)

// settleMemory gives back what loading took, and collects more often as the service
// comes near to what it may hold. An operator's GOMEMLIMIT stands.
func settleMemory() {
	debug.FreeOSMemory()
	if os.Getenv("GOMEMLIMIT") != "" {
		return
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	debug.SetMemoryLimit(max(memoryLeast, memoryTimes*int64(m.HeapAlloc)))
}

// serviceStore opens the database of a service, which does without one (nil) where
// none is wanted, or none was named and the default file can't be made.
func serviceStore(database string, log *slog.Logger) (*store.Store, error) {
	if database == noDatabase {
		log.Info("nothing is kept: no database is wanted")
		return nil, nil
	}
	s, err := openStore(database, true)
	switch {
	case err == nil:
		log.Info("database", "engine", s.Engine(), "at", describe(database))
		return s, nil
	case database == "":
		log.Warn("nothing is kept: the default database can't be made; name another with --database", "error", err)
		return nil, nil
	}
	return nil, fmt.Errorf("database %s: %w", describe(database), err)
}

// keeper gives a service the records in force, and keeps house in its database.
type keeper struct {
	*store.Store
	log *slog.Logger
	use func(*care.Catalogue)

	// Used by one goroutine: the start, then the watcher.
	inUse   string // a catalogue's revision
	trouble string
	told    time.Time

	collect int // the garbage collector's pace after the first load
}

// take puts the records in force to use.
func (k *keeper) take(c *care.Catalogue) {
	k.put(c)
	k.trouble = ""
}

func (k *keeper) put(c *care.Catalogue) {
	if k.inUse == "" {
		debug.SetGCPercent(k.collect)
	}
	if c.Revision != k.inUse {
		k.use(c)
		k.inUse = c.Revision
		settleMemory()
		k.log.Info("records in use", "catalogue", c.Revision)
	}
}

// embedded puts the program's own records to use.
func (k *keeper) embedded() {
	c, err := loadEmbedded()
	if err != nil {
		k.log.Error("the program's own records", "error", err)
		return
	}
	k.put(c)
}

// sayAgain is after how long the same trouble is logged again. Own choice.
const sayAgain = time.Minute

// report logs a trouble with the database. At a start it also puts the embedded
// records to use: an answer from them, which carries their revision, is worth more
// than none. Until then the service is not ready, because the records in force may
// say otherwise.
func (k *keeper) report(err error) {
	if text := err.Error(); text != k.trouble || time.Since(k.told) > sayAgain {
		k.trouble, k.told = text, time.Now()
		k.log.Warn("database", "error", text)
	}
	if k.inUse == "" {
		k.embedded()
	}
}

// Own choices: a write is repeated within minutes, or by a person within days.
const (
	tokenAge   = 7 * 24 * time.Hour
	houseFirst = time.Second      // the start belongs to the questions
	houseAgain = 10 * time.Second // after a failure
	houseEvery = time.Hour
)

// house proposes the program's newer records to the curators, once, and forgets old
// idempotency tokens every hour.
func (k *keeper) house(ctx context.Context) {
	proposed := false
	for wait := houseFirst; ; {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		wait = houseEvery
		if !proposed {
			drafts, err := k.ProposeEmbedded(ctx)
			proposed = err == nil
			for _, d := range drafts {
				k.log.Info("the program carries a newer text than the one from which the curators' started; drafted for review", "path", d.Path, "revision", d.ID)
			}
			k.unkept(err)
		}
		_, err := k.PruneTokens(ctx, tokenAge)
		k.unkept(err)
		if err != nil || !proposed {
			wait = houseAgain
		}
	}
}

// unkept logs a failure of the housekeeping. That the database is away is the
// watcher's to tell.
func (k *keeper) unkept(err error) {
	if err != nil && !errors.Is(err, store.ErrUnavailable) && !errors.Is(err, context.Canceled) {
		k.log.Warn("keeping house", "error", err)
	}
}
