package sizing

import (
	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/score"
)

// Course is what growing animals want of an enclosure, from the length of today to
// that of the longest adults: the line that Outgrow compares the enclosure with.
type Course struct {
	Measure care.Measure
	Points  []CoursePoint // by length; none where no adult length is held
}

// CoursePoint is what is wanted when the largest animal has a length.
type CoursePoint struct {
	Length quantity.Length
	// Earliest and Latest are the months by which the fastest may and the slowest must
	// have come to it; nil where no growth data tell.
	Earliest, Latest *float64
	// Wanted is the least figure by criterion code, in the criterion's unit, where a
	// rule speaks.
	Wanted map[string]score.Figure
}

// Course gives the line over a life for the question that Outgrow answers, by the
// same rules and growth data. The error is an Invalid that lists every bad field.
func (m *Matcher) Course(q AssessmentQuestion) (*Course, error) {
	var p problems
	s := p.species(m.catalogue, q.Species)
	p.jurisdiction(m.catalogue, q.Jurisdiction)
	g := p.animals(m.catalogue, s, q.Animals)
	p.setup(&q.Setup)
	if len(p.bad) > 0 {
		return nil, p.bad
	}
	out := &Course{}
	l, ok := m.newLife(g, q)
	if !ok {
		return out, nil
	}
	out.Measure = l.measure
	for step := range lengthSteps + 1 {
		at := CoursePoint{Length: l.lengthAt(float64(step)), Wanted: map[string]score.Figure{}}
		at.Earliest, at.Latest = l.reached(at.Length)
		criteria, err := l.at(at.Length)
		if err != nil {
			return nil, err
		}
		for _, k := range criteria {
			if low := k.Most.Low; low != nil {
				at.Wanted[k.Code] = score.Figure{Number: *low, Unit: k.Unit}
			}
		}
		out.Points = append(out.Points, at)
	}
	return out, nil
}
