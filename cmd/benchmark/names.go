package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unicode/utf8"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver pgx
	_ "modernc.org/sqlite"             // the driver sqlite

	"denwright/care"
)

// Of the comparison of name searches.
const (
	nameCount  = 100_000
	queryCount = 500
	candidates = 50 // of the others, reranked by edit distance
)

// searcher is one way to find a misspelt name: the candidates, best first.
type searcher struct {
	name     string
	find     func(ctx context.Context, typed string) ([]string, error)
	times    []time.Duration
	right    int // queries whose first name is the one meant
	reranked int // the same once the candidates are put in order of edit distance
}

// names compares the name search with two that anyone could set up.
func (s *suite) names(ctx context.Context) error {
	held := namesFrom(s.catalogue, nameCount)
	typed, meant := misspelt(held)
	index := care.NewNameIndex(held)
	all := []*searcher{{name: "the program's", find: func(_ context.Context, q string) (out []string, err error) {
		_, found := index.Find(q, 10)
		for _, f := range found {
			out = append(out, f.Text)
		}
		return out, nil
	}}}
	lite, err := s.fts5(ctx, held)
	if err != nil {
		return fmt.Errorf("SQLite: %w", err)
	}
	defer lite.close()
	all = append(all, lite.searchers...)
	post, err := s.trigrams(ctx, held)
	if err != nil {
		return fmt.Errorf("PostgreSQL: %w", err)
	}
	if post == nil {
		s.table.note("Left out: PostgreSQL with pg_trgm. Neither --database was given nor are its programs installed.")
	} else {
		defer post.close()
		all = append(all, post.searchers...)
	}
	for round := range 2 { // the first warms up
		for i, q := range typed {
			for _, k := range all {
				begun := time.Now()
				found, err := k.find(ctx, q)
				took := time.Since(begun)
				if err != nil {
					return fmt.Errorf("%s: %q: %w", k.name, q, err)
				}
				if round > 0 {
					k.note(q, meant[i], found, took)
				}
			}
		}
	}
	return s.compareNames(all)
}

func (k *searcher) note(typed, meant string, found []string, took time.Duration) {
	k.times = append(k.times, took)
	if len(found) == 0 {
		return
	}
	if found[0] == meant {
		k.right++
	}
	best, nearest := found[0], editDistance(typed, found[0])
	for _, f := range found[1:] {
		if d := editDistance(typed, f); d < nearest {
			best, nearest = f, d
		}
	}
	if best == meant {
		k.reranked++
	}
}

func (s *suite) compareNames(all []*searcher) error {
	percent := func(n int) float64 { return 100 * float64(n) / queryCount }
	ours := all[0]
	fastest, best := time.Duration(0), 0
	for i, k := range all {
		text := fmt.Sprintf("%s and %s; %s %% first", micro(quantile(k.times, 0.5)), micro(quantile(k.times, 0.99)), number(percent(k.right)))
		if i > 0 {
			text += fmt.Sprintf(", %s %% once the %d best are reranked", number(percent(k.reranked)), candidates)
			if m := quantile(k.times, 0.5); fastest == 0 || m < fastest {
				fastest = m
			}
			best = max(best, k.reranked)
		}
		s.table.figure(fmt.Sprintf("A misspelt name among %d, p50 and p99: %s", nameCount, k.name), text)
	}
	s.table.atLeast("The same: the faster of the others over the program's, at the median", float64(fastest)/float64(quantile(ours.times, 0.5)), 20, " times")
	s.table.atLeast("The same: names meant that come first, against the better of the others reranked", percent(ours.right), percent(best), " %")
	s.table.note("Names are made from the real ones by one to three edits (a letter put in, left out, changed or exchanged), %d queries from those by one or two more, all from a fixed seed. The others' times are without the reranking.", queryCount)
	return nil
}

// namesFrom makes n different names from those of the catalogue, each with a bearer of
// its own.
func namesFrom(c *care.Catalogue, n int) (out []care.HeldName) {
	var real []care.HeldName
	for _, s := range c.Species() {
		real = append(real, care.HeldName{Text: s.Scientific, Language: "la", Kind: care.AcceptedName})
		for _, name := range s.Names.Synonyms {
			real = append(real, care.HeldName{Text: name, Language: "la", Kind: care.SynonymName})
		}
		for _, language := range slices.Sorted(maps.Keys(s.Names.Common)) {
			for _, name := range s.Names.Common[language] {
				real = append(real, care.HeldName{Text: name, Language: language, Kind: care.CommonName})
			}
		}
	}
	r := rand.New(rand.NewPCG(1, 9))
	seen := make(map[string]bool, n)
	for len(out) < n {
		h := real[r.IntN(len(real))]
		for range 1 + r.IntN(3) {
			h.Text = edited(r, h.Text)
		}
		if key := strings.ToLower(h.Text); utf8.RuneCountInString(h.Text) >= 4 && !seen[key] {
			seen[key] = true
			h.Bearer = len(out)
			out = append(out, h)
		}
	}
	return out
}

