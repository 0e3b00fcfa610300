package api

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"denwright/api/saved"
	"denwright/care"
	"denwright/care/store"
)

// The ids that stand in the contract's examples.
const (
	exampleSetup      = "018f7a2c-5b1e-7c3a-9d40-2f6b8e1a0c11"
	exampleAssessment = "018f7a2c-6d02-7f10-8a51-77c0de5b9e22"
	exampleKey        = "018f7a2c-1111-7a0b-8c2d-3e4f5a6b7c33"
	exampleRevision   = "018f7a2d-0a3b-7d4e-9f60-1b2c3d4e5f44"
)

// Two invented organisations; only the first curates.
const (
	rescue  = "Saltmarsh Lane Rescue"
	society = "Harrowmere Reptile Society"
)

// held is what the seeded database holds of an organisation.
type held struct {
	id, setup, assessment string
	key                   map[store.Role]string // secrets
	keyID                 map[store.Role]string
}

// seed is a database, made once and copied for each test that changes it.
type seed struct {
	file     []byte
	of       map[string]held // by organisation
	revoked  string          // secret of a key of the rescue
	author   string          // secret of the curator who drafted
	draft    string          // revision ids
	reviewed string
}

const (
	inventedPath   = "sources/harrowmere.yaml"
	inventedSource = "- {key: harrowmere_zoo_2019, title: Keeping sheet, publisher: Harrowmere Zoo, year: \"2019\", kind: zoo, read_how: whole}\n"
	tankQuestion   = `{"species":"beardie","animals":[{"count":1,"stage":"adult"}],"jurisdiction":"DE","setup":{"inside":{"length":{"value":48,"unit":"in"},"width":{"value":24,"unit":"in"},"height":{"value":60,"unit":"cm"}},"temperatures":{"hot_spot":{"value":41,"unit":"°C"}}}}`
	tank           = `{"name":"tank by the back door","question":` + tankQuestion + `}`
)

var seeded = sync.OnceValues(func() (s seed, err error) {
	dir, err := os.MkdirTemp("", "denwright-api")
	if err != nil {
		return s, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "seed.db")
	st, err := openStore(path)
	if err != nil {
		return s, err
	}
	if s, err = fill(st); err != nil {
		return s, err
	}
	if err := st.Close(); err != nil {
		return s, err
	}
	s.file, err = os.ReadFile(path)
	return s, err
})

func openStore(database string) (*store.Store, error) {
	files, err := care.EmbeddedFiles()
	if err != nil {
		return nil, err
	}
	return store.Open(store.Config{Database: database, Embedded: files, Migrate: true})
}

func fill(st *store.Store) (s seed, err error) {
	ctx, operator := context.Background(), store.Operator("the operator")
	c, err := st.Snapshot(ctx)
	if err != nil {
		return s, err
	}
	as := func(organisation, holder string, role store.Role) (store.Caller, store.Key, string, error) {
		k, secret, err := st.CreateKey(ctx, operator, organisation, "", holder, role)
		if err != nil {
			return store.Caller{}, k, "", err
		}
		who, err := st.Authenticate(ctx, secret)
		return who, k, secret, err
	}
	s.of = map[string]held{}
	for _, name := range []string{rescue, society} {
		o, err := st.CreateOrganisation(ctx, operator, name, name == rescue)
		if err != nil {
			return s, err
		}
		h := held{id: o.ID, key: map[store.Role]string{}, keyID: map[store.Role]string{}}
		var admin store.Caller
		for _, role := range store.Roles {
			who, k, secret, err := as(o.ID, "the "+string(role)+" of "+name, role)
			if err != nil {
				return s, err
			}
			h.key[role], h.keyID[role], admin = secret, k.ID, who
		}
		in, err := saved.Input(c, "tank by the back door", jsontext.Value(tankQuestion))
		if err != nil {
			return s, err
		}
		setup, err := st.CreateSetup(ctx, admin, "", in)
		if err != nil {
			return s, err
		}
		a, err := saved.Assess(ctx, st, admin, c, "", setup.ID)
		if err != nil {
			return s, err
		}
		h.setup, h.assessment = setup.ID, a.ID
		s.of[name] = h
	}
	author, _, secret, err := as(s.of[rescue].id, "Idris Thorn", store.Curator)
	if err != nil {
		return s, err
	}
	s.author = secret
	_, revoked, secret, err := as(s.of[rescue].id, "Rosa Quill", store.Admin)
	if err != nil {
		return s, err
	}
	s.revoked = secret
	if _, err := st.RevokeKey(ctx, operator, s.of[rescue].id, revoked.ID); err != nil {
		return s, err
	}
	for _, d := range []struct {
		path string
		id   *string
	}{{inventedPath, &s.draft}, {"sources/harrowmere-second.yaml", &s.reviewed}} {
		r, err := st.DraftRevision(ctx, author, "", store.DraftInput{Path: d.path, Body: strings.Replace(inventedSource, "_2019", "_"+fmt.Sprint(len(d.path)), 1), Why: "the zoo's sheet was read"})
		if err != nil {
			return s, err
		}
		*d.id = r.ID
	}
	_, err = st.ReviewRevision(ctx, operator, s.reviewed, "compared with the sheet")
	return s, err
}

