package api

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"os"
	"path"
	"strings"
	"testing/fstest" // its MapFS is the standard library's file system in memory
	"time"

	"github.com/labstack/echo/v4"

	"denwright/care"
	"denwright/care/store"
	"denwright/sizing"
)

// wireRevision is a revision of a record, in lists without text and steps.
type wireRevision struct {
	ID          string       `json:"id,omitzero"` // none for the program's own text
	Path        string       `json:"path"`
	Number      int64        `json:"number"`
	State       store.State  `json:"state"`
	Origin      store.Origin `json:"origin"`
	Parent      string       `json:"parent,omitzero"`
	BaseHash    string       `json:"base_hash,omitzero"`
	Hash        string       `json:"hash"`
	PublishedIn *int64       `json:"published_in,omitzero"`
	WithdrawnIn *int64       `json:"withdrawn_in,omitzero"`
	CreatedAt   time.Time    `json:"created_at,omitzero"`
	Text        string       `json:"text,omitzero"`
	Steps       []wireStep   `json:"steps,omitzero"`
}

type wireStep struct {
	State  store.State `json:"state"`
	At     time.Time   `json:"at"`
	By     string      `json:"by"`
	Holder string      `json:"holder"`
	Why    string      `json:"why"`
}

func showRevision(r store.Revision) (wireRevision, error) {
	out := wireRevision{r.ID, r.Path, r.Number, r.State, r.Origin, r.Parent, r.BaseHash, r.Hash, r.PublishedIn, r.WithdrawnIn, r.CreatedAt, r.Body, nil}
	for _, st := range r.Steps {
		out.Steps = append(out.Steps, wireStep{st.State, st.At, st.By, st.Holder, st.Why})
	}
	return out, nil
}

func (v *visit) sendRevision(status int, r store.Revision) error {
	out, err := showRevision(r)
	return errors.Join(err, v.answer(status, out))
}

// recordText is the text in force of one file of the catalogue.
func recordText(v *visit) error {
	file := v.plain("path")
	if _, given := v.q.values["path"]; !given {
		v.q.add("?path", "is missing", "name a file, such as species/pogona-vitticeps.yaml")
	}
	if err := v.q.done(); err != nil {
		return err
	}
	r, err := v.st.InForce(v.ctx(), v.who, file)
	if errors.Is(err, store.ErrNotFound) {
		return &Problem{kind: unknownName, detail: fmt.Sprintf("no file of the catalogue has the path %q", cut(file)),
			errors: []sizing.Problem{{Field: "?path", Reason: "is not the path of a file in force", Remedy: "use species/ID.yaml, a file of sources/ or rules/, or allometry.yaml"}}}
	}
	if err != nil {
		return err
	}
	return v.sendRevision(http.StatusOK, r)
}

type revisionPage struct {
	Revisions []wireRevision `json:"revisions"`
	Next      string         `json:"next_cursor,omitzero"`
}

// states are those of a revision, in order.
var states = []store.State{store.Draft, store.Reviewed, store.Published, store.Withdrawn}

func revisionList(v *visit) error {
	f := store.RevisionFilter{Path: v.plain("path"), State: oneOf(v.q, "state", states)}
	p := v.page()
	if err := v.q.done(); err != nil {
		return err
	}
	list, err := v.st.Revisions(v.ctx(), v.who, f, p)
	items, next, err := pageOf(v, list, err, showRevision)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, revisionPage{items, next})
}

// ofRevision words that a revision is not there.
func ofRevision(field string, err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return &Problem{kind: unknownName, detail: "no such revision is held",
			errors: []sizing.Problem{{Field: field, Reason: "is not the id of a revision", Remedy: "list them with GET /v1/record-revisions"}}}
	}
	return err
}

func getRevision(v *visit) error {
	id, err := v.id("revision")
	if err != nil {
		return err
	}
	r, err := v.st.Revision(v.ctx(), v.who, id)
	if err != nil {
		return ofRevision("{id}", err)
	}
	return v.sendRevision(http.StatusOK, r)
}

type difference struct {
	Lines []differenceLine `json:"lines"`
}

// differenceLine is a line kept (" "), only in the old text ("-") or only in the new ("+").
type differenceLine struct {
	Op   string `json:"op"`
	Old  int    `json:"old,omitzero"` // line number, from 1
	New  int    `json:"new,omitzero"`
	Text string `json:"text"`
}

