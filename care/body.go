package care

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"denwright/care/quantity"
)

// BodyLength is a body length as an interval, in one measure, and where it comes from.
type BodyLength struct {
	Measure   Measure         `json:"measure"`
	Low, High quantity.Length `json:"-"`
	// Basis: "measured", "converted from …", "working range of adults", "hatching
	// length …", "fraction of adult size" …
	Basis string `json:"basis"`
}

// FractionOfAdult is the share of adult length at which a stage begins and ends,
// where no growth data are held; adults run on from 1. Common practice, no source.
// See Catalogue.StageLength for how stages are told apart.
func (s Stage) FractionOfAdult() (low, high float64) {
	switch s {
	case Hatchling:
		return 0.15, 0.35
	case Juvenile:
		return 0.35, 0.65
	case Subadult:
		return 0.65, 1
	}
	return 1, 1
}

var adultCode = map[Measure]Code{TotalLength: AdultTotal, SnoutVent: AdultSVL, Shell: AdultSCL}
var recordCode = map[Measure]Code{TotalLength: RecordTotal, SnoutVent: RecordSVL, Shell: RecordSCL}

// AdultLength is the adult length of the species in the measure asked for,
// converted through the tail where only the other measure is known.
func (c *Catalogue) AdultLength(s *Species, m Measure) (BodyLength, bool) {
	if b, ok := c.statedAdult(s, m); ok {
		return c.spread(s, b), true
	}
	other := SnoutVent
	if m == SnoutVent {
		other = TotalLength
	}
	if m == Shell {
		return BodyLength{}, false
	}
	b, ok := c.statedAdult(s, other)
	if !ok {
		return BodyLength{}, false
	}
	return c.ConvertLength(s, b, m)
}

// spread widens a snout-vent length that is a single mean by the range of total
// lengths, so that the two measures describe the same animals.
func (c *Catalogue) spread(s *Species, b BodyLength) BodyLength {
	if b.Measure != SnoutVent || b.Low != b.High || s.Order == "Anura" {
		return b
	}
	total, ok := c.statedAdult(s, TotalLength)
	if !ok || total.Low == total.High {
		return b
	}
	if from, ok := c.ConvertLength(s, total, SnoutVent); ok {
		b.Low, b.High = min(b.Low, from.Low), max(b.High, from.High)
		b.Basis += ", a mean, spread by the range of total lengths"
	}
	return b
}

func (c *Catalogue) statedAdult(s *Species, m Measure) (BodyLength, bool) {
	w := c.Range(s.ID, adultCode[m], Adult)
	if w.Standing == Known {
		b := BodyLength{Measure: m, Basis: "working range of adults (" + string(w.Grade) + ")"}
		low, high := w.Low, w.High
		if low == nil {
			low = high
		}
		if high == nil {
			high = low
		}
		b.Low, b.High = quantity.Centimetres(*low), quantity.Centimetres(*high)
		return b, true
	}
	if r := c.Range(s.ID, recordCode[m], Adult); r.Standing == Known && r.High != nil {
		// Only a record is held: adults are taken to run from 0.6 of it. Own choice.
		high := quantity.Centimetres(*r.High)
		return BodyLength{Measure: m, Low: 0.6 * high, High: high, Basis: "0.6 to 1 of the longest on record (own choice; no typical adult length held)"}, true
	}
	return BodyLength{}, false
}

// ConvertLength turns one body measure into another through the ratio of tail to
// snout-vent length; ok is false where the ratio is not known. A frog's total
// length is its snout-vent length.
func (c *Catalogue) ConvertLength(s *Species, b BodyLength, to Measure) (BodyLength, bool) {
	if b.Measure == to {
		return b, true
	}
	if b.Measure == Shell || to == Shell {
		return BodyLength{}, false
	}
	low, high, family := 0.0, 0.0, ""
	if s.Order != "Anura" {
		var ok bool
		if low, high, family, ok = c.tailRatio(s); !ok {
			return BodyLength{}, false
		}
	}
	out := BodyLength{Measure: to}
	if b.Basis != "" { // lengths in the making carry none, and need no text
		out.Basis = b.Basis + ", converted from " + string(b.Measure) + " by the tail's share" + family
	}
	if to == TotalLength {
		out.Low, out.High = b.Low*quantity.Length(1+low), b.High*quantity.Length(1+high)
	} else {
		out.Low, out.High = b.Low/quantity.Length(1+high), b.High/quantity.Length(1+low)
	}
	return out, true
}

