package store

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"denwright/care"
	"denwright/migrations"
)

func TestDatabaseAddress(t *testing.T) {
	tests := []struct {
		given  string
		engine engine
		err    error
	}{
		{"postgres://u:p@h/d", postgresEngine, nil},
		{"postgresql://h/d", postgresEngine, nil},
		{"den.db", sqliteEngine, nil},
		{"sqlite:den.db", sqliteEngine, nil},
		{"", sqliteEngine, nil},
		{"mysql://h/d", "", ErrInvalid},
		{":memory:", "", ErrInvalid},
		{"postgres:/u:p@h/d", "", ErrInvalid}, // a slip of the hand, not a folder
	}
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	for _, tt := range tests {
		engine, source, err := parseDatabase(tt.given)
		if engine != tt.engine || !errors.Is(err, tt.err) {
			t.Errorf("%q: %v, %v; want %v, %v", tt.given, engine, err, tt.engine, tt.err)
		}
		if engine == sqliteEngine && !filepath.IsAbs(source) {
			t.Errorf("%q: path %q is not absolute", tt.given, source)
		}
	}
	for _, bad := range []string{"postgres://user:hunter2@h:notaport/d", "postgres://h/d?password=hunter2&sslmode=perhaps", "postgres://user:hunter2`: x@h/d?sslmode=perhaps", "postgres:/user:hunter2@h/d"} {
		if _, err := Open(Config{Database: bad, Embedded: invented()}); !errors.Is(err, ErrInvalid) || strings.Contains(err.Error(), "hunter2") {
			t.Errorf("error %v: want one without the password", err)
		}
	}
}

func TestIdentifiersSortByTime(t *testing.T) {
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	last := ""
	for i := range 1000 {
		id := newID(at.Add(time.Duration(i) * time.Millisecond))
		if id <= last || len(id) != 36 || id[14] != '7' {
			t.Fatalf("%s after %s", id, last)
		}
		last = id
	}
}

func TestMigrations(t *testing.T) {
	for _, folder := range []string{"postgres", "sqlite"} {
		ups, err := fs.Glob(migrations.Files, folder+"/*.up.sql")
		if err != nil || len(ups) == 0 {
			t.Fatal(folder, err)
		}
		for _, up := range ups {
			other := strings.Replace(up, folder, map[string]string{"postgres": "sqlite", "sqlite": "postgres"}[folder], 1)
			for _, name := range []string{strings.Replace(up, ".up.", ".down.", 1), other} {
				if _, err := fs.Stat(migrations.Files, name); err != nil {
					t.Errorf("%s has no counterpart: %v", up, err)
				}
			}
		}
	}
	onEach(t, func(t *testing.T, database string) {
		ctx := t.Context()
		st := must[SchemaStatus](t)(Schema(ctx, database))
		if st.Version != 0 || st.Known == 0 {
			t.Fatalf("empty database: %v", st)
		}
		unmigrated := open(t, Config{Database: database})
		wants(t, unmigrated.Ready(ctx), ErrSchema)
		for range 2 { // a repeat finds nothing to do
			st = must[SchemaStatus](t)(MigrateUp(ctx, database))
			if st.Version != st.Known || st.fits() != nil {
				t.Fatalf("after up: %v", st)
			}
		}
		if err := unmigrated.Ready(ctx); err != nil {
			t.Fatalf("without a restart: %v", err)
		}
		// All the way down and up again.
		st = must[SchemaStatus](t)(MigrateDown(ctx, database, int(st.Known)))
		if st.Version != 0 {
			t.Fatalf("after down: %v", st)
		}
		must[SchemaStatus](t)(MigrateUp(ctx, database))
		// A program died in the middle of a migration.
		behind := open(t, Config{Database: database})
		err := behind.writing(ctx, func(ctx context.Context, tx queryer) error {
			_, err := tx.ExecContext(ctx, `UPDATE schema_migrations SET dirty = TRUE`)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		st, err = MigrateUp(ctx, database)
		wants(t, err, ErrSchema)
		if !st.CutShort || !strings.Contains(err.Error(), "denwright migrate force") {
			t.Errorf("cut short: %v", err)
		}
		wants(t, open(t, Config{Database: database, Migrate: true}).Ready(ctx), ErrSchema)
		if st = must[SchemaStatus](t)(ForceSchema(ctx, database, int(st.Version))); st.fits() != nil {
			t.Errorf("after force: %v", st)
		}
		// A newer program was here.
		must[SchemaStatus](t)(ForceSchema(ctx, database, int(st.Known)+1))
		err = open(t, Config{Database: database, Migrate: true}).Ready(ctx)
		wants(t, err, ErrSchema)
		if want := fmt.Sprintf("at schema %d and this program knows up to %d", st.Known+1, st.Known); !strings.Contains(err.Error(), want) {
			t.Errorf("message %q does not say %q", err, want)
		}
		_, err = MigrateDown(ctx, database, 1)
		wants(t, err, ErrSchema)
	})
}

// TestAppendOnly goes behind the store's back: the database itself refuses.
func TestAppendOnly(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		who := caller(t, s, organisation(t, s, "Rescue", true), "Ada", Admin)
		setup := must[Setup](t)(s.CreateSetup(t.Context(), who, "", enclosure("a")))
		must[Assessment](t)(s.AddAssessment(t.Context(), who, "", setup.ID, answer(1, "0-x")))
		draft := must[Revision](t)(s.DraftRevision(t.Context(), who, "", DraftInput{inventedSpecies, warmer("31"), "why", ""}))
		for _, statement := range []string{
			`UPDATE assessment SET verdict = 'suitable'`, `UPDATE setup_version SET name = 'x'`, `UPDATE audit SET actor = 'x'`,
			`UPDATE record_revision SET body = 'x'`, `DELETE FROM record_revision`, `UPDATE record_step SET why = 'x'`, `DELETE FROM record_step`,
		} {
			err := s.writing(t.Context(), func(ctx context.Context, tx queryer) error {
				_, err := tx.ExecContext(ctx, statement)
				return err
			})
			if err == nil || !strings.Contains(err.Error(), "append-only") {
				t.Errorf("%s: %v; want it refused", statement, err)
			}
		}
		if got := must[Revision](t)(s.Revision(t.Context(), who, draft.ID)); got.Body != warmer("31") {
			t.Error("text changed")
		}
	})
}

