package pages

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"denwright/api/saved"
	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
)

// savedPages are the pages about signing in, saved setups and their assessments.
func (s *Site) savedPages(m mount) {
	m.get("/sign-in", signInPage)
	m.post("/sign-in", signIn)
	m.post("/sign-out", signOut)
	m.get("/account", s.signedIn(store.Reader, accountPage))

	m.get("/setups", s.signedIn(store.Reader, setupList))
	m.post("/setups", s.signedIn(store.Keeper, createSetup))
	m.get("/setups/changes", s.signedIn(store.Reader, answerChanges))
	m.post("/setups/reassess", s.signedIn(store.Keeper, reassess))
	m.get("/setups/:id", s.signedIn(store.Reader, setupPage))
	m.post("/setups/:id", s.signedIn(store.Keeper, updateSetup))
	m.get("/setups/:id/edit", s.signedIn(store.Keeper, setupForm))
	m.get("/setups/:id/text", s.signedIn(store.Keeper, setupText))
	m.post("/setups/:id/name", s.signedIn(store.Keeper, renameSetup))
	m.get("/setups/:id/delete", s.signedIn(store.Keeper, deletePage))
	m.post("/setups/:id/delete", s.signedIn(store.Keeper, deleteSetup))
	m.post("/setups/:id/restore", s.signedIn(store.Keeper, restoreSetup))
	m.get("/setups/:id/versions", s.signedIn(store.Reader, versionsPage))
	m.post("/setups/:id/assessments", s.signedIn(store.Keeper, keepAnswer))
	m.get("/setups/:id/assessments/:assessment", s.signedIn(store.Reader, answerPage))

	m.get("/keys", s.signedIn(store.Admin, keysPage))
	m.post("/keys", s.signedIn(store.Admin, createKey))
	m.get("/keys/:id/revoke", s.signedIn(store.Admin, revokePage))
	m.post("/keys/:id/revoke", s.signedIn(store.Admin, revokeKey))
	m.get("/audit", s.signedIn(store.Admin, auditPage))
	m.get("/organisation", s.signedIn(store.Admin, organisationPage))
	m.get("/organisation/export", s.signedIn(store.Admin, exportOrganisation))
	m.post("/organisation/delete", s.signedIn(store.Admin, deleteOrganisation))
}

// rowsPerPage is how many rows a list shows, so that it stays small and is one look.
const rowsPerPage = 25

func (v *visitor) cursor() store.Page {
	return store.Page{Cursor: v.QueryParam("cursor"), Limit: rowsPerPage}
}

// nextPage is the address of the next page of a list; empty on the last.
func (v *visitor) nextPage(cursor string) string {
	if cursor == "" {
		return ""
	}
	q := url.Values{}
	for name, values := range v.QueryParams() {
		if name != "done" {
			q[name] = values
		}
	}
	q.Set("cursor", cursor)
	return v.Request().URL.Path + "?" + q.Encode()
}

// holders gives the names of the people behind the keys of the visitor's organisation.
// Only the ids of keys stand in what is saved, and colleagues are told apart by name.
func (v *visitor) holders() (map[string]string, error) {
	out := map[string]string{}
	operator := store.Operator("names of a key's own organisation")
	for p := (store.Page{Limit: 200}); ; {
		list, err := v.store.Keys(v.Request().Context(), operator, v.who.Organisation, p)
		if err != nil {
			return nil, err
		}
		for _, k := range list.Items {
			out[k.ID] = k.Holder
		}
		if p.Cursor = list.Next; p.Cursor == "" {
			return out, nil
		}
	}
}

func (v *visitor) commonName(species string) string {
	if s := v.snap.SpeciesByID(species); s != nil {
		return s.CommonName(v.look.language)
	}
	return species
}

// today is what a setup would be answered now; nothing of it is kept.
type today struct {
	store.AssessmentInput
	Refused string // why it can't be assessed any more
	Answer  keptAnswer
}

func (v *visitor) today(s store.Setup) (today, error) {
	in, err := saved.Answer(v.snap.Catalogue, s)
	var refused *saved.Refused
	if errors.As(err, &refused) {
		return today{Refused: refused.Why.Error()}, nil
	}
	if err != nil {
		return today{}, err
	}
	answer, err := readAnswer(in.Payload)
	return today{AssessmentInput: in, Answer: answer}, err
}