// tailRatio is the tail's length over the snout-vent length: a claim, else from the
// adult lengths in both measures, else as the last resort the median of the family
// (snakes only), widened to tailLeast and tailMost times it; family then says so.
func (c *Catalogue) tailRatio(s *Species) (low, high float64, family string, ok bool) {
	if w := c.Range(s.ID, TailToSVL, Adult); w.Standing == Known {
		m, _ := w.Midpoint()
		return m, m, "", true
	}
	total, svl := c.Range(s.ID, AdultTotal, Adult), c.Range(s.ID, AdultSVL, Adult)
	t, okT := total.Midpoint()
	v, okV := svl.Midpoint()
	if okT && okV && t > v && v > 0 {
		r := t/v - 1
		return r, r, "", true
	}
	if about := c.bodies[s.ID]; about != nil && about.tail != nil {
		return tailLeast * about.tail.A, tailMost * about.tail.A, about.tailNote, true
	}
	return 0, 0, "", false
}

// LongestOnRecord is the greatest length that any claim gives, in the measure;
// ok is false where none is held.
func (c *Catalogue) LongestOnRecord(s *Species, m Measure) (quantity.Length, bool) {
	longest := 0.0
	for i := range s.Claims {
		k := &s.Claims[i]
		if k.High != nil && k.Implausible == "" && (k.Parameter == adultCode[m] || k.Parameter == recordCode[m]) {
			longest = max(longest, *k.High)
		}
	}
	return quantity.Centimetres(longest), longest > 0
}

// body is what the catalogue works out once about the size of a species.
type body struct {
	masses   []*Relation // nearest first
	tail     *Relation   // of the family, or nil
	tailNote string
	stages   map[Measure]*stageBounds
}

func (c *Catalogue) buildBodies() {
	c.bodies = make(map[string]*body, len(c.species))
	for _, s := range c.species {
		b := &body{stages: make(map[Measure]*stageBounds, 2)}
		c.bodies[s.ID] = b
		b.masses, b.tail = relationsFor(s, c.relations)
		if b.tail != nil {
			b.tailNote = fmt.Sprintf(" (median of %s, %s; %s; taken as %g to %g times it, own choice)",
				cladeName(b.tail.Clade), b.tail.Source, b.tail.Access, tailLeast, tailMost)
		}
		for _, m := range []Measure{SnoutVent, TotalLength, Shell} {
			if bounds, ok := c.boundsOf(s, m); ok {
				b.stages[m] = bounds
			}
		}
		b.stages[SnoutVent].inProportionTo(b.stages[TotalLength], SnoutVent, TotalLength)
		b.stages[TotalLength].inProportionTo(b.stages[SnoutVent], TotalLength, SnoutVent)
	}
}

// inProportionTo takes the bounds of the young from the other measure where a
// hatching length is held in that alone, so that the two don't contradict each other.
func (b *stageBounds) inProportionTo(other *stageBounds, m, from Measure) {
	if b == nil || other == nil || b.hatch || !other.hatch {
		return
	}
	for i := range b.basis {
		b.begins[i] = other.begins[i] / other.begins[3] * b.begins[3]
		b.basis[i] = other.basis[i] + "; by the same shares of adult " + string(m) + " as of " + string(from) + " length (own choice)"
	}
}

// stageBounds are the lengths at which the stages begin, in one measure.
type stageBounds struct {
	begins [4]quantity.Length // by the order of Stages
	basis  [3]string          // of hatchling, juvenile and subadult
	adult  BodyLength
	hatch  bool // a hatching length is held
}

