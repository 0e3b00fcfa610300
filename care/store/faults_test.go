package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"database/sql/driver"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"denwright/care"
	"denwright/care/store/postgrestest"
)

// runJob is what this binary does when a test starts it as a process of its own.
func runJob(job, database string) error {
	ctx := context.Background()
	switch job {
	case "migrate":
		st, err := MigrateUp(ctx, database)
		fmt.Println(st)
		return err
	case "write":
		s, err := Open(Config{Database: database, Embedded: invented()})
		if err != nil {
			return err
		}
		who, err := s.Authenticate(ctx, os.Getenv("DENWRIGHT_TEST_JOB_SECRET"))
		if err != nil {
			return err
		}
		from, err := strconv.Atoi(os.Getenv("DENWRIGHT_TEST_JOB_FROM"))
		if err != nil {
			return err
		}
		var wg sync.WaitGroup
		var mu sync.Mutex
		next := make(chan int)
		for range 4 {
			wg.Go(func() {
				for i := range next {
					setup, err := s.CreateSetup(ctx, who, fmt.Sprint("write ", i), checkable(i))
					// A slow machine may refuse a write; a client asks again with the same token.
					for again := 0; errors.Is(err, ErrUnavailable) && again < 50; again++ {
						time.Sleep(100 * time.Millisecond)
						setup, err = s.CreateSetup(ctx, who, fmt.Sprint("write ", i), checkable(i))
					}
					mu.Lock()
					if err == nil {
						fmt.Println(i, setup.ID) // the acknowledgement: one line, one write
					} else {
						fmt.Fprintln(os.Stderr, i, err)
					}
					mu.Unlock()
				}
			})
		}
		for i := from; i < writes; i++ {
			next <- i
		}
		close(next)
		wg.Wait()
		return s.Close()
	}
	return fmt.Errorf("no job %q", job)
}

const writes = 1000

// checkable is a setup that carries the hash of its own content: a row of which
// a part is missing or of another write is recognised.
func checkable(i int) SetupInput {
	body := strings.Repeat(fmt.Sprintf("%d;", i), 200)
	sum := sha256.Sum256([]byte(body))
	return SetupInput{Name: fmt.Sprint("setup ", i), Payload: json.RawMessage(fmt.Sprintf(`{"n":%d,"body":%q,"sum":%q}`, i, body, hex.EncodeToString(sum[:])))}
}

// whole fails unless the payload is what checkable made for some i, which it returns.
func whole(t *testing.T, s Setup) int {
	t.Helper()
	var p struct {
		N         int
		Body, Sum string
	}
	if err := json.Unmarshal(s.Payload, &p); err != nil {
		t.Fatalf("setup %s is half-written: %v", s.ID, err)
	}
	sum := sha256.Sum256([]byte(p.Body))
	if hex.EncodeToString(sum[:]) != p.Sum || s.Name != fmt.Sprint("setup ", p.N) {
		t.Fatalf("setup %s is half-written", s.ID)
	}
	return p.N
}

