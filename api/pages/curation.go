package pages

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime/multipart"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing/fstest" // its MapFS is the standard library's file system in memory
	"unicode/utf8"

	"denwright/care"
	"denwright/care/store"
)

// curationPages are the pages about records, their revisions and review.
func (s *Site) curationPages(m mount) {
	m.get("/records", s.signedIn(store.Reader, recordList))
	m.get("/records/new", s.signedIn(store.Curator, newRecord))
	m.get("/records/files/*", s.signedIn(store.Reader, recordPage))
	m.get("/records/edit/*", s.signedIn(store.Curator, recordForm))
	m.post("/records/edit/*", s.signedIn(store.Curator, editRecord))
	m.get("/records/revisions", s.signedIn(store.Reader, revisionList))
	m.get("/records/revisions/:id", s.signedIn(store.Reader, revisionPage))
	m.post("/records/revisions/:id/review", s.signedIn(store.Curator, reviewRevision))
	m.post("/records/revisions/:id/withdraw", s.signedIn(store.Curator, withdrawRevision))
	m.get("/records/publish", s.signedIn(store.Reader, togetherPage))
	m.post("/records/publish", s.signedIn(store.Curator, publishRevisions))
	m.get("/records/export", s.signedIn(store.Reader, exportRecords))
	m.get("/records/import", s.signedIn(store.Curator, importPage))
	m.stream("/records/import", s.signedIn(store.Curator, importRecords))
}

// mayCurate reports whether the visitor may change the shared records.
func (v *visitor) mayCurate() bool { return v.who.Curates && reaches(v.who.Role, store.Curator) }

func (v *visitor) mustCurate() error {
	if !v.who.Curates {
		return &failure{status: http.StatusForbidden, key: "not-allowed", detail: v.t("account.curates-not")}
	}
	return nil
}

// allRevisions lists every revision that the filter leaves.
func (v *visitor) allRevisions(f store.RevisionFilter) (out []store.Revision, err error) {
	for p := (store.Page{Limit: 200}); ; {
		list, err := v.store.Revisions(v.Request().Context(), v.who, f, p)
		if err != nil {
			return nil, err
		}
		out = append(out, list.Items...)
		if p.Cursor = list.Next; p.Cursor == "" {
			return out, nil
		}
	}
}

type recordListData struct {
	Waiting  []store.Revision // drafts and reviewed, newest first
	Folders  []recordFolder
	Query    string
	Found    int
	Curates  bool
	Revision string
	Done     string
}

type recordFolder struct {
	Name  string
	Files []recordFile
}

type recordFile struct {
	Path, Name string
	Number     int64 // of the revision in force; 0 for the program's own text
	Open       int   // drafts and reviewed revisions
}

// recordList is what waits, and every file of the catalogue with where it stands.
func recordList(v *visitor) error {
	d := recordListData{Query: strings.TrimSpace(v.QueryParam("q")), Curates: v.mayCurate(), Revision: v.snap.Revision, Done: v.done()}
	open := map[string]int{}
	for _, state := range []store.State{store.Reviewed, store.Draft} {
		all, err := v.allRevisions(store.RevisionFilter{State: state})
		if err != nil {
			return err
		}
		d.Waiting = append(d.Waiting, all...)
		for _, r := range all {
			open[r.Path]++
		}
	}
	published, err := v.allRevisions(store.RevisionFilter{State: store.Published})
	if err != nil {
		return err
	}
	number := map[string]int64{}
	for _, r := range published {
		number[r.Path] = r.Number
	}
	paths, err := v.recordPaths()
	if err != nil {
		return err
	}
	for _, p := range paths {
		f := recordFile{Path: p, Name: strings.TrimSuffix(path.Base(p), ".yaml"), Number: number[p], Open: open[p]}
		folder := path.Dir(p)
		if folder == "species" {
			f.Name = v.commonName(f.Name)
		}
		if d.Query != "" && !strings.Contains(strings.ToLower(f.Name+" "+p), strings.ToLower(d.Query)) {
			continue
		}
		d.Found++
		i := slices.IndexFunc(d.Folders, func(g recordFolder) bool { return g.Name == folder })
		if i < 0 {
			i = len(d.Folders)
			d.Folders = append(d.Folders, recordFolder{Name: folder})
		}
		d.Folders[i].Files = append(d.Folders[i].Files, f)
	}
	slices.SortFunc(d.Folders, func(a, b recordFolder) int { return cmp.Compare(a.Name, b.Name) })
	for _, g := range d.Folders {
		slices.SortStableFunc(g.Files, func(a, b recordFile) int { return cmp.Compare(strings.ToLower(a.Name), strings.ToLower(b.Name)) })
	}
	return v.render("records", v.t("records.title"), d)
}

