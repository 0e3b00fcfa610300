package sizing

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
	"denwright/sizing/space"
)

// Outgrowing says when growing animals outgrow an enclosure, and what size comes next.
type Outgrowing struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	// Standing: "outgrown" (too small today), "will be outgrown", "never" (it will do
	// for adults), "not known".
	Standing   string             `json:"standing"`
	Dimensions []OutgrowDimension `json:"dimensions"`
	// First is the earliest of the dimensions.
	First *OutgrowDimension `json:"first,omitzero"`
	// Next is the next size to buy: what adults need, the last size that will be
	// needed, sides rounded up to 10 cm and the height to 5 cm.
	Next   *NextSize `json:"next_size,omitzero"`
	Growth string    `json:"growth"` // what the ages rest on, or why there are none
	Notes  []string  `json:"notes,omitzero"`
	// Sources are the publications behind the sizes, by key.
	Sources   []Citation `json:"sources"`
	Warnings  []Warning  `json:"warnings,omitzero"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// OutgrowDimension is one dimension of the enclosure over the animals' life.
type OutgrowDimension struct {
	Criterion string `json:"criterion"`
	Name      string `json:"name"`
	// Standing as in Outgrowing.
	Standing string         `json:"standing"`
	Here     *score.Figure  `json:"here,omitzero"`
	Today    *quantity.Band `json:"wanted_today,omitzero"`
	Adult    *quantity.Band `json:"wanted_by_adults,omitzero"`
	// Length is the body length above which it falls short: in the first figure for
	// certain nothing yet, in the last for certain. Measure says of what.
	Length  *quantity.Band `json:"at_length,omitzero"`
	Measure care.Measure   `json:"measure,omitzero"`
	// Age is when that length is reached: the earliest that the fastest and the latest
	// that the slowest may. An open end is not known. In months.
	Age *quantity.Band `json:"at_age,omitzero"`
}

// NextSize is a size to buy.
type NextSize struct {
	Length quantity.Length `json:"length"`
	Width  quantity.Length `json:"width"`
	Height quantity.Length `json:"inside_height,omitzero"`
	Water  *WaterSpace     `json:"water,omitzero"`
	Basis  string          `json:"basis"`
}

// The words of a standing.
const (
	outgrown        = "outgrown"
	willOutgrow     = "will be outgrown"
	neverOutgrow    = "never"
	outgrowNotKnown = "not known"
)

// lengthSteps is how finely a life is gone through, from the length today to that of
// adults; each bound is then halved down to a thousandth of a step.
const lengthSteps = 48

// Outgrow tells when the animals outgrow the enclosure. Every dimension of space is
// compared over the lengths from today to the longest adults, by the same rules as an
// assessment; the ages are those at which growth data reach the lengths (see
// care.Catalogue.LengthAtAge), and not known without them. A rule that speaks of an
// animal's age rather than its length is judged at the age the length is reached at
// earliest. The error is an Invalid that lists every bad field.
func Outgrow(c *care.Catalogue, q AssessmentQuestion) (*Outgrowing, error) {
	return NewMatcher(c).Outgrow(q)
}

// Outgrow does as the function of that name; it keeps the growth of each species for
// the next question.
func (m *Matcher) Outgrow(q AssessmentQuestion) (*Outgrowing, error) {
	c := m.catalogue
	var p problems
	s := p.species(c, q.Species)
	p.jurisdiction(c, q.Jurisdiction)
	g := p.animals(c, s, q.Animals)
	p.setup(&q.Setup)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	return m.outgrow(g, q, p.warnings)
}

func (m *Matcher) outgrow(g group, q AssessmentQuestion, warnings []Warning) (*Outgrowing, error) {
	c, s := m.catalogue, g.species
	out := &Outgrowing{Species: Ref(s), Animals: g.sizes, Standing: outgrowNotKnown, Dimensions: []OutgrowDimension{}, Growth: "no growth data are held for this species: ages are not known",
		Warnings: warnings, Catalogue: c.Revision, Engine: EngineVersion, Sources: []Citation{}}
	l, ok := m.newLife(g, q)
	if !ok {
		out.Growth = "no adult length is held for this species"
		out.Notes = append(out.Notes, "what the animals will need as adults is not known: a published adult length would settle it")
		return out, nil
	}
	today, err := l.sizes(g)
	if err != nil {
		return nil, err
	}
	adult, err := l.at(l.longest)
	if err != nil {
		return nil, err
	}
	codes := map[string]bool{}
	for _, k := range slices.Concat(today, adult) {
		if codes[k.Code] {
			continue
		}
		codes[k.Code] = true
		d, err := l.dimension(k.Code, today, adult)
		if err != nil {
			return nil, err
		}
		out.Dimensions = append(out.Dimensions, d)
	}
	out.judge()
	out.Growth = l.basis
	if out.Next, err = l.next(); err != nil {
		return nil, err
	}
	if out.Next == nil {
		out.Notes = append(out.Notes, "no published floor size is held for adults of this species, so the next size is not known")
	}
	var keys []string
	for _, k := range slices.Concat(today, adult) {
		keys = append(keys, k.Sources...)
	}
	out.Sources = cite(c, keys)
	return out, nil
}

// judge sums the dimensions up.
func (o *Outgrowing) judge() {
	counts := map[string]int{}
	for i := range o.Dimensions {
		d := &o.Dimensions[i]
		counts[d.Standing]++
		if d.Standing != willOutgrow && d.Standing != outgrown {
			continue
		}
		if f := o.First; f == nil || d.Standing == outgrown && f.Standing != outgrown ||
			d.Standing == f.Standing && d.Length != nil && f.Length != nil && *d.Length.Low < *f.Length.Low {
			o.First = d
		}
	}
	switch {
	case counts[outgrown] > 0:
		o.Standing = outgrown
	case counts[willOutgrow] > 0:
		o.Standing = willOutgrow
	case counts[outgrowNotKnown] > 0 || len(o.Dimensions) == 0:
		o.Standing = outgrowNotKnown
	default:
		o.Standing = neverOutgrow
	}
}

// life is the growth of one group of animals from today on.
type life struct {
	c        *care.Catalogue
	g        group
	question AssessmentQuestion
	measure  care.Measure
	shortest quantity.Length // that the largest animal may be today
	longest  quantity.Length // of adults
	sex      string
	growth
	read *score.Readings
	held *sizesAlong
}

// lifeKey is on what the size criteria along a life hang.
type lifeKey struct {
	growthKey
	jurisdiction string
	count        int
}

// sizesAlong keeps the size criteria at lengths.
type sizesAlong struct {
	mu sync.Mutex
	at map[quantity.Length][]score.Criterion
}

// Of what a Matcher keeps of lives: at about 2 kB a length.
const (
	keptLives   = 32
	keptLengths = 4 * lengthSteps
)

// sizesOf gives the sizes along a life from what is kept where they are.
func (m *Matcher) sizesOf(key lifeKey) *sizesAlong {
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.lives[key]
	if s == nil {
		if len(m.lives) >= keptLives {
			clear(m.lives)
		}
		s = &sizesAlong{at: map[quantity.Length][]score.Criterion{}}
		m.lives[key] = s
	}
	return s
}

// ageSpan is the spread of lengths at an age.
type ageSpan struct {
	months    float64
	low, high quantity.Length
}

// newLife lays out the lengths and ages ahead. ok is false where no adult length is held.
func (matcher *Matcher) newLife(g group, q AssessmentQuestion) (*life, bool) {
	c := matcher.catalogue
	l := &life{c: c, g: g, question: q, read: score.Read(q.Setup)}
	for _, m := range []care.Measure{care.Shell, care.TotalLength, care.SnoutVent} {
		adult, ok := c.AdultLength(g.species, m)
		if !ok || !slices.Contains(measures(g.species.Group), m) {
			continue
		}
		today, known := g.least.Length(m)
		if !known {
			continue
		}
		l.measure, l.shortest, l.longest = m, today, max(adult.High, today)
		break
	}
	if l.measure == "" {
		return nil, false
	}
	if len(g.sizes) == 1 && g.sizes[0].Sex != "unknown" {
		l.sex = g.sizes[0].Sex
	}
	l.growth = matcher.growthOf(g.species, l.sex, l.measure)
	l.held = matcher.sizesOf(lifeKey{growthKey{g.species.ID, l.sex, l.measure}, q.Jurisdiction, g.count})
	return l, true
}

// growthKey is whose growth.
type growthKey struct {
	species string
	sex     string
	measure care.Measure
}

// growth is the spread of lengths over a life; no ages where no growth data reach.
type growth struct {
	ages  []ageSpan
	basis string
}

// growthOf gives the growth from what is kept where it is.
func (m *Matcher) growthOf(s *care.Species, sex string, measure care.Measure) growth {
	key := growthKey{s.ID, sex, measure}
	m.mu.Lock()
	g, ok := m.growth[key]
	m.mu.Unlock()
	if !ok { // worked out twice at worst
		g = grow(m.catalogue, s, sex, measure)
		m.mu.Lock()
		m.growth[key] = g
		m.mu.Unlock()
	}
	return g
}

// grow reads the growth data by months, then years, up to the longest life held.
func grow(c *care.Catalogue, s *care.Species, sex string, measure care.Measure) growth {
	out := growth{basis: "no growth data that reach are held for this species: ages are not known"}
	years := 60.0
	if w := c.Range(s.ID, care.Longevity, care.Adult); w.Standing == care.Known && w.High != nil {
		years = *w.High
	}
	for months := 0.0; months <= years*12; {
		if b, ok := c.LengthAtAge(s, months, sex, measure); ok {
			out.ages = append(out.ages, ageSpan{months, b.Low, b.High})
			out.basis = b.Basis
		}
		switch {
		case months < 60:
			months++
		case months < 240:
			months += 6
		default:
			months += 12
		}
	}
	return out
}

// reached is when animals come to a length: the earliest the fastest may, the latest
// the slowest must; nil where the data don't tell.
func (l *life) reached(length quantity.Length) (earliest, latest *float64) {
	for i, a := range l.ages {
		if earliest == nil && a.high >= length {
			earliest = new(a.months)
			if i > 0 { // they came to it since the age before
				earliest = new(l.ages[i-1].months)
			}
		}
		if latest == nil && a.low >= length {
			latest = new(a.months)
		}
	}
	return earliest, latest
}

// at gives the size criteria for the same number of animals, the largest of a length.
func (l *life) at(length quantity.Length) ([]score.Criterion, error) {
	l.held.mu.Lock()
	held, ok := l.held.at[length]
	l.held.mu.Unlock()
	if ok {
		return held, nil
	}
	p := problems{massless: true}
	a := Animal{Count: l.g.count, Length: new(length), Measure: l.measure}
	g := p.animals(l.c, l.g.species, []Animal{a})
	if len(p.bad) > 0 {
		return nil, fmt.Errorf("%s of %.1f cm: %w", l.g.species.ID, length.Centimetres(), p.bad)
	}
	if early, _ := l.reached(length); early != nil {
		g.least.AgeMonths, g.most.AgeMonths = *early, *early
	}
	k, err := l.sizes(g)
	if err == nil {
		l.held.mu.Lock()
		if len(l.held.at) < keptLengths {
			l.held.at[length] = k
		}
		l.held.mu.Unlock()
	}
	return k, err
}

// sizes are the criteria of space by published rule.
func (l *life) sizes(g group) ([]score.Criterion, error) {
	rules := l.c.RulesFor(g.species.ID)
	least := space.Sizes(rules, g.least.Body, g.count, l.question.Jurisdiction).Advised
	most := least
	if g.least.Body != g.most.Body {
		most = space.Sizes(rules, g.most.Body, g.count, l.question.Jurisdiction).Advised
	}
	return sizeCriteria([]*space.Footprint{&least, &most}, false)
}

// dimension compares one dimension of the enclosure with what is wanted from today to
// the longest adults.
func (l *life) dimension(code string, today, adult []score.Criterion) (OutgrowDimension, error) {
	d := OutgrowDimension{Criterion: code, Standing: outgrowNotKnown, Measure: l.measure}
	find := func(ks []score.Criterion) *score.Criterion {
		i := slices.IndexFunc(ks, func(k score.Criterion) bool { return k.Code == code })
		if i < 0 {
			return nil
		}
		return &ks[i]
	}
	state := func(k *score.Criterion) score.Finding {
		if k == nil {
			return score.Finding{}
		}
		return l.read.Finding(k)
	}
	now, then := state(find(today)), state(find(adult))
	for _, f := range []score.Finding{now, then} {
		if f.Name != "" {
			d.Name = f.Name
		}
		if f.Value != nil {
			d.Here = f.Value
		}
	}
	d.Today, d.Adult = now.Target, then.Target
	if then.Strictest != nil {
		d.Adult = then.Strictest
	}
	if d.Here == nil {
		return d, nil // not measured
	}
	// The score at a step; ok is false where nothing is known to compare with.
	at := func(step float64) (s score.Interval, ok bool, err error) {
		ks, err := l.at(l.lengthAt(step))
		if err != nil {
			return s, false, err
		}
		k := find(ks)
		if k == nil || !k.TargetKnown() {
			return s, false, nil
		}
		return l.read.Score(k), true, nil
	}
	// The lengths at which it may fall short, and does for certain.
	first, last := math.Inf(1), math.Inf(1)
	for i := range lengthSteps + 1 {
		s, ok, err := at(float64(i))
		if err != nil {
			return d, err
		}
		if ok && s.Worst < 1 {
			first = min(first, float64(i))
		}
		if ok && s.Best < 1 {
			last = float64(i)
			break
		}
	}
	refine := func(step float64, short func(score.Interval) bool) (float64, error) {
		if math.IsInf(step, 1) || step == 0 {
			return step, nil
		}
		low, high := step-1, step
		for range 10 {
			mid := (low + high) / 2
			s, ok, err := at(mid)
			if err != nil {
				return 0, err
			}
			if ok && short(s) {
				high = mid
			} else {
				low = mid
			}
		}
		return high, nil
	}
	var err error
	if first, err = refine(first, func(s score.Interval) bool { return s.Worst < 1 }); err != nil {
		return d, err
	}
	if last, err = refine(last, func(s score.Interval) bool { return s.Best < 1 }); err != nil {
		return d, err
	}
	switch {
	case now.Score != nil && now.Score.Best < 1:
		d.Standing = outgrown
	case math.IsInf(first, 1):
		d.Standing = neverOutgrow
		d.Measure = ""
		return d, nil
	default:
		d.Standing = willOutgrow
	}
	if math.IsInf(first, 1) {
		return d, nil // too small for the young of today, not for a length: the rule speaks of something else
	}
	low := l.lengthAt(first).Centimetres()
	d.Length = &quantity.Band{Low: &low, Unit: "cm"}
	if !math.IsInf(last, 1) {
		d.Length.High = new(l.lengthAt(last).Centimetres())
	}
	early, _ := l.reached(l.lengthAt(first))
	var late *float64
	if !math.IsInf(last, 1) {
		_, late = l.reached(l.lengthAt(last))
	}
	if early != nil || late != nil {
		d.Age = &quantity.Band{Low: early, High: late, Unit: "months"}
	}
	return d, nil
}

// lengthAt is the length at a step from today to the longest adults.
func (l *life) lengthAt(step float64) quantity.Length {
	return l.shortest + (l.longest-l.shortest)*quantity.Length(step/lengthSteps)
}

// next is what the same number of adults need, rounded up to sizes that are built.
func (l *life) next() (*NextSize, error) {
	var p problems
	r := require(l.c, p.animals(l.c, l.g.species, []Animal{{Count: l.g.count, Stage: care.Adult}}), l.question.Jurisdiction)
	a := r.Advised
	if len(p.bad) > 0 || a.Standing != care.Known || a.Length == 0 {
		return nil, nil
	}
	up := func(l quantity.Length, cm float64) quantity.Length {
		return quantity.Centimetres(math.Ceil(l.Centimetres()/cm-1e-9) * cm)
	}
	n := &NextSize{Length: up(a.Length, 10), Width: up(a.Width, 10), Water: a.Water,
		Basis: "advised for adults at the long end of their range; sides rounded up to 10 cm, height to 5 cm (own choice)"}
	if a.Structure != nil {
		n.Height = up(a.Structure.InsideHeight, 5)
	}
	return n, nil
}