// stored reads every setup of the caller, checks each, and gives number → id. A
// number that was stored twice fails. What a killed program had sent may still be
// committed by the server while this reads: then it reads again.
func stored(t *testing.T, s *Store, who Caller) map[int]string {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); ; {
		out := listed(t, s, who)
		// Each setup came with its version, its token and its line in the audit trail, or not at all.
		var setups, versions, tokens, lines int
		err := s.reading(t.Context(), func(ctx context.Context, q queryer) error {
			return q.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM setup), (SELECT count(*) FROM setup_version), (SELECT count(*) FROM idempotency),
			(SELECT count(*) FROM audit WHERE action = 'setup.create')`).Scan(&setups, &versions, &tokens, &lines)
		})
		if err != nil || versions != setups || tokens != setups || lines != setups {
			t.Fatalf("%d setups, %d versions, %d tokens, %d audit lines, %v", setups, versions, tokens, lines, err)
		}
		if setups == len(out) {
			return out
		}
		if time.Now().After(end) {
			t.Fatalf("%d setups, of which %d are listed", setups, len(out))
		}
	}
}

// listed is stored without the comparison with what the tables hold.
func listed(t *testing.T, s *Store, who Caller) map[int]string {
	t.Helper()
	out := map[int]string{}
	for p := (Page{Limit: 200}); ; {
		l, err := s.Setups(t.Context(), who, SetupFilter{}, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, item := range l.Items {
			n := whole(t, item)
			if out[n] != "" {
				t.Fatalf("write %d is stored twice", n)
			}
			out[n] = item.ID
		}
		if p.Cursor = l.Next; p.Cursor == "" {
			break
		}
	}
	return out
}

// acknowledged checks that every acknowledged write is there.
func acknowledged(t *testing.T, acks, there map[int]string) {
	t.Helper()
	for n, id := range acks {
		if there[n] != id {
			t.Errorf("write %d was acknowledged as %s and is %q", n, id, there[n])
		}
	}
}

// TestKillWriter kills the writing program in the middle of its work, four
// times, and lets another go on until all writes are acknowledged.
func TestKillWriter(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		home := organisation(t, s, "Rescue", false)
		_, secret, err := s.CreateKey(t.Context(), Operator("test"), home, "", "Ada", Admin)
		if err != nil {
			t.Fatal(err)
		}
		who := must[Caller](t)(s.Authenticate(t.Context(), secret))
		acks := map[int]string{}
		for _, killAfter := range []int{137, 220, 301, 160, writes} {
			// On from the first that was not acknowledged, which others may have overtaken
			// by far. Some acknowledged ones are asked again: their tokens must answer.
			from := 0
			for acks[from] != "" {
				from++
			}
			from = max(0, from-20)
			cmd, out := startJob(t, "write", database, "DENWRIGHT_TEST_JOB_SECRET="+secret, fmt.Sprint("DENWRIGHT_TEST_JOB_FROM=", from))
			killed := false
			for lines := 0; out.Scan(); {
				var n int
				var id string
				if _, err := fmt.Sscan(out.Text(), &n, &id); err != nil {
					t.Fatalf("line %q", out.Text())
				}
				if was := acks[n]; was != "" && was != id {
					t.Fatalf("write %d was acknowledged as %s, then as %s", n, was, id)
				}
				acks[n] = id
				if lines++; lines == killAfter {
					if err := cmd.Process.Kill(); err != nil { // SIGKILL
						t.Fatal(err)
					}
					killed = true
				}
			}
			if err := cmd.Wait(); (err != nil) != killed {
				t.Fatalf("killed %v, ended with %v", killed, err)
			}
			there := stored(t, s, who)
			acknowledged(t, acks, there)
			t.Logf("killed %v: %d acknowledged, %d stored", killed, len(acks), len(there))
		}
		if len(acks) != writes {
			t.Errorf("%d of %d acknowledged", len(acks), writes)
		}
	})
}

// TestReplicasMigrateAtOnce starts two programs on an empty database.
func TestReplicasMigrateAtOnce(t *testing.T) {
	const rounds = 5
	for round := range rounds {
		t.Run(fmt.Sprint(round), func(t *testing.T) {
			onEach(t, func(t *testing.T, database string) {
				one, first := startJob(t, "migrate", database)
				two, second := startJob(t, "migrate", database)
				for _, out := range []interface {
					Scan() bool
					Text() string
				}{first, second} {
					if !out.Scan() || !strings.Contains(out.Text(), "up to date") {
						t.Errorf("a replica says %q", out.Text())
					}
				}
				if err := errors.Join(one.Wait(), two.Wait()); err != nil {
					t.Error(err)
				}
				if err := open(t, Config{Database: database}).Ready(t.Context()); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// replica is a program that watches the catalogue and answers from the last one it got.
type replica struct {
	*Store
	current  atomic.Pointer[care.Catalogue]
	troubles atomic.Int64
}

func startReplica(t *testing.T, database string, poll, timeout time.Duration) *replica {
	t.Helper()
	r := &replica{Store: open(t, Config{Database: database, Timeout: timeout})}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.Watch(ctx, poll, func(c *care.Catalogue) { r.current.Store(c) }, func(error) { r.troubles.Add(1) })
	}()
	t.Cleanup(func() { stop(); <-done })
	await(t, 10*time.Second, func() bool { return r.current.Load() != nil })
	return r
}

// await waits until ok, and tells how long it took.
func await(t *testing.T, most time.Duration, ok func() bool) time.Duration {
	t.Helper()
	start := time.Now()
	for !ok() {
		if time.Since(start) > most {
			t.Fatalf("not within %v", most)
		}
		time.Sleep(2 * time.Millisecond)
	}
	return time.Since(start)
}

// publish drafts, reviews and publishes a figure over what is in force.
func publish(ctx context.Context, s *Store, figure string) (*care.Catalogue, error) {
	now, err := s.InForce(ctx, Operator("Ada"), inventedSpecies)
	if err != nil {
		return nil, err
	}
	d, err := s.DraftRevision(ctx, Operator("Ada"), "", DraftInput{inventedSpecies, warmer(figure), "figure", now.ID})
	if err != nil {
		return nil, err
	}
	if _, err := s.ReviewRevision(ctx, Operator("Bea"), d.ID, "yes"); err != nil {
		return nil, err
	}
	return s.PublishRevisions(ctx, Operator("Ada"), "now", d.ID)
}

func TestPublishReachesReplica(t *testing.T) {
	tests := []struct {
		name string
		poll time.Duration
		most time.Duration
	}{
		{"notified", time.Hour, time.Second}, // PostgreSQL alone can: the poll is out of reach
		{"polled", 100 * time.Millisecond, time.Second},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			onEach(t, func(t *testing.T, database string) {
				here, _ := fresh(t, database)
				if tt.name == "notified" && !here.Shared() {
					return // a file has no notices; "polled" is its case
				}
				there := startReplica(t, database, tt.poll, 0)
				var worst time.Duration
				const publishes = 10
				for i := range publishes {
					c := must[*care.Catalogue](t)(publish(t.Context(), here, fmt.Sprint(31+i)))
					took := await(t, tt.most, func() bool { return there.current.Load().Revision == c.Revision })
					if high(there.current.Load()) != float64(31+i) {
						t.Fatalf("the other replica answers %g", high(there.current.Load()))
					}
					worst = max(worst, took)
				}
				t.Logf("%s, %s: %d publishes, the slowest reached the other replica after %v", here.Engine(), tt.name, publishes, worst)
			})
		})
	}
}

// TestOwnPublishNeedsNoPoll: the replica that published is told by itself.
func TestOwnPublishNeedsNoPoll(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		fresh(t, database)
		r := startReplica(t, database, time.Hour, 0)
		c := must[*care.Catalogue](t)(publish(t.Context(), r.Store, "31"))
		await(t, time.Second, func() bool { return r.current.Load().Revision == c.Revision })
	})
}

// TestBrokenInTransaction: what database/sql reports of a transaction that broke
// under way is told as a loss, whichever of its states it found.
func TestBrokenInTransaction(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		fresh(t, database)
		brief := open(t, Config{Database: database, Timeout: 300 * time.Millisecond})
		timeIsUp := func(ctx context.Context, _ queryer) error {
			<-ctx.Done()
			time.Sleep(50 * time.Millisecond) // it is rolled back behind our back
			return nil
		}
		err := brief.writing(t.Context(), timeIsUp)
		wants(t, err, sql.ErrTxDone) // else this tests another case
		wants(t, err, ErrUnavailable)
		if err := brief.reading(t.Context(), timeIsUp); err != nil {
			t.Errorf("what was read in time is lost: %v", err)
		}

		s := open(t, Config{Database: database})
		gone, leave := context.WithCancel(t.Context())
		err = s.writing(gone, func(context.Context, queryer) error {
			leave()
			time.Sleep(50 * time.Millisecond)
			return nil
		})
		wants(t, err, context.Canceled) // the caller's own
		if errors.Is(err, ErrUnavailable) {
			t.Errorf("a caller that left is told %v", err)
		}

		if !s.Shared() {
			return // a file has no connection that another can end
		}
		err = s.writing(t.Context(), func(ctx context.Context, tx queryer) error {
			if _, err := tx.ExecContext(ctx, `SELECT pg_terminate_backend(pg_backend_pid())`); err == nil {
				t.Error("the connection was not ended")
			}
			_, err := tx.ExecContext(ctx, `SELECT 1`)
			return err
		})
		wants(t, err, driver.ErrBadConn)
		wants(t, err, ErrUnavailable)
	})
}

// TestClassify: each way in which a connection goes is told as a loss, by itself and
// among others; what the program got wrong is not.
func TestClassify(t *testing.T) {
	fault := errors.New("a fault of the program")
	for _, err := range []error{driver.ErrBadConn, sql.ErrTxDone, pgconn.ErrConnClosed, net.ErrClosed, io.EOF, io.ErrUnexpectedEOF, context.DeadlineExceeded} {
		for _, seen := range []error{err, fmt.Errorf("commit: %w", err), errors.Join(fault, err)} {
			if got := classify(t.Context(), seen); !errors.Is(got, ErrUnavailable) || !errors.Is(got, err) {
				t.Errorf("%v is told as %v", seen, got)
			}
		}
	}
	for _, err := range []error{fault, sql.ErrNoRows, ErrStale, ErrInvalid} {
		if got := classify(t.Context(), err); got != err {
			t.Errorf("%v is told as %v", err, got)
		}
	}
}

// TestConnectionsLostIdle: a database that is back, or never was away, is not
// reported as lost because the connections held to it have gone.
func TestConnectionsLostIdle(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		other, _ := fresh(t, database)
		if !other.Shared() {
			return // a file has no connections that another can end
		}
		s := open(t, Config{Database: database, Connections: 3})
		who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Keeper)
		for round := range 5 {
			var open sync.WaitGroup
			open.Add(3)
			var done sync.WaitGroup
			for range 3 { // all at once, so that each holds a connection of its own
				done.Go(func() {
					opened := sync.OnceFunc(open.Done)
					defer opened()
					err := s.reading(t.Context(), func(ctx context.Context, q queryer) error {
						opened()
						open.Wait()
						_, err := q.ExecContext(ctx, `SELECT 1`)
						return err
					})
					if err != nil {
						t.Error(err)
					}
				})
			}
			done.Wait()
			var ended int
			err := other.reading(t.Context(), func(ctx context.Context, q queryer) error {
				return q.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT pg_terminate_backend(pid, 10000) AS ended FROM pg_stat_activity
					WHERE datname = current_database() AND pid <> pg_backend_pid()) a WHERE ended`).Scan(&ended)
			})
			if err != nil || ended < 3 {
				t.Fatalf("%d connections ended, %v", ended, err)
			}
			if _, err := s.CreateSetup(t.Context(), who, "", enclosure(fmt.Sprint(round))); err != nil {
				t.Errorf("a write after the connections are gone: %v", err)
			}
			if l, err := s.Setups(t.Context(), who, SetupFilter{}, Page{}); err != nil || len(l.Items) != round+1 {
				t.Errorf("%d setups listed after %d writes, %v", len(l.Items), round+1, err)
			}
		}
	})
}