// recordPaths are the files of the catalogue in force.
func (v *visitor) recordPaths() (paths []string, err error) {
	files, err := v.store.CatalogueFiles(v.Request().Context(), "")
	if err != nil {
		return nil, err
	}
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			paths = append(paths, name)
		}
		return err
	})
	return paths, err
}

// catalogueFile is what a file of the catalogue may be called.
var catalogueFile = regexp.MustCompile(`^((species|sources|rules)/[a-z0-9]+(-[a-z0-9]+)*|allometry)\.yaml$`)

// file is the path of the file in the address.
func (v *visitor) file() (string, error) {
	if p := v.Param("*"); catalogueFile.MatchString(p) {
		return p, nil
	}
	return "", notFound()
}

// subject is the species that a file is about, where it is about one.
func (v *visitor) subject(file string) *care.Species {
	id, ok := strings.CutPrefix(strings.TrimSuffix(file, ".yaml"), "species/")
	if !ok {
		return nil
	}
	return v.snap.SpeciesByID(id)
}

type recordData struct {
	store.Revision // in force
	Species        *care.Species
	Common         string
	Revisions      []store.Revision
	Next           string
	Curates        bool
}

// recordPage shows the text in force of a file, and its revisions.
func recordPage(v *visitor) error {
	file, err := v.file()
	if err != nil {
		return err
	}
	ctx := v.Request().Context()
	d := recordData{Curates: v.mayCurate(), Species: v.subject(file)}
	list, err := v.store.Revisions(ctx, v.who, store.RevisionFilter{Path: file}, v.cursor())
	if err != nil {
		return err
	}
	d.Revisions, d.Next = list.Items, v.nextPage(list.Next)
	d.Revision, err = v.store.InForce(ctx, v.who, file)
	switch {
	case errors.Is(err, store.ErrNotFound) && len(d.Revisions) > 0: // a new file that is not in force yet
		d.Revision = store.Revision{Path: file}
	case err != nil:
		return err
	case d.ID != "": // with who published it, and why
		if d.Revision, err = v.store.Revision(ctx, v.who, d.ID); err != nil {
			return err
		}
	}
	if d.Species != nil {
		d.Common = d.Species.CommonName(v.look.language)
	}
	return v.render("record", file, d)
}

// Last is the newest step, which put the revision where it is.
func (d recordData) Last() *store.Step {
	if len(d.Steps) == 0 {
		return nil
	}
	return &d.Steps[len(d.Steps)-1]
}

// newRecord leads to the form of a file that is not there yet.
func newRecord(v *visitor) error {
	folder, name := v.QueryParam("folder"), strings.TrimSuffix(strings.TrimSpace(v.QueryParam("name")), ".yaml")
	p := folder + "/" + strings.ReplaceAll(strings.ToLower(name), " ", "-") + ".yaml"
	if !catalogueFile.MatchString(p) {
		return &failure{status: http.StatusUnprocessableEntity, key: "bad-file-name"}
	}
	return v.Redirect(http.StatusSeeOther, "/records/edit/"+p)
}

// recordEdit is a file being edited, with what was found about the text.
type recordEdit struct {
	Path, Body, Why, Parent string
	Token                   string
	New                     bool // there is no such file in force
	BodyBad, WhyBad         string
	Checked                 bool
	Faults                  []recordFault
	Difference              difference
	Overtaken               bool // another text came into force since it was opened
}

