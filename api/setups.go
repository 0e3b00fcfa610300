package api

import (
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/labstack/echo/v4"

	"denwright/api/saved"
	"denwright/care"
	"denwright/care/store"
	"denwright/sizing"
	"denwright/sizing/score"
)

// savedSetup is one version of a setup.
type savedSetup struct {
	ID        string         `json:"id"`
	Version   int64          `json:"version"`
	Name      string         `json:"name"`
	Species   string         `json:"species"`
	Question  jsontext.Value `json:"question"` // in the units in which it was saved
	Deleted   bool           `json:"deleted,omitzero"`
	CreatedAt time.Time      `json:"created_at"`
	CreatedBy string         `json:"created_by"`
	UpdatedAt time.Time      `json:"updated_at"`
	UpdatedBy string         `json:"updated_by"`
}

func showSetup(s store.Setup) (savedSetup, error) {
	return savedSetup{s.ID, s.Version, s.Name, s.Species, jsontext.Value(s.Payload), s.Deleted, s.CreatedAt, s.CreatedBy, s.UpdatedAt, s.UpdatedBy}, nil
}

// setupInput is what a keeper sends.
type setupInput struct {
	Name     string         `json:"name"`
	Question jsontext.Value `json:"question"`
}

// takeSetup reads a setup and checks its question against the catalogue in use.
func takeSetup(v *visit) (store.SetupInput, error) {
	if v.s.snapshot.Load() == nil {
		return store.SetupInput{}, &Problem{kind: notReady}
	}
	return take(v, "SetupInput", func(c *care.Catalogue, in setupInput) (store.SetupInput, error) {
		bad := line("/name", in.Name)
		out, err := saved.Input(c, in.Name, in.Question)
		var refused sizing.Invalid
		if err != nil && !errors.As(err, &refused) { // the contract allows what the decoder does not
			refused = sizing.Invalid{decoderFault(err).Problem}
		}
		for _, p := range refused {
			p.Field = "/question" + p.Field
			bad = append(bad, p)
		}
		if len(bad) > 0 {
			return out, bad
		}
		return out, nil
	})
}

// sendSetup answers with a setup and the tag that a change of it must bring back.
func (v *visit) sendSetup(status int, s store.Setup) error {
	v.c.Response().Header().Set("ETag", s.ETag())
	out, err := showSetup(s)
	return errors.Join(err, v.answer(status, out))
}

func createSetup(v *visit) error {
	token, err := v.token()
	if err := errors.Join(err, v.q.done()); err != nil {
		return err
	}
	in, err := takeSetup(v)
	if err != nil {
		return err
	}
	s, err := v.st.CreateSetup(v.ctx(), v.who, token, in)
	if err != nil {
		return err
	}
	v.c.Response().Header().Set(echo.HeaderLocation, "/v1/setups/"+s.ID)
	return v.sendSetup(http.StatusCreated, s)
}

type setupPage struct {
	Setups []savedSetup `json:"setups"`
	Next   string       `json:"next_cursor,omitzero"`
}

func setupList(v *visit) error {
	f, p := store.SetupFilter{Species: v.plain("species")}, v.page()
	if err := v.q.done(); err != nil {
		return err
	}
	list, err := v.st.Setups(v.ctx(), v.who, f, p)
	return sendSetups(v, list, err)
}

func sendSetups(v *visit, list store.List[store.Setup], err error) error {
	items, next, err := pageOf(v, list, err, showSetup)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, setupPage{items, next})
}

// ofSetup words that a setup is not there.
func ofSetup(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return notHeld("{id}", "setup")
	}
	return err
}

func getSetup(v *visit) error {
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	s, err := v.st.Setup(v.ctx(), v.who, id)
	if err != nil {
		return ofSetup(err)
	}
	h := v.c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, no-cache") // may be kept by its reader, but is asked for again each time
	if matches(v.c.Request().Header.Values("If-None-Match"), s.ETag()) {
		h.Set("ETag", s.ETag())
		return v.c.NoContent(http.StatusNotModified)
	}
	return v.sendSetup(http.StatusOK, s)
}

// changed words a change that was made to a version which is not the newest.
func changed(err error, given int64, now store.Setup) error {
	if !errors.Is(err, store.ErrStale) {
		return ofSetup(err)
	}
	p := &Problem{kind: versionPassed}
	if now.Version > given {
		p.detail = fmt.Sprintf("the setup is at version %d now; read it, and send the change again with its ETag", now.Version)
	}
	return p
}