func enclosure(name string) SetupInput {
	return SetupInput{Name: name, Species: "exemplum-primum", Payload: json.RawMessage(`{"floor": {"length": "120 cm"},  "note": "as <typed>"}`)}
}

func answer(version int64, revision string) AssessmentInput {
	return AssessmentInput{SetupVersion: version, Species: "exemplum-primum", Verdict: "suitable after changes", Worst: 0.25, Best: 0.75,
		CatalogueRevision: revision, EngineVersion: "1", Format: 1, Payload: json.RawMessage(`{"verdict":"suitable after changes"}`)}
}

func TestKeys(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx, op := t.Context(), Operator("test")
		home, other := organisation(t, s, "Home", true), organisation(t, s, "Other", false)
		_, err := s.CreateOrganisation(ctx, op, "Home", false)
		wants(t, err, ErrStale)

		first, secret, err := s.CreateKey(ctx, op, home, "", "Ada", Admin)
		if err != nil || !strings.HasPrefix(secret, secretPrefix) {
			t.Fatal(secret, err)
		}
		admin := must[Caller](t)(s.Authenticate(ctx, secret))
		if admin.Organisation != home || admin.Role != Admin || !admin.Curates || admin.Holder != "Ada" || admin.Key != first.ID {
			t.Errorf("caller %+v", admin)
		}
		for _, wrong := range []string{"", "x", secretPrefix, secret + "x", secret[:len(secret)-1], strings.ToUpper(secret)} {
			_, err := s.Authenticate(ctx, wrong)
			wants(t, err, ErrUnauthenticated)
		}
		var held string
		err = s.reading(ctx, func(ctx context.Context, q queryer) error {
			return q.QueryRowContext(ctx, `SELECT secret_hash FROM api_key WHERE id = $1`, first.ID).Scan(&held)
		})
		if err != nil || len(held) != 64 || strings.Contains(held, secret) {
			t.Errorf("held as %q, %v", held, err)
		}

		// The last admin can't lock the organisation out; the operator can.
		_, err = s.RevokeKey(ctx, admin, "", first.ID)
		wants(t, err, ErrStale)
		second, secretTwo, err := s.CreateKey(ctx, admin, "", "token-1", "Bea", Keeper)
		if err != nil {
			t.Fatal(err)
		}
		again, none, err := s.CreateKey(ctx, admin, "", "token-1", "Bea", Keeper)
		if err != nil || none != "" || again.ID != second.ID {
			t.Errorf("repeat: %+v, %q, %v; want the same key without its secret", again, none, err)
		}
		_, _, err = s.CreateKey(ctx, admin, "", "token-1", "Bea", Admin)
		wants(t, err, ErrTokenReused)
		_, _, err = s.CreateKey(ctx, admin, other, "", "Bea", Admin)
		wants(t, err, ErrNotFound)
		_, err = s.RevokeKey(ctx, admin, other, second.ID)
		wants(t, err, ErrNotFound)
		for range 2 {
			k := must[Key](t)(s.RevokeKey(ctx, admin, "", second.ID))
			if k.RevokedAt == nil || k.RevokedBy != admin.Key {
				t.Errorf("revoked %+v", k)
			}
		}
		_, err = s.Authenticate(ctx, secretTwo)
		wants(t, err, ErrUnauthenticated)
		must[Key](t)(s.RevokeKey(ctx, op, home, first.ID))

		trail := must[List[Entry]](t)(s.AuditTrail(ctx, op, home, Page{}))
		var actions []string
		for _, e := range trail.Items {
			actions = append(actions, e.Action)
		}
		if d := cmp.Diff([]string{"key.revoke", "key.revoke", "key.create", "key.create", "organisation.create"}, actions); d != "" {
			t.Error(d)
		}
	})
}