// recordFault is a fault of a record, and where.
type recordFault struct{ File, Field, Reason string }

// faultsIn are the faults that an error of a check joins.
func faultsIn(err error) (out []recordFault) {
	var walk func(error)
	walk = func(err error) {
		switch e := err.(type) {
		case nil:
		case *care.RecordError:
			out = append(out, recordFault{e.File, e.Field, e.Reason})
		case interface{ Unwrap() []error }:
			for _, part := range e.Unwrap() {
				walk(part)
			}
		default:
			walk(errors.Unwrap(err))
		}
	}
	walk(err)
	return out
}

// recordForm is the text in force of a file, to be edited; or another text of it, to
// start from.
func recordForm(v *visitor) error {
	if err := v.mustCurate(); err != nil {
		return err
	}
	file, err := v.file()
	if err != nil {
		return err
	}
	now, isNew, err := v.inForce(file)
	if err != nil {
		return err
	}
	e := recordEdit{Path: file, Body: now.Body, Parent: now.ID, New: isNew}
	if from := v.QueryParam("from"); from != "" {
		r, err := v.store.Revision(v.Request().Context(), v.who, from)
		if err != nil {
			return err
		}
		if r.Path != file {
			return notFound()
		}
		e.Body = r.Body
	}
	return v.renderRecordEdit(http.StatusOK, e)
}

// inForce is the text of a file in force; isNew where there is none.
func (v *visitor) inForce(file string) (now store.Revision, isNew bool, err error) {
	now, err = v.store.InForce(v.Request().Context(), v.who, file)
	if errors.Is(err, store.ErrNotFound) {
		return store.Revision{Path: file}, true, nil
	}
	return now, false, err
}

func (v *visitor) renderRecordEdit(status int, e recordEdit) error {
	e.Token = cmp.Or(e.Token, newToken())
	return v.renderStatus(status, "record-edit", v.t("record-edit.title", e.Path), e)
}

// maxRecord bounds one file, as the store does.
const maxRecord = 1 << 20

// editRecord checks a text, or saves it as a draft. A draft need not be sound: it may
// rest on another one.
func editRecord(v *visitor) error {
	if err := v.mustCurate(); err != nil {
		return err
	}
	file, err := v.file()
	if err != nil {
		return err
	}
	ctx := v.Request().Context()
	e := recordEdit{Path: file, Why: v.posted("why"), Parent: v.posted("parent"), Token: v.token(),
		// A browser ends the lines of a text area in its own way.
		Body: strings.ReplaceAll(v.Request().PostFormValue("body"), "\r\n", "\n")}
	if e.Body != "" && !strings.HasSuffix(e.Body, "\n") {
		e.Body += "\n"
	}
	now, isNew, err := v.inForce(file)
	if err != nil {
		return err
	}
	e.New = isNew
	if strings.TrimSpace(e.Body) == "" || len(e.Body) > maxRecord || strings.ContainsRune(e.Body, 0) || !utf8.ValidString(e.Body) {
		e.BodyBad = v.t("record-edit.body.bad")
		return v.renderRecordEdit(http.StatusUnprocessableEntity, e)
	}
	if v.posted("do") == "check" {
		return v.checkTyped(http.StatusOK, e, now)
	}
	if e.Why == "" || len(e.Why) > maxName {
		e.WhyBad = v.t("record-edit.why.bad")
		return v.checkTyped(http.StatusUnprocessableEntity, e, now)
	}
	if e.Body == now.Body {
		e.BodyBad = v.t("record-edit.body.same")
		return v.renderRecordEdit(http.StatusUnprocessableEntity, e)
	}
	made, err := v.store.DraftRevision(ctx, v.who, e.Token, store.DraftInput{Path: file, Body: e.Body, Why: e.Why, Parent: e.Parent})
	if errors.Is(err, store.ErrStale) {
		// Nothing was booked under the token: it serves for the text put on top of the new one.
		e.Overtaken, e.Parent = true, now.ID
		return v.checkTyped(http.StatusConflict, e, now)
	}
	if err != nil {
		return err
	}
	return v.seeOther(v.path("records", "revisions", made.ID), "drafted")
}