// misspelt makes the queries, none of which is itself a name held.
func misspelt(held []care.HeldName) (typed, meant []string) {
	taken := make(map[string]bool, len(held))
	for _, h := range held {
		taken[strings.ToLower(h.Text)] = true
	}
	r := rand.New(rand.NewPCG(2, 9))
	for len(typed) < queryCount {
		h := held[r.IntN(len(held))]
		if utf8.RuneCountInString(h.Text) < 6 {
			continue
		}
		q := edited(r, h.Text)
		if len(typed)%2 == 1 {
			q = edited(r, q)
		}
		if !taken[strings.ToLower(q)] {
			typed, meant = append(typed, q), append(meant, h.Text)
		}
	}
	return typed, meant
}

// edited makes one edit as people do.
func edited(r *rand.Rand, name string) string {
	letters := []rune(name)
	if len(letters) < 3 {
		return name
	}
	at, letter := r.IntN(len(letters)-1), rune('a'+r.IntN(26))
	switch r.IntN(4) {
	case 0:
		letters = slices.Insert(letters, at, letter)
	case 1:
		letters = slices.Delete(letters, at, at+1)
	case 2:
		letters[at] = letter
	default:
		letters[at], letters[at+1] = letters[at+1], letters[at]
	}
	return strings.TrimSpace(string(letters))
}

// editDistance counts letters put in, left out, changed or exchanged with the next.
func editDistance(a, b string) int {
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	rows := [3][]int{make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)}
	for j := range rows[1] {
		rows[1][j] = j
	}
	for i := 1; i <= len(x); i++ {
		now, before, twice := rows[2], rows[1], rows[0]
		now[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			now[j] = min(before[j]+1, now[j-1]+1, before[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				now[j] = min(now[j], twice[j-2]+1)
			}
		}
		rows = [3][]int{before, now, twice}
	}
	return rows[1][len(y)]
}

// database is a search set up in one.
type database struct {
	searchers []*searcher
	close     func()
}

func texts(ctx context.Context, q *sql.Stmt, args ...any) (out []string, err error) {
	rows, err := q.QueryContext(ctx, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		out = append(out, name)
	}
	return out, rows.Err()
}