// TestAccess asks every method as every role, of the own and of a foreign organisation.
func TestAccess(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		home, other := organisation(t, s, "Home", true), organisation(t, s, "Other", false)
		owner := caller(t, s, home, "Owner", Admin)
		setup := must[Setup](t)(s.CreateSetup(ctx, owner, "", enclosure("a")))
		assessment := must[Assessment](t)(s.AddAssessment(ctx, owner, "", setup.ID, answer(1, "0-x")))
		victim, _, err := s.CreateKey(ctx, Operator("test"), home, "", "Victim", Reader)
		if err != nil {
			t.Fatal(err)
		}

		// own: the least role that may; foreign: what an admin of another organisation meets.
		tests := []struct {
			name    string
			least   Role
			foreign error
			do      func(who Caller) error
		}{
			{"Setup", Reader, ErrNotFound, func(w Caller) error { _, err := s.Setup(ctx, w, setup.ID); return err }},
			{"SetupHistory", Reader, ErrNotFound, func(w Caller) error { _, err := s.SetupHistory(ctx, w, setup.ID, Page{}); return err }},
			{"Setups", Reader, nil, func(w Caller) error {
				l, err := s.Setups(ctx, w, SetupFilter{}, Page{})
				if w.Organisation != home && len(l.Items) > 0 {
					return errors.New("sees a foreign setup")
				}
				return err
			}},
			{"Assessment", Reader, ErrNotFound, func(w Caller) error { _, err := s.Assessment(ctx, w, assessment.ID); return err }},
			{"Assessments", Reader, nil, func(w Caller) error {
				l, err := s.Assessments(ctx, w, AssessmentFilter{Setup: setup.ID}, Page{})
				if w.Organisation != home && len(l.Items) > 0 {
					return errors.New("sees a foreign assessment")
				}
				return err
			}},
			{"Revisions", Reader, nil, func(w Caller) error { _, err := s.Revisions(ctx, w, RevisionFilter{}, Page{}); return err }},
			{"InForce", Reader, nil, func(w Caller) error { _, err := s.InForce(ctx, w, inventedSpecies); return err }},
			{"CheckRevisions", Reader, nil, func(w Caller) error { return s.CheckRevisions(ctx, w) }},
			{"UpdateSetup", Keeper, ErrNotFound, func(w Caller) error {
				now, err := s.Setup(ctx, owner, setup.ID)
				if err != nil {
					return err
				}
				_, err = s.UpdateSetup(ctx, w, setup.ID, now.Version, enclosure("b"))
				return err
			}},
			{"AddAssessment", Keeper, ErrNotFound, func(w Caller) error {
				_, err := s.AddAssessment(ctx, w, "", setup.ID, answer(1, "0-x"))
				return err
			}},
			{"CreateSetup", Keeper, nil, func(w Caller) error { _, err := s.CreateSetup(ctx, w, "", enclosure("mine")); return err }},
			{"DraftRevision", Curator, ErrForbidden, func(w Caller) error {
				_, err := s.DraftRevision(ctx, w, "", DraftInput{inventedSpecies, warmer("31"), "why", ""})
				return err
			}},
			{"ImportRecords", Curator, ErrForbidden, func(w Caller) error {
				_, err := s.ImportRecords(ctx, w, invented(), "why")
				return err
			}},
			{"ReviewRevision", Curator, ErrForbidden, func(w Caller) error {
				d, err := s.DraftRevision(ctx, Operator("Drafter"), "", DraftInput{inventedSpecies, warmer("31"), "why", ""})
				if err != nil {
					return err
				}
				_, err = s.ReviewRevision(ctx, w, d.ID, "why")
				return err
			}},
			{"WithdrawRevisions", Curator, ErrForbidden, func(w Caller) error {
				d, err := s.DraftRevision(ctx, Operator("Drafter"), "", DraftInput{inventedSpecies, warmer("31"), "why", ""})
				if err != nil {
					return err
				}
				_, err = s.WithdrawRevisions(ctx, w, "why", d.ID)
				return err
			}},
			{"Keys", Admin, ErrNotFound, func(w Caller) error { _, err := s.Keys(ctx, w, home, Page{}); return err }},
			{"CreateKey", Admin, ErrNotFound, func(w Caller) error { _, _, err := s.CreateKey(ctx, w, home, "", "X", Reader); return err }},
			{"RevokeKey", Admin, ErrNotFound, func(w Caller) error { _, err := s.RevokeKey(ctx, w, home, victim.ID); return err }},
			{"AuditTrail", Admin, ErrNotFound, func(w Caller) error { _, err := s.AuditTrail(ctx, w, home, Page{}); return err }},
			{"Export", Admin, ErrNotFound, func(w Caller) error {
				return s.Export(ctx, w, home, func([]byte) error { return nil })
			}},
			{"CreateOrganisation", "", ErrForbidden, func(w Caller) error { _, err := s.CreateOrganisation(ctx, w, "N", false); return err }},
			{"Organisations", "", ErrForbidden, func(w Caller) error { _, err := s.Organisations(ctx, w); return err }},
			{"DeleteSetup", Keeper, ErrNotFound, func(w Caller) error {
				id := setup.ID
				if w.Organisation == home {
					mine, err := s.CreateSetup(ctx, owner, "", enclosure("to go"))
					if err != nil {
						return err
					}
					id = mine.ID
				}
				return s.DeleteSetup(ctx, w, id, 1)
			}},
			{"DeleteOrganisation", Admin, ErrNotFound, func(w Caller) error {
				err := s.DeleteOrganisation(ctx, w, home, "not its name")
				if errors.Is(err, ErrInvalid) {
					return nil // allowed as far as the name
				}
				return err
			}},
		}
		checks := 0
		for _, tt := range tests {
			for _, role := range Roles {
				who := caller(t, s, home, "Person "+string(role), role)
				err := tt.do(who)
				checks++
				if allowed := tt.least != "" && role.rank() >= tt.least.rank(); allowed != (err == nil) || !allowed && !errors.Is(err, ErrForbidden) {
					t.Errorf("%s as %s: %v", tt.name, role, err)
				}
				stranger := caller(t, s, other, "Stranger "+string(role), role)
				want := tt.foreign
				if role.rank() < tt.least.rank() {
					want = ErrForbidden
				}
				checks++
				if err := tt.do(stranger); !errors.Is(err, want) {
					t.Errorf("%s as a foreign %s: %v; want %v", tt.name, role, err, want)
				}
			}
			checks++
			if err := tt.do(Caller{}); !errors.Is(err, ErrForbidden) {
				t.Errorf("%s as nobody: %v", tt.name, err)
			}
		}
		t.Logf("%d methods, %d checks", len(tests), checks)
	})
}