// checkTyped shows a text's faults and its difference from the text in force; nothing
// is stored.
func (v *visitor) checkTyped(status int, e recordEdit, now store.Revision) error {
	files, err := v.store.CatalogueFiles(v.Request().Context(), "")
	if err != nil {
		return err
	}
	_, err = care.Load(overlaid{files, e.Path, &fstest.MapFile{Data: []byte(e.Body), Mode: 0o444}}.files())
	if e.Faults = faultsIn(err); err != nil && len(e.Faults) == 0 {
		return fmt.Errorf("check: %w", err)
	}
	e.Checked, e.Difference = true, inContext(store.Difference(now.Body, e.Body))
	return v.renderRecordEdit(status, e)
}

// overlaid is the catalogue's files with one of them replaced or added.
type overlaid struct {
	base fs.FS
	path string
	file *fstest.MapFile
}

func (o overlaid) files() fs.FS {
	out := fstest.MapFS{}
	// The base is a file system in memory, whose reading can't fail.
	_ = fs.WalkDir(o.base, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := fs.ReadFile(o.base, name)
		out[name] = &fstest.MapFile{Data: body, Mode: 0o444}
		return err
	})
	out[o.path] = o.file
	return out
}

// difference is what two texts differ in, with a few lines around each place.
type difference struct {
	Added, Removed int
	Parts          [][]store.Line
}

// contextLines stand before and after each change.
const contextLines = 3

func inContext(lines []store.Line) (d difference) {
	near := make([]bool, len(lines))
	for i, l := range lines {
		switch l.Op {
		case "+":
			d.Added++
		case "-":
			d.Removed++
		default:
			continue
		}
		for j := max(0, i-contextLines); j < min(len(lines), i+contextLines+1); j++ {
			near[j] = true
		}
	}
	for i, l := range lines {
		if !near[i] {
			continue
		}
		if i == 0 || !near[i-1] {
			d.Parts = append(d.Parts, nil)
		}
		last := len(d.Parts) - 1
		d.Parts[last] = append(d.Parts[last], l)
	}
	return d
}

type revisionListData struct {
	State     store.State
	Path      string
	States    []store.State
	Revisions []store.Revision
	Next      string
	Done      string
}

// revisionList lists revisions, newest first.
func revisionList(v *visitor) error {
	d := revisionListData{State: store.State(v.QueryParam("state")), Path: v.QueryParam("path"), Done: v.done(),
		States: []store.State{store.Draft, store.Reviewed, store.Published, store.Withdrawn}}
	list, err := v.store.Revisions(v.Request().Context(), v.who, store.RevisionFilter{State: d.State, Path: d.Path}, v.cursor())
	if err != nil {
		return err
	}
	d.Revisions, d.Next = list.Items, v.nextPage(list.Next)
	return v.render("revisions", v.t("revisions.title"), d)
}

type revisionData struct {
	store.Revision
	Species    *care.Species
	Against    string
	Others     []store.Revision // of the same file, to compare with
	Difference difference
	Faults     []recordFault
	Curates    bool
	Own        bool // the visitor drafted it
	Overtaken  bool // another text than its parent is in force
	Done       string
	Problem    string
	WhyTyped   string
	Reassess   string // token of the form that answers saved setups again
	Keeps      bool
}

// revisionPage shows a revision: how it came about, what it changes, whether the
// catalogue holds with it, and what may be done with it.
func revisionPage(v *visitor) error { return v.renderRevision(http.StatusOK, "", "", nil) }