// StageLength is the length of an animal of a stage, in the measure asked for; ok
// is false where no adult length is held in it. Low belongs to the stage, High of
// a stage younger than adult is where the next begins, so no stage overlaps an
// older one, and StageOf tells every length in the interval as this stage.
//
// The stages begin, all by length and all our own choice of bounds:
//   - hatchling: at the least length reported at hatching or birth (the youngest age
//     held, up to one month);
//   - juvenile: at 1.5 times the greatest of these, but no more than a third of the
//     way from it to adult (some young are born at half the adult length);
//   - subadult: half-way between that and adult;
//   - adult: at the length at maturity (of females or unsexed animals; of males only
//     where no other is held), or at the smallest adults where these are shorter. A
//     named adult has the adult length, whose low end is never below this.
//
// Where a hatching length is held in the other measure alone, and can't be converted,
// the same shares of adult length are taken. Where none is held the young begin at 0.15, 0.35 and 0.65 of the
// length at which adults begin: common practice, no source; Basis says so.
//
// A hatching length is used in the measure it was given in before one converted
// through the tail, and a length before a mass turned into one. A point is left out
// where its length and mass contradict each other by more than maxContradiction, or
// where it is no sane share of adult length (0.04 to 0.7 at hatching, 0.4 at maturity).
func (c *Catalogue) StageLength(s *Species, stage Stage, m Measure) (BodyLength, bool) {
	b := c.boundsIn(s, m)
	i := slices.Index(Stages, stage)
	switch {
	case b == nil || i < 0:
		return BodyLength{}, false
	case stage == Adult:
		return b.adult, true
	}
	return BodyLength{Measure: m, Low: b.begins[i], High: b.begins[i+1], Basis: b.basis[i]}, true
}

// StageOf tells the stage of an animal from its length, by the bounds of
// StageLength; one shorter than any hatchling held is a hatchling. ok is false
// where no adult length is held in the measure.
func (c *Catalogue) StageOf(s *Species, l quantity.Length, m Measure) (Stage, bool) {
	b := c.boundsIn(s, m)
	if b == nil {
		return "", false
	}
	stage := Hatchling
	for i, begins := range b.begins {
		if l*(1+1e-9) >= begins { // a bound that came back from cm is still the bound
			stage = Stages[i]
		}
	}
	return stage, true
}

func (c *Catalogue) boundsIn(s *Species, m Measure) *stageBounds {
	if about := c.bodies[s.ID]; about != nil {
		return about.stages[m]
	}
	return nil
}

// Sane shares of the shortest adult length, and how far a point's length and mass
// may contradict each other. Own choice.
const (
	leastHatching    = 0.04
	mostHatching     = 0.7
	leastMaturity    = 0.4
	maxContradiction = 4.0
)

// boundsOf works out the stages of a species in one measure.
func (c *Catalogue) boundsOf(s *Species, m Measure) (*stageBounds, bool) {
	adult, ok := c.AdultLength(s, m)
	if !ok || adult.Low <= 0 {
		return nil, false
	}
	b := &stageBounds{adult: adult}
	begin, end := adult.Low, adult.Basis
	if mature, ok := c.maturity(s, m, adult.Low); ok && mature.Low < begin {
		begin, end = mature.Low, mature.Basis
	}
	b.begins[3] = begin
	hatch, ok := c.hatching(s, m, begin)
	if !ok {
		for i, stage := range Stages[:3] {
			low, _ := stage.FractionOfAdult()
			b.begins[i] = quantity.Length(low) * begin
			b.basis[i] = "fraction of adult size (common practice, no source); adult from " + end
		}
		return b, true
	}
	b.hatch = true
	b.begins[0] = hatch.Low
	b.begins[1] = min(1.5*hatch.High, hatch.High+(begin-hatch.High)/3)
	b.begins[2] = (b.begins[1] + begin) / 2
	for i, bound := range []string{
		"from hatching to half as long again",
		"from hatchling to half-way to adult; adult from " + end,
		"from half-way to adult; adult from " + end,
	} {
		b.basis[i] = hatch.Basis + "; " + bound
	}
	return b, true
}

