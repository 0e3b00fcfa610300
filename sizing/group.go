package sizing

import (
	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/space"
)

// bodyOf is a body under construction.
type bodyOf struct{ space.Body }

func (b *bodyOf) set(m care.Measure, l quantity.Length) {
	switch m {
	case care.SnoutVent:
		b.SnoutVent = l
	case care.TotalLength:
		b.Total = l
	case care.Shell:
		b.Shell = l
		// The shell's height is about half its length: common practice, no source.
		b.ShellHeight = l / 2
	}
}

// longer reports whether a is the larger animal, by whatever measure both have.
func (b bodyOf) longer(a bodyOf) bool {
	for _, m := range []care.Measure{care.TotalLength, care.SnoutVent, care.Shell} {
		x, okX := b.Length(m)
		y, okY := a.Length(m)
		if okX && okY && x != y {
			return x > y
		}
	}
	return false
}

func (g *group) add(size AnimalSize, least, most bodyOf) {
	g.sizes = append(g.sizes, size)
	g.count += size.Count
	if len(g.sizes) == 1 || least.longer(g.least) {
		g.least = least
	}
	if len(g.sizes) == 1 || most.longer(g.most) {
		g.most = most
	}
	if older(g.youngest, size.Stage) {
		g.youngest = size.Stage
	}
}

// older reports whether stage a is later in life than b.
func older(a, b care.Stage) bool { return rank(a) > rank(b) }

func rank(s care.Stage) int {
	for i, k := range care.Stages {
		if k == s {
			return i
		}
	}
	return len(care.Stages)
}

// footprint is the floor one animal covers at rest, in m². Common practice, no
// source: a lizard or frog its snout-vent length by half of that, a tortoise its
// shell by four fifths, a snake coiled a square of an eighth of its length.
func (g *group) footprint() quantity.Area {
	b := g.most
	switch g.species.Group {
	case care.Snake:
		q := b.Total / 8
		return quantity.Area(q * q)
	case care.Chelonian:
		return quantity.Area(0.8 * b.Shell * b.Shell)
	}
	l := b.SnoutVent
	if l == 0 {
		l = b.Total / 2
	}
	return quantity.Area(0.5 * l * l)
}