// den is a service with a database of its own, in which everything is seeded.
type den struct {
	*checker
	seed
	server *Server
	store  *store.Store
	log    *bytes.Buffer
}

// The contract is parsed once for all dens.
var (
	onceRequests  = sync.OnceValues(loadRequestSchemas)
	onceChecker   sync.Once
	parsedChecker *checker
)

func sharedChecker(t testing.TB) *checker {
	t.Helper()
	onceChecker.Do(func() { parsedChecker = newChecker(t) })
	return parsedChecker
}

func newDen(t testing.TB) *den {
	t.Helper()
	s, err := seeded()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "den.db")
	if err := os.WriteFile(path, s.file, 0o600); err != nil {
		t.Fatal(err)
	}
	st, err := openStore(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	c, err := embedded()
	if err != nil {
		t.Fatal(err)
	}
	k := *sharedChecker(t)
	d := &den{checker: &k, seed: s, store: st, log: &bytes.Buffer{}}
	d.server = New(c, slog.New(slog.NewJSONHandler(d.log, nil)))
	d.server.requests = onceRequests
	d.handler = d.server.Handler(Config{Store: st})
	return d
}

// as sends a request with a key of an organisation.
func (d *den) as(t testing.TB, organisation string, role store.Role, method, target, body string, header ...string) *httptest.ResponseRecorder {
	t.Helper()
	return d.send(t, method, target, body, append(header, "Authorization", "Bearer "+d.of[organisation].key[role])...)
}

// must is as for what has to succeed, and gives the answer.
func (d *den) must(t testing.TB, role store.Role, method, target, body string, header ...string) map[string]any {
	t.Helper()
	w := d.as(t, rescue, role, method, target, body, header...)
	if w.Code >= 300 {
		t.Fatalf("%s %s: %d %s", method, target, w.Code, w.Body)
	}
	if w.Body.Len() == 0 {
		return nil
	}
	out, ok := decoded(t, w.Body.Bytes()).(map[string]any)
	if !ok {
		t.Fatalf("%s %s: %.200s", method, target, w.Body)
	}
	return out
}

func (d *den) refused(t testing.TB, kind *problemKind, fields []string, role store.Role, method, target, body string, header ...string) problemDocument {
	t.Helper()
	w := d.as(t, rescue, role, method, target, body, header...)
	p := problemOf(t, w)
	if w.Code != kind.status || p.Type != "/problems/"+kind.name {
		t.Fatalf("%s %s: %d %s, want %s", method, target, w.Code, w.Body, kind.name)
	}
	if got := fieldsOf(p); strings.Join(got, " ") != strings.Join(fields, " ") {
		t.Errorf("%s %s: names %q, want %q", method, target, got, fields)
	}
	return p
}

// inPlace puts the seeded ids in the place of the contract's example ids.
func (d *den) inPlace(organisation, operation, text string) string {
	h := d.of[organisation]
	revision := d.draft
	if operation == "publishRevisions" {
		revision = d.reviewed
	}
	return strings.NewReplacer(exampleSetup, h.setup, exampleAssessment, h.assessment, exampleKey, h.keyID[store.Reader], exampleRevision, revision).Replace(text)
}