// evidence is one growth point as a length in the measure asked for.
type evidence struct {
	point  *Growth
	length BodyLength
	rank   int // 0 as given, 1 converted through the tail, 2 from a mass
}

// lengthsOf turns the growth points that keep accepts into lengths of one measure.
func (c *Catalogue) lengthsOf(s *Species, m Measure, keep func(*Growth) bool) (out []evidence) {
	for i := range s.Growth {
		g := &s.Growth[i]
		if !keep(g) {
			continue
		}
		e := evidence{point: g}
		ok := false
		switch {
		case g.Length > 0:
			l := quantity.Centimetres(g.Length)
			e.length = BodyLength{Measure: g.Measure, Low: l, High: l}
			if g.Mass > 0 && c.contradict(s, e.length, g.Mass) {
				continue
			}
			if g.Measure != m {
				e.rank = 1
			}
			e.length, ok = c.ConvertLength(s, e.length, m)
		case g.Mass > 0:
			e.rank = 2
			e.length, ok = c.lengthFromMass(s, g.Mass, m)
		}
		if ok {
			out = append(out, e)
		}
	}
	return out
}

// contradict reports whether a mass is far from what the length comes to.
func (c *Catalogue) contradict(s *Species, l BodyLength, grams float64) bool {
	r, in, ok := c.relationAt(s, l)
	if !ok {
		return false
	}
	return grams > maxContradiction*r.grams(in.High) || grams < r.grams(in.Low)/maxContradiction
}

// hatching is the span of lengths at the youngest age held, up to one month.
func (c *Catalogue) hatching(s *Species, m Measure, adult quantity.Length) (BodyLength, bool) {
	points := c.lengthsOf(s, m, func(g *Growth) bool {
		return (g.Kind == "size-at-age" || g.Kind == "mass-at-age") && g.Age <= 1
	})
	points = slices.DeleteFunc(points, func(e evidence) bool {
		return e.length.Low < leastHatching*adult || e.length.High > mostHatching*adult
	})
	if len(points) == 0 {
		return BodyLength{}, false
	}
	first := slices.MinFunc(points, func(a, b evidence) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.point.Age, b.point.Age))
	})
	points = slices.DeleteFunc(points, func(e evidence) bool { return e.rank != first.rank || e.point.Age != first.point.Age })
	return spanOf(points, m, "hatching length"), true
}

// maturity is the least length at maturity.
func (c *Catalogue) maturity(s *Species, m Measure, adult quantity.Length) (BodyLength, bool) {
	points := c.lengthsOf(s, m, func(g *Growth) bool { return g.Kind == "size-at-maturity" })
	points = slices.DeleteFunc(points, func(e evidence) bool { return e.length.Low < leastMaturity*adult })
	points = withoutMales(points)
	if len(points) == 0 {
		return BodyLength{}, false
	}
	return spanOf(points, m, "length at maturity"), true
}

func withoutMales(points []evidence) []evidence {
	if slices.ContainsFunc(points, func(e evidence) bool { return e.point.Sex != "male" }) {
		points = slices.DeleteFunc(points, func(e evidence) bool { return e.point.Sex == "male" })
	}
	return points
}

// spanOf joins points into one length with its basis.
func spanOf(points []evidence, m Measure, what string) BodyLength {
	out := points[0].length
	for _, e := range points[1:] {
		out.Low, out.High = min(out.Low, e.length.Low), max(out.High, e.length.High)
	}
	out.Measure, out.Basis = m, basisOf(points, what)
	return out
}

// basisOf names what the points are, their sources and the weakest access.
func basisOf(points []evidence, what string) string {
	var keys []string
	access, rank := Read, 0
	for _, e := range points {
		keys = append(keys, e.point.Source)
		rank = max(rank, e.rank)
		if weaker(e.point.Access, access) {
			access = e.point.Access
		}
	}
	slices.Sort(keys)
	how := [...]string{"", ", converted through the tail's share", ", worked out from mass by a relation"}[rank]
	return what + " held (" + strings.Join(slices.Compact(keys), ", ") + "; " + string(access) + how + ")"
}