// keptAnswer is what the pages show of an answer as it was kept. Fields that a later
// program added or dropped do not matter to it.
type keptAnswer struct {
	Weakest  []string      `json:"weakest_criteria"`
	Findings []keptFinding `json:"findings"`
	Hazards  []keptHazard  `json:"hazards"`
	Open     []struct {
		What string `json:"what"`
	} `json:"not_known"`
}

type keptFinding struct {
	Criterion string `json:"criterion"`
	Name      string `json:"name"`
	Standing  string `json:"standing"`
	Answer    string `json:"answer"`
	Value     *struct {
		Value float64 `json:"value"`
		Unit  string  `json:"unit"`
	} `json:"value"`
	Target *struct {
		Low  *float64 `json:"low"`
		High *float64 `json:"high"`
		Unit string   `json:"unit"`
	} `json:"target"`
}

type keptHazard struct {
	Code     string `json:"code"`
	Name     string `json:"name"`
	Presence string `json:"presence"`
}

func readAnswer(payload []byte) (a keptAnswer, err error) {
	return a, json.Unmarshal(payload, &a)
}

// There lists the hazards that are there or may be.
func (a keptAnswer) There() (out []keptHazard) {
	for _, h := range a.Hazards {
		if h.Presence != "absent" {
			out = append(out, h)
		}
	}
	return out
}

// say is a finding in a line, in the viewer's units.
func (f keptFinding) say(units quantity.System) string {
	out := f.Standing
	if f.Answer != "" {
		out += ": " + f.Answer
	}
	if f.Value != nil {
		out += ": " + quantity.Value{Number: f.Value.Value, Unit: f.Value.Unit}.In(units).String()
	}
	if f.Target != nil {
		out += ", wanted " + writeBand(quantity.Band{Low: f.Target.Low, High: f.Target.High, Unit: f.Target.Unit}, units)
	}
	return out
}

type setupListData struct {
	Query     string
	Candidate []care.Candidate // where the name means none or several
	Species   string           // the one searched by
	Common    string
	Setups    []setupRow
	Next      string
	First     bool // page
	Keeps     bool
	Done      string
	Token     string
	Revision  string
}

type setupRow struct {
	store.Setup
	Common string
	Last   *store.Assessment // kept last
	Today  today
}

// setupList lists what is saved, by species where one is named.
func setupList(v *visitor) error {
	ctx := v.Request().Context()
	d := setupListData{Query: strings.TrimSpace(v.QueryParam("species")), First: v.QueryParam("cursor") == "", Keeps: reaches(v.who.Role, store.Keeper),
		Done: v.done(), Token: newToken(), Revision: v.snap.Revision}
	if d.Query != "" {
		if s := v.snap.SpeciesByID(d.Query); s != nil {
			d.Species = s.ID
		} else if found := v.snap.Find(d.Query, 8); found.Outcome == care.FoundOne {
			d.Species = found.Candidates[0].Species.ID
		} else {
			d.Candidate = found.Candidates
			return v.render("setups", v.t("setups.title"), d)
		}
		d.Common = v.commonName(d.Species)
	}
	list, err := v.store.Setups(ctx, v.who, store.SetupFilter{Species: d.Species}, v.cursor())
	if err != nil {
		return err
	}
	for _, s := range list.Items {
		row := setupRow{Setup: s, Common: v.commonName(s.Species)}
		kept, err := v.store.Assessments(ctx, v.who, store.AssessmentFilter{Setup: s.ID}, store.Page{Limit: 1})
		if err != nil {
			return err
		}
		if len(kept.Items) > 0 {
			row.Last = &kept.Items[0]
		}
		if row.Today, err = v.today(s); err != nil {
			return err
		}
		d.Setups = append(d.Setups, row)
	}
	d.Next = v.nextPage(list.Next)
	return v.render("setups", v.t("setups.title"), d)
}

type setupData struct {
	store.Setup
	Common  string
	Stated  []stated
	Today   today
	By      string
	Kept    []keptRow
	Next    string
	Keeps   bool
	Done    string
	Token   string
	Changed bool   // today's answer differs from the last one kept
	Whole   string // path of the whole of today's answer
}