func quoted(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// access is who may ask what, written down apart from the routes and the contract.
var access = map[string]struct {
	least   store.Role
	curates bool // the organisation must curate
	owned   bool // {id} belongs to an organisation
	status  int
}{
	"listSetups":           {store.Reader, false, false, 200},
	"createSetup":          {store.Keeper, false, false, 201},
	"getSetup":             {store.Reader, false, true, 200},
	"changeSetup":          {store.Keeper, false, true, 200},
	"deleteSetup":          {store.Keeper, false, true, 204},
	"listSetupVersions":    {store.Reader, false, true, 200},
	"listSetupAssessments": {store.Reader, false, true, 200},
	"assessSetup":          {store.Keeper, false, true, 201},
	"listAssessments":      {store.Reader, false, false, 200},
	"getAssessment":        {store.Reader, false, true, 200},
	"reworkAssessment":     {store.Reader, false, true, 200},
	"reassess":             {store.Keeper, false, false, 200},
	"listKeys":             {store.Admin, false, false, 200},
	"createKey":            {store.Admin, false, false, 201},
	"revokeKey":            {store.Admin, false, true, 200},
	"getOrganisation":      {store.Reader, false, false, 200},
	"exportOrganisation":   {store.Admin, false, false, 200},
	"deleteOrganisation":   {store.Admin, false, false, 204},
	"listAudit":            {store.Admin, false, false, 200},
	"getRecordText":        {store.Reader, false, false, 200},
	"listRevisions":        {store.Reader, false, false, 200},
	"draftRevision":        {store.Curator, true, false, 201},
	"getRevision":          {store.Reader, false, false, 200},
	"compareRevision":      {store.Reader, false, false, 200},
	"reviewRevision":       {store.Curator, true, false, 200},
	"checkRevisions":       {store.Reader, false, false, 200},
	"publishRevisions":     {store.Curator, true, false, 200},
	"withdrawRevisions":    {store.Curator, true, false, 200},
	"exportRecords":        {store.Reader, false, false, 200},
	"importRecords":        {store.Curator, true, false, 200},
}

// keptOperation is an operation of the contract that needs a key, with a request
// that would succeed.
type keptOperation struct {
	id, method, target, body string
	header                   []string
}

func keptOperations(t testing.TB, d *den) (out []keptOperation) {
	t.Helper()
	for path, item := range d.doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.Security == nil || len(*op.Security) == 0 {
				continue
			}
			k := keptOperation{id: op.OperationID, method: method, target: path}
			for _, p := range op.Parameters {
				switch v := p.Value; {
				case v.In == "path":
					k.target = strings.Replace(k.target, "{"+v.Name+"}", v.Example.(string), 1)
				case v.In == "query" && v.Required:
					k.target += "?" + v.Name + "=" + strings.ReplaceAll(v.Example.(string), " ", "+")
				case v.In == "header" && v.Example != nil:
					k.header = append(k.header, v.Name, v.Example.(string))
				}
			}
			if op.RequestBody != nil {
				if content := op.RequestBody.Value.Content["application/json"]; content != nil {
					for _, e := range content.Examples {
						k.body = quoted(t, e.Value.Value)
						break
					}
				} else {
					k.body = archiveOf(t, map[string]string{"sources/harrowmere-third.yaml": strings.Replace(inventedSource, "_2019", "_third", 1)})
					k.header = append(k.header, "Content-Type", "application/zip")
				}
			}
			out = append(out, k)
		}
	}
	return out
}