func (v *visitor) renderRevision(status int, problem, why string, faults []recordFault) error {
	ctx := v.Request().Context()
	r, err := v.store.Revision(ctx, v.who, v.Param("id"))
	if err != nil {
		return err
	}
	d := revisionData{Revision: r, Species: v.subject(r.Path), Against: v.QueryParam("against"), Curates: v.mayCurate(), Done: v.done(),
		Problem: problem, WhyTyped: why, Faults: faults, Reassess: newToken(), Keeps: reaches(v.who.Role, store.Keeper)}
	d.Own = len(r.Steps) > 0 && (r.Steps[0].By == v.who.Key || sameName(r.Steps[0].Holder, v.who.Holder))
	lines, err := v.store.RevisionDifference(ctx, v.who, r.ID, store.Against(d.Against))
	if err != nil {
		return err
	}
	d.Difference = inContext(lines)
	others, err := v.store.Revisions(ctx, v.who, store.RevisionFilter{Path: r.Path}, store.Page{Limit: 50})
	if err != nil {
		return err
	}
	d.Others = slices.DeleteFunc(others.Items, func(o store.Revision) bool { return o.ID == r.ID })
	if r.State == store.Draft || r.State == store.Reviewed {
		now, _, err := v.inForce(r.Path)
		if err != nil {
			return err
		}
		d.Overtaken = now.ID != r.Parent
		if faults == nil {
			if d.Faults, err = v.check(ctx, r.ID); err != nil {
				return err
			}
		}
	}
	return v.renderStatus(status, "revision", v.t("revision.title", r.Path, r.Number), d)
}