func putSetup(v *visit) error {
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	version, err := v.version()
	if err != nil {
		return err
	}
	in, err := takeSetup(v)
	if err != nil {
		return err
	}
	s, err := v.st.UpdateSetup(v.ctx(), v.who, id, version, in)
	if err != nil {
		return changed(err, version, s)
	}
	return v.sendSetup(http.StatusOK, s)
}

func deleteSetup(v *visit) error {
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	version, err := v.version()
	if err != nil {
		return err
	}
	if err := v.st.DeleteSetup(v.ctx(), v.who, id, version); err != nil {
		return changed(err, version, store.Setup{})
	}
	return v.c.NoContent(http.StatusNoContent)
}

func setupVersions(v *visit) error {
	p := v.page()
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	list, err := v.st.SetupHistory(v.ctx(), v.who, id, p)
	return sendSetups(v, list, ofSetup(err))
}

// savedAssessment is an answer as it was given, in lists without the answer itself.
type savedAssessment struct {
	ID           string         `json:"id"`
	Setup        string         `json:"setup"`
	SetupVersion int64          `json:"setup_version"`
	At           time.Time      `json:"at"`
	By           string         `json:"by"`
	Species      string         `json:"species"`
	Verdict      string         `json:"verdict"`
	Score        score.Interval `json:"score"`
	Answer       jsontext.Value `json:"answer,omitzero"`
	Catalogue    string         `json:"catalogue_revision"`
	Engine       string         `json:"engine_version"`
}

func briefAssessment(a store.Assessment) (savedAssessment, error) {
	return savedAssessment{ID: a.ID, Setup: a.Setup, SetupVersion: a.SetupVersion, At: a.At, By: a.By, Species: a.Species, Verdict: a.Verdict,
		Score: score.Interval{Worst: a.Worst, Best: a.Best}, Catalogue: a.CatalogueRevision, Engine: a.EngineVersion}, nil
}

func (v *visit) wholeAssessment(a store.Assessment) (savedAssessment, error) {
	out, err := briefAssessment(a)
	if err == nil {
		out.Answer, err = saved.In(a.Payload, v.system)
	}
	return out, err
}

// catalogue is the one in use.
func (v *visit) catalogue() (*care.Catalogue, error) {
	snap := v.s.snapshot.Load()
	if snap == nil {
		return nil, &Problem{kind: notReady}
	}
	return snap.Catalogue, nil
}

func assessSetup(v *visit) error {
	token, err := v.token()
	if err := errors.Join(err, v.bodyless()); err != nil {
		return err
	}
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	c, err := v.catalogue()
	if err != nil {
		return err
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	a, err := saved.Assess(v.ctx(), v.st, v.who, c, token, id)
	if errors.Is(err, store.ErrTokenReused) {
		return &Problem{kind: tokenReused, detail: "the Idempotency-Key was sent before with another request, or the setup or the catalogue has changed since; list the setup's assessments to see what was kept"}
	}
	if err != nil {
		return ofSetup(err)
	}
	out, err := v.wholeAssessment(a)
	if err != nil {
		return err
	}
	v.c.Response().Header().Set(echo.HeaderLocation, "/v1/saved-assessments/"+a.ID)
	return v.answer(http.StatusCreated, out)
}

type assessmentPage struct {
	Assessments []savedAssessment `json:"assessments"`
	Next        string            `json:"next_cursor,omitzero"`
}

func (v *visit) sendAssessments(f store.AssessmentFilter, p store.Page) error {
	list, err := v.st.Assessments(v.ctx(), v.who, f, p)
	items, next, err := pageOf(v, list, err, briefAssessment)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, assessmentPage{items, next})
}

func setupAssessments(v *visit) error {
	p := v.page()
	id, err := v.id("setup")
	if err != nil {
		return err
	}
	// A setup without answers has an empty list; one that is not there has none.
	if _, err := v.st.SetupHistory(v.ctx(), v.who, id, store.Page{Limit: 1}); err != nil {
		return ofSetup(err)
	}
	return v.sendAssessments(store.AssessmentFilter{Setup: id}, p)
}

// verdicts are the words that an assessment can come to.
var verdicts = []score.Verdict{score.Suitable, score.AfterChanges, score.Unsuitable, score.CannotTell}

