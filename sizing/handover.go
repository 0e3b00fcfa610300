package sizing

import (
	"fmt"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// Handover is one page for the adopter of an animal: what it needs, what this setup
// has, what is missing, sources and cautions. Each line is short enough to print.
type Handover struct {
	Species SpeciesRef   `json:"species"`
	Animals []AnimalSize `json:"animals"`
	// About are facts of the animal's life: when it is awake, how it lives, how long.
	About []string `json:"about"`
	// Verdict and Says are the assessment in a word and in a sentence.
	Verdict score.Verdict  `json:"verdict"`
	Says    string         `json:"says"`
	Score   score.Interval `json:"score"`
	Needs   []HandoverNeed `json:"needs"`
	// Missing is what to do before the animal moves in, hazards first.
	Missing []HandoverTask `json:"missing"`
	// Measure is what nobody has measured yet.
	Measure []string `json:"measure,omitzero"`
	// Grows says for how long the enclosure will do.
	Grows    string   `json:"grows"`
	Company  string   `json:"company"`
	Cautions []string `json:"cautions"`
	// Lawful is how the size stands to the law of the jurisdiction named.
	Lawful *LawfulFinding `json:"lawful,omitzero"`
	// Recalled counts the needs that rest on memory alone, none of whose sources was read.
	Recalled  int        `json:"needs_recalled"`
	Sources   []Citation `json:"sources"`
	Warnings  []Warning  `json:"warnings,omitzero"`
	Catalogue string     `json:"catalogue_revision"`
	Engine    string     `json:"engine_version"`
}

// HandoverNeed is one thing the animal needs against what is there.
type HandoverNeed struct {
	Criterion string         `json:"criterion"`
	Name      string         `json:"name"`
	Wanted    *quantity.Band `json:"wanted,omitzero"` // nil: yes, or not known
	Here      *quantity.Band `json:"here,omitzero"`
	Answer    string         `json:"answer,omitzero"` // yes, no or partly
	Standing  score.Standing `json:"standing"`
	Grade     care.Grade     `json:"grade,omitzero"`
}

// HandoverTask is one thing to do.
type HandoverTask struct {
	What    string         `json:"what"`
	Kind    score.Mend     `json:"kind"`
	Hazard  score.Presence `json:"hazard,omitzero"`
	To      *quantity.Band `json:"to,omitzero"`
	Caution string         `json:"caution,omitzero"`
}

// HandOver writes the page for the animals and the setup they go home in. The error
// is an Invalid that lists every bad field.
func HandOver(c *care.Catalogue, q AssessmentQuestion) (*Handover, error) {
	a, err := Assess(c, q)
	if err != nil {
		return nil, err
	}
	var p problems
	s := p.species(c, q.Species)
	g := p.animals(c, s, q.Animals)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	out := &Handover{Species: a.Species, Animals: a.Animals, Verdict: a.Verdict, Score: a.Score, About: aboutOf(c, s), Needs: []HandoverNeed{}, Missing: []HandoverTask{},
		Cautions: a.Cautions, Lawful: a.Lawful, Sources: a.Sources, Warnings: a.Warnings, Catalogue: c.Revision, Engine: EngineVersion}
	for _, f := range a.Findings {
		if f.Criterion == string(care.GroupSize) && g.count == 1 && f.Standing == score.Met {
			continue
		}
		n := HandoverNeed{Criterion: f.Criterion, Name: f.Name, Wanted: f.Target, Here: f.Between, Answer: f.Answer, Standing: f.Standing, Grade: f.Grade}
		if f.Strictest != nil {
			n.Wanted = f.Strictest
		}
		if f.Value != nil {
			n.Here = &quantity.Band{Low: &f.Value.Number, High: &f.Value.Number, Unit: f.Value.Unit}
		}
		if f.Grade == care.RecalledOnly {
			out.Recalled++
		}
		out.Needs = append(out.Needs, n)
	}
	if err := out.missing(c, g, q, a); err != nil {
		return nil, err
	}
	grows, err := NewMatcher(c).outgrow(g, q, nil)
	if err != nil {
		return nil, err
	}
	out.Grows = growsText(grows)
	company, err := Company(c, CompanyQuestion{Jurisdiction: q.Jurisdiction, Members: []CompanyMember{{q.Species, q.Animals}}})
	if err != nil {
		return nil, err
	}
	out.Company = companyText(s, company, g.count)
	return out, nil
}

// missing lists what is to be done: what only another enclosure mends, then hazards,
// then the rest.
func (h *Handover) missing(c *care.Catalogue, g group, q AssessmentQuestion, a *Assessment) error {
	n, err := neededBy(c, g, q.Jurisdiction)
	if err != nil {
		return err
	}
	small := ""
	for i := range a.Findings {
		f := &a.Findings[i]
		if f.Mend == score.Rebuild && f.Score != nil && f.Score.Best < 1 && small == "" {
			small = shortfallText(f)
			h.Missing = append(h.Missing, HandoverTask{What: "A larger enclosure: " + small, Kind: score.Rebuild})
		}
	}
	for _, ch := range score.Needed(n.Case(q.Setup)) {
		h.Missing = append(h.Missing, HandoverTask{What: ch.What, Kind: ch.Kind, Hazard: ch.Hazard, To: ch.To, Caution: ch.Caution})
	}
	for _, o := range a.Open {
		h.Measure = append(h.Measure, o.What)
	}
	switch {
	case small != "":
		h.Says = "Too small for this animal. " + strings.ToUpper(small[:1]) + small[1:] + "."
	case a.Verdict == score.Suitable:
		h.Says = "Good enough as it stands, by every figure held."
	case a.Verdict == score.AfterChanges:
		h.Says = "Good enough once what is missing below is done."
	case a.BestVerdict == score.AfterChanges:
		h.Says = "Not to be told yet: something is missing, and what nobody measured decides whether that is all."
	default:
		h.Says = "Not to be told yet: nothing measured is wrong, and what nobody measured decides."
	}
	return nil
}

// aboutOf are a few facts of the animal's life.
func aboutOf(c *care.Catalogue, s *care.Species) (out []string) {
	n := s.Nature
	line := n.Activity + ", " + string(n.Habit)
	if n.Biome != "" {
		line += "; native to " + n.Biome
	}
	out = append(out, line+" ("+string(n.Access)+")")
	for _, m := range []care.Measure{care.TotalLength, care.Shell, care.SnoutVent} {
		if l, ok := c.AdultLength(s, m); ok {
			out = append(out, fmt.Sprintf("adults: %s %s", m, quantity.Band{Low: new(l.Low.Centimetres()), High: new(l.High.Centimetres()), Unit: "cm"}.In(quantity.Metric)))
			break
		}
	}
	if w := c.Range(s.ID, care.Longevity, care.Adult); w.Standing == care.Known && w.High != nil {
		out = append(out, fmt.Sprintf("longest life on record: %.0f years", *w.High))
	}
	switch n.Dormancy {
	case "expected":
		out = append(out, "winters cold: ask a veterinarian how, and whether this animal is fit for it")
	case "optional":
		out = append(out, "may winter cool")
	}
	return out
}

// growsText says for how long the enclosure will do.
func growsText(o *Outgrowing) string {
	next := ""
	if n := o.Next; n != nil {
		next = fmt.Sprintf(" The next size to buy: %s × %s", metric(n.Length), metric(n.Width))
		if n.Height > 0 {
			next += " × " + metric(n.Height) + " inside"
		}
		next += "."
	}
	switch o.Standing {
	case neverOutgrow:
		return "Large enough for adults, by the rules held."
	case outgrown:
		return "Outgrown already (" + o.First.Name + ")." + next
	case willOutgrow:
		f := o.First
		text := "Will be outgrown (" + f.Name + ")"
		if f.Length != nil && f.Length.Low != nil {
			text += fmt.Sprintf(" at a %s length of about %s", f.Measure, quantity.Value{Number: *f.Length.Low, Unit: "cm"}.In(quantity.Metric))
		}
		switch {
		case f.Age == nil:
			text += "; when is not known, for no growth data that reach are held"
		case f.Age.High == nil:
			text += fmt.Sprintf(", at an age of %.0f months or later", *f.Age.Low)
		case f.Age.Low == nil:
			text += fmt.Sprintf(", by an age of %.0f months", *f.Age.High)
		default:
			text += fmt.Sprintf(", at an age of %.0f to %.0f months", *f.Age.Low, *f.Age.High)
		}
		return text + "." + next
	}
	return "For how long it will do is not known." + next
}

func metric(l quantity.Length) string { return l.Value().In(quantity.Metric).String() }

func companyText(s *care.Species, a *CompanyAnswer, count int) string {
	text := "Company, as recorded: " + s.Nature.Sociality + ". Never with another species."
	if count < 2 {
		return text
	}
	text += fmt.Sprintf(" These %d together: %s", count, a.Verdict)
	for _, r := range a.Reasons {
		if r.Speaks == Against || r.Speaks == Unknown && a.Verdict == CompanyUnknown {
			return text + ", because " + strings.TrimPrefix(r.Text, s.CommonName("en")+": ") + "."
		}
	}
	return text + "."
}
