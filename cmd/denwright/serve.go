package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"strings"
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

More questions at once than the machine carries are refused with 503, more than --rate
of one key or address with 429, both with Retry-After. Put TLS in front before the
service listens anywhere but on this machine, and say with --proxies how many proxies
there are, so that clients are told apart by the address that the outermost one saw.

Flags:
`

func (p *program) serve(ctx context.Context, args []string) error {
	f := p.flags("serve", serveUsage)
	address := f.String("address", "127.0.0.1:8080", "host and port to listen on")
	database := databaseFlag(f)
	admin := f.String("admin", "", "loopback host and port of /metrics and /debug/pprof/, such as 127.0.0.1:8090; none when left out")
	var cfg api.Config
	f.Float64Var(&cfg.RatePerSecond, "rate", 0, "requests a second that one key, or one address without a key, may send in the long run; 0 for no limit")
	f.IntVar(&cfg.RateBurst, "burst", 0, "how many it may send at once; ten seconds' worth when left out")
	f.IntVar(&cfg.Proxies, "proxies", 0, "how many proxies of yours stand before the service and add to X-Forwarded-For")
	origins := f.String("allow-origin", "", "origins, such as https://app.example, whose pages may read answers in a browser; with commas between")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	switch {
	case len(rest) > 0:
		return usageError{"serve takes flags only"}
	case cfg.RatePerSecond < 0 || cfg.RateBurst < 0 || cfg.Proxies < 0:
		return usageError{"--rate, --burst and --proxies are not negative"}
	}
	if cfg.AllowOrigins, err = originsOf(*origins); err != nil {
		return err
	}
	if *admin != "" {
		runtime.MemProfileRate = profileEvery
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
		debug.FreeOSMemory() // what loading took
		background, stop := context.WithCancel(ctx)
		defer stop()
		loaded := make(chan struct{})
		close(loaded)
		go watchMemory(background, loaded)
		return runService(ctx, api.New(c, log), *address, *admin, cfg)
	}
	server := api.New(nil, log)
	k := &keeper{Store: kept, log: log, use: server.SetCatalogue, collect: debug.SetGCPercent(loadingGC), loaded: make(chan struct{})}
	if _, err := os.Stat(describe(at)); kept.Engine() == "sqlite" && errors.Is(err, fs.ErrNotExist) {
		k.embedded() // a file yet to be made says nothing else
	}
	background, stop := context.WithCancel(ctx)
	var work sync.WaitGroup
	work.Go(func() { kept.Watch(background, store.DefaultPoll, k.take, k.report) })
	work.Go(func() { k.house(background) })
	work.Go(func() { watchMemory(background, k.loaded) })
	cfg.Store = kept
	err = runService(ctx, server, *address, *admin, cfg)
	stop()
	work.Wait()
	return errors.Join(err, kept.Close())
}

// originsOf reads a list of origins as browsers send them: scheme, host and port.
func originsOf(list string) (out []string, err error) {
	for origin := range strings.SplitSeq(list, ",") {
		if origin = strings.TrimSpace(origin); origin == "" {
			continue
		}
		u, err := url.Parse(origin)
		if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || u.Path != "" || u.RawQuery != "" || u.User != nil {
			return nil, usageError{fmt.Sprintf("--allow-origin: %q is not an origin such as https://app.example", origin)}
		}
		out = append(out, origin)
	}
	return out, nil
}

// runService serves until ctx ends, with the administration port if there is one. The end
// of either ends the other.
func runService(ctx context.Context, s *api.Server, address, admin string, cfg api.Config) error {
	if admin == "" {
		return s.Run(ctx, address, cfg)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() {
		defer stop()
		ended <- s.RunAdmin(ctx, admin)
	}()
	err := s.Run(ctx, address, cfg)
	stop()
	return errors.Join(err, <-ended)
}

// profileEvery is of how many bytes allocated one is recorded where profiles are served.
const profileEvery = 512 << 10

// Own choices: what a service may hold is memoryLeast, or half as much again
// as it lives on (a catalogue, and whoever is connected) and memoryBooks for the
// runtime's own books. Looked at every memoryEvery.
const (
	memoryLeast = 40 << 20
	memoryBooks = 8 << 20
	memoryEvery = 250 * time.Millisecond
)

// mayHold is how many bytes a service may hold that lives on so many.
func mayHold(lives uint64) int64 { return max(memoryLeast, memoryBooks+int64(lives)*3/2) }

// watchMemory has the service collect more often as it comes near to what it may hold,
// until ctx ends, once there are records. A bound that stood still would have a thousand clients, who take up
// room of their own, collected for without end. An operator's GOMEMLIMIT stands.
func watchMemory(ctx context.Context, loaded <-chan struct{}) {
	if os.Getenv("GOMEMLIMIT") != "" {
		return
	}
	select {
	case <-loaded: // loading has a pace of its own
	case <-ctx.Done():
		return
	}
	lives := []metrics.Sample{{Name: "/gc/heap/live:bytes"}, {Name: "/memory/classes/heap/stacks:bytes"}}
	tick := time.NewTicker(memoryEvery)
	defer tick.Stop()
	for held := int64(0); ; {
		metrics.Read(lives)
		if may := mayHold(lives[0].Value.Uint64() + lives[1].Value.Uint64()); may != held {
			held = may
			debug.SetMemoryLimit(may)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
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

	collect int           // the garbage collector's pace after the first load
	loaded  chan struct{} // closed by it
}

// take puts the records in force to use.
func (k *keeper) take(c *care.Catalogue) {
	k.put(c)
	k.trouble = ""
}

func (k *keeper) put(c *care.Catalogue) {
	if k.inUse == "" {
		debug.SetGCPercent(k.collect)
		defer close(k.loaded)
	}
	if c.Revision != k.inUse {
		k.use(c)
		k.inUse = c.Revision
		debug.FreeOSMemory() // what loading took
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