func TestSetups(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Keeper)
		made := must[Setup](t)(s.CreateSetup(ctx, who, "t1", enclosure("Box 1")))
		got := must[Setup](t)(s.Setup(ctx, who, made.ID))
		if d := cmp.Diff(made, got); d != "" {
			t.Errorf("read back (byte for byte): %s", d)
		}
		if version := must[int64](t)(ParseETag(got.ETag())); version != 1 {
			t.Errorf("ETag %s reads as %d", got.ETag(), version)
		}
		for _, bad := range []string{"", "1", `W/"1"`, `"0"`, `"1`, "*", `"1", "2"`} {
			_, err := ParseETag(bad)
			wants(t, err, ErrInvalid)
		}

		second := must[Setup](t)(s.UpdateSetup(ctx, who, made.ID, 1, enclosure("Box 1, moved")))
		if second.Version != 2 || second.CreatedAt != made.CreatedAt || !second.UpdatedAt.After(made.UpdatedAt) {
			t.Errorf("updated %+v", second)
		}
		stale, err := s.UpdateSetup(ctx, who, made.ID, 1, enclosure("lost update"))
		wants(t, err, ErrStale)
		if stale.Version != 2 || stale.Name != "Box 1, moved" {
			t.Errorf("with ErrStale comes %+v; want the current one", stale)
		}
		// A repeat of the creation gives what was created, not what became of it.
		again := must[Setup](t)(s.CreateSetup(ctx, who, "t1", enclosure("Box 1")))
		if again.ID != made.ID || again.Version != 1 || again.Name != "Box 1" {
			t.Errorf("repeat gives %+v", again)
		}
		_, err = s.CreateSetup(ctx, who, "t1", enclosure("another"))
		wants(t, err, ErrTokenReused)

		history := must[List[Setup]](t)(s.SetupHistory(ctx, who, made.ID, Page{Limit: 1}))
		rest := must[List[Setup]](t)(s.SetupHistory(ctx, who, made.ID, Page{Cursor: history.Next}))
		if history.Items[0].Version != 2 || len(rest.Items) != 1 || rest.Items[0].Version != 1 || rest.Next != "" {
			t.Errorf("history %+v, %+v", history, rest)
		}
		wants(t, s.DeleteSetup(ctx, who, made.ID, 1), ErrStale)
		if err := s.DeleteSetup(ctx, who, made.ID, 2); err != nil {
			t.Fatal(err)
		}
		_, err = s.Setup(ctx, who, made.ID)
		wants(t, err, ErrNotFound)
		wants(t, s.DeleteSetup(ctx, who, made.ID, 3), ErrNotFound)
		if h := must[List[Setup]](t)(s.SetupHistory(ctx, who, made.ID, Page{})); len(h.Items) != 3 || !h.Items[0].Deleted {
			t.Errorf("history after deletion %+v", h.Items)
		}
		for name, in := range map[string]SetupInput{
			"no name": {Payload: json.RawMessage(`{}`)}, "no payload": {Name: "x"}, "not JSON": {Name: "x", Payload: json.RawMessage(`{`)},
			"zero byte": {Name: "x\x00", Payload: json.RawMessage(`{}`)}, "not UTF-8": {Name: "x", Payload: json.RawMessage("\"\xff\"")},
			"too long": {Name: "x", Payload: json.RawMessage(`"` + strings.Repeat("x", payloadLimit) + `"`)},
		} {
			if _, err := s.CreateSetup(ctx, who, "", in); !errors.Is(err, ErrInvalid) {
				t.Errorf("%s: %v", name, err)
			}
		}
	})
}

// TestManyWriters: of writers that all saw the same version, one wins; of callers
// with one token, all get the one setup.
func TestManyWriters(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Keeper)
		made := must[Setup](t)(s.CreateSetup(ctx, who, "", enclosure("a")))
		const n, rounds = 16, 10
		var wg sync.WaitGroup
		for version := range int64(rounds) {
			errs := make([]error, n)
			for i := range n {
				wg.Go(func() { _, errs[i] = s.UpdateSetup(ctx, who, made.ID, version+1, enclosure(fmt.Sprint(i))) })
			}
			wg.Wait()
			won := 0
			for _, err := range errs {
				if err == nil {
					won++
				} else if !errors.Is(err, ErrStale) {
					t.Error(err)
				}
			}
			if won != 1 {
				t.Errorf("%d of %d updates of version %d won", won, n, version+1)
			}
		}
		errs, ids := make([]error, n), make([]string, n)
		for i := range n {
			wg.Go(func() {
				var out Setup
				out, errs[i] = s.CreateSetup(ctx, who, "same", enclosure("same"))
				ids[i] = out.ID
			})
		}
		wg.Wait()
		for i := range n {
			if errs[i] != nil || ids[i] != ids[0] {
				t.Errorf("creation %d: %q, %v; want %q", i, ids[i], errs[i], ids[0])
			}
		}
		if l := must[List[Setup]](t)(s.Setups(ctx, who, SetupFilter{}, Page{})); len(l.Items) != 2 {
			t.Errorf("%d setups; want 2", len(l.Items))
		}
	})
}

func TestPages(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, c := fresh(t, database)
		ctx := t.Context()
		who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Admin)
		var want []string
		for i := range 23 {
			in := enclosure(fmt.Sprint(i))
			if i%2 == 0 {
				in.Species = "exemplum-secundum"
			}
			want = append(want, must[Setup](t)(s.CreateSetup(ctx, who, fmt.Sprint("token ", i), in)).ID)
		}
		for _, limit := range []int{1, 7, 22, 23, 24, 200} {
			var got []string
			for p := (Page{Limit: limit}); ; {
				l := must[List[Setup]](t)(s.Setups(ctx, who, SetupFilter{}, p))
				for _, item := range l.Items {
					got = append(got, item.ID)
				}
				if p.Cursor = l.Next; p.Cursor == "" {
					break
				}
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("limit %d: %s", limit, d)
			}
		}
		if l := must[List[Setup]](t)(s.Setups(ctx, who, SetupFilter{Species: "exemplum-secundum"}, Page{})); len(l.Items) != 12 {
			t.Errorf("%d of the species; want 12", len(l.Items))
		}
		for _, p := range []Page{{Limit: -1}, {Limit: 201}, {Cursor: "%"}, {Cursor: strings.Repeat("A", 200)}} {
			_, err := s.Setups(ctx, who, SetupFilter{}, p)
			wants(t, err, ErrInvalid)
		}
		_, err := s.AuditTrail(ctx, who, "", Page{Cursor: "AAAA"})
		wants(t, err, ErrInvalid)

		// Tokens are forgotten by age, and then book anew.
		c.add(25 * time.Hour)
		if n := must[int64](t)(s.PruneTokens(ctx, 24*time.Hour)); n != 23 {
			t.Errorf("%d tokens forgotten; want 23", n)
		}
		if again := must[Setup](t)(s.CreateSetup(ctx, who, "token 0", enclosure("new"))); again.ID == want[0] {
			t.Error("a forgotten token still answers")
		}
	})
}