// Every operation, by every role of either organisation and by nobody, on what is
// the organisation's own and on what is another's.
func TestAccess(t *testing.T) {
	operations := keptOperations(t, newDen(t))
	if len(operations) != len(access) {
		t.Errorf("%d operations need a key in the contract, %d are in the table", len(operations), len(access))
	}
	asked := 0
	var logged strings.Builder
	for _, o := range operations {
		want, known := access[o.id]
		if !known {
			t.Errorf("%s is not in the table", o.id)
			continue
		}
		t.Run(o.id, func(t *testing.T) {
			d := newDen(t)
			defer func() { logged.Write(d.log.Bytes()) }()
			send := func(secret, target, body string) *httptest.ResponseRecorder {
				header := o.header
				if secret != "" {
					header = append(header[:len(header):len(header)], "Authorization", secret)
				}
				asked++
				w := d.send(t, o.method, target, body, header...)
				if w.Code < 300 && o.method != http.MethodGet {
					logged.Write(d.log.Bytes())
					d = newDen(t) // the next one finds everything as it was
				}
				return w
			}
			own := d.inPlace(rescue, o.id, o.target)
			for name, secret := range map[string]string{"none": "", "another scheme": "Basic " + d.of[rescue].key[store.Admin], "no secret": "Bearer ", "no key of ours": "Bearer opensesame",
				"unknown": "Bearer dwk_" + strings.Repeat("A", 43), "revoked": "Bearer " + d.revoked} {
				w := send(secret, own, d.inPlace(rescue, o.id, o.body))
				if w.Code != 401 || !strings.HasPrefix(w.Header().Get("WWW-Authenticate"), "Bearer ") || problemOf(t, w).Type != "/problems/key-needed" {
					t.Errorf("key %s: %d %v", name, w.Code, w.Header())
				}
			}
			for _, organisation := range []string{rescue, society} {
				other := map[string]string{rescue: society, society: rescue}[organisation]
				for i, role := range store.Roles {
					secret := "Bearer " + d.of[organisation].key[role]
					body := strings.ReplaceAll(d.inPlace(organisation, o.id, o.body), rescue, organisation)
					allowed := i >= indexOf(want.least) && (organisation == rescue || !want.curates)
					status := want.status
					if !allowed {
						status = 403
					}
					w := send(secret, d.inPlace(organisation, o.id, o.target), body)
					if w.Code != status {
						t.Errorf("%s of %s: %d, want %d: %.300s", role, organisation, w.Code, status, w.Body)
					}
					if w.Header().Get("WWW-Authenticate") != "" {
						t.Errorf("%s of %s: asked for a key", role, organisation)
					}
					for _, secretOf := range []string{d.of[other].id, d.of[other].setup, d.of[other].assessment, d.of[other].keyID[store.Admin]} {
						if strings.Contains(w.Body.String(), secretOf) {
							t.Errorf("%s of %s is shown %s of %s", role, organisation, secretOf, other)
						}
					}
					if !want.owned {
						continue
					}
					if allowed {
						status = 404
					}
					for _, foreign := range []string{d.inPlace(other, o.id, o.target), strings.NewReplacer(exampleSetup, "x", exampleAssessment, "%00", exampleKey, strings.Repeat("a", 36)).Replace(o.target)} {
						w := send(secret, foreign, body)
						if w.Code != status {
							t.Errorf("%s of %s on %s: %d, want %d: %.300s", role, organisation, foreign, w.Code, status, w.Body)
						}
						if allowed && problemOf(t, w).Type != "/problems/unknown-name" {
							t.Errorf("%s of %s on %s: %s", role, organisation, foreign, w.Body)
						}
					}
				}
			}
		})
	}
	if strings.Contains(logged.String(), "dwk_") || strings.Contains(logged.String(), "opensesame") {
		t.Error("a key is in the log")
	}
	t.Logf("%d requests", asked)
}

func indexOf(r store.Role) int {
	for i, known := range store.Roles {
		if r == known {
			return i
		}
	}
	return -1
}

// Without a database the paths that need one say so; all else answers.
func TestNoDatabase(t *testing.T) {
	d := newDen(t)
	h := newServer(t).Handler(Config{})
	for _, o := range keptOperations(t, d) {
		r := httptest.NewRequest(o.method, o.target, strings.NewReader(o.body))
		r.Header.Set("Authorization", "Bearer "+d.of[rescue].key[store.Admin])
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		d.check(t, r, w)
		if p := problemOf(t, w); w.Code != 501 || p.Type != "/problems/no-database" {
			t.Errorf("%s: %d %s", o.id, w.Code, p.Type)
		}
	}
}
