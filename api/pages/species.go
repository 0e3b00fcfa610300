package pages

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"sort"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
)

type speciesListData struct {
	Query   string
	Outcome string
	Found   []care.Candidate
	Groups  []speciesGroup
	Total   int
}

type speciesGroup struct {
	Group   care.Group
	Species []*care.Species
}

// speciesList is every species by group, or what a name finds. A name that is one
// species' alone leads straight to it.
func speciesList(r *request) error {
	query := strings.TrimSpace(r.QueryParam("q"))
	d := speciesListData{Query: query, Total: len(r.snap.Species())}
	if query == "" {
		for _, g := range care.Groups {
			part := speciesGroup{Group: g}
			for _, s := range r.snap.Species() {
				if s.Group == g {
					part.Species = append(part.Species, s)
				}
			}
			sort.SliceStable(part.Species, func(i, j int) bool {
				return part.Species[i].CommonName(r.look.language) < part.Species[j].CommonName(r.look.language)
			})
			d.Groups = append(d.Groups, part)
		}
		return r.render("species-list", r.t("species-list.title"), d)
	}
	found := r.snap.Find(query, 20)
	if found.Outcome == care.FoundOne && found.Candidates[0].Warning == "" {
		return r.Redirect(http.StatusSeeOther, "/species/"+found.Candidates[0].Species.ID)
	}
	d.Outcome, d.Found = found.Outcome, found.Candidates
	return r.render("species-list", r.t("species-list.title-found", query), d)
}

// species is the one in the path.
func (r *request) species() (*care.Species, error) {
	id := r.Param("id")
	if s := r.snap.SpeciesByID(id); s != nil {
		return s, nil
	}
	return nil, notFound(r.snap.Find(id, 8).Candidates...)
}

// stage is the life stage asked for; an unknown word is as none.
func (r *request) stage() care.Stage {
	if s := care.Stage(r.QueryParam("stage")); slices.Contains(care.Stages, s) {
		return s
	}
	return care.Adult
}

type speciesPageData struct {
	Species  *care.Species
	Common   string
	Stage    care.Stage
	Stages   []care.Stage
	Sections []rangeSection
	Names    []languageNames
	Growth   template.HTML
	Sizes    []*care.Growth
	Rules    []ruleLine
}

// ruleLine is a published space rule that speaks of the species.
type ruleLine struct {
	*care.Rule
	Origin *care.Source
}

type languageNames struct {
	Language string
	Names    []string
}

// rangeSection is a part of the ranges that is drawn on one scale for each unit.
type rangeSection struct {
	Key    string
	Drawn  bool
	Ranges []rangeRow
	// NotKnown are parameters that apply and of which nothing is held.
	NotKnown []string
}

type rangeRow struct {
	*care.Parameter
	care.WorkingRange
	Shown string
	Scale template.HTML
}

// rangeSections group the parameters as a keeper thinks of them.
var rangeSections = []struct {
	key   string
	codes []care.Code
}{
	{"heat", []care.Code{care.HotSpot, care.WarmAir, care.CoolAir, care.NightAir, care.WaterTemp, care.WinterTemp, care.WinterWeeks}},
	{"humidity", []care.Code{care.HumidityDay, care.HumidityNight, care.HumidRetreat}},
	{"light", []care.Code{care.UVZone, care.UVMax, care.UVMean, care.PhotoperiodSummer, care.PhotoperiodWinter}},
	{"ground", []care.Code{care.SubstrateDepth, care.WaterDepth, care.GroupSize}},
	{"body", []care.Code{care.AdultTotal, care.AdultSVL, care.AdultSCL, care.AdultMass, care.RecordTotal, care.RecordSVL, care.RecordSCL,
		care.TailToSVL, care.SelectedBody, care.CriticalMax, care.Longevity}},
}

func speciesPage(r *request) error {
	s, err := r.species()
	if err != nil {
		return err
	}
	d := speciesPageData{Species: s, Common: s.CommonName(r.look.language), Stage: r.stage(), Stages: care.Stages}
	for _, part := range rangeSections {
		d.Sections = append(d.Sections, r.rangeSection(s, d.Stage, part.key, part.codes))
	}
	for language, names := range s.Names.Common {
		if len(names) > 0 {
			d.Names = append(d.Names, languageNames{language, names})
		}
	}
	slices.SortFunc(d.Names, func(a, b languageNames) int { return strings.Compare(a.Language, b.Language) })
	d.Growth, d.Sizes = r.growth(s)
	for _, rule := range r.snap.RulesFor(s.ID) {
		if rule.Status == care.InForce || rule.Status == care.Advisory {
			d.Rules = append(d.Rules, ruleLine{rule, r.snap.Source(rule.Source)})
		}
	}
	return r.render("species", d.Common, d)
}