type keptRow struct {
	store.Assessment
	Name string
	Here bool // under the catalogue and engine in use
}

func (v *visitor) path(parts ...string) string {
	for i := range parts {
		parts[i] = url.PathEscape(parts[i])
	}
	return "/" + strings.Join(parts, "/")
}

// setupPage shows a setup as it stands, its answer today, and every answer kept.
func setupPage(v *visitor) error {
	ctx, id := v.Request().Context(), v.Param("id")
	now, err := v.store.Setup(ctx, v.who, id)
	if errors.Is(err, store.ErrNotFound) {
		last, err := v.store.SetupHistory(ctx, v.who, id, store.Page{Limit: 1})
		if err != nil {
			return err
		}
		now = last.Items[0]
	} else if err != nil {
		return err
	}
	d := setupData{Setup: now, Common: v.commonName(now.Species), Keeps: reaches(v.who.Role, store.Keeper), Done: v.done(), Token: newToken()}
	if d.Stated, err = statedIn(now.Payload); err != nil {
		return err
	}
	values, _, err := v.asForm(now.Payload)
	if err != nil {
		return err
	}
	d.Whole = "/assess?" + values.Encode()
	if d.Today, err = v.today(now); err != nil {
		return err
	}
	names, err := v.holders()
	if err != nil {
		return err
	}
	d.By = names[now.UpdatedBy]
	list, err := v.store.Assessments(ctx, v.who, store.AssessmentFilter{Setup: id}, v.cursor())
	if err != nil {
		return err
	}
	for _, a := range list.Items {
		d.Kept = append(d.Kept, keptRow{a, names[a.By], a.CatalogueRevision == v.snap.Revision && a.EngineVersion == sizing.EngineVersion})
	}
	if len(d.Kept) > 0 && v.QueryParam("cursor") == "" && d.Today.Refused == "" {
		last := d.Kept[0]
		d.Changed = last.Verdict != d.Today.Verdict || last.Worst != d.Today.Worst || last.Best != d.Today.Best
	}
	d.Next = v.nextPage(list.Next)
	return v.render("setup", now.Name, d)
}

// saving is the block that keeps an assessment; nil where nothing can be kept.
type saving struct {
	Session  session
	Token    string
	Question string // as JSON; empty before there is an answer
	Name     string
	// Setup and Version say of which saved setup it is the next version.
	Setup, Version string
	Back           string
}

// The names in the query of a form that changes a saved setup.
const (
	savedField        = "saved"
	savedVersionField = "saved_version"
	savedNameField    = "saved_name"
)

// saving is for the template "save", which stands below an answer, and "save-carry",
// which stands in the form of the question. It asks nothing of the database.
func (r *request) saving(f *form) *saving {
	if r.site.store == nil {
		return nil
	}
	q := r.QueryParams()
	return &saving{Session: r.session(), Token: newToken(), Question: f.Asked, Name: q.Get(savedNameField), Setup: q.Get(savedField), Version: q.Get(savedVersionField),
		Back: r.Request().URL.RequestURI()}
}

// SetupPath is where the next version goes.
func (s *saving) SetupPath() string { return "/setups/" + url.PathEscape(s.Setup) }

// setupForm leads to the form of the assessment, filled in with what is saved; to its
// text where the form can't hold all of it, so that nothing is lost by changing it.
func setupForm(v *visitor) error {
	now, err := v.store.Setup(v.Request().Context(), v.who, v.Param("id"))
	if err != nil {
		return err
	}
	values, whole, err := v.asForm(now.Payload)
	if err != nil {
		return err
	}
	if !whole {
		return v.seeOther(v.path("setups", now.ID, "text"), "no-form")
	}
	return v.Redirect(http.StatusSeeOther, assessPath(values, now))
}

// assessPath is the form of the assessment for the next version of a setup.
func assessPath(values url.Values, of store.Setup) string {
	values.Set(savedField, of.ID)
	values.Set(savedVersionField, strconv.FormatInt(of.Version, 10))
	values.Set(savedNameField, of.Name)
	return "/assess?" + values.Encode()
}