func TestAssessments(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		who := caller(t, s, organisation(t, s, "Rescue", false), "Ada", Keeper)
		changing := must[Setup](t)(s.CreateSetup(ctx, who, "", enclosure("changes")))
		steady := must[Setup](t)(s.CreateSetup(ctx, who, "", enclosure("steady")))
		must[Setup](t)(s.CreateSetup(ctx, who, "", enclosure("never assessed")))
		first := must[Assessment](t)(s.AddAssessment(ctx, who, "t", changing.ID, answer(1, "0-old")))
		if again := must[Assessment](t)(s.AddAssessment(ctx, who, "t", changing.ID, answer(1, "0-old"))); cmp.Diff(first, again) != "" {
			t.Errorf("repeat: %s", cmp.Diff(first, again))
		}
		// A repeat after a publish is given the answer of the first time; another setup is another request.
		if again := must[Assessment](t)(s.AddAssessment(ctx, who, "t", changing.ID, answer(1, "1-new"))); cmp.Diff(first, again) != "" {
			t.Errorf("repeat after a publish: %s", cmp.Diff(first, again))
		}
		_, err := s.AddAssessment(ctx, who, "t", steady.ID, answer(1, "0-old"))
		wants(t, err, ErrTokenReused)
		must[Assessment](t)(s.AddAssessment(ctx, who, "", steady.ID, answer(1, "0-old")))
		if got := must[Assessment](t)(s.Assessment(ctx, who, first.ID)); cmp.Diff(first, got) != "" {
			t.Error(cmp.Diff(first, got))
		}
		_, err = s.AddAssessment(ctx, who, "", changing.ID, answer(2, "0-old"))
		wants(t, err, ErrNotFound) // no such version
		for name, spoil := range map[string]func(*AssessmentInput){
			"worst above best": func(a *AssessmentInput) { a.Worst = 0.9 }, "above one": func(a *AssessmentInput) { a.Best = 1.1 },
			"no verdict": func(a *AssessmentInput) { a.Verdict = "" }, "no format": func(a *AssessmentInput) { a.Format = 0 }, "no JSON": func(a *AssessmentInput) { a.Payload = nil },
		} {
			in := answer(1, "0-old")
			spoil(&in)
			if _, err := s.AddAssessment(ctx, who, "", changing.ID, in); !errors.Is(err, ErrInvalid) {
				t.Errorf("%s: %v", name, err)
			}
		}
		changing = must[Setup](t)(s.UpdateSetup(ctx, who, changing.ID, 1, enclosure("changes, version 2")))

		asked := 0
		assess := func(setup Setup) (AssessmentInput, error) {
			asked++
			in := answer(99, "1-new") // the version is the store's to say
			if setup.ID == changing.ID {
				in.Verdict, in.Worst = "unsuitable", 0
			}
			return in, nil
		}
		changed, done, err := s.Reassess(ctx, who, "1-new", "", assess)
		if err != nil || done != 2 || len(changed) != 1 || changed[0].Setup != changing.ID || changed[0].Previous.ID != first.ID || changed[0].Current.Verdict != "unsuitable" || changed[0].Current.SetupVersion != 2 {
			t.Errorf("changed %+v, done %d, %v", changed, done, err)
		}
		if _, done, err := s.Reassess(ctx, who, "1-new", "", assess); err != nil || done != 0 || asked != 2 {
			t.Errorf("a repeat did %d, asked %d, %v", done, asked, err)
		}
		if _, done, err := s.Reassess(ctx, who, "2-newer", "exemplum-alienum", assess); err != nil || done != 0 {
			t.Errorf("another species: did %d, %v", done, err)
		}
		failing := errors.New("refused")
		_, _, err = s.Reassess(ctx, who, "2-newer", "", func(Setup) (AssessmentInput, error) { return AssessmentInput{}, failing })
		wants(t, err, failing)
		l := must[List[Assessment]](t)(s.Assessments(ctx, who, AssessmentFilter{Setup: changing.ID}, Page{}))
		if len(l.Items) != 2 || l.Items[1].ID != first.ID {
			t.Errorf("newest first: %+v", l.Items)
		}
		for _, f := range []AssessmentFilter{{Verdict: "unsuitable"}, {CatalogueRevision: "0-old", Setup: steady.ID}} {
			if l := must[List[Assessment]](t)(s.Assessments(ctx, who, f, Page{})); len(l.Items) != 1 {
				t.Errorf("%+v finds %d", f, len(l.Items))
			}
		}
	})
}

func TestExportAndDeletion(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		home, other := organisation(t, s, "Home", true), organisation(t, s, "Other", false)
		fill := func(id string) Caller {
			who := caller(t, s, id, "Ada", Admin)
			setup := must[Setup](t)(s.CreateSetup(ctx, who, "t", enclosure("a")))
			must[Setup](t)(s.UpdateSetup(ctx, who, setup.ID, 1, enclosure("b")))
			must[Assessment](t)(s.AddAssessment(ctx, who, "", setup.ID, answer(1, "0-x")))
			return who
		}
		ada, bea := fill(home), fill(other)
		draft := must[Revision](t)(s.DraftRevision(ctx, ada, "", DraftInput{inventedSpecies, warmer("31"), "why", ""}))

		count := func(who Caller) map[string]int {
			t.Helper()
			out := map[string]int{}
			err := s.Export(ctx, who, "", func(line []byte) error {
				var l struct {
					Type string
					Data json.RawMessage
				}
				if bytes.Count(line, []byte("\n")) != 1 || json.Unmarshal(line, &l) != nil || bytes.Contains(line, []byte("secret")) {
					t.Errorf("line %s", line)
				}
				out[l.Type]++
				return nil
			})
			if err != nil {
				t.Error(err)
			}
			return out
		}
		want := map[string]int{"organisation": 1, "key": 1, "setup_version": 2, "assessment": 1, "audit": 5}
		if d := cmp.Diff(want, count(ada)); d != "" {
			t.Error(d)
		}
		stop := errors.New("reader went away")
		wants(t, s.Export(ctx, ada, "", func([]byte) error { return stop }), stop)

		wants(t, s.DeleteOrganisation(ctx, ada, "", "Wrong name"), ErrInvalid)
		if err := s.DeleteOrganisation(ctx, ada, "", "Home"); err != nil {
			t.Fatal(err)
		}
		wants(t, s.Export(ctx, ada, "", func([]byte) error { return nil }), ErrNotFound)
		if d := cmp.Diff(want, count(bea)); d != "" {
			t.Errorf("the other organisation: %s", d)
		}
		tables := []string{"organisation", "api_key", "setup", "setup_version", "assessment", "idempotency"}
		for _, table := range tables {
			var n int
			column := map[string]string{"organisation": "id"}[table]
			if column == "" {
				column = "organisation_id"
			}
			query := `SELECT count(*) FROM ` + table + ` WHERE ` + column + ` = $1`
			if table == "setup_version" {
				query = `SELECT count(*) FROM setup_version WHERE by_key = $1`
			}
			id := home
			if table == "setup_version" {
				id = ada.Key
			}
			err := s.reading(ctx, func(ctx context.Context, q queryer) error { return q.QueryRowContext(ctx, query, id).Scan(&n) })
			if err != nil || n != 0 {
				t.Errorf("%s: %d rows left, %v", table, n, err)
			}
		}
		// A write of a key that was still in use meets nothing.
		_, err := s.CreateSetup(ctx, ada, "", enclosure("late"))
		wants(t, err, ErrNotFound)
		if r := must[Revision](t)(s.Revision(ctx, Operator("test"), draft.ID)); r.Steps[0].Holder != "Ada" {
			t.Error("the record's history went with its author")
		}
		trail := must[List[Entry]](t)(s.AuditTrail(ctx, Operator("test"), "", Page{}))
		if e := trail.Items[0]; e.Action != "organisation.delete" || strings.Contains(string(e.Detail), "Home") || e.Holder != "" {
			t.Errorf("left in the trail: %+v", e)
		}
	})
}