// weaker reports whether a is the weaker access.
func weaker(a, b Access) bool {
	order := []Access{Read, ReadThrough, Recalled}
	return slices.Index(order, a) > slices.Index(order, b)
}

// LengthAtAge is the length of an animal of the species at an age in months, from
// the growth data held; sex is female, male or "" for unknown. ok is false where
// the data don't reach: there must be sizes at two ages, one of which may be the
// age at maturity (the animal then has the shortest adult length), or the one size
// held must be within a month of the age.
//
// Growth slows with age, so between two ages an animal is taken as no shorter than
// the straight line between them and no longer than the later; beyond the last, as
// no longer than adults; where a curve is held (relative length 1 − exp(−k(t − t0)),
// von Bertalanffy; relative mass its cube), it stands for the ages beyond the last
// point. Each size is first widened by ageScatter for the spread among animals of one
// age, or by the scatter of the relation where it was worked out from a mass and that
// is more. An animal past twice the age of its maturity is at least as long as the shortest adults.
func (c *Catalogue) LengthAtAge(s *Species, months float64, sex string, m Measure) (BodyLength, bool) {
	bounds := c.boundsIn(s, m)
	if bounds == nil || months < 0 {
		return BodyLength{}, false
	}
	points := c.ageSeries(s, sex, m, bounds)
	if len(points) == 0 {
		return BodyLength{}, false
	}
	grown := bounds.begins[3]
	last := points[len(points)-1]
	mature := last.size >= grown*(1-1e-9)
	if len(points) == 1 && !(months >= last.age-1 && months <= last.age+1) && !(mature && months > last.age) {
		return BodyLength{}, false
	}
	out := BodyLength{Measure: m}
	i := slices.IndexFunc(points, func(p sizeAtAge) bool { return p.age >= months })
	switch {
	case i == 0:
		out.Low, out.High = points[0].low, points[0].high
		if months < points[0].age-1 {
			if !bounds.hatch {
				return BodyLength{}, false
			}
			out.Low = min(out.Low, bounds.begins[0]*(1-ageScatter))
		}
	case i > 0:
		a, b := points[i-1], points[i]
		share := quantity.Length((months - a.age) / (b.age - a.age))
		out.Low, out.High = a.low+share*(b.low-a.low), b.high
	default:
		out.Low, out.High = last.low, bounds.adult.High
		if len(points) == 1 && !mature {
			out.High = last.high
		}
	}
	if mature && months > last.age {
		share := min(1, (months-last.age)/last.age)
		out.Low = max(out.Low, grown*quantity.Length(1-ageScatter*(1-share)))
	}
	out.High = min(out.High, bounds.adult.High)
	out.Low = min(out.Low, out.High)
	out.Basis = "by age, from " + last.basis + "; at least a quarter either way for the spread among animals (own choice)"
	return out, true
}

// ageScatter is how far an animal may lie from the sizes held for its age, as a
// share of length. Own choice: the age classes of sliders and tortoises held span
// about a quarter either way. It also covers shells measured along the plastron,
// which is about a tenth shorter than the carapace.
const ageScatter = 0.25

// sizeAtAge is the span of lengths at one age.
type sizeAtAge struct {
	age       float64
	low, high quantity.Length // widened for the spread among animals
	size      quantity.Length // as reported, the least
	basis     string          // of the whole series, on its last entry
}

// sizeOf widens one point.
func sizeOf(e evidence) sizeAtAge {
	middle := quantity.Length(math.Sqrt(float64(e.length.Low * e.length.High)))
	out := sizeAtAge{age: e.point.Age, size: middle, low: min(e.length.Low, middle*(1-ageScatter)), high: max(e.length.High, middle*(1+ageScatter))}
	if e.rank < 2 { // a length: its own interval comes from the tail's share
		out.size, out.low, out.high = e.length.Low, e.length.Low*(1-ageScatter), e.length.High*(1+ageScatter)
	}
	return out
}