func revisionDifference(v *visit) error {
	against := v.plain("against")
	if against != "" && against != string(store.AgainstEmbedded) && !isID(against) {
		v.q.add("?against", fmt.Sprintf("is %q", against), "use embedded, or the id of another revision of the same file, or leave it out")
	}
	id, err := v.id("revision")
	if err != nil {
		return err
	}
	lines, err := v.st.RevisionDifference(v.ctx(), v.who, id, store.Against(against))
	switch {
	case errors.Is(err, store.ErrInvalid):
		v.q.add("?against", "is a revision of another file", "use a revision of the same file")
		return v.q.done()
	case errors.Is(err, store.ErrNotFound) && isID(against):
		// Which of the two is not there is found by asking for the first alone.
		if _, err := v.st.Revision(v.ctx(), v.who, id); err == nil {
			return ofRevision("?against", store.ErrNotFound)
		}
		return ofRevision("{id}", err)
	case err != nil:
		return ofRevision("{id}", err)
	}
	out := difference{make([]differenceLine, len(lines))}
	for i, l := range lines {
		out.Lines[i] = differenceLine(l)
	}
	return v.answer(http.StatusOK, out)
}

// draftInput is a proposed text of a file.
type draftInput struct {
	Path   string `json:"path"`
	Text   string `json:"text"`
	Why    string `json:"why"`
	Parent string `json:"parent,omitzero"`
}

func draftRevision(v *visit) error {
	token, err := v.token()
	if err := errors.Join(err, v.q.done()); err != nil {
		return err
	}
	in, err := takeAs(v, "DraftInput", func(in draftInput) sizing.Invalid {
		bad := line("/why", in.Why)
		if strings.TrimSpace(in.Text) == "" || strings.ContainsRune(in.Text, 0) {
			bad = append(bad, sizing.Problem{Field: "/text", Reason: "is blank or holds a zero byte", Remedy: "give the file's whole text as YAML"})
		}
		return bad
	})
	if err != nil {
		return err
	}
	r, err := v.st.DraftRevision(v.ctx(), v.who, token, store.DraftInput{Path: in.Path, Body: in.Text, Why: in.Why, Parent: in.Parent})
	if err != nil {
		return err
	}
	v.c.Response().Header().Set(echo.HeaderLocation, "/v1/record-revisions/"+r.ID)
	return v.sendRevision(http.StatusCreated, r)
}

type reviewInput struct {
	Why string `json:"why"`
}

func reviewRevision(v *visit) error {
	id, err := v.id("revision")
	if err != nil {
		return err
	}
	in, err := takeAs(v, "ReviewInput", func(in reviewInput) sizing.Invalid { return line("/why", in.Why) })
	if err != nil {
		return err
	}
	r, err := v.st.ReviewRevision(v.ctx(), v.who, id, in.Why)
	if err != nil {
		return ofRevision("{id}", err)
	}
	return v.sendRevision(http.StatusOK, r)
}

type checkInput struct {
	Revisions []string `json:"revisions"`
}

type recordCheck struct {
	Holds  bool          `json:"holds"`
	Faults []recordFault `json:"faults"`
	// Omitted counts the faults beyond the first maxErrors.
	Omitted int `json:"faults_omitted,omitzero"`
}