func TestRecords(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		home := organisation(t, s, "Curators", true)
		ada, bea := caller(t, s, home, "Ada Author", Curator), caller(t, s, home, "Bea Reviewer", Curator)
		zero := must[*care.Catalogue](t)(s.Snapshot(ctx))
		if !strings.HasPrefix(zero.Revision, "0-") || high(zero) != 30 {
			t.Fatalf("revision zero is %s with %g", zero.Revision, high(zero))
		}
		draft := func(in DraftInput) Revision {
			t.Helper()
			return must[Revision](t)(s.DraftRevision(ctx, ada, "", in))
		}
		review := func(r Revision) Revision {
			t.Helper()
			return must[Revision](t)(s.ReviewRevision(ctx, bea, r.ID, "figures checked"))
		}

		first := draft(DraftInput{inventedSpecies, warmer("32"), "newer handbook", ""})
		if first.Number != 1 || first.State != Draft || first.BaseHash != hashText(inventedBody) {
			t.Errorf("draft %+v", first)
		}
		// Not by the author, nor under another key of the same person.
		_, err := s.ReviewRevision(ctx, ada, first.ID, "fine")
		wants(t, err, ErrForbidden)
		_, err = s.ReviewRevision(ctx, caller(t, s, home, " ada  AUTHOR ", Curator), first.ID, "fine")
		wants(t, err, ErrForbidden)
		_, err = s.PublishRevisions(ctx, ada, "now", first.ID)
		wants(t, err, ErrStale) // not reviewed
		review(first)
		_, err = s.ReviewRevision(ctx, bea, first.ID, "again")
		wants(t, err, ErrStale)
		one := must[*care.Catalogue](t)(s.PublishRevisions(ctx, ada, "now", first.ID))
		if !strings.HasPrefix(one.Revision, "1-") || high(one) != 32 {
			t.Errorf("published %s with %g", one.Revision, high(one))
		}
		if snap := must[*care.Catalogue](t)(s.Snapshot(ctx)); snap.Revision != one.Revision {
			t.Errorf("snapshot %s; published %s", snap.Revision, one.Revision)
		}

		// A draft from a text that is no longer in force is refused at once.
		_, err = s.DraftRevision(ctx, ada, "", DraftInput{inventedSpecies, warmer("33"), "late", ""})
		wants(t, err, ErrStale)
		second := draft(DraftInput{inventedSpecies, warmer("33"), "correction", first.ID})
		rival := draft(DraftInput{inventedSpecies, warmer("34"), "other correction", first.ID})
		if second.BaseHash != first.BaseHash || second.Number != 2 || rival.Number != 3 {
			t.Errorf("second %+v, rival %+v", second, rival)
		}
		review(second)
		review(rival)
		two := must[*care.Catalogue](t)(s.PublishRevisions(ctx, bea, "now", second.ID))
		_, err = s.PublishRevisions(ctx, bea, "now", rival.ID)
		wants(t, err, ErrStale)
		ended := must[Revision](t)(s.Revision(ctx, ada, first.ID))
		if ended.State != Withdrawn || *ended.PublishedIn != 1 || *ended.WithdrawnIn != 2 || len(ended.Steps) != 4 {
			t.Errorf("first is now %+v", ended)
		}
		lines := must[[]Line](t)(s.RevisionDifference(ctx, ada, second.ID, AgainstParent))
		if got := shown(lines); got != "-    - {low: 25, high: 32, source: inv_book, access: read}\n+    - {low: 25, high: 33, source: inv_book, access: read}\n" {
			t.Errorf("difference from the parent:\n%s", got)
		}
		lines = must[[]Line](t)(s.RevisionDifference(ctx, ada, second.ID, AgainstEmbedded))
		if got := shown(lines); !strings.HasPrefix(got, "-    - {low: 25, high: 30,") {
			t.Errorf("difference from the embedded record:\n%s", got)
		}

		// The whole catalogue is checked; a species and its new source go together.
		cites := strings.Replace(warmer("33"), "high: 33, source: inv_book", "high: 36, source: inv_paper", 1)
		alone := review(draft(DraftInput{inventedSpecies, cites, "new paper", second.ID}))
		_, err = s.PublishRevisions(ctx, bea, "now", alone.ID)
		var fault *care.RecordError
		if !errors.Is(err, ErrInvalid) || !errors.As(err, &fault) || fault.File != inventedSpecies || !strings.Contains(fault.Reason, `no source "inv_paper"`) {
			t.Fatalf("error %v; want the file and the reason", err)
		}
		wants(t, s.CheckRevisions(ctx, ada, alone.ID), ErrInvalid)
		if snap := must[*care.Catalogue](t)(s.Snapshot(ctx)); snap.Revision != two.Revision {
			t.Errorf("a refused publish left %s; want %s", snap.Revision, two.Revision)
		}
		source := review(draft(DraftInput{inventedSources, inventedSource + "- {key: inv_paper, title: An invented paper, kind: peer-reviewed, read_how: whole}\n", "new paper", ""}))
		if err := s.CheckRevisions(ctx, ada, alone.ID, source.ID); err != nil {
			t.Error(err)
		}
		three := must[*care.Catalogue](t)(s.PublishRevisions(ctx, ada, "new paper", alone.ID, source.ID))
		if !strings.HasPrefix(three.Revision, "3-") || high(three) != 36 || three.Source("inv_paper") == nil {
			t.Errorf("published %s with %g", three.Revision, high(three))
		}
		// The source can't go while the species names it; both can.
		_, err = s.WithdrawRevisions(ctx, ada, "retracted", source.ID)
		wants(t, err, ErrInvalid)
		four := must[*care.Catalogue](t)(s.WithdrawRevisions(ctx, ada, "retracted", source.ID, alone.ID))
		if !strings.HasPrefix(four.Revision, "4-") || high(four) != 30 {
			t.Errorf("withdrawn to %s with %g; want the embedded record", four.Revision, high(four))
		}
		_, err = s.WithdrawRevisions(ctx, ada, "again", source.ID)
		wants(t, err, ErrStale)
		// A draft that comes to nothing changes no catalogue.
		same := must[*care.Catalogue](t)(s.WithdrawRevisions(ctx, ada, "not needed", rival.ID))
		if same.Revision != four.Revision {
			t.Errorf("%s; want %s", same.Revision, four.Revision)
		}

		// Every old answer can be worked again.
		for _, c := range []*care.Catalogue{zero, one, two, three, four} {
			again, err := s.CatalogueAt(ctx, c.Revision)
			if err != nil || high(again) != high(c) {
				t.Errorf("catalogue %s again: %v", c.Revision, err)
			}
		}
		_, err = s.CatalogueAt(ctx, "9-nothing")
		wants(t, err, ErrNotFound)
		_, err = s.DraftRevision(ctx, ada, "", DraftInput{"../secret.yaml", "x", "why", ""})
		wants(t, err, ErrInvalid)
	})
}