// ageSeries gathers the sizes held by age, oldest last, made monotone: no animal is
// held to shrink.
func (c *Catalogue) ageSeries(s *Species, sex string, m Measure, bounds *stageBounds) []sizeAtAge {
	points := c.lengthsOf(s, m, func(g *Growth) bool {
		return g.Kind == "size-at-age" || g.Kind == "mass-at-age" || g.Kind == "size-at-maturity" && g.Age > 0
	})
	points = slices.DeleteFunc(points, func(e evidence) bool { return e.point.Age <= 1 && e.length.High > mostHatching*bounds.adult.Low })
	points = append(points, c.atMaturity(s, m, bounds)...)
	if sex == "female" || sex == "male" {
		other := map[string]string{"female": "male", "male": "female"}[sex]
		if slices.ContainsFunc(points, func(e evidence) bool { return e.point.Sex != other }) {
			points = slices.DeleteFunc(points, func(e evidence) bool { return e.point.Sex == other })
		}
	}
	if len(points) == 0 {
		return nil
	}
	slices.SortFunc(points, func(a, b evidence) int { return cmp.Compare(a.point.Age, b.point.Age) })
	last := points[len(points)-1].point.Age
	points = append(points, c.onCurve(s, sex, m, last)...)
	var out []sizeAtAge
	for _, e := range points {
		p := sizeOf(e)
		if n := len(out); n > 0 && out[n-1].age == p.age {
			q := &out[n-1]
			q.low, q.high, q.size = min(q.low, p.low), max(q.high, p.high), min(q.size, p.size)
			continue
		}
		out = append(out, p)
	}
	for i := 1; i < len(out); i++ {
		out[i].high = max(out[i].high, out[i-1].high)
	}
	for i := len(out) - 2; i >= 0; i-- {
		out[i].low = min(out[i].low, out[i+1].low)
	}
	out[len(out)-1].basis = basisOf(points, "sizes by age")
	return out
}

// atMaturity is the shortest adult length at the latest age at maturity held, as a
// point; none where no such age is held.
func (c *Catalogue) atMaturity(s *Species, m Measure, bounds *stageBounds) []evidence {
	var ages []evidence
	for i := range s.Growth {
		if g := &s.Growth[i]; g.Kind == "age-at-maturity" && g.Age > 0 {
			l := bounds.begins[3]
			ages = append(ages, evidence{point: g, length: BodyLength{Measure: m, Low: l, High: l}})
		}
	}
	if ages = withoutMales(ages); len(ages) == 0 {
		return nil
	}
	return []evidence{slices.MaxFunc(ages, func(a, b evidence) int { return cmp.Compare(a.point.Age, b.point.Age) })}
}

// onCurve reads a growth curve at each year beyond the last point, to three times
// its age or ten years more.
func (c *Catalogue) onCurve(s *Species, sex string, m Measure, after float64) (out []evidence) {
	for i := range s.Growth {
		g := &s.Growth[i]
		if g.Kind != "curve" || g.Asymptote <= 0 || sex != "" && g.Sex != sex && g.Sex != "mixed" && g.Sex != "unsexed" {
			continue
		}
		for age := after + 12; age <= max(3*after, after+120); age += 12 {
			share := 1 - math.Exp(-g.PerYear*(age/12-g.Start))
			if share <= 0 {
				continue
			}
			e := evidence{point: &Growth{Kind: g.Kind, Age: age, Source: g.Source, Access: g.Access, Sex: g.Sex}}
			ok := false
			if g.AsymptoteUnit == "g" {
				e.rank = 2
				e.length, ok = c.lengthFromMass(s, g.Asymptote*share*share*share, m)
			} else {
				l := quantity.Centimetres(g.Asymptote * share)
				e.length, ok = c.ConvertLength(s, BodyLength{Measure: g.Measure, Low: l, High: l}, m)
			}
			if ok {
				out = append(out, e)
			}
		}
	}
	slices.SortFunc(out, func(a, b evidence) int { return cmp.Compare(a.point.Age, b.point.Age) })
	return out
}