// rangeSection draws the ranges of a section, those of one unit on one scale.
func (r *request) rangeSection(s *care.Species, stage care.Stage, key string, codes []care.Code) rangeSection {
	out := rangeSection{Key: key}
	ends := map[string][]float64{} // by unit
	for _, code := range codes {
		p, w := care.ParameterOf(code), r.snap.Range(s.ID, code, stage)
		switch w.Standing {
		case care.NotKnown:
			out.NotKnown = append(out.NotKnown, p.Name)
			continue
		case care.NotApplicable:
			continue
		}
		out.Ranges = append(out.Ranges, rangeRow{Parameter: p, WorkingRange: w, Shown: writeBand(w, r.look.units)})
		if key == "body" || p.Unit == "zone" || p.Unit == "animals" { // no scale worth seeing
			continue
		}
		for _, k := range w.Counted {
			ends[p.Unit] = append(ends[p.Unit], r.figures(k.Low, k.High, p.Unit)...)
		}
		ends[p.Unit] = append(ends[p.Unit], r.figures(w.Low, w.High, w.Unit)...)
	}
	for i := range out.Ranges {
		row := &out.Ranges[i]
		if all := ends[row.Parameter.Unit]; len(all) > 0 {
			out.Drawn = true
			row.Scale = r.scale(fmt.Sprintf("s-%s", row.Parameter.Code), row, around(8, 292, all...))
		}
	}
	return out
}

// figures are the bounds given, in the viewer's units.
func (r *request) figures(low, high *float64, unit string) (out []float64) {
	b := quantity.Band{Low: low, High: high, Unit: unit}.In(r.look.units)
	for _, x := range []*float64{b.Low, b.High} {
		if x != nil {
			out = append(out, *x)
		}
	}
	return out
}

// scale draws a working range as a bar with every claim below it as a line: whole
// where it was read, dashed where read through a copy, dotted where recalled. Claims
// that don't count are thin.
func (r *request) scale(id string, row *rangeRow, x axis) template.HTML {
	claims := slices.DeleteFunc(slices.Concat(row.Counted, row.Aside), func(k *care.Claim) bool {
		b := quantity.Band{Low: k.Low, High: k.High, Unit: row.Parameter.Unit}.In(r.look.units)
		// Those off the scale, which none that counts is, are on the page of claims.
		return k.Implausible != "" || b.Low != nil && *b.Low > x.high || b.High != nil && *b.High < x.low
	})
	const most = 12 // lines; the rest are on the page of claims
	shown := claims[:min(len(claims), most)]
	height := 34 + 5*float64(len(shown))
	p := newPicture(id, row.Parameter.Name+": "+row.Shown,
		r.t("scale.description", row.Shown, len(row.Counted), len(row.Aside)), 300, height)
	foot := height - 16
	p.line("axis", x.from, foot, x.to, foot)
	for _, v := range x.ticks(6) {
		p.line("grid", x.at(v), 2, x.at(v), foot)
		p.text("tick", x.at(v), foot+12, "middle", num(v))
	}
	bar := func(low, high *float64, unit string) (from, to float64) {
		b := quantity.Band{Low: low, High: high, Unit: unit}.In(r.look.units)
		from, to = x.from, x.to
		if b.Low != nil {
			from = x.at(*b.Low)
		}
		if b.High != nil {
			to = x.at(*b.High)
		}
		return from, max(to, from+2)
	}
	from, to := bar(row.Low, row.High, row.WorkingRange.Unit)
	p.rect("range", from, 3, to-from, 9)
	for i, k := range shown {
		from, to := bar(k.Low, k.High, row.Parameter.Unit)
		class := "claim " + string(k.Access)
		if !slices.Contains(row.Counted, k) {
			class += " aside"
		}
		y := 17 + 5*float64(i)
		if to-from < 5 {
			p.dot(class, (from+to)/2, y, 2)
			continue
		}
		p.line(class, from, y, to, y)
	}
	return p.end()
}