// high is the upper figure of the invented species.
func high(c *care.Catalogue) float64 {
	return *c.SpeciesByID("exemplum-primum").Claims[0].High
}

func shown(lines []Line) string {
	var b strings.Builder
	for _, l := range lines {
		if l.Op != " " {
			b.WriteString(l.Op + l.Text + "\n")
		}
	}
	return b.String()
}

// TestNewerProgram: a program with other embedded records proposes, and never overwrites.
func TestNewerProgram(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		ada, bea := Operator("Ada"), Operator("Bea")
		draft := must[Revision](t)(s.DraftRevision(ctx, ada, "", DraftInput{inventedSpecies, warmer("32"), "mine", ""}))
		must[Revision](t)(s.ReviewRevision(ctx, bea, draft.ID, "yes"))
		old := must[*care.Catalogue](t)(s.PublishRevisions(ctx, ada, "now", draft.ID))
		if p := must[[]Revision](t)(s.ProposeEmbedded(ctx)); len(p) != 0 {
			t.Errorf("the same program proposes %+v", p)
		}
		unpublished := must[Revision](t)(s.DraftRevision(ctx, ada, "", DraftInput{"rules/invented.yaml", inventedRule + "# a remark\n", "remark", ""}))
		must[Revision](t)(s.ReviewRevision(ctx, bea, unpublished.ID, "yes"))

		files := invented()
		files[inventedSpecies] = &fstest.MapFile{Data: []byte(strings.Replace(inventedBody, "low: 25", "low: 26", 1))}
		files["rules/invented.yaml"] = &fstest.MapFile{Data: []byte(strings.Replace(inventedRule, "length_factor: 2", "length_factor: 3", 1))}
		newer := open(t, Config{Database: database, Embedded: files, Clock: newClock().Now})
		var proposed []Revision
		for range 2 { // once only, however often the program starts
			proposed = append(proposed, must[[]Revision](t)(newer.ProposeEmbedded(ctx))...)
		}
		if len(proposed) != 1 || proposed[0].Path != inventedSpecies || proposed[0].Origin != ByProgram || proposed[0].State != Draft || proposed[0].Parent != draft.ID {
			t.Fatalf("proposed %+v", proposed)
		}
		now := must[*care.Catalogue](t)(newer.Snapshot(ctx))
		if high(now) != 32 || *now.SpeciesByID("exemplum-primum").Claims[0].Low != 25 {
			t.Error("the curator's text was overwritten")
		}
		if now.Rules()[0].Figures.LengthFactor != 3 {
			t.Error("a file that no curator touched does not follow the program")
		}
		if now.Revision == old.Revision {
			t.Errorf("two catalogues are both named %s", now.Revision)
		}
		// The draft from the older embedded rule would undo the newer one unseen.
		_, err := newer.PublishRevisions(ctx, ada, "now", unpublished.ID)
		wants(t, err, ErrStale)
		// The older program's catalogue can still be built by the newer program.
		again := must[*care.Catalogue](t)(newer.CatalogueAt(ctx, old.Revision))
		if again.Rules()[0].Figures.LengthFactor != 2 {
			t.Error("the old catalogue came back with newer records")
		}
		must[Revision](t)(newer.ReviewRevision(ctx, bea, proposed[0].ID, "taken over"))
		taken := must[*care.Catalogue](t)(newer.PublishRevisions(ctx, bea, "taken over", proposed[0].ID))
		if *taken.SpeciesByID("exemplum-primum").Claims[0].Low != 26 || high(taken) != 30 {
			t.Error("the proposal was not published")
		}
	})
}