// asForm is a question as the form of the assessment would send it, and whether the
// same question comes out of it again.
func (v *visitor) asForm(question []byte) (values url.Values, whole bool, err error) {
	var tree any
	if err := json.Unmarshal(question, &tree); err != nil {
		return nil, false, fmt.Errorf("question kept: %w", err)
	}
	values = url.Values{unitsField: {quantity.Metric.String()}}
	flatten(values, "", tree)
	f := v.assessmentForm(values)
	var q sizing.AssessmentQuestion
	if !f.ask(&q) {
		return values, false, nil
	}
	differ, err := restatements(question, []byte(f.Asked))
	return values, len(differ) == 0, err
}

// setupEdit is a setup about to be saved: as text, with what has to be mended.
type setupEdit struct {
	ID       string // empty: a new one
	Version  int64
	Name     string
	Question string
	Token    string
	Problems []sizing.Problem
	NameBad  string
	Gone     bool // deleted since it was opened
	Done     string
}

// setupText is the setup as the JSON of the question, for what no form has a field for.
func setupText(v *visitor) error {
	now, err := v.store.Setup(v.Request().Context(), v.who, v.Param("id"))
	if err != nil {
		return err
	}
	return v.renderEdit(http.StatusOK, setupEdit{ID: now.ID, Version: now.Version, Name: now.Name, Question: string(now.Payload), Done: v.done()})
}

func (v *visitor) renderEdit(status int, e setupEdit) error {
	e.Token = newToken()
	if text := jsontext.Value(e.Question); text.Indent(jsontext.WithIndent("  ")) == nil {
		e.Question = string(text)
	}
	title := v.t("setup-edit.title-new")
	if e.ID != "" {
		title = v.t("setup-edit.title", e.Name)
	}
	return v.renderStatus(status, "setup-edit", title, e)
}

// input reads what is to be saved. It reports false after having answered with what
// has to be mended.
func (v *visitor) input(e *setupEdit) (in store.SetupInput, ok bool, err error) {
	e.Name, e.Question = v.posted("name"), v.posted("question")
	switch {
	case e.Name == "":
		e.NameBad = v.t("setup.name.needed")
	case len(e.Name) > maxName:
		e.NameBad = v.t("setup.name.long")
	}
	in, err = saved.Input(v.snap.Catalogue, e.Name, jsontext.Value(e.Question))
	var invalid sizing.Invalid
	switch {
	case err == nil:
	case errors.As(err, &invalid):
		e.Problems = invalid
	default: // the decoder's
		e.Problems = sizing.Invalid{{Reason: err.Error()}}
	}
	if e.NameBad == "" && len(e.Problems) == 0 {
		return in, true, nil
	}
	return in, false, v.renderEdit(http.StatusUnprocessableEntity, *e)
}

// maxName is what the store takes, in bytes.
const maxName = 500

// createSetup keeps a question, and the answer to it that was on the page.
func createSetup(v *visitor) error {
	in, ok, err := v.input(&setupEdit{})
	if !ok {
		return err
	}
	made, err := v.store.CreateSetup(v.Request().Context(), v.who, v.token(), in)
	if err != nil {
		return err
	}
	if err := v.keep(made.ID); err != nil {
		return err
	}
	return v.seeOther(v.path("setups", made.ID), "saved")
}

// keep assesses a setup and keeps the answer, once for each form sent.
func (v *visitor) keep(id string) error {
	token := v.token()
	if token != "" {
		token += " answer" // the form's own token is booked by what it saved
	}
	_, err := saved.Assess(v.Request().Context(), v.store, v.who, v.snap.Catalogue, token, id)
	var refused *saved.Refused
	switch {
	case errors.As(err, &refused):
		return &failure{status: http.StatusUnprocessableEntity, key: "not-assessable", detail: refused.Why.Error()}
	case errors.Is(err, store.ErrTokenReused): // sent twice with a new catalogue or version in between: the first answer is kept
		return nil
	}
	return err
}

// keepAnswer keeps today's answer of a setup.
func keepAnswer(v *visitor) error {
	if err := v.keep(v.Param("id")); err != nil {
		return err
	}
	return v.seeOther(v.path("setups", v.Param("id")), "kept")
}

