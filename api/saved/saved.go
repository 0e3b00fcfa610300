// Package saved is what can be done with the setups that an organisation keeps:
// a question is checked before it is saved, a setup is assessed as it stands and
// the answer kept, and an answer kept is worked again. It joins sizing, which
// computes, with care/store, which keeps; it knows no HTTP, so that the JSON API and
// the pages do the same.
package saved

import (
	"context"
	"errors"
	"fmt"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
)

// Format is the shape of the answers kept: sizing.Assessment as metric JSON.
const Format = 1

// Input checks a question against the catalogue and makes of it what is saved. The
// question is kept in the units in which it was asked, in canonical form (RFC 8785),
// so that the same question is the same text. Its species is found once and for all:
// a name may come to mean several. The error is a sizing.Invalid with pointers into
// the question, or one of the decoder.
func Input(c *care.Catalogue, name string, question jsontext.Value) (in store.SetupInput, err error) {
	q, err := decode(question)
	if err != nil {
		return in, err
	}
	a, err := sizing.Assess(c, q)
	if err != nil {
		return in, err
	}
	payload := question.Clone()
	if err := payload.Canonicalize(); err != nil {
		return in, fmt.Errorf("question: %w", err)
	}
	return store.SetupInput{Name: name, Species: a.Species.ID, Payload: []byte(payload)}, nil
}

func decode(question jsontext.Value) (q sizing.AssessmentQuestion, err error) {
	err = json.Unmarshal(question, &q, json.RejectUnknownMembers(true))
	return q, err
}

// Refused is a setup that was saved and that can't be assessed any more, because
// the catalogue or the bounds of a question have changed since.
type Refused struct {
	Setup string // id
	Why   sizing.Invalid
}

func (e *Refused) Error() string { return "setup " + e.Setup + " can't be assessed: " + e.Why.Error() }

// metric writes answers as they are kept.
var metric = json.JoinOptions(json.WithMarshalers(quantity.Marshalers(quantity.Metric)), json.Deterministic(true))

// Answer assesses one version of a setup. The error is a *Refused,
// or a fault of the program.
func Answer(c *care.Catalogue, setup store.Setup) (in store.AssessmentInput, err error) {
	q, err := decode(jsontext.Value(setup.Payload))
	if err != nil {
		return in, &Refused{setup.ID, sizing.Invalid{{Reason: err.Error(), Remedy: "save it again as the contract describes it now"}}}
	}
	q.Species = setup.Species
	a, err := sizing.Assess(c, q)
	var invalid sizing.Invalid
	if errors.As(err, &invalid) {
		return in, &Refused{setup.ID, invalid}
	}
	if err != nil {
		return in, fmt.Errorf("assess setup %s: %w", setup.ID, err)
	}
	payload, err := json.Marshal(a, metric)
	if err != nil {
		return in, fmt.Errorf("encode the answer: %w", err)
	}
	return store.AssessmentInput{
		SetupVersion: setup.Version, Species: a.Species.ID, Verdict: string(a.Verdict), Worst: a.Score.Worst, Best: a.Score.Best,
		CatalogueRevision: a.Catalogue, EngineVersion: a.Engine, Format: Format, Payload: payload,
	}, nil
}

// Assess assesses a setup as it stands now and keeps the answer. Errors are those of
// the store, or a *Refused.
func Assess(ctx context.Context, st *store.Store, who store.Caller, c *care.Catalogue, token, setup string) (store.Assessment, error) {
	now, err := st.Setup(ctx, who, setup)
	if err != nil {
		return store.Assessment{}, err
	}
	in, err := Answer(c, now)
	if err != nil {
		return store.Assessment{}, err
	}
	return st.AddAssessment(ctx, who, token, setup, in)
}

// Reworked is an answer kept beside another one to the same question.
type Reworked struct {
	Kept  store.Assessment
	Again store.AssessmentInput
}

// Changed reports whether the verdict or the score differs.
func (r Reworked) Changed() bool {
	return r.Kept.Verdict != r.Again.Verdict || r.Kept.Worst != r.Again.Worst || r.Kept.Best != r.Again.Best
}

// Identical reports whether the answers are the same to the byte.
func (r Reworked) Identical() bool { return string(r.Kept.Payload) == string(r.Again.Payload) }