func TestImportAndExport(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		// The real records, as the program carries them.
		real := os.DirFS(filepath.Join("..", "data"))
		s := open(t, Config{Database: database, Migrate: true, Embedded: real, Clock: newClock().Now})
		ctx, ada, bea := t.Context(), Operator("Ada"), Operator("Bea")
		files := must[fs.FS](t)(s.CatalogueFiles(ctx, ""))
		if d := must[[]Revision](t)(s.ImportRecords(ctx, ada, files, "round trip")); len(d) != 0 {
			t.Errorf("importing what was exported drafts %d files", len(d))
		}
		direct := must[*care.Catalogue](t)(care.Load(real))
		zero := must[*care.Catalogue](t)(s.Snapshot(ctx))
		if zero.Revision != direct.Revision {
			t.Errorf("revision zero is %s, loaded directly %s", zero.Revision, direct.Revision)
		}
		const path = "species/pogona-vitticeps.yaml"
		text := string(must[[]byte](t)(fs.ReadFile(files, path)))
		edited := strings.Replace(text, "{low: 38, high: 42,", "{low: 38, high: 43,", 1)
		if edited == text {
			t.Fatal("the record has changed; edit another figure")
		}
		broken := fstest.MapFS{path: {Data: []byte(strings.Replace(text, "rspca_beardeddragon, access: read,", "no_such_source, access: read,", 1))}}
		_, err := s.ImportRecords(ctx, ada, broken, "bad")
		wants(t, err, ErrInvalid)
		drafts := must[[]Revision](t)(s.ImportRecords(ctx, ada, fstest.MapFS{path: {Data: []byte(edited)}}, "one figure"))
		if len(drafts) != 1 || drafts[0].Origin != ByImport {
			t.Fatalf("drafts %+v", drafts)
		}
		must[Revision](t)(s.ReviewRevision(ctx, bea, drafts[0].ID, "yes"))
		c := must[*care.Catalogue](t)(s.PublishRevisions(ctx, ada, "now", drafts[0].ID))
		out := must[fs.FS](t)(s.CatalogueFiles(ctx, ""))
		dir := t.TempDir()
		if err := os.CopyFS(dir, out); err != nil {
			t.Fatal(err)
		}
		again := must[*care.Catalogue](t)(care.Load(os.DirFS(dir)))
		if _, want, _ := strings.Cut(c.Revision, "-"); !strings.HasSuffix(again.Revision, want) {
			t.Errorf("the files written out load as %s; in force is %s", again.Revision, c.Revision)
		}
	})
}

// TestRivalPublishers: many publish at once; numbers are given once each, and
// what is in force is what the last one checked.
func TestRivalPublishers(t *testing.T) {
	onEach(t, func(t *testing.T, database string) {
		s, _ := fresh(t, database)
		ctx := t.Context()
		const n = 4
		var ids []string
		for i := range n {
			body := fmt.Sprintf("- {key: inv_%d, title: Invented, kind: handbook, read_how: whole}\n", i)
			d := must[Revision](t)(s.DraftRevision(ctx, Operator("Ada"), "", DraftInput{fmt.Sprintf("sources/more-%d.yaml", i), body, "more", ""}))
			must[Revision](t)(s.ReviewRevision(ctx, Operator("Bea"), d.ID, "yes"))
			ids = append(ids, d.ID)
		}
		errs := make([]error, n)
		var wg sync.WaitGroup
		for i, id := range ids {
			wg.Go(func() { _, errs[i] = s.PublishRevisions(ctx, Operator("Ada"), "now", id) })
		}
		wg.Wait()
		for _, err := range errs {
			if err != nil {
				t.Error(err)
			}
		}
		c := must[*care.Catalogue](t)(s.Snapshot(ctx))
		if !strings.HasPrefix(c.Revision, fmt.Sprintf("%d-", n)) || len(c.Sources()) != n+1 {
			t.Errorf("%s with %d sources", c.Revision, len(c.Sources()))
		}
	})
}

func TestDifference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := rapid.SampledFrom([]string{"a", "b", "c", "", "d: 1"})
		text := rapid.Map(rapid.SliceOfN(line, 0, 40), func(l []string) string { return strings.Join(l, "\n") })
		old, now := text.Draw(t, "old"), text.Draw(t, "new")
		var wasText, isText []string
		edits := 0
		for _, l := range Difference(old, now) {
			if l.Op != "+" {
				wasText = append(wasText, l.Text)
				if l.Old != len(wasText) {
					t.Fatalf("line %d of the old text is numbered %d", len(wasText), l.Old)
				}
			}
			if l.Op != "-" {
				isText = append(isText, l.Text)
				if l.New != len(isText) {
					t.Fatalf("line %d of the new text is numbered %d", len(isText), l.New)
				}
			}
			if l.Op != " " {
				edits++
			}
		}
		if d := cmp.Diff(lines(old), wasText); d != "" {
			t.Fatalf("old text: %s", d)
		}
		if d := cmp.Diff(lines(now), isText); d != "" {
			t.Fatalf("new text: %s", d)
		}
		if want := len(lines(old)) + len(lines(now)) - 2*longestCommon(lines(old), lines(now)); edits != want {
			t.Fatalf("%d edits; the shortest script has %d", edits, want)
		}
	})
	// Beyond the limit the middle is replaced whole, and still right.
	var old, now strings.Builder
	for i := range editLimit {
		fmt.Fprintln(&old, "old", i)
		fmt.Fprintln(&now, "new", i)
	}
	if d := Difference("head\n"+old.String()+"tail\n", "head\n"+now.String()+"tail\n"); len(d) != 2*editLimit+2 || d[0].Op != " " || d[len(d)-1].Op != " " {
		t.Errorf("%d lines", len(d))
	}
}

// longestCommon is the length of the longest common subsequence, by the textbook table.
func longestCommon(a, b []string) int {
	row := make([]int, len(b)+1)
	for i := range a {
		diagonal := 0
		for j := range b {
			above := row[j+1]
			if a[i] == b[j] {
				row[j+1] = diagonal + 1
			} else {
				row[j+1] = max(row[j+1], row[j])
			}
			diagonal = above
		}
	}
	return row[len(b)]
}