func (v *visitor) postedVersion() (int64, error) {
	n, err := strconv.ParseInt(v.posted("version"), 10, 64)
	if err != nil {
		return 0, &failure{status: http.StatusBadRequest, key: "unreadable-form"}
	}
	return n, nil
}

// updateSetup makes the next version, unless somebody else did: then both are shown.
func updateSetup(v *visitor) error {
	version, err := v.postedVersion()
	if err != nil {
		return err
	}
	e := setupEdit{ID: v.Param("id"), Version: version}
	in, ok, err := v.input(&e)
	if !ok {
		return err
	}
	return v.update(e.ID, version, in, "changed", true)
}

func (v *visitor) update(id string, version int64, in store.SetupInput, done string, keep bool) error {
	ctx := v.Request().Context()
	now, err := v.store.UpdateSetup(ctx, v.who, id, version, in)
	switch {
	case errors.Is(err, store.ErrStale):
		// The same form sent twice finds its own doing.
		if now.UpdatedBy != v.who.Key || now.Version != version+1 || !sameInput(now.SetupInput, in) {
			return v.stale(version, now, in)
		}
	case errors.Is(err, store.ErrNotFound):
		if last, err := v.store.SetupHistory(ctx, v.who, id, store.Page{Limit: 1}); err == nil && last.Items[0].Deleted {
			return v.renderEdit(http.StatusConflict, setupEdit{Name: in.Name, Question: string(in.Payload), Gone: true})
		}
		return err
	case err != nil:
		return err
	}
	if keep {
		if err := v.keep(id); err != nil {
			return err
		}
	}
	return v.seeOther(v.path("setups", id), done)
}

func sameInput(a, b store.SetupInput) bool {
	return a.Name == b.Name && a.Species == b.Species && string(a.Payload) == string(b.Payload)
}

// staleData is a setup that two people changed: as it was opened, as it is now, and
// what was to be saved.
type staleData struct {
	Now      store.Setup
	Mine     store.SetupInput
	By       string
	Rows     []staleRow
	Token    string
	EditPath string // the form with mine filled in; empty where it can't hold it
}

type staleRow struct {
	Label, Was, Now, Mine string
	Both                  bool // both changed it, each to something else
}

func (v *visitor) stale(version int64, now store.Setup, mine store.SetupInput) error {
	names, err := v.holders()
	if err != nil {
		return err
	}
	d := staleData{Now: now, Mine: mine, By: names[now.UpdatedBy], Token: newToken()}
	was, err := v.setupAt(now.ID, version)
	if err != nil {
		return err
	}
	named := func(in store.SetupInput) ([]stated, error) {
		all, err := statedIn(in.Payload)
		return append([]stated{{At: "name", Value: in.Name}}, all...), err
	}
	states := make([]map[string]string, 3)
	var order []stated
	seen := map[string]bool{}
	for i, in := range []store.SetupInput{was.SetupInput, now.SetupInput, mine} {
		all, err := named(in)
		if err != nil {
			return err
		}
		states[i] = map[string]string{}
		for _, f := range all {
			if before := states[i][f.At]; before != "" {
				f.Value = before + ", " + f.Value
			}
			states[i][f.At] = f.Value
			if !seen[f.At] {
				seen[f.At] = true
				order = append(order, f)
			}
		}
	}
	for _, f := range order {
		row := staleRow{Label: f.Label(), Was: states[0][f.At], Now: states[1][f.At], Mine: states[2][f.At]}
		if row.Was == row.Now && row.Now == row.Mine {
			continue
		}
		row.Both = row.Was != row.Now && row.Was != row.Mine && row.Now != row.Mine
		d.Rows = append(d.Rows, row)
	}
	values, whole, err := v.asForm(mine.Payload)
	if err != nil {
		return err
	}
	if whole {
		now.Name = mine.Name
		d.EditPath = assessPath(values, now)
	}
	return v.renderStatus(http.StatusConflict, "setup-stale", v.t("setup-stale.title", d.Now.Name), d)
}

// setupAt is one version of a setup; the zero setup where it has no such version.
func (v *visitor) setupAt(id string, version int64) (store.Setup, error) {
	for p := (store.Page{Limit: 200}); ; {
		list, err := v.store.SetupHistory(v.Request().Context(), v.who, id, p)
		if err != nil {
			return store.Setup{}, err
		}
		for _, s := range list.Items {
			if s.Version == version {
				return s, nil
			}
		}
		if p.Cursor = list.Next; p.Cursor == "" {
			return store.Setup{SetupInput: store.SetupInput{Payload: []byte("{}")}}, nil
		}
	}
}