// checkRevisions tells whether the catalogue would hold with some revisions in force.
func checkRevisions(v *visit) error {
	if err := v.q.done(); err != nil {
		return err
	}
	in, err := takeAs(v, "CheckInput", func(checkInput) sizing.Invalid { return nil })
	if err != nil {
		return err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	err = v.st.CheckRevisions(v.ctx(), v.who, in.Revisions...)
	out := recordCheck{Holds: err == nil, Faults: recordFaults(err)}
	if err != nil && len(out.Faults) == 0 {
		return ofRevision("/revisions", err)
	}
	if out.Faults == nil {
		out.Faults = []recordFault{}
	}
	if n := len(out.Faults); n > maxErrors {
		out.Faults, out.Omitted = out.Faults[:maxErrors], n-maxErrors
	}
	return v.answer(http.StatusOK, out)
}

type publicationInput struct {
	Revisions []string `json:"revisions"`
	Why       string   `json:"why"`
}

// publication is a change of the records in force.
type publication struct {
	Revisions []string `json:"revisions"`
	stamp
}

func publishRevisions(v *visit) error {
	return v.change(func(in publicationInput) (*care.Catalogue, error) {
		return v.st.PublishRevisions(v.ctx(), v.who, in.Why, in.Revisions...)
	})
}

func withdrawRevisions(v *visit) error {
	return v.change(func(in publicationInput) (*care.Catalogue, error) {
		return v.st.WithdrawRevisions(v.ctx(), v.who, in.Why, in.Revisions...)
	})
}

// change changes the records in force. The next answer of this process is from the
// new catalogue; other replicas follow by themselves.
func (v *visit) change(make func(publicationInput) (*care.Catalogue, error)) error {
	if err := v.q.done(); err != nil {
		return err
	}
	in, err := takeAs(v, "PublicationInput", func(in publicationInput) sizing.Invalid { return line("/why", in.Why) })
	if err != nil {
		return err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	c, err := make(in)
	if err != nil {
		return ofRevision("/revisions", err)
	}
	v.s.advance(c)
	return v.answer(http.StatusOK, publication{in.Revisions, stamp{c.Revision, sizing.EngineVersion}})
}

// Bounds of an archive of records: several times what is held.
const (
	maxArchive      = 8_000_000  // bytes as sent
	maxArchiveFiles = 5_000      //
	maxArchiveTexts = 64_000_000 // bytes of all files together
	maxRecordText   = 1 << 20    // bytes of one file, as the store bounds it
)

// exportRecords gives the files of a catalogue as a ZIP archive: the same bytes for
// the same catalogue.
func exportRecords(v *visit) error {
	name := v.plain("catalogue")
	if err := v.q.done(); err != nil {
		return err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	files, err := v.st.CatalogueFiles(v.ctx(), name)
	if errors.Is(err, store.ErrNotFound) {
		return &Problem{kind: unknownName, detail: "no such catalogue was in use here",
			errors: []sizing.Problem{{Field: "?catalogue", Reason: "is not the catalogue_revision of an answer given here", Remedy: "take it from a kept assessment, or leave it out for the catalogue in force"}}}
	}
	if err != nil {
		return err
	}
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		w, err := archive.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
		if err != nil {
			return err
		}
		_, err = w.Write(raw)
		return err
	})
	if err := errors.Join(err, archive.Close()); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	v.c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="denwright-records.zip"`)
	return write(v.c, http.StatusOK, "application/zip", out.Bytes())
}

type importAnswer struct {
	Revisions []wireRevision `json:"revisions"`
}

// importRecords drafts each file of an archive that differs from the text in force.
func importRecords(v *visit) error {
	why := v.plain("why")
	if _, given := v.q.values["why"]; !given {
		v.q.add("?why", "is missing", "say in a line where the texts come from")
	} else if strings.TrimSpace(why) == "" && v.q.bad == nil {
		v.q.add("?why", "is blank", "say in a line where the texts come from")
	}
	if err := v.q.done(); err != nil {
		return err
	}
	files, err := readArchive(v.c)
	if err != nil {
		return err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	drafted, err := v.st.ImportRecords(v.ctx(), v.who, files, why)
	if err != nil {
		return err
	}
	out := importAnswer{make([]wireRevision, len(drafted))}
	for i, r := range drafted {
		if out.Revisions[i], err = showRevision(r); err != nil {
			return err
		}
		out.Revisions[i].Text, out.Revisions[i].Steps = "", nil
	}
	return v.answer(http.StatusOK, out)
}

// readArchive reads the YAML files of a ZIP archive into memory, within bounds: an
// archive can hold a thousand times its own size.
func readArchive(c echo.Context) (fs.FS, error) {
	r := c.Request()
	kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	coding := r.Header.Get(echo.HeaderContentEncoding)
	if err != nil || kind != "application/zip" || coding != "" && coding != "identity" {
		return nil, &Problem{kind: wrongMediaType, detail: "Send the records as Content-Type: application/zip, without Content-Encoding."}
	}
	raw, err := io.ReadAll(http.MaxBytesReader(c.Response().Writer, r.Body, maxArchive))
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return nil, archiveTooLarge(fmt.Sprintf("An archive is at most %d bytes.", maxArchive))
	case errors.Is(err, os.ErrDeadlineExceeded):
		return nil, &Problem{kind: tooSlow}
	case err != nil:
		return nil, unreadableArchive("the body could not be read to its end")
	}
	archive, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		return nil, unreadableArchive("the body is not a ZIP archive")
	}
	if len(archive.File) > maxArchiveFiles {
		return nil, archiveTooLarge(fmt.Sprintf("An archive holds at most %d files.", maxArchiveFiles))
	}
	out, total := fstest.MapFS{}, 0
	for _, f := range archive.File {
		if f.FileInfo().IsDir() || path.Ext(f.Name) != ".yaml" || !fs.ValidPath(f.Name) {
			continue
		}
		text, err := readZipped(f)
		if err != nil {
			return nil, unreadableArchive("the file " + cut(f.Name) + " can't be read")
		}
		if total += len(text); len(text) > maxRecordText || total > maxArchiveTexts {
			return nil, archiveTooLarge(fmt.Sprintf("A file is at most %d bytes, and all together %d.", maxRecordText, maxArchiveTexts))
		}
		if out[f.Name] != nil {
			return nil, unreadableArchive("the file " + cut(f.Name) + " is there twice")
		}
		out[f.Name] = &fstest.MapFile{Data: text, Mode: 0o444}
	}
	return out, nil
}

// readZipped reads one byte more than a text may have, at most.
func readZipped(f *zip.File) (text []byte, err error) {
	in, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	return io.ReadAll(io.LimitReader(in, maxRecordText+1))
}

func archiveTooLarge(detail string) *Problem { return &Problem{kind: bodyTooLarge, detail: detail} }

func unreadableArchive(reason string) *Problem {
	return &Problem{kind: unreadableRequest, detail: reason, errors: []sizing.Problem{{Field: "", Reason: reason, Remedy: "send a ZIP archive laid out as GET /v1/record-archives gives it"}}}
}