func assessmentList(v *visit) error {
	f := store.AssessmentFilter{Setup: v.plain("setup"), Species: v.plain("species"), Verdict: string(oneOf(v.q, "verdict", verdicts)), CatalogueRevision: v.plain("catalogue_revision")}
	p := v.page()
	if err := v.q.done(); err != nil {
		return err
	}
	return v.sendAssessments(f, p)
}

// ofAssessment words that an assessment is not there.
func ofAssessment(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return notHeld("{id}", "assessment")
	}
	return err
}

func getAssessment(v *visit) error {
	id, err := v.id("assessment")
	if err != nil {
		return err
	}
	a, err := v.st.Assessment(v.ctx(), v.who, id)
	if err != nil {
		return ofAssessment(err)
	}
	out, err := v.wholeAssessment(a)
	if err != nil {
		return err
	}
	return v.answer(http.StatusOK, out)
}

// reworked lays an answer kept beside the answer of another catalogue.
type reworked struct {
	Kept      savedAssessment `json:"kept"`
	Again     jsontext.Value  `json:"again"`
	Changed   bool            `json:"changed"`
	Identical bool            `json:"identical"`
	Catalogue string          `json:"catalogue_revision"` // of again
	Engine    string          `json:"engine_version"`
}

func reworkAssessment(v *visit) error {
	with := oneOf(v.q, "with", []string{"today", "then"})
	id, err := v.id("assessment")
	if err != nil {
		return err
	}
	var c *care.Catalogue
	if with != "then" {
		if c, err = v.catalogue(); err != nil {
			return err
		}
	}
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	r, err := saved.Rework(v.ctx(), v.st, v.who, c, id)
	if err != nil {
		return ofAssessment(err)
	}
	out := reworked{Changed: r.Changed(), Identical: r.Identical(), Catalogue: r.Again.CatalogueRevision, Engine: r.Again.EngineVersion}
	if out.Kept, err = v.wholeAssessment(r.Kept); err != nil {
		return err
	}
	if out.Again, err = saved.In(r.Again.Payload, v.system); err != nil {
		return err
	}
	return v.answer(http.StatusOK, out)
}

type reassessmentInput struct {
	Species string `json:"species"`
}

// changedAnswer is a setup whose verdict or score is another than before.
type changedAnswer struct {
	Setup    string          `json:"setup"`
	Name     string          `json:"name"`
	Previous savedAssessment `json:"previous"`
	Current  savedAssessment `json:"current"`
}

type reassessment struct {
	Changed   []changedAnswer `json:"changed"`
	Assessed  int             `json:"assessed"`
	Complete  bool            `json:"complete"`
	Catalogue string          `json:"catalogue_revision"`
	Engine    string          `json:"engine_version"`
}

func reassess(v *visit) error {
	if err := v.q.done(); err != nil {
		return err
	}
	c, err := v.catalogue()
	if err != nil {
		return err
	}
	in, err := take(v, "ReassessmentInput", func(c *care.Catalogue, in reassessmentInput) (reassessmentInput, error) {
		if in.Species == "" || c.SpeciesByID(in.Species) != nil {
			return in, nil
		}
		bad := sizing.Problem{Field: "/species", Reason: "is not the id of a species held", Remedy: "use the id of one of the candidates, or leave it out"}
		for _, k := range c.Find(in.Species, maxCandidates).Candidates {
			bad.Candidates = append(bad.Candidates, sizing.Ref(k.Species))
		}
		return in, sizing.Invalid{bad}
	})
	if err != nil {
		return err
	}
	// Half of the time there is for an answer; a run that takes longer goes on with the next request.
	end := time.Now().Add(v.cfg.WriteTimeout / 2)
	if err := v.at.take(v.ctx()); err != nil {
		return err
	}
	defer v.at.give()
	r, err := saved.Reassess(v.ctx(), v.st, v.who, c, in.Species, func() bool { return time.Now().Before(end) })
	if err != nil {
		return err
	}
	out := reassessment{Changed: make([]changedAnswer, len(r.Changed)), Assessed: r.Assessed, Complete: r.Complete, Catalogue: c.Revision, Engine: sizing.EngineVersion}
	for i, ch := range r.Changed {
		previous, err1 := briefAssessment(ch.Previous)
		current, err2 := briefAssessment(ch.Current)
		if err := errors.Join(err1, err2); err != nil {
			return err
		}
		out.Changed[i] = changedAnswer{ch.Setup, ch.Name, previous, current}
	}
	return v.answer(http.StatusOK, out)
}