// renameSetup gives a setup another name and leaves the rest as it is now.
func renameSetup(v *visitor) error {
	version, err := v.postedVersion()
	if err != nil {
		return err
	}
	now, err := v.store.Setup(v.Request().Context(), v.who, v.Param("id"))
	if err != nil {
		return err
	}
	in := now.SetupInput
	in.Name = v.posted("name")
	if in.Name == "" || len(in.Name) > maxName {
		e := setupEdit{ID: now.ID, Version: version, Name: in.Name, Question: string(now.Payload), NameBad: v.t("setup.name.needed")}
		if in.Name != "" {
			e.NameBad = v.t("setup.name.long")
		}
		return v.renderEdit(http.StatusUnprocessableEntity, e)
	}
	if in.Name == now.Name {
		return v.seeOther(v.path("setups", now.ID), "renamed")
	}
	return v.update(now.ID, version, in, "renamed", false)
}

type deleteData struct {
	store.Setup
	Common  string
	Changed bool // since the page was opened
	By      string
}

func deletePage(v *visitor) error { return v.confirmDelete(http.StatusOK, false) }

func (v *visitor) confirmDelete(status int, changed bool) error {
	now, err := v.store.Setup(v.Request().Context(), v.who, v.Param("id"))
	if err != nil {
		return err
	}
	names, err := v.holders()
	if err != nil {
		return err
	}
	return v.renderStatus(status, "setup-delete", v.t("setup-delete.title", now.Name), deleteData{now, v.commonName(now.Species), changed, names[now.UpdatedBy]})
}

func deleteSetup(v *visitor) error {
	version, err := v.postedVersion()
	if err != nil {
		return err
	}
	ctx, id := v.Request().Context(), v.Param("id")
	err = v.store.DeleteSetup(ctx, v.who, id, version)
	switch {
	case errors.Is(err, store.ErrStale):
		return v.confirmDelete(http.StatusConflict, true)
	case errors.Is(err, store.ErrNotFound): // the same form sent twice finds its own doing
		last, lookErr := v.store.SetupHistory(ctx, v.who, id, store.Page{Limit: 1})
		if lookErr != nil || !last.Items[0].Deleted {
			return err
		}
	case err != nil:
		return err
	}
	return v.seeOther(v.path("setups", id), "deleted")
}

// restoreSetup saves the last version of a deleted setup as a new one.
func restoreSetup(v *visitor) error {
	ctx := v.Request().Context()
	last, err := v.store.SetupHistory(ctx, v.who, v.Param("id"), store.Page{Limit: 1})
	if err != nil {
		return err
	}
	if !last.Items[0].Deleted {
		return v.seeOther(v.path("setups", last.Items[0].ID), "")
	}
	made, err := v.store.CreateSetup(ctx, v.who, v.token(), last.Items[0].SetupInput)
	if err != nil {
		return err
	}
	return v.seeOther(v.path("setups", made.ID), "restored")
}

type versionsData struct {
	Setup    store.Setup // newest
	Versions []versionRow
	Next     string
}

type versionRow struct {
	store.Setup
	By      string
	First   bool
	Renamed string // its name before, where that differs
	Changes []restated
}

// versionsPage lists the versions of a setup, each with what it changed.
func versionsPage(v *visitor) error {
	ctx, id := v.Request().Context(), v.Param("id")
	list, err := v.store.SetupHistory(ctx, v.who, id, v.cursor())
	if err != nil {
		return err
	}
	if len(list.Items) == 0 {
		return notFound()
	}
	names, err := v.holders()
	if err != nil {
		return err
	}
	older := list.Items[1:]
	if list.Next != "" {
		next, err := v.store.SetupHistory(ctx, v.who, id, store.Page{Cursor: list.Next, Limit: 1})
		if err != nil {
			return err
		}
		older = append(older[:len(older):len(older)], next.Items...)
	}
	d := versionsData{Setup: list.Items[0], Next: v.nextPage(list.Next)}
	for i, s := range list.Items {
		row := versionRow{Setup: s, By: names[s.UpdatedBy], First: i >= len(older)}
		row.Deleted = s.Deleted && i == 0 && v.QueryParam("cursor") == ""
		if !row.First {
			if older[i].Name != s.Name {
				row.Renamed = older[i].Name
			}
			if row.Changes, err = restatements(older[i].Payload, s.Payload); err != nil {
				return err
			}
		}
		d.Versions = append(d.Versions, row)
	}
	return v.render("setup-versions", v.t("setup-versions.title", d.Setup.Name), d)
}