// fill puts the names into a table.
func fill(ctx context.Context, db *sql.DB, insert string, held []care.HeldName) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // nothing after the commit
	q, err := tx.PrepareContext(ctx, insert)
	if err != nil {
		return err
	}
	for _, h := range held {
		if _, err := q.ExecContext(ctx, h.Text); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// fts5 is SQLite with a trigram index: names that share trigrams, by bm25.
func (s *suite) fts5(ctx context.Context, held []care.HeldName) (*database, error) {
	db, err := sql.Open("sqlite", filepath.Join(s.scratch, "names.db"))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if _, err := db.ExecContext(ctx, `CREATE VIRTUAL TABLE names USING fts5(name, tokenize='trigram')`); err != nil {
		return nil, err
	}
	if err := fill(ctx, db, `INSERT INTO names(name) VALUES (?)`, held); err != nil {
		return nil, err
	}
	if _, err := db.ExecContext(ctx, `INSERT INTO names(names) VALUES ('optimize')`); err != nil {
		return nil, err
	}
	q, err := db.PrepareContext(ctx, `SELECT name FROM names WHERE names MATCH ? ORDER BY rank LIMIT `+strconv.Itoa(candidates))
	if err != nil {
		return nil, err
	}
	find := func(ctx context.Context, typed string) ([]string, error) {
		letters := []rune(typed)
		var any []string
		for i := 0; i+3 <= len(letters); i++ {
			any = append(any, `"`+strings.ReplaceAll(string(letters[i:i+3]), `"`, `""`)+`"`)
		}
		return texts(ctx, q, strings.Join(any, " OR "))
	}
	return &database{[]*searcher{{name: "SQLite, FTS5 trigram", find: find}}, func() { _ = db.Close() }}, nil
}

// trigrams is PostgreSQL with pg_trgm and each of its two kinds of index; nil where
// there is no PostgreSQL.
func (s *suite) trigrams(ctx context.Context, held []care.HeldName) (*database, error) {
	address, end := s.database, func() {}
	if address == "" {
		var err error
		if address, end, err = cluster(ctx); err != nil || address == "" {
			return nil, err
		}
	}
	db, err := sql.Open("pgx", address)
	if err != nil {
		end()
		return nil, err
	}
	db.SetMaxOpenConns(1)
	out := &database{close: func() {
		_, _ = db.ExecContext(context.WithoutCancel(ctx), `DROP SCHEMA IF EXISTS denwright_benchmark CASCADE`)
		_ = db.Close()
		end()
	}}
	var version string
	err = db.QueryRowContext(ctx, `SHOW server_version`).Scan(&version)
	for _, command := range []string{`CREATE EXTENSION IF NOT EXISTS pg_trgm`, `DROP SCHEMA IF EXISTS denwright_benchmark CASCADE`, `CREATE SCHEMA denwright_benchmark`,
		`CREATE TABLE denwright_benchmark.gin (name text NOT NULL)`} {
		if err == nil {
			_, err = db.ExecContext(ctx, command)
		}
	}
	if err == nil {
		err = fill(ctx, db, `INSERT INTO denwright_benchmark.gin VALUES ($1)`, held)
	}
	for _, command := range []string{`CREATE TABLE denwright_benchmark.gist AS SELECT name FROM denwright_benchmark.gin`,
		`CREATE INDEX ON denwright_benchmark.gin USING gin (name gin_trgm_ops)`, `CREATE INDEX ON denwright_benchmark.gist USING gist (name gist_trgm_ops)`,
		`ANALYZE denwright_benchmark.gin`, `ANALYZE denwright_benchmark.gist`} {
		if err == nil {
			_, err = db.ExecContext(ctx, command)
		}
	}
	version, _, _ = strings.Cut(version, " ")
	for _, k := range []struct{ name, query string }{
		{"a GIN index (name % $1, the default threshold)", `SELECT name FROM denwright_benchmark.gin WHERE name % $1 ORDER BY similarity(name, $1) DESC LIMIT `},
		{"a GiST index (nearest by <->)", `SELECT name FROM denwright_benchmark.gist ORDER BY name <-> $1 LIMIT `},
	} {
		if err != nil {
			break
		}
		var q *sql.Stmt
		if q, err = db.PrepareContext(ctx, k.query+strconv.Itoa(candidates)); err == nil {
			out.searchers = append(out.searchers, &searcher{name: "PostgreSQL " + version + ", pg_trgm, " + k.name,
				find: func(ctx context.Context, typed string) ([]string, error) { return texts(ctx, q, typed) }})
		}
	}
	if err != nil {
		out.close()
		return nil, err
	}
	return out, nil
}

// cluster starts a PostgreSQL of our own on a socket in a folder, where its programs
// are installed; an empty address where they are not.
func cluster(ctx context.Context) (address string, end func(), err error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(found) == 0 {
		return "", nil, err
	}
	bin := filepath.Dir(found[len(found)-1])
	dir, err := os.MkdirTemp("", "denwright-postgres-")
	if err != nil {
		return "", nil, err
	}
	as := &syscall.SysProcAttr{}
	name := "postgres"
	if os.Getuid() == 0 { // it does not run as root
		u, err := user.Lookup(name)
		if err != nil {
			return "", nil, errors.Join(err, os.RemoveAll(dir))
		}
		uid, _ := strconv.Atoi(u.Uid) // numbers, by the system
		gid, _ := strconv.Atoi(u.Gid)
		as.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		if err := os.Chown(dir, uid, gid); err != nil {
			return "", nil, errors.Join(err, os.RemoveAll(dir))
		}
	}
	data := filepath.Join(dir, "data")
	make := exec.CommandContext(ctx, filepath.Join(bin, "initdb"), "-D", data, "-U", name, "--encoding=UTF8", "--locale=C.UTF-8", "--auth=trust")
	make.SysProcAttr, make.Dir = as, dir
	if out, err := make.CombinedOutput(); err != nil {
		return "", nil, errors.Join(fmt.Errorf("initdb: %w\n%s", err, out), os.RemoveAll(dir))
	}
	server := exec.Command(filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-c", "listen_addresses=")
	server.SysProcAttr, server.Dir = as, dir
	if err := server.Start(); err != nil {
		return "", nil, errors.Join(err, os.RemoveAll(dir))
	}
	end = func() {
		_ = server.Process.Signal(syscall.SIGINT) // without waiting for clients
		_ = server.Wait()
		_ = os.RemoveAll(dir)
	}
	address = fmt.Sprintf("host=%s user=%s dbname=postgres", dir, name)
	db, err := sql.Open("pgx", address)
	if err != nil {
		end()
		return "", nil, err
	}
	defer db.Close()
	for range 100 {
		if err = db.PingContext(ctx); err == nil {
			return address, end, nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	end()
	return "", nil, fmt.Errorf("the private cluster does not answer: %w", err)
}
