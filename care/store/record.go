package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing/fstest" // its MapFS is the standard library's file system in memory
	"time"

	"denwright/care"
)

// State is how far a revision of a record has come.
type State string

// A revision goes from draft over reviewed to published, and from each of them to
// withdrawn, which ends it. A published one is withdrawn by the next one too.
const (
	Draft     State = "draft"
	Reviewed  State = "reviewed"
	Published State = "published"
	Withdrawn State = "withdrawn"
)

// Origin is who wrote a revision.
type Origin string

// A curator by hand, an import of files, or a newer program that proposes its own text.
const (
	ByCurator Origin = "curator"
	ByImport  Origin = "import"
	ByProgram Origin = "program"
)

// Step is one move of a revision.
type Step struct {
	State  State     `json:"state"`
	At     time.Time `json:"at"`
	By     string    `json:"by"` // key id
	Holder string    `json:"holder"`
	Why    string    `json:"why"`
}

// Revision is one text of one file of the catalogue: a species, a list of
// sources, a set of rules or the relations of body measures. The text is never
// changed; a correction is a new revision.
type Revision struct {
	ID     string `json:"id"`
	Path   string `json:"path"`   // as in care/data, e.g. species/testudo-hermanni.yaml
	Number int64  `json:"number"` // 1, 2, … for each path; the embedded record is 0
	State  State  `json:"state"`
	Origin Origin `json:"origin"`
	// Parent is the revision that was in force when it was drafted; empty for the embedded record.
	Parent string `json:"parent,omitempty"`
	// BaseHash is that of the embedded record from which the line of revisions started.
	BaseHash string `json:"base_hash,omitempty"`
	Hash     string `json:"hash"` // SHA-256 of Body
	// PublishedIn and WithdrawnIn are the catalogue numbers from and up to which it was in force.
	PublishedIn *int64    `json:"published_in,omitempty"`
	WithdrawnIn *int64    `json:"withdrawn_in,omitempty"`
	CreatedAt   time.Time `json:"created_at"`
	Body        string    `json:"body,omitempty"`  // YAML; left out of lists
	Steps       []Step    `json:"steps,omitempty"` // left out of lists
}

// bodyLimit bounds one file. Own choice: about ten times the largest held.
const bodyLimit = 1 << 20

// recordPath is what care.Load reads.
var recordPath = regexp.MustCompile(`^((species|sources|rules)/[a-z0-9]+(-[a-z0-9]+)*|allometry)\.yaml$`)

// embeddedSet is what the program carries. Its texts are read again when they are
// asked for, which is seldom: held, they would be a tenth of what a service lives on.
type embeddedSet struct {
	files fs.FS
	hash  map[string]string // path → SHA-256
	name  string            // SHA-256 over paths and hashes
}

// text is the record at a path of the set.
func (e *embeddedSet) text(path string) (string, error) {
	raw, err := fs.ReadFile(e.files, path)
	if err != nil {
		return "", fmt.Errorf("embedded records: %w", err)
	}
	return string(raw), nil
}

func hashText(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// readRecords reads every file of a catalogue; other files are passed over.
func readRecords(files fs.FS) (map[string]string, error) {
	out := map[string]string{}
	err := fs.WalkDir(files, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !recordPath.MatchString(path) {
			return err
		}
		raw, err := fs.ReadFile(files, path)
		out[path] = string(raw)
		return err
	})
	return out, err
}

func newEmbeddedSet(files fs.FS) (*embeddedSet, error) {
	body, err := readRecords(files)
	if err != nil {
		return nil, fmt.Errorf("embedded records: %w", err)
	}
	e := &embeddedSet{files: files, hash: map[string]string{}}
	sum := sha256.New()
	for _, path := range slices.Sorted(maps.Keys(body)) {
		e.hash[path] = hashText(body[path])
		fmt.Fprintln(sum, path, e.hash[path])
	}
	e.name = hex.EncodeToString(sum.Sum(nil))
	return e, nil
}