// growth draws reported lengths against age, with the adult range. It is empty where
// no two lengths at an age are held.
func (r *request) growth(s *care.Species) (template.HTML, []*care.Growth) {
	var sizes []*care.Growth
	for i := range s.Growth {
		if g := &s.Growth[i]; g.Kind == "size-at-age" && g.Length > 0 {
			sizes = append(sizes, g)
		}
	}
	slices.SortStableFunc(sizes, func(a, b *care.Growth) int { return int(a.Age*100) - int(b.Age*100) })
	measures := map[care.Measure]int{}
	most := care.Measure("")
	for _, g := range sizes {
		if measures[g.Measure]++; measures[g.Measure] > measures[most] {
			most = g.Measure
		}
	}
	sizes = slices.DeleteFunc(sizes, func(g *care.Growth) bool { return g.Measure != most })
	if len(sizes) < 2 {
		return "", nil
	}
	var months, lengths []float64
	for _, g := range sizes {
		months = append(months, g.Age)
		lengths = append(lengths, r.figures(&g.Length, nil, "cm")...)
	}
	adult, known := r.snap.AdultLength(s, most)
	unit := quantity.Length(0).Value().In(r.look.units).Unit
	var low, high float64
	if known {
		low, high = adult.Low.Value().In(r.look.units).Number, adult.High.Value().In(r.look.units).Number
		lengths = append(lengths, low, high)
	}
	x, y := around(40, 350, append(months, 0)...), around(190, 22, append(lengths, 0)...)
	p := newPicture("growth", r.t("growth.title"), r.t("growth.description", len(sizes), string(most)), 360, 224)
	if known {
		p.rect("range", x.from, y.at(high), x.to-x.from, y.at(low)-y.at(high))
		p.text("label", x.to-2, y.at(high)-3, "end", r.t("growth.adult"))
	}
	p.frame(x, y, r.t("growth.months"), unit)
	for i, g := range sizes {
		class := "point " + g.Sex
		p.dot(class, x.at(g.Age), y.at(lengths[i]), 3.5)
	}
	return p.end(), sizes
}

type claimsPageData struct {
	Species    *care.Species
	Common     string
	Stage      care.Stage
	Parameters []claimGroup
}

type claimGroup struct {
	*care.Parameter
	Range  care.WorkingRange
	Claims []claimLine
}

type claimLine struct {
	*care.Claim
	Origin *care.Source
	Aside  string
}

// claimsPage lists every claim with its source, under its parameter.
func claimsPage(r *request) error {
	s, err := r.species()
	if err != nil {
		return err
	}
	d := claimsPageData{Species: s, Common: s.CommonName(r.look.language), Stage: r.stage()}
	only := care.Code(r.QueryParam("parameter"))
	for i := range care.Parameters {
		p := &care.Parameters[i]
		if only != "" && p.Code != only {
			continue
		}
		w := r.snap.Range(s.ID, p.Code, d.Stage)
		group := claimGroup{Parameter: p, Range: w}
		for j := range s.Claims {
			if k := &s.Claims[j]; k.Parameter == p.Code {
				group.Claims = append(group.Claims, claimLine{k, r.snap.Source(k.Source), w.WhyAside(k)})
			}
		}
		if len(group.Claims) > 0 || only != "" {
			d.Parameters = append(d.Parameters, group)
		}
	}
	if len(d.Parameters) == 0 {
		return notFound()
	}
	return r.render("claims", r.t("claims.title", d.Common), d)
}

type sourceListData struct {
	Kinds []sourceKind
	Total int
}

type sourceKind struct {
	Kind    care.SourceKind
	Tier    int
	Sources []*care.Source
}

// sourceList is every publication, by what it is.
func sourceList(r *request) error {
	byKind := map[care.SourceKind][]*care.Source{}
	var d sourceListData
	for _, s := range r.snap.Sources() {
		byKind[s.Kind] = append(byKind[s.Kind], s)
		d.Total++
	}
	for kind, all := range byKind {
		d.Kinds = append(d.Kinds, sourceKind{kind, kind.Tier(), all})
	}
	slices.SortFunc(d.Kinds, func(a, b sourceKind) int {
		if a.Tier != b.Tier {
			return a.Tier - b.Tier
		}
		return strings.Compare(string(a.Kind), string(b.Kind))
	})
	return r.render("sources", r.t("sources.title"), d)
}

type sourcePageData struct {
	*care.Source
	Tier   int
	Claims []sourceClaims
	Rules  []*care.Rule
}

// sourceClaims are what one source says about one species.
type sourceClaims struct {
	Species *care.Species
	Claims  []*care.Claim
}

func sourcePage(r *request) error {
	s := r.snap.Source(r.Param("key"))
	if s == nil {
		return notFound()
	}
	d := sourcePageData{Source: s, Tier: s.Kind.Tier()}
	for _, e := range r.snap.Species() {
		of := sourceClaims{Species: e}
		for i := range e.Claims {
			if e.Claims[i].Source == s.Key {
				of.Claims = append(of.Claims, &e.Claims[i])
			}
		}
		if len(of.Claims) > 0 {
			d.Claims = append(d.Claims, of)
		}
	}
	for _, rule := range r.snap.Rules() {
		if rule.Source == s.Key {
			d.Rules = append(d.Rules, rule)
		}
	}
	return r.render("source", r.t("source.title", s.Title, s.Key), d)
}