type answerData struct {
	Setup   store.Setup // the version that was assessed
	Common  string
	Kept    store.Assessment
	By      string
	Now     store.AssessmentInput
	Refused string
	Then    keptAnswer
	Today   keptAnswer
	Rows    []answerRow
	Same    int // findings that are the same
	// Again says how the answer fares when it is worked again from the catalogue of then.
	Again string
}

type answerRow struct{ Name, Then, Now string }

// answerPage sets an answer kept beside today's answer to the same question.
func answerPage(v *visitor) error {
	ctx := v.Request().Context()
	r, err := saved.Rework(ctx, v.store, v.who, v.snap.Catalogue, v.Param("assessment"))
	var refused *saved.Refused
	if err != nil && !errors.As(err, &refused) {
		return err
	}
	if r.Kept.Setup != v.Param("id") {
		return notFound()
	}
	d := answerData{Kept: r.Kept, Now: r.Again, Common: v.commonName(r.Kept.Species)}
	if d.Setup, err = v.setupAt(r.Kept.Setup, r.Kept.SetupVersion); err != nil {
		return err
	}
	names, err := v.holders()
	if err != nil {
		return err
	}
	d.By = names[r.Kept.By]
	if d.Then, err = readAnswer(r.Kept.Payload); err != nil {
		return err
	}
	if refused != nil {
		d.Refused = refused.Why.Error()
	} else if d.Today, err = readAnswer(r.Again.Payload); err != nil {
		return err
	}
	if refused == nil {
		d.Rows, d.Same = compareAnswers(d.Then, d.Today, v.look.units)
	}
	if v.QueryParam("again") != "" {
		d.Again, err = v.workAgain(r.Kept.ID)
		if err != nil {
			return err
		}
	}
	return v.render("setup-answer", v.t("setup-answer.title", d.Setup.Name), d)
}

func (v *visitor) workAgain(id string) (string, error) {
	r, err := saved.Rework(v.Request().Context(), v.store, v.who, nil, id)
	var refused *saved.Refused
	var fault *care.RecordError
	switch {
	case errors.As(err, &refused), errors.As(err, &fault), errors.Is(err, store.ErrNotFound):
		return "not-possible", nil
	case err != nil:
		return "", err
	case r.Identical():
		return "identical", nil
	case r.Kept.EngineVersion != r.Again.EngineVersion:
		return "other-engine", nil
	}
	return "differs", nil
}

// compareAnswers lists the findings and hazards that differ, and counts the others.
func compareAnswers(then, now keptAnswer, units quantity.System) (rows []answerRow, same int) {
	type both struct{ name, then, now string }
	all := map[string]*both{}
	var order []string
	add := func(code, name string) *both {
		if all[code] == nil {
			all[code] = &both{name: name}
			order = append(order, code)
		}
		return all[code]
	}
	for _, f := range then.Findings {
		add(f.Criterion, f.Name).then = f.say(units)
	}
	for _, f := range now.Findings {
		add(f.Criterion, f.Name).now = f.say(units)
	}
	for _, h := range then.Hazards {
		add("hazard "+h.Code, h.Name).then = h.Presence
	}
	for _, h := range now.Hazards {
		add("hazard "+h.Code, h.Name).now = h.Presence
	}
	for _, code := range order {
		if b := all[code]; b.then == b.now {
			same++
		} else {
			rows = append(rows, answerRow{b.name, b.then, b.now})
		}
	}
	return rows, same
}