// keep writes the embedded records down, unless they are there.
func (e *embeddedSet) keep(ctx context.Context, tx queryer) error {
	var there int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM embedded_file WHERE set_hash = $1`, e.name).Scan(&there); err != nil || there > 0 {
		return err
	}
	for _, path := range slices.Sorted(maps.Keys(e.hash)) {
		body, err := e.text(path)
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO embedded_text (hash, body) VALUES ($1, $2) ON CONFLICT (hash) DO NOTHING`, e.hash[path], body); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO embedded_file (set_hash, path, text_hash) VALUES ($1, $2, $3) ON CONFLICT (set_hash, path) DO NOTHING`, e.name, path, e.hash[path]); err != nil {
			return err
		}
	}
	return nil
}

// view is the catalogue at one number, still as text.
type view struct {
	number  int64
	set     string
	base    map[string]string // embedded
	inForce map[string]Revision
}

// files lays the published texts over the embedded ones.
func (v *view) files() fstest.MapFS {
	out := fstest.MapFS{}
	for path, body := range v.base {
		out[path] = &fstest.MapFile{Data: []byte(body), Mode: 0o444}
	}
	for path, r := range v.inForce {
		out[path] = &fstest.MapFile{Data: []byte(r.Body), Mode: 0o444}
	}
	return out
}

// load checks and builds the catalogue. Its revision is the number, then the
// hash that care.Load made of every record.
func (v *view) load() (*care.Catalogue, error) {
	c, err := care.Load(v.files())
	if err != nil {
		return nil, err
	}
	_, hash, _ := strings.Cut(c.Revision, "-")
	c.Revision = fmt.Sprintf("%d-%s", v.number, hash)
	return c, nil
}

const revisionColumns = `id, path, number, state, origin, parent, base_hash, hash, published_in, withdrawn_in, created_at`

func scanRevision(r row) (v Revision, err error) {
	var (
		from, to sql.NullInt64
		at       int64
	)
	err = r.Scan(&v.ID, &v.Path, &v.Number, &v.State, &v.Origin, &v.Parent, &v.BaseHash, &v.Hash, &from, &to, &at)
	v.CreatedAt = instant(at)
	if from.Valid {
		v.PublishedIn = &from.Int64
	}
	if to.Valid {
		v.WithdrawnIn = &to.Int64
	}
	return v, err
}

func scanRevisionBody(r row) (v Revision, err error) {
	var body string
	v, err = scanRevision(scanWith{r, &body})
	v.Body = body
	return v, err
}

// scanWith reads one more column after those that a scan function asks for.
type scanWith struct {
	row
	last any
}

func (s scanWith) Scan(into ...any) error { return s.row.Scan(append(into, s.last)...) }

// viewNow reads what is in force over this program's embedded records.
func (s *Store) viewNow(ctx context.Context, q queryer) (*view, error) {
	base, err := readRecords(s.embedded.files)
	if err != nil {
		return nil, fmt.Errorf("embedded records: %w", err)
	}
	v := &view{set: s.embedded.name, base: base, inForce: map[string]Revision{}}
	if err := q.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) FROM catalogue_change`).Scan(&v.number); err != nil {
		return nil, err
	}
	revisions, err := collect(ctx, q, scanRevisionBody, `SELECT `+revisionColumns+`, body FROM record_revision WHERE state = 'published'`)
	for _, r := range revisions {
		v.inForce[r.Path] = r
	}
	return v, err
}