// TestLostDatabase writes and reads without pause while PostgreSQL is stopped,
// killed, frozen and cut off, each followed by its return.
func TestLostDatabase(t *testing.T) {
	if !postgrestest.Containers(t) {
		return
	}
	ctx := t.Context()
	server := postgrestest.New(t, nil)
	database := postgrestest.NewDatabase(t, server.URL)
	idle, _ := fresh(t, database) // does nothing while the database is away
	const timeout = time.Second
	s := startReplica(t, database, 500*time.Millisecond, timeout)
	other := startReplica(t, database, 500*time.Millisecond, timeout)
	who := caller(t, idle, organisation(t, idle, "Rescue", false), "Ada", Admin)
	figure := must[*care.Catalogue](t)(publish(ctx, idle, "31"))
	for _, r := range []*replica{s, other} {
		await(t, 2*time.Second, func() bool { return r.current.Load().Revision == figure.Revision })
	}

	var (
		mu       sync.Mutex
		acks     = map[int]string{}
		next     atomic.Int64
		refused  atomic.Int64 // ErrUnavailable
		answered atomic.Int64 // questions of the main job
		wrong    atomic.Int64
		reads    atomic.Int64
	)
	load, stop := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	for range 4 { // writers repeat a refused write with its token until it is acknowledged
		wg.Go(func() {
			for load.Err() == nil {
				i := int(next.Add(1))
				for load.Err() == nil {
					setup, err := s.CreateSetup(context.Background(), who, fmt.Sprint("write ", i), checkable(i))
					if err == nil {
						mu.Lock()
						acks[i] = setup.ID
						mu.Unlock()
						break
					}
					var lost *Unavailable
					if !errors.As(err, &lost) || lost.RetryAfter <= 0 || lost.Full {
						t.Errorf("a write failed with %v; want ErrUnavailable", err)
						return
					}
					refused.Add(1)
					time.Sleep(50 * time.Millisecond)
				}
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	wg.Go(func() { // readers get what was acknowledged, or are told that it can't be had
		for load.Err() == nil {
			mu.Lock()
			var n int
			var id string
			for n, id = range acks {
				break
			}
			mu.Unlock()
			if id == "" {
				continue
			}
			setup, err := s.Setup(context.Background(), who, id)
			switch {
			case err == nil && setup.Name == fmt.Sprint("setup ", n):
				reads.Add(1)
			case !errors.Is(err, ErrUnavailable):
				wrong.Add(1)
				t.Errorf("setup %d reads as %q, %v", n, setup.Name, err)
			}
			time.Sleep(5 * time.Millisecond)
		}
	})
	wg.Go(func() { // the main job never stops
		for load.Err() == nil {
			if high(s.current.Load()) < 31 || other.current.Load().SpeciesByID("exemplum-primum") == nil {
				wrong.Add(1)
			}
			answered.Add(1)
			time.Sleep(time.Millisecond)
		}
	})
	count := func() int { mu.Lock(); defer mu.Unlock(); return len(acks) }

	defer wg.Wait()
	defer stop() // before it, where a step below is fatal
	for k, fault := range server.Faults(t) {
		before, refusals, questions := count(), refused.Load(), answered.Load()
		await(t, 20*time.Second, func() bool { return count() > before+20 })
		if err := fault.Down(); err != nil {
			t.Fatal(err)
		}
		if !fault.Brief {
			await(t, 20*time.Second, func() bool { return refused.Load() > refusals+3 })
			start := time.Now()
			_, err := s.CreateSetup(ctx, who, "", enclosure("refused"))
			wants(t, err, ErrUnavailable)
			if took := time.Since(start); took > timeout+time.Second {
				t.Errorf("%s: a write was refused only after %v", fault.Name, took)
			}
		}
		if err := fault.Back(); err != nil {
			t.Fatal(err)
		}
		start, then := time.Now(), count()
		await(t, 60*time.Second, func() bool { return count() > then+20 })
		resumed := time.Since(start)
		c, err := publish(ctx, idle, fmt.Sprint(32+k))
		if err != nil {
			t.Fatalf("%s: publish after the return: %v", fault.Name, err)
		}
		caught := await(t, 10*time.Second, func() bool { return other.current.Load().Revision == c.Revision })
		t.Logf("%-9s %4d acknowledged before, %3d refused, %5d questions answered meanwhile; writing again after %v; the next publish reached the other replica after %v",
			fault.Name, then, refused.Load()-refusals, answered.Load()-questions, resumed.Round(time.Millisecond), caught.Round(time.Millisecond))
	}
	stop()
	wg.Wait()
	there := stored(t, idle, who)
	acknowledged(t, acks, there)
	if wrong.Load() > 0 {
		t.Errorf("%d wrong answers", wrong.Load())
	}
	t.Logf("%d acknowledged, %d stored, %d refused and repeated, %d reads, %d questions, %d wrong; the watchers met trouble %d times",
		len(acks), len(there), refused.Load(), reads.Load(), answered.Load(), wrong.Load(), s.troubles.Load()+other.troubles.Load())
}

// fillUp writes until the disk is full, makes room, and writes on.
func fillUp(t *testing.T, s *Store, makeRoom func()) {
	t.Helper()
	ctx := t.Context()
	who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Admin)
	acks := map[int]string{}
	big := func(i int) SetupInput { // the same check, larger
		in := checkable(i)
		var p map[string]any
		if err := json.Unmarshal(in.Payload, &p); err != nil {
			t.Fatal(err)
		}
		p["padding"] = incompressible(16 << 10)
		raw, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		in.Payload = raw
		return in
	}
	full := 0
	for i := 0; full < 5; i++ {
		if i == 5000 {
			t.Fatal("the disk does not get full")
		}
		setup, err := s.CreateSetup(ctx, who, fmt.Sprint("write ", i), big(i))
		if err == nil {
			acks[i] = setup.ID
			continue
		}
		var report *Unavailable
		if !errors.Is(err, ErrFull) || !errors.Is(err, ErrUnavailable) || !errors.As(err, &report) || report.RetryAfter < time.Second {
			t.Fatalf("write %d: %v; want ErrFull", i, err)
		}
		full++
	}
	before := stored(t, s, who)
	acknowledged(t, acks, before)
	if err := s.Ready(ctx); err != nil {
		t.Errorf("reading on a full disk: %v", err)
	}
	makeRoom()
	resumed := len(acks)
	for i := 10000; i < 10020; i++ {
		acks[i] = must[Setup](t)(s.CreateSetup(ctx, who, fmt.Sprint("write ", i), big(i))).ID
	}
	there := stored(t, s, who)
	acknowledged(t, acks, there)
	t.Logf("%s: %d acknowledged until full, %d refused as full, then %d more; %d stored", s.Engine(), resumed, full, len(acks)-resumed, len(there))
}

// incompressible is text that neither engine can pack.
func incompressible(n int) string {
	var b strings.Builder
	for i := 0; b.Len() < n; i++ {
		sum := sha256.Sum256(fmt.Append(nil, n, i))
		b.WriteString(hex.EncodeToString(sum[:]))
	}
	return b.String()[:n]
}

func TestFullDiskPostgres(t *testing.T) {
	if !postgrestest.Containers(t) {
		return
	}
	// The data lie in a table space of their own on a small disk. The write-ahead
	// log does not: when that one is full, PostgreSQL stops, which is the case "lost".
	server := postgrestest.New(t, map[string]string{"/small": "size=24m,mode=1777"})
	server.Shell(t, "install -d -o postgres -m 0700 /small/space && head -c 6000000 /dev/zero >/small/ballast")
	database := postgrestest.NewDatabase(t, server.URL)
	db, err := sql.Open("pgx", server.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	name := database[strings.LastIndex(database, "/")+1 : strings.Index(database, "?")]
	for _, statement := range []string{`CREATE TABLESPACE small LOCATION '/small/space'`, `ALTER DATABASE ` + name + ` SET TABLESPACE small`} {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	s, _ := fresh(t, database)
	fillUp(t, s, func() { server.Shell(t, "rm /small/ballast") })
}