// differing are the findings that differ between two answers kept.
func (v *visitor) differing(before, after []byte) ([]answerRow, error) {
	then, err := readAnswer(before)
	if err != nil {
		return nil, err
	}
	now, err := readAnswer(after)
	if err != nil {
		return nil, err
	}
	rows, _ := compareAnswers(then, now, v.look.units)
	return rows, nil
}

type answerChangesData struct {
	Changed []changedRow
	Same    int // answers on this page that did not change
	New     int // answers that are their setup's first
	Next    string
	// What the run before came to, where one was made.
	Ran, Complete bool
	Assessed      int
	Refused       *setupRow
	Keeps         bool
	Token         string
	Species       string
	Revision      string
}

// changedRow is a setup whose answer changed, and which findings did.
type changedRow struct {
	store.Change
	Findings []answerRow
}

// answerChanges lists the saved setups whose answer changed with the catalogue in use.
func answerChanges(v *visitor) error {
	ctx := v.Request().Context()
	d := answerChangesData{Keeps: reaches(v.who.Role, store.Keeper), Token: newToken(), Revision: v.snap.Revision, Species: v.QueryParam("species")}
	if n, err := strconv.Atoi(v.QueryParam("assessed")); err == nil {
		d.Ran, d.Assessed, d.Complete = true, n, v.QueryParam("complete") == "yes"
	}
	if id := v.QueryParam("refused"); id != "" {
		s, err := v.store.Setup(ctx, v.who, id)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return err
		}
		if err == nil {
			row := setupRow{Setup: s}
			if row.Today, err = v.today(s); err != nil {
				return err
			}
			d.Refused = &row
		}
	}
	list, err := v.store.Assessments(ctx, v.who, store.AssessmentFilter{CatalogueRevision: v.snap.Revision, Species: d.Species}, v.cursor())
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, a := range list.Items {
		if seen[a.Setup] {
			continue
		}
		seen[a.Setup] = true
		before, err := v.answerBefore(a)
		if err != nil {
			return err
		}
		switch {
		case before == nil:
			d.New++
		case before.Verdict == a.Verdict && before.Worst == a.Worst && before.Best == a.Best:
			d.Same++
		default:
			last, err := v.store.SetupHistory(ctx, v.who, a.Setup, store.Page{Limit: 1})
			if err != nil {
				return err
			}
			row := changedRow{Change: store.Change{Setup: a.Setup, Name: last.Items[0].Name, Previous: *before, Current: a}}
			if row.Findings, err = v.differing(before.Payload, a.Payload); err != nil {
				return err
			}
			d.Changed = append(d.Changed, row)
		}
	}
	d.Next = v.nextPage(list.Next)
	return v.render("setup-changes", v.t("setup-changes.title"), d)
}

// answerBefore is the last answer about the same setup from another catalogue; nil where there is none.
func (v *visitor) answerBefore(a store.Assessment) (*store.Assessment, error) {
	for p := (store.Page{Limit: 20}); ; {
		list, err := v.store.Assessments(v.Request().Context(), v.who, store.AssessmentFilter{Setup: a.Setup}, p)
		if err != nil {
			return nil, err
		}
		for i := range list.Items {
			if b := &list.Items[i]; b.ID < a.ID && b.CatalogueRevision != a.CatalogueRevision { // ids rise with time
				return b, nil
			}
		}
		if p.Cursor = list.Next; p.Cursor == "" {
			return nil, nil
		}
	}
}

// reassessFor bounds one run, well below what a browser waits; a repeat goes on.
const reassessFor = 5 * time.Second

// reassess answers anew every saved setup whose last answer rests on another catalogue.
func reassess(v *visitor) error {
	ctx := v.Request().Context()
	began := time.Now()
	run, err := saved.Reassess(ctx, v.store, v.who, v.snap.Catalogue, v.posted("species"), func() bool { return time.Since(began) < reassessFor && ctx.Err() == nil })
	q := url.Values{"assessed": {strconv.Itoa(run.Assessed)}}
	if species := v.posted("species"); species != "" {
		q.Set("species", species)
	}
	var refused *saved.Refused
	switch {
	case errors.As(err, &refused):
		q.Set("refused", refused.Setup)
	case err != nil:
		return err
	case run.Complete:
		q.Set("complete", "yes")
	}
	return v.seeOther("/setups/changes?"+q.Encode(), "")
}