// register names a catalogue, so that an answer that carries the name can be worked again.
func (s *Store) register(ctx context.Context, tx queryer, name string, v *view) error {
	if err := s.embedded.keep(ctx, tx); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO catalogue (name, number, set_hash, first_seen) VALUES ($1, $2, $3, $4) ON CONFLICT (name) DO NOTHING`,
		name, v.number, v.set, s.now().UnixMicro())
	return err
}

// Snapshot builds the catalogue in force: the published revisions over this
// program's embedded records, and writes its name down. An error that holds a
// *care.RecordError means that the two no longer fit, after a change of program.
func (s *Store) Snapshot(ctx context.Context) (*care.Catalogue, error) {
	c, _, err := s.snapshot(ctx)
	return c, err
}

func (s *Store) snapshot(ctx context.Context) (c *care.Catalogue, number int64, err error) {
	var v *view
	err = s.reading(ctx, func(ctx context.Context, q queryer) (err error) {
		v, err = s.viewNow(ctx, q)
		return err
	})
	if err != nil {
		return nil, 0, err
	}
	if c, err = v.load(); err != nil {
		return nil, 0, err
	}
	var there int
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		return q.QueryRowContext(ctx, `SELECT count(*) FROM catalogue WHERE name = $1`, c.Revision).Scan(&there)
	})
	if err == nil && there == 0 {
		err = s.writing(ctx, func(ctx context.Context, tx queryer) error { return s.register(ctx, tx, c.Revision, v) })
	}
	return c, v.number, err
}

// CatalogueAt builds a catalogue that was once in use, by the name that an
// assessment carries, from the texts of that time. ErrNotFound.
func (s *Store) CatalogueAt(ctx context.Context, name string) (*care.Catalogue, error) {
	v, err := s.viewAt(ctx, name)
	if err != nil {
		return nil, err
	}
	c, err := v.load()
	if err == nil && c.Revision != name {
		return nil, fmt.Errorf("catalogue %s: the texts kept give %s", name, c.Revision)
	}
	return c, err
}

// CatalogueFiles gives the files of a catalogue, laid out as in care/data: the one
// in force where the name is empty, else one that was once in use. They can be
// written out as they are, and imported again.
func (s *Store) CatalogueFiles(ctx context.Context, name string) (files fs.FS, err error) {
	var v *view
	if name != "" {
		v, err = s.viewAt(ctx, name)
	} else {
		err = s.reading(ctx, func(ctx context.Context, q queryer) (err error) {
			v, err = s.viewNow(ctx, q)
			return err
		})
	}
	if err != nil {
		return nil, err
	}
	return v.files(), nil
}

func (s *Store) viewAt(ctx context.Context, name string) (*view, error) {
	v := &view{base: map[string]string{}, inForce: map[string]Revision{}}
	err := s.reading(ctx, func(ctx context.Context, q queryer) error {
		err := q.QueryRowContext(ctx, `SELECT number, set_hash FROM catalogue WHERE name = $1`, name).Scan(&v.number, &v.set)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("%w: no catalogue %q was used here", ErrNotFound, name)
		}
		if err != nil {
			return err
		}
		type file struct{ path, body string }
		base, err := collect(ctx, q, func(r row) (f file, err error) { return f, r.Scan(&f.path, &f.body) },
			`SELECT f.path, t.body FROM embedded_file f JOIN embedded_text t ON t.hash = f.text_hash WHERE f.set_hash = $1`, v.set)
		if err != nil {
			return err
		}
		for _, f := range base {
			v.base[f.path] = f.body
		}
		over, err := collect(ctx, q, scanRevisionBody, `SELECT `+revisionColumns+`, body FROM record_revision
			WHERE published_in <= $1 AND (withdrawn_in IS NULL OR withdrawn_in > $1)`, v.number)
		for _, r := range over {
			v.inForce[r.Path] = r
		}
		return err
	})
	return v, err
}

// readsRecords lets any key, and the operator, see revisions.
func (c Caller) readsRecords() error {
	if c.operator {
		return nil
	}
	return c.needs(Reader)
}

// RevisionFilter narrows a list; empty fields don't.
type RevisionFilter struct {
	Path  string
	State State
}

// Revisions lists revisions, newest first, without text and steps.
func (s *Store) Revisions(ctx context.Context, who Caller, f RevisionFilter, p Page) (out List[Revision], err error) {
	if err := who.readsRecords(); err != nil {
		return out, err
	}
	after, limit, err := p.resolve()
	if err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		items, err := collect(ctx, q, scanRevision, `SELECT `+revisionColumns+` FROM record_revision
			WHERE ($1 = '' OR id < $1) AND ($2 = '' OR path = $2) AND ($3 = '' OR state = $3) ORDER BY id DESC LIMIT $4`, after, f.Path, string(f.State), limit)
		out = page(items, limit, func(r Revision) string { return r.ID })
		return err
	})
	return out, err
}

// Revision reads one, with text and steps.
func (s *Store) Revision(ctx context.Context, who Caller, id string) (out Revision, err error) {
	if err := who.readsRecords(); err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		out, err = revisionWhole(ctx, q, id)
		return err
	})
	return out, err
}

func revisionWhole(ctx context.Context, q queryer, id string) (Revision, error) {
	out, err := one(ctx, q, scanRevisionBody, `SELECT `+revisionColumns+`, body FROM record_revision WHERE id = $1`, id)
	if err != nil {
		return out, err
	}
	out.Steps, err = collect(ctx, q, func(r row) (st Step, err error) {
		var at int64
		err = r.Scan(&st.State, &at, &st.By, &st.Holder, &st.Why)
		st.At = instant(at)
		return st, err
	}, `SELECT state, at, by_key, holder, why FROM record_step WHERE revision_id = $1 ORDER BY step`, id)
	return out, err
}

// InForce is the text in force of a file, and its revision; the id is empty for
// the embedded record.
func (s *Store) InForce(ctx context.Context, who Caller, path string) (out Revision, err error) {
	if err := who.readsRecords(); err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		out, err = s.inForce(ctx, q, path)
		return err
	})
	return out, err
}

// inForce gives number 0 for the embedded record, and for a file that is new.
func (s *Store) inForce(ctx context.Context, q queryer, path string) (Revision, error) {
	r, err := one(ctx, q, scanRevisionBody, `SELECT `+revisionColumns+`, body FROM record_revision WHERE path = $1 AND state = 'published'`, path)
	if !errors.Is(err, ErrNotFound) {
		return r, err
	}
	hash, ok := s.embedded.hash[path]
	if !ok {
		return Revision{}, ErrNotFound
	}
	body, err := s.embedded.text(path)
	if err != nil {
		return Revision{}, err
	}
	return Revision{Path: path, State: Published, Origin: ByProgram, BaseHash: hash, Hash: hash, Body: body}, nil
}

// Against says what a revision is compared with.
type Against string

// AgainstParent is the text in force when it was drafted; AgainstEmbedded the
// embedded record from which its line started. Any other value is a revision's id.
const (
	AgainstParent   Against = ""
	AgainstEmbedded Against = "embedded"
)

// RevisionDifference compares a revision with another text of the same file.
func (s *Store) RevisionDifference(ctx context.Context, who Caller, id string, against Against) (out []Line, err error) {
	if err := who.readsRecords(); err != nil {
		return nil, err
	}
	var old, now Revision
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		now, err = revisionWhole(ctx, q, id)
		if err != nil {
			return err
		}
		other := string(against)
		if against == AgainstParent {
			other = now.Parent
		}
		if other != "" && against != AgainstEmbedded {
			old, err = revisionWhole(ctx, q, other)
			return err
		}
		if now.BaseHash == "" {
			return nil // a new file
		}
		return q.QueryRowContext(ctx, `SELECT body FROM embedded_text WHERE hash = $1`, now.BaseHash).Scan(&old.Body)
	})
	if err != nil {
		return nil, err
	}
	if old.Path != "" && old.Path != now.Path {
		return nil, invalid("the revisions are of two files, %s and %s", old.Path, now.Path)
	}
	return Difference(old.Body, now.Body), nil
}

// DraftInput is a proposed text.
type DraftInput struct {
	Path   string `json:"path"`
	Body   string `json:"body"`
	Why    string `json:"why"`
	Parent string `json:"parent"` // the revision in force that was edited; empty for the embedded record or a new file
}

func (in DraftInput) check() error {
	if !recordPath.MatchString(in.Path) || len(in.Path) > 200 {
		return invalid("path %q is not that of a catalogue file", in.Path)
	}
	if len(in.Body) > bodyLimit || strings.TrimSpace(in.Body) == "" || strings.ContainsRune(in.Body, 0) || strings.ToValidUTF8(in.Body, "") != in.Body {
		return invalid("body must be 1 to %d bytes of text", bodyLimit)
	}
	return shortText("why", in.Why)
}

// DraftRevision stores a proposed text. ErrStale where Parent is no longer in
// force. The text is not checked against the others, which may be drafts too: see
// CheckRevisions. Token as for CreateSetup.
func (s *Store) DraftRevision(ctx context.Context, who Caller, token string, in DraftInput) (out Revision, err error) {
	if err := who.curates(); err != nil {
		return out, err
	}
	if err := in.check(); err != nil {
		return out, err
	}
	err = s.numbering(ctx, func(ctx context.Context, tx queryer) error {
		now := s.now()
		id := newID(now)
		if who.Organisation != "" {
			before, err := s.once(ctx, tx, who.Organisation, token, id, "revision", in.Path, in.Body, in.Why, in.Parent)
			if err != nil {
				return err
			}
			if before != "" {
				out, err = revisionWhole(ctx, tx, before)
				return err
			}
		}
		out, err = s.draft(ctx, tx, who, id, ByCurator, in)
		return err
	})
	return out, err
}

// numbering runs a transaction again that lost the race for the next number.
func (s *Store) numbering(ctx context.Context, f func(ctx context.Context, tx queryer) error) (err error) {
	for range 5 {
		if err = s.writing(ctx, f); !isDuplicate(err) {
			return err
		}
	}
	return fmt.Errorf("%w: too many at once: %w", ErrStale, err)
}

// draft writes a revision and its first step.
func (s *Store) draft(ctx context.Context, tx queryer, who Caller, id string, origin Origin, in DraftInput) (Revision, error) {
	r := Revision{ID: id, Path: in.Path, State: Draft, Origin: origin, Parent: in.Parent, BaseHash: s.embedded.hash[in.Path], Hash: hashText(in.Body), CreatedAt: s.now(), Body: in.Body}
	if err := s.embedded.keep(ctx, tx); err != nil {
		return r, err
	}
	parent, err := s.inForce(ctx, tx, in.Path)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return r, err
	}
	if parent.ID != in.Parent {
		return r, fmt.Errorf("%w: another text of %s is in force", ErrStale, in.Path)
	}
	if parent.ID != "" && origin != ByProgram {
		r.BaseHash = parent.BaseHash
	}
	if err := tx.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) + 1 FROM record_revision WHERE path = $1`, in.Path).Scan(&r.Number); err != nil {
		return r, err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO record_revision (id, path, number, state, origin, parent, base_hash, hash, body, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
		r.ID, r.Path, r.Number, string(r.State), string(r.Origin), r.Parent, r.BaseHash, r.Hash, r.Body, r.CreatedAt.UnixMicro())
	if err != nil {
		return r, err
	}
	r.Steps = []Step{{Draft, r.CreatedAt, who.Key, who.Holder, in.Why}}
	if err := addStep(ctx, tx, r.ID, 1, r.Steps[0]); err != nil {
		return r, err
	}
	return r, s.audit(ctx, tx, who, "", "record.draft", r.ID, map[string]any{"path": r.Path, "number": r.Number, "why": in.Why})
}