// Rework answers a kept assessment's question again, about the version of the setup
// that was assessed: from the catalogue given, or, where it is nil, from the one
// that was in use then. It keeps nothing. Under the same catalogue and engine the
// two answers are identical.
func Rework(ctx context.Context, st *store.Store, who store.Caller, c *care.Catalogue, id string) (r Reworked, err error) {
	if r.Kept, err = st.Assessment(ctx, who, id); err != nil {
		return r, err
	}
	setup, err := version(ctx, st, who, r.Kept.Setup, r.Kept.SetupVersion)
	if err != nil {
		return r, err
	}
	if c == nil {
		if c, err = st.CatalogueAt(ctx, r.Kept.CatalogueRevision); err != nil {
			return r, err
		}
	}
	r.Again, err = Answer(c, setup)
	return r, err
}

// version reads one version of a setup, also of a deleted one.
func version(ctx context.Context, st *store.Store, who store.Caller, id string, n int64) (store.Setup, error) {
	for p := (store.Page{Limit: 200}); ; {
		list, err := st.SetupHistory(ctx, who, id, p)
		if err != nil {
			return store.Setup{}, err
		}
		for _, s := range list.Items {
			if s.Version == n {
				return s, nil
			}
		}
		if p.Cursor = list.Next; p.Cursor == "" {
			return store.Setup{}, fmt.Errorf("%w: version %d of setup %s", store.ErrNotFound, n, id)
		}
	}
}

// Reassessment is what a run of Reassess came to.
type Reassessment struct {
	Changed  []store.Change
	Assessed int  // setups answered anew, changed or not
	Complete bool // false: it ended early, and a repeat goes on
}

// errEnough ends a run between two setups.
var errEnough = errors.New("enough for now")

// Reassess answers anew, from the catalogue, every setup whose last answer rests on
// another one, and lists those whose verdict or score changed. It asks more before
// each setup, and ends there when that says no. Errors are those of the store, or a
// *Refused; what was done before it is kept.
func Reassess(ctx context.Context, st *store.Store, who store.Caller, c *care.Catalogue, species string, more func() bool) (Reassessment, error) {
	changed, done, err := st.Reassess(ctx, who, c.Revision, species, func(s store.Setup) (store.AssessmentInput, error) {
		if !more() {
			return store.AssessmentInput{}, errEnough
		}
		return Answer(c, s)
	})
	r := Reassessment{Changed: changed, Assessed: done, Complete: err == nil}
	if errors.Is(err, errEnough) {
		err = nil
	}
	return r, err
}

// In writes an answer that was kept in the units asked for. In metric it is the
// text kept; the figures of another system are made from the metric ones.
func In(payload []byte, system quantity.System) (jsontext.Value, error) {
	if system == quantity.Metric {
		return payload, nil
	}
	var tree any
	if err := json.Unmarshal(payload, &tree); err != nil {
		return nil, fmt.Errorf("answer kept: %w", err)
	}
	out, err := json.Marshal(converted(tree, system), json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("answer kept: %w", err)
	}
	return out, nil
}

// converted changes every figure and band of a tree, which are the objects with a unit.
func converted(v any, system quantity.System) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = converted(v[i], system)
		}
	case map[string]any:
		unit, isFigure := v["unit"].(string)
		for name, x := range v {
			number, isNumber := x.(float64)
			if !isFigure || !isNumber {
				v[name] = converted(x, system)
				continue
			}
			now := quantity.Value{Number: number, Unit: unit}.In(system)
			v[name], v["unit"] = now.Number, now.Unit
		}
	}
	return v
}

// Organisation is the one that a caller acts for.
func Organisation(ctx context.Context, st *store.Store, who store.Caller) (store.Organisation, error) {
	// The store shows organisations to the operator alone; of the list only the
	// caller's own goes further.
	all, err := st.Organisations(ctx, store.Operator("a key's own organisation"))
	if err != nil {
		return store.Organisation{}, err
	}
	for _, o := range all {
		if o.ID == who.Organisation {
			return o, nil
		}
	}
	return store.Organisation{}, fmt.Errorf("%w: organisation %s", store.ErrNotFound, who.Organisation)
}