// sameName compares names without regard to case and spacing.
func sameName(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// check is what would be wrong with the catalogue if these revisions were in force.
func (v *visitor) check(ctx context.Context, ids ...string) ([]recordFault, error) {
	err := v.store.CheckRevisions(ctx, v.who, ids...)
	if faults := faultsIn(err); len(faults) > 0 {
		return faults, nil
	}
	return nil, err
}

// reviewRevision marks a draft as reviewed, by somebody else than its author.
func reviewRevision(v *visitor) error {
	why := v.posted("why")
	if why == "" || len(why) > maxName {
		return v.renderRevision(http.StatusUnprocessableEntity, v.t("revision.why.bad"), why, nil)
	}
	_, err := v.store.ReviewRevision(v.Request().Context(), v.who, v.Param("id"), why)
	return v.moved(err, store.Reviewed, why)
}

// moved leads to the revision after a step, or says there why it was not made. The
// same form sent twice finds its own doing.
func (v *visitor) moved(err error, to store.State, why string) error {
	id := v.Param("id")
	switch {
	case errors.Is(err, store.ErrStale):
		r, lookErr := v.store.Revision(v.Request().Context(), v.who, id)
		if lookErr != nil {
			return lookErr
		}
		if last := r.Steps[len(r.Steps)-1]; r.State == to && last.By == v.who.Key && last.Why == why {
			break
		}
		return v.renderRevision(http.StatusConflict, v.t("revision.overtaken", saying(err, store.ErrStale)), why, nil)
	case errors.Is(err, store.ErrInvalid):
		if faults := faultsIn(err); len(faults) > 0 {
			return v.renderRevision(http.StatusUnprocessableEntity, v.t("revision.refused"), why, faults)
		}
		return err
	case err != nil:
		return err
	}
	return v.seeOther(v.path("records", "revisions", id), string(to))
}

// withdrawRevision ends a revision; of one in force, the program's own text is in
// force again.
func withdrawRevision(v *visitor) error {
	why := v.posted("why")
	if why == "" || len(why) > maxName {
		return v.renderRevision(http.StatusUnprocessableEntity, v.t("revision.why.bad"), why, nil)
	}
	_, err := v.store.WithdrawRevisions(v.Request().Context(), v.who, why, v.Param("id"))
	return v.moved(err, store.Withdrawn, why)
}

type togetherData struct {
	Revisions []store.Revision
	Faults    []recordFault
	Ready     bool // all are reviewed and the catalogue holds with them
	Curates   bool
	Problem   string
	Why       string
}

// togetherPage checks revisions that rest on one another, and publishes them.
func togetherPage(v *visitor) error {
	return v.renderTogether(http.StatusOK, v.QueryParams()["id"], "", "", nil)
}

// maxTogether bounds how many revisions are published in one go.
const maxTogether = 200

func (v *visitor) renderTogether(status int, ids []string, problem, why string, faults []recordFault) error {
	if len(ids) == 0 || len(ids) > maxTogether {
		return v.seeOther("/records", "none-chosen")
	}
	ctx := v.Request().Context()
	d := togetherData{Problem: problem, Why: why, Faults: faults, Curates: v.mayCurate(), Ready: true}
	for _, id := range ids {
		r, err := v.store.Revision(ctx, v.who, id)
		if err != nil {
			return err
		}
		r.Body = ""
		d.Revisions = append(d.Revisions, r)
		d.Ready = d.Ready && r.State == store.Reviewed
	}
	if faults == nil {
		var err error
		if d.Faults, err = v.check(ctx, ids...); err != nil {
			return err
		}
	}
	d.Ready = d.Ready && len(d.Faults) == 0
	return v.renderStatus(status, "together", v.t("together.title"), d)
}

// publishRevisions puts reviewed revisions in force, all together or none.
func publishRevisions(v *visitor) error {
	ctx, why, ids := v.Request().Context(), v.posted("why"), v.Request().PostForm["id"]
	if why == "" || len(why) > maxName {
		return v.renderTogether(http.StatusUnprocessableEntity, ids, v.t("revision.why.bad"), why, nil)
	}
	_, err := v.store.PublishRevisions(ctx, v.who, why, ids...)
	switch {
	case errors.Is(err, store.ErrStale):
		if own, lookErr := v.publishedBefore(ctx, ids, why); lookErr != nil {
			return lookErr
		} else if !own {
			return v.renderTogether(http.StatusConflict, ids, v.t("revision.overtaken", saying(err, store.ErrStale)), why, nil)
		}
	case errors.Is(err, store.ErrInvalid):
		if faults := faultsIn(err); len(faults) > 0 {
			return v.renderTogether(http.StatusUnprocessableEntity, ids, v.t("revision.refused"), why, faults)
		}
		return err
	case err != nil:
		return err
	}
	if len(ids) == 1 {
		return v.seeOther(v.path("records", "revisions", ids[0]), string(store.Published))
	}
	return v.seeOther("/records", string(store.Published))
}

// publishedBefore reports whether the same form was sent and carried out before.
func (v *visitor) publishedBefore(ctx context.Context, ids []string, why string) (bool, error) {
	for _, id := range ids {
		r, err := v.store.Revision(ctx, v.who, id)
		if err != nil {
			return false, err
		}
		if last := r.Steps[len(r.Steps)-1]; r.State != store.Published || last.By != v.who.Key || last.Why != why {
			return false, nil
		}
	}
	return len(ids) > 0, nil
}

// exportRecords sends the files in force, laid out as they can be imported again.
func exportRecords(v *visitor) error {
	files, err := v.store.CatalogueFiles(v.Request().Context(), "")
	if err != nil {
		return err
	}
	var packed bytes.Buffer // some hundred kB
	z := zip.NewWriter(&packed)
	if err := z.AddFS(files); err != nil {
		return fmt.Errorf("export records: %w", err)
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("export records: %w", err)
	}
	v.Response().Header().Set("Content-Disposition", `attachment; filename="denwright-records.zip"`)
	return v.Blob(http.StatusOK, "application/zip", packed.Bytes())
}

type importData struct {
	Why     string
	Problem string
	Faults  []recordFault
}

func importPage(v *visitor) error {
	if err := v.mustCurate(); err != nil {
		return err
	}
	return v.renderImport(http.StatusOK, importData{})
}

func (v *visitor) renderImport(status int, d importData) error {
	return v.renderStatus(status, "records-import", v.t("records-import.title"), d)
}

// What one import may hold, packed and unpacked. Own choices, about ten times what is held.
const (
	maxPacked   = 8 << 20
	maxUnpacked = 32 << 20
)

// importRecords drafts every file of an archive that differs from the text in force.
func importRecords(v *visitor) error {
	if err := v.mustCurate(); err != nil {
		return err
	}
	why, packed, err := v.upload()
	if err != nil {
		return v.renderImport(http.StatusUnprocessableEntity, importData{Why: why, Problem: v.t("records-import.unreadable")})
	}
	d := importData{Why: why}
	if why == "" || len(why) > maxName {
		d.Problem = v.t("record-edit.why.bad")
		return v.renderImport(http.StatusUnprocessableEntity, d)
	}
	files, err := unpacked(packed)
	if err != nil {
		d.Problem = v.t("records-import.unreadable")
		return v.renderImport(http.StatusUnprocessableEntity, d)
	}
	if len(files) == 0 {
		d.Problem = v.t("records-import.no-files")
		return v.renderImport(http.StatusUnprocessableEntity, d)
	}
	if waiting, err := v.waiting(files); err != nil {
		return err
	} else if waiting {
		return v.seeOther("/records/revisions?state=draft", "imported-before")
	}
	made, err := v.store.ImportRecords(v.Request().Context(), v.who, files, why)
	if errors.Is(err, store.ErrInvalid) {
		if d.Faults = faultsIn(err); len(d.Faults) == 0 {
			d.Problem = saying(err, store.ErrInvalid)
		}
		return v.renderImport(http.StatusUnprocessableEntity, d)
	}
	if err != nil {
		return err
	}
	if len(made) == 0 {
		return v.seeOther("/records", "imported-none")
	}
	return v.seeOther("/records/revisions?state=draft", "imported")
}

// waiting reports whether all that an archive changes waits as drafts already: the same
// archive sent twice is drafted once.
func (v *visitor) waiting(files fstest.MapFS) (bool, error) {
	now, err := v.store.CatalogueFiles(v.Request().Context(), "")
	if err != nil {
		return false, err
	}
	open := map[string]bool{} // path and hash
	for _, state := range []store.State{store.Draft, store.Reviewed} {
		all, err := v.allRevisions(store.RevisionFilter{State: state})
		if err != nil {
			return false, err
		}
		for _, r := range all {
			open[r.Path+" "+r.Hash] = true
		}
	}
	some := false
	for name, f := range files {
		if body, err := fs.ReadFile(now, name); err == nil && bytes.Equal(body, f.Data) {
			continue
		}
		if !open[name+" "+hashOf(f.Data)] {
			return false, nil
		}
		some = true
	}
	return some, nil
}

// upload reads the form of an import.
func (v *visitor) upload() (why string, packed []byte, err error) {
	v.Request().Body = http.MaxBytesReader(v.Response().Writer, v.Request().Body, maxPacked+maxForm)
	parts, err := v.Request().MultipartReader()
	if err != nil {
		return "", nil, err
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return why, packed, nil
		}
		if err != nil {
			return why, nil, err
		}
		body, err := readPart(part)
		if err != nil {
			return why, nil, err
		}
		switch part.FormName() {
		case "why":
			why = strings.TrimSpace(string(body))
		case "archive":
			packed = body
		}
	}
}

func readPart(part *multipart.Part) ([]byte, error) {
	body, err := io.ReadAll(io.LimitReader(part, maxPacked+1))
	if err == nil && len(body) > maxPacked {
		err = errors.New("too large")
	}
	return body, err
}

// unpacked are the catalogue files of an archive, wherever in it they lie; other files
// are passed over.
func unpacked(packed []byte) (fstest.MapFS, error) {
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return nil, err
	}
	out, room := fstest.MapFS{}, int64(maxUnpacked)
	for _, f := range z.File {
		name := path.Base(f.Name)
		if folder := path.Base(path.Dir(f.Name)); name != "allometry.yaml" {
			name = folder + "/" + name
		}
		if !catalogueFile.MatchString(name) {
			continue
		}
		body, err := readPacked(f, min(maxRecord, room))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		room -= int64(len(body))
		if out[name] != nil {
			return nil, fmt.Errorf("%s is there twice", name)
		}
		out[name] = &fstest.MapFile{Data: body, Mode: 0o444}
	}
	return out, nil
}

func readPacked(f *zip.File, limit int64) (body []byte, err error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	body, err = io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(body)) > limit {
		err = errors.New("too large unpacked")
	}
	return body, err
}

// hashOf is a text's hash as the store makes it.
func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}