func addStep(ctx context.Context, tx queryer, id string, n int, st Step) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO record_step (revision_id, step, state, at, by_key, holder, why) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		id, n, string(st.State), st.At.UnixMicro(), st.By, st.Holder, st.Why)
	return err
}

// move takes a revision one step on, if it is still in the state that was read.
func (s *Store) move(ctx context.Context, tx queryer, who Caller, r *Revision, to State, why string) error {
	res, err := tx.ExecContext(ctx, `UPDATE record_revision SET state = $1 WHERE id = $2 AND state = $3`, string(to), r.ID, string(r.State))
	if err := changedOne(res, err)(fmt.Errorf("%w: %s is no longer %s", ErrStale, r.ID, r.State)); err != nil {
		return err
	}
	var steps int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM record_step WHERE revision_id = $1`, r.ID).Scan(&steps); err != nil {
		return err
	}
	st := Step{to, s.now(), who.Key, who.Holder, why}
	if err := addStep(ctx, tx, r.ID, steps+1, st); err != nil {
		return err
	}
	r.State = to
	r.Steps = append(r.Steps, st)
	return s.audit(ctx, tx, who, "", "record."+string(to), r.ID, map[string]any{"path": r.Path, "number": r.Number, "why": why})
}

// ReviewRevision marks a draft as reviewed by a second curator: neither the key
// nor the person may be the one who drafted it. ErrForbidden, ErrStale.
func (s *Store) ReviewRevision(ctx context.Context, who Caller, id, why string) (out Revision, err error) {
	if err := who.curates(); err != nil {
		return out, err
	}
	if err := shortText("why", why); err != nil {
		return out, err
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		out, err = revisionWhole(ctx, tx, id)
		if err != nil {
			return err
		}
		if out.State != Draft {
			return fmt.Errorf("%w: the revision is %s, not a draft", ErrStale, out.State)
		}
		author := out.Steps[0]
		if samePerson(author.Holder, who.Holder) || author.By == who.Key && !who.operator {
			return fmt.Errorf("%w: a second curator must review it", ErrForbidden)
		}
		return s.move(ctx, tx, who, &out, Reviewed, why)
	})
	return out, err
}

// samePerson compares names without regard to case and spacing.
func samePerson(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// CheckRevisions builds the catalogue as it would be with these revisions in
// force, whatever their state, and throws it away. ErrInvalid, joined with one
// *care.RecordError for each fault.
func (s *Store) CheckRevisions(ctx context.Context, who Caller, ids ...string) error {
	if err := who.readsRecords(); err != nil {
		return err
	}
	var v *view
	err := s.reading(ctx, func(ctx context.Context, q queryer) (err error) {
		if v, err = s.viewNow(ctx, q); err != nil {
			return err
		}
		for _, id := range ids {
			r, err := revisionWhole(ctx, q, id)
			if err != nil {
				return err
			}
			v.inForce[r.Path] = r
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = v.load()
	return refused(err)
}

func refused(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrInvalid, err)
}

// PublishRevisions puts reviewed revisions in force, all together, and returns
// the new catalogue. The whole catalogue is checked first; nothing changes unless
// it holds. ErrStale where a revision is not reviewed, or where what it was
// drafted against is no longer in force; ErrInvalid as for CheckRevisions.
func (s *Store) PublishRevisions(ctx context.Context, who Caller, why string, ids ...string) (*care.Catalogue, error) {
	return s.change(ctx, who, why, ids, nil)
}

// WithdrawRevisions ends revisions. Where they were published, the embedded
// records are in force again, and the new catalogue is returned; it is checked
// first, as for PublishRevisions. One curator is enough: a wrong figure must be
// out quickly. Where none was published the catalogue is the one in force.
func (s *Store) WithdrawRevisions(ctx context.Context, who Caller, why string, ids ...string) (*care.Catalogue, error) {
	return s.change(ctx, who, why, nil, ids)
}

// errOvertaken is a change of the catalogue that another one came before.
var errOvertaken = errors.New("the catalogue changed meanwhile")

func (s *Store) change(ctx context.Context, who Caller, why string, publish, withdraw []string) (*care.Catalogue, error) {
	if err := who.curates(); err != nil {
		return nil, err
	}
	if err := shortText("why", why); err != nil {
		return nil, err
	}
	if len(publish)+len(withdraw) == 0 {
		return nil, invalid("name at least one revision")
	}
	for range 5 {
		c, err := s.tryChange(ctx, who, why, publish, withdraw)
		if !errors.Is(err, errOvertaken) {
			return c, err
		}
	}
	return nil, fmt.Errorf("%w: too many changes of the catalogue at once", ErrStale)
}

// tryChange checks the catalogue outside the transaction, which it keeps short,
// and gives up if another change took the number in between.
func (s *Store) tryChange(ctx context.Context, who Caller, why string, publish, withdraw []string) (*care.Catalogue, error) {
	var (
		v        *view
		in, out  []Revision // to publish, to withdraw
		displace []Revision // published ones that the new ones take the place of
		altered  bool
	)
	err := s.reading(ctx, func(ctx context.Context, q queryer) (err error) {
		if v, err = s.viewNow(ctx, q); err != nil {
			return err
		}
		for _, id := range withdraw {
			r, err := revisionWhole(ctx, q, id)
			if err != nil {
				return err
			}
			if r.State == Withdrawn {
				return fmt.Errorf("%w: the revision is withdrawn", ErrStale)
			}
			if r.State == Published {
				altered = true
				delete(v.inForce, r.Path)
			}
			out = append(out, r)
		}
		for _, id := range publish {
			r, err := revisionWhole(ctx, q, id)
			if err != nil {
				return err
			}
			before, there := v.inForce[r.Path]
			switch {
			case r.State != Reviewed:
				return fmt.Errorf("%w: revision %d of %s is %s, not reviewed", ErrStale, r.Number, r.Path, r.State)
			case before.ID != r.Parent:
				return fmt.Errorf("%w: revision %d of %s was drafted against another text than the one in force", ErrStale, r.Number, r.Path)
			case !there && r.BaseHash != s.embedded.hash[r.Path]:
				return fmt.Errorf("%w: the program's own text of %s has changed since the draft", ErrStale, r.Path)
			}
			if there {
				displace = append(displace, before)
			}
			altered = true
			v.inForce[r.Path] = r
			in = append(in, r)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if altered {
		v.number++
	}
	c, err := v.load()
	if err != nil {
		return nil, refused(err)
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		if altered {
			_, err := tx.ExecContext(ctx, `INSERT INTO catalogue_change (number, at, by_key, holder, why) VALUES ($1, $2, $3, $4, $5)`, v.number, s.now().UnixMicro(), who.Key, who.Holder, why)
			if isDuplicate(err) {
				return errOvertaken
			}
			if err != nil {
				return err
			}
		}
		for _, r := range displace {
			if err := s.end(ctx, tx, who, r, v.number, "followed by a newer revision: "+why); err != nil {
				return err
			}
		}
		for _, r := range out {
			if err := s.end(ctx, tx, who, r, v.number, why); err != nil {
				return err
			}
		}
		for _, r := range in {
			if err := s.move(ctx, tx, who, &r, Published, why); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `UPDATE record_revision SET published_in = $1 WHERE id = $2`, v.number, r.ID); err != nil {
				return err
			}
		}
		if err := s.register(ctx, tx, c.Revision, v); err != nil {
			return err
		}
		if altered && s.engine == postgresEngine {
			_, err := tx.ExecContext(ctx, `SELECT pg_notify($1, $2)`, channel, fmt.Sprint(v.number))
			return err
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if altered {
		s.tell()
	}
	return c, nil
}

// end withdraws a revision, and says up to which catalogue it was in force.
func (s *Store) end(ctx context.Context, tx queryer, who Caller, r Revision, number int64, why string) error {
	published := r.State == Published
	if err := s.move(ctx, tx, who, &r, Withdrawn, why); err != nil || !published {
		return err
	}
	_, err := tx.ExecContext(ctx, `UPDATE record_revision SET withdrawn_in = $1 WHERE id = $2`, number, r.ID)
	return err
}

// ImportRecords drafts each file that differs from the text in force, after the
// whole catalogue with all of them was checked. Files that are not there are
// left alone: an import never removes a record. ErrInvalid as for CheckRevisions.
func (s *Store) ImportRecords(ctx context.Context, who Caller, files fs.FS, why string) (out []Revision, err error) {
	if err := who.curates(); err != nil {
		return nil, err
	}
	given, err := readRecords(files)
	if err != nil {
		return nil, invalid("%v", err)
	}
	if len(given) == 0 {
		return nil, invalid("no catalogue files were found")
	}
	for path, body := range given {
		if err := (DraftInput{Path: path, Body: body, Why: why}).check(); err != nil {
			return nil, err
		}
	}
	var v *view
	err = s.reading(ctx, func(ctx context.Context, q queryer) (err error) {
		v, err = s.viewNow(ctx, q)
		return err
	})
	if err != nil {
		return nil, err
	}
	var drafts []DraftInput
	for _, path := range slices.Sorted(maps.Keys(given)) {
		parent := v.inForce[path]
		current := parent.Body
		if parent.ID == "" {
			current = v.base[path]
		}
		if given[path] == current {
			continue
		}
		drafts = append(drafts, DraftInput{path, given[path], why, parent.ID})
		v.inForce[path] = Revision{Path: path, Body: given[path]}
	}
	if _, err := v.load(); err != nil {
		return nil, refused(err)
	}
	err = s.numbering(ctx, func(ctx context.Context, tx queryer) error {
		out = nil
		for _, in := range drafts {
			r, err := s.draft(ctx, tx, who, newID(s.now()), ByImport, in)
			if err != nil {
				return err
			}
			out = append(out, r)
		}
		return nil
	})
	return out, err
}

// ProposeEmbedded compares this program's embedded records with those from which
// the curators' published texts started. Where the program's text is newer and
// differs, it is drafted, once, for a curator to review; the text in force stays.
// Call it at the start of a program. Where no curator's text is in force, the
// embedded record is in force anyway.
func (s *Store) ProposeEmbedded(ctx context.Context) (out []Revision, err error) {
	program := Caller{Key: "program", Holder: "the program", operator: true}
	err = s.numbering(ctx, func(ctx context.Context, tx queryer) error {
		out = nil
		if err := s.embedded.keep(ctx, tx); err != nil {
			return err
		}
		published, err := collect(ctx, tx, scanRevision, `SELECT `+revisionColumns+` FROM record_revision WHERE state = 'published' ORDER BY path`)
		if err != nil {
			return err
		}
		for _, r := range published {
			own, carried := s.embedded.hash[r.Path]
			if !carried || own == r.BaseHash || own == r.Hash {
				continue
			}
			var known int
			err := tx.QueryRowContext(ctx, `SELECT count(*) FROM record_revision WHERE path = $1 AND base_hash = $2`, r.Path, own).Scan(&known)
			if err != nil {
				return err
			}
			if known > 0 {
				continue // proposed before, or a curator's draft already starts from it
			}
			body, err := s.embedded.text(r.Path)
			if err != nil {
				return err
			}
			p, err := s.draft(ctx, tx, program, newID(s.now()), ByProgram, DraftInput{r.Path, body, "the program carries a newer text", r.ID})
			if err != nil {
				return err
			}
			out = append(out, p)
		}
		return nil
	})
	return out, err
}
