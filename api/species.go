package api

import (
	"fmt"
	"slices"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// figure is a number with its unit.
type figure = score.Figure

// given is a figure, or nil for 0, which records use for "says nothing".
func given(x float64, unit string) *figure {
	if x == 0 {
		return nil
	}
	return &figure{Number: x, Unit: unit}
}

func band(low, high *float64, unit string) *quantity.Band {
	if low == nil && high == nil {
		return nil
	}
	return &quantity.Band{Low: low, High: high, Unit: unit}
}

type listedSpecies struct {
	sizing.SpeciesRef
	Family string     `json:"family"`
	Habit  care.Habit `json:"habit"`
	Match  *match     `json:"match,omitzero"`
}

// match says why a species was found: by which of its names.
type match struct {
	Name     string  `json:"name"`
	Language string  `json:"language"`
	Kind     string  `json:"kind"`
	Score    float64 `json:"score"`
	Edits    int     `json:"edits"`
	Warning  string  `json:"warning,omitzero"`
}

type speciesPage struct {
	Query   string          `json:"query,omitzero"`
	Outcome string          `json:"outcome,omitzero"`
	Species []listedSpecies `json:"species"`
	Total   int             `json:"total"`
	Next    string          `json:"next_cursor,omitzero"`
	stamp
}

func listed(s *care.Species) listedSpecies {
	return listedSpecies{SpeciesRef: sizing.Ref(s), Family: s.Family, Habit: s.Nature.Habit}
}

// speciesList is the list of species, or with q the search by name.
func speciesList(s *snapshot, q *query) (any, error) {
	group := oneOf(q, "group", care.Groups)
	habit := oneOf(q, "habit", care.Habits)
	if name, searched := q.text("q"); searched {
		for _, other := range []string{"group", "habit", "cursor"} {
			if q.values.Has(other) {
				q.add("?"+other, "can't be combined with q, whose outcome is about all species held", "leave out one of the two")
			}
		}
		q.asked = append(q.asked, "cursor")
		limit := q.limit()
		if err := q.done(); err != nil {
			return nil, err
		}
		return search(s, name, limit)
	}
	all := s.Species()
	if group != "" || habit != "" {
		all = slices.DeleteFunc(slices.Clone(all), func(e *care.Species) bool {
			return group != "" && e.Group != group || habit != "" && e.Nature.Habit != habit
		})
	}
	page := paged(q, all, func(e *care.Species) string { return e.Scientific })
	if err := q.done(); err != nil {
		return nil, err
	}
	out := speciesPage{Species: make([]listedSpecies, len(page.part)), Total: page.total, Next: page.next, stamp: s.stamp()}
	for i, e := range page.part {
		out.Species[i] = listed(e)
	}
	return out, nil
}

func search(s *snapshot, name string, limit int) (any, error) {
	found := s.Find(name, limit)
	switch found.Outcome {
	case care.FoundNone:
		return nil, &Problem{kind: unknownName, detail: fmt.Sprintf("no species held is called %q, and none has a name near it", found.Query),
			errors: []sizing.Problem{{Field: "?q", Reason: "is not near the name of any species held", Remedy: "try the scientific name, or list the species held with GET /v1/species"}}}
	case care.FoundNear:
		bad := sizing.Problem{Field: "?q", Reason: "is the name of no species held", Remedy: "choose one of the candidates"}
		for _, k := range found.Candidates {
			bad.Candidates = append(bad.Candidates, sizing.Ref(k.Species))
		}
		return nil, &Problem{kind: unknownName, detail: fmt.Sprintf("no species held is called %q; the nearest names are listed", found.Query), errors: []sizing.Problem{bad}}
	}
	out := speciesPage{Query: found.Query, Outcome: found.Outcome, Species: make([]listedSpecies, len(found.Candidates)), Total: len(found.Candidates), stamp: s.stamp()}
	for i, k := range found.Candidates {
		out.Species[i] = listed(k.Species)
		out.Species[i].Match = &match{k.Name, k.Language, k.Kind, k.Score, k.Distance, k.Warning}
	}
	return out, nil
}

// maxCandidates bounds the names offered for one that is not held.
const maxCandidates = 8

// species is the species with the id in the path, or the problem that there is
// none, with the nearest names. A name is no id: it is never followed.
func (s *snapshot) species(q *query) (*care.Species, error) {
	id := q.path("id")
	if e := s.SpeciesByID(id); e != nil {
		return e, nil
	}
	bad := sizing.Problem{Field: "{id}", Reason: "is not the id of a species held", Remedy: "use the id of one of the candidates, or search with GET /v1/species?q="}
	for _, k := range s.Find(id, maxCandidates).Candidates {
		bad.Candidates = append(bad.Candidates, sizing.Ref(k.Species))
	}
	return nil, &Problem{kind: unknownName, detail: fmt.Sprintf("no species has the id %q", cut(id)), errors: []sizing.Problem{bad}}
}

func (q *query) stage() care.Stage {
	if v := oneOf(q, "stage", care.Stages); v != "" {
		return v
	}
	return care.Adult
}

type record struct {
	sizing.SpeciesRef
	Authority string         `json:"authority,omitzero"`
	Order     string         `json:"order"`
	Family    string         `json:"family"`
	Names     recordNames    `json:"names"`
	Nature    recordNature   `json:"nature"`
	Cautions  recordCautions `json:"cautions"`
	Stage     care.Stage     `json:"stage"`
	Ranges    []workingRange `json:"working_ranges"`
	Growth    []growth       `json:"growth"`
	Explained []explained    `json:"explained"`
	stamp
}

type recordNames struct {
	Synonyms []string            `json:"synonyms"`
	Common   map[string][]string `json:"common"`
	Access   care.Access         `json:"access"`
	Sources  []string            `json:"source_keys"`
}

type recordNature struct {
	Activity  string      `json:"activity"`
	Habit     care.Habit  `json:"habit"`
	Climbs    int         `json:"climbs"`
	Digs      int         `json:"digs"`
	Swims     int         `json:"swims"`
	Basks     int         `json:"basks"`
	Burrow    string      `json:"burrow,omitzero"`
	Sociality string      `json:"sociality"`
	Latitude  *figure     `json:"latitude,omitzero"`
	Biome     string      `json:"biome,omitzero"`
	Dormancy  string      `json:"dormancy"`
	Access    care.Access `json:"access"`
	Sources   []string    `json:"source_keys"`
	Note      string      `json:"note,omitzero"`
}

type recordCautions struct {
	Venomous bool     `json:"venomous"`
	Hazards  []string `json:"hazards"`
	Trade    string   `json:"trade"`
}

type workingRange struct {
	Parameter  care.Code      `json:"parameter"`
	Name       string         `json:"name"`
	Stage      care.Stage     `json:"stage"`
	Standing   care.Standing  `json:"standing"`
	Range      *quantity.Band `json:"range,omitzero"`
	Grade      care.Grade     `json:"grade,omitzero"`
	Agreement  care.Agreement `json:"agreement,omitzero"`
	Sources    int            `json:"independent_sources,omitzero"`
	SourceKeys []string       `json:"source_keys,omitzero"`
	About      care.About     `json:"about,omitzero"`
	FromStage  care.Stage     `json:"from_stage,omitzero"`
	Indirect   bool           `json:"indirect,omitzero"`
	Widened    bool           `json:"widened,omitzero"`
	Derived    string         `json:"derived,omitzero"`
	Counted    int            `json:"claims_counted"`
	Aside      int            `json:"claims_set_aside"`
}

type growth struct {
	Kind      string       `json:"kind"`
	Sex       string       `json:"sex"`
	Age       *figure      `json:"age,omitzero"`
	Length    *figure      `json:"length,omitzero"`
	Measure   care.Measure `json:"measure,omitzero"`
	Mass      *figure      `json:"mass,omitzero"`
	Rate      *figure      `json:"rate,omitzero"`
	Start     *figure      `json:"start,omitzero"`
	Asymptote *figure      `json:"asymptote,omitzero"`
	Source    string       `json:"source_key"`
	Access    care.Access  `json:"access"`
	Note      string       `json:"note,omitzero"`
}

type explained struct {
	Check     string    `json:"check"`
	Parameter care.Code `json:"parameter"`
	Reason    string    `json:"reason"`
}

// speciesRecord is all that is held about a species, with every working range for one stage.
func speciesRecord(s *snapshot, q *query) (any, error) {
	stage := q.stage()
	if err := q.done(); err != nil {
		return nil, err
	}
	e, err := s.species(q)
	if err != nil {
		return nil, err
	}
	n := e.Nature
	out := record{
		SpeciesRef: sizing.Ref(e), Authority: e.Authority, Order: e.Order, Family: e.Family,
		Names: recordNames{e.Names.Synonyms, e.Names.Common, e.Names.Access, e.Names.Sources},
		Nature: recordNature{n.Activity, n.Habit, n.Climbs, n.Digs, n.Swims, n.Basks, n.Burrow, n.Sociality, nil, n.Biome,
			n.Dormancy, n.Access, n.Sources, n.Note},
		Cautions: recordCautions{e.Venomous, e.Hazards, e.Trade},
		Stage:    stage, Growth: make([]growth, len(e.Growth)), Explained: make([]explained, len(e.Explained)), stamp: s.stamp(),
	}
	if n.Latitude != nil {
		out.Nature.Latitude = &figure{Number: *n.Latitude, Unit: "°"}
	}
	for _, p := range care.Parameters {
		w := s.Range(e.ID, p.Code, stage)
		out.Ranges = append(out.Ranges, workingRange{p.Code, p.Name, stage, w.Standing, band(w.Low, w.High, w.Unit), w.Grade, w.Agreement,
			w.Sources, w.SourceKeys(), w.About, w.From, w.Indirect, w.Widened, w.Derived, len(w.Counted), len(w.Aside)})
	}
	for i, g := range e.Growth {
		out.Growth[i] = growth{g.Kind, g.Sex, given(g.Age, "months"), given(g.Length, "cm"), g.Measure, given(g.Mass, "g"),
			given(g.PerYear, "per year"), given(g.Start, "years"), given(g.Asymptote, g.AsymptoteUnit), g.Source, g.Access, g.Note}
	}
	for i, x := range e.Explained {
		out.Explained[i] = explained(x)
	}
	return out, nil
}

type claimList struct {
	Species sizing.SpeciesRef `json:"species"`
	Stage   care.Stage        `json:"stage"`
	Claims  []claim           `json:"claims"`
	Total   int               `json:"total"`
	stamp
}

type claim struct {
	Parameter   care.Code       `json:"parameter"`
	Name        string          `json:"name"`
	Stage       care.Stage      `json:"stage"`
	Range       *quantity.Band  `json:"range"`
	Source      claimSource     `json:"source"`
	Locator     string          `json:"locator,omitzero"`
	Access      care.Access     `json:"access"`
	About       care.About      `json:"about"`
	Confidence  care.Confidence `json:"confidence,omitzero"`
	Indirect    string          `json:"indirect,omitzero"`
	Implausible string          `json:"implausible,omitzero"`
	Note        string          `json:"note,omitzero"`
	Counted     bool            `json:"counted"`
	SetAside    string          `json:"set_aside,omitzero"`
}

type claimSource struct {
	Key       string          `json:"key"`
	Title     string          `json:"title"`
	Publisher string          `json:"publisher,omitzero"`
	Year      string          `json:"year,omitzero"`
	Kind      care.SourceKind `json:"kind"`
	Tier      int             `json:"tier"`
}

// speciesClaims is every claim held about a species, and for one stage whether the
// working range counts it.
func speciesClaims(s *snapshot, q *query) (any, error) {
	stage := q.stage()
	codes := make([]care.Code, len(care.Parameters))
	for i := range care.Parameters {
		codes[i] = care.Parameters[i].Code
	}
	only := oneOf(q, "parameter", codes)
	if err := q.done(); err != nil {
		return nil, err
	}
	e, err := s.species(q)
	if err != nil {
		return nil, err
	}
	out := claimList{Species: sizing.Ref(e), Stage: stage, Claims: []claim{}, stamp: s.stamp()}
	for i := range e.Claims {
		k := &e.Claims[i]
		if only != "" && k.Parameter != only {
			continue
		}
		p, source, w := care.ParameterOf(k.Parameter), s.Source(k.Source), s.Range(e.ID, k.Parameter, stage)
		about := k.About
		if about == "" {
			about = care.AboutSpecies
		}
		out.Claims = append(out.Claims, claim{k.Parameter, p.Name, k.Stage, band(k.Low, k.High, p.Unit),
			claimSource{source.Key, source.Title, source.Publisher, source.Year, source.Kind, source.Kind.Tier()},
			k.Locator, k.Access, about, k.Confidence, k.Indirect, k.Implausible, k.Note, slices.Contains(w.Counted, k), w.WhyAside(k)})
	}
	out.Total = len(out.Claims)
	return out, nil
}

type sourceItem struct {
	*care.Source
	Tier int `json:"tier"`
}

type sourcePage struct {
	Sources []sourceItem `json:"sources"`
	Total   int          `json:"total"`
	Next    string       `json:"next_cursor,omitzero"`
	stamp
}

// sourceList is every publication that a figure rests on.
func sourceList(s *snapshot, q *query) (any, error) {
	page := paged(q, s.sources, func(e *care.Source) string { return e.Key })
	if err := q.done(); err != nil {
		return nil, err
	}
	out := sourcePage{Sources: make([]sourceItem, len(page.part)), Total: page.total, Next: page.next, stamp: s.stamp()}
	for i, e := range page.part {
		out.Sources[i] = sourceItem{e, e.Kind.Tier()}
	}
	return out, nil
}

func sourceRecord(s *snapshot, q *query) (any, error) {
	if err := q.done(); err != nil {
		return nil, err
	}
	key := q.path("key")
	e := s.Source(key)
	if e == nil {
		return nil, &Problem{kind: unknownName, detail: fmt.Sprintf("no source has the key %q", cut(key)),
			errors: []sizing.Problem{{Field: "{key}", Reason: "is not the key of a source held", Remedy: "list the sources with GET /v1/sources"}}}
	}
	return struct {
		sourceItem
		stamp
	}{sourceItem{e, e.Kind.Tier()}, s.stamp()}, nil
}
