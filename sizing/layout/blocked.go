package layout

import (
	"fmt"
	"math"
	"slices"

	"denwright/care/quantity"
)

// Blocked says by which constraint a brief can't be placed.
type Blocked struct {
	Constraint Constraint `json:"constraint"`
	Item       string     `json:"item"`
	Reason     string     `json:"reason"`
}

func (e *Blocked) Error() string {
	return fmt.Sprintf("%s: %s: %s", e.Item, words(string(e.Constraint)), e.Reason)
}

// Change is one single change to a brief.
type Change struct {
	// Kind: length, width, height, hang, add, drop or splash_proof.
	Kind string `json:"kind"`
	// By is how much more (or, negative, less) of a dimension; Fixture the place in the
	// list, Count how many more, of the others.
	By      quantity.Length `json:"by,omitzero"`
	Fixture int             `json:"fixture,omitzero"`
	Count   int             `json:"count,omitzero"`
	Text    string          `json:"text"`
	share   float64
}

// Apply makes the change to a brief.
func (c Change) Apply(b Brief) Brief {
	b.Fixtures = slices.Clone(b.Fixtures)
	switch c.Kind {
	case "length":
		b.Box.Length = snap(b.Box.Length + float64(c.By))
	case "width":
		b.Box.Width = snap(b.Box.Width + float64(c.By))
	case "height":
		b.Box.Height = snap(b.Box.Height + float64(c.By))
	case "hang":
		f := &b.Fixtures[c.Fixture]
		f.MaxHang = snap(max(f.Hang, f.MaxHang) + float64(c.By))
	case "add":
		b.Fixtures[c.Fixture].Count += c.Count
	case "drop":
		if f := &b.Fixtures[c.Fixture]; f.Count > c.Count {
			f.Count -= c.Count
		} else {
			b.Fixtures = slices.Delete(b.Fixtures, c.Fixture, c.Fixture+1)
		}
	case "splash_proof":
		b.Fixtures[c.Fixture].SplashProof, b.Fixtures[c.Fixture].Secured = true, true
	}
	return b
}

// grain is the step to which a dimension is searched, m.
const grain = 0.010

// Changes searches single changes that free a blocked brief. Each was tried: with it alone
// a plan is found. The smallest, by its share of what is there, comes first; none where no
// single change was found. Dimensions are doubled until a plan is found, up to 2 m more,
// and then halved down to the grain: a step less was tried and fails. It runs the search
// up to some two hundred times.
func Changes(b Brief) []Change {
	var out []Change
	frees := func(c Change) bool {
		n := c.Apply(b)
		if n.check() != nil {
			return false
		}
		n = n.complete()
		_, stop := place(&n)
		return stop == nil
	}
	stretch := func(kind string, fixture int, sign, from, most float64) {
		at := func(steps int) Change {
			return Change{Kind: kind, Fixture: fixture, By: q(sign * grain * float64(steps))}
		}
		limit := int(most / grain)
		low, high := 0, 1
		for high < limit && !frees(at(high)) {
			low, high = high, high*2
		}
		if high >= limit {
			if high = limit; limit <= low || !frees(at(high)) {
				return
			}
		}
		for high-low > 1 {
			if mid := (low + high) / 2; frees(at(mid)) {
				high = mid
			} else {
				low = mid
			}
		}
		c := at(high)
		c.share = math.Abs(float64(c.By)) / from
		word := "more"
		if sign < 0 {
			word = "less"
		}
		c.Text = fmt.Sprintf("%.0f mm %s %s", math.Abs(1000*float64(c.By)), word, kind)
		if kind == "hang" {
			c.Text = fmt.Sprintf("let the %s down %.0f mm further", b.Fixtures[fixture].label(), 1000*float64(c.By))
		}
		out = append(out, c)
	}
	stretch("length", 0, 1, b.Box.Length, 2)
	stretch("width", 0, 1, b.Box.Width, 2)
	stretch("height", 0, 1, b.Box.Height, 2)
	stretch("height", 0, -1, b.Box.Height, b.Box.Height/2)
	for i := range b.Fixtures {
		f := &b.Fixtures[i]
		single := func(c Change, share float64) bool {
			c.Fixture = i
			if !frees(c) {
				return false
			}
			c.share = share
			out = append(out, c)
			return true
		}
		if f.Kind == Basking || f.Kind == UV {
			stretch("hang", i, 1, b.Box.Height, b.Box.Height/2)
		}
		if f.Kind == Basking {
			for n := 1; n <= min(6, 12-f.Count); n++ {
				if single(Change{Kind: "add", Count: n, Text: fmt.Sprintf("%d more %s", n, f.label())}, float64(n)) {
					break
				}
			}
		}
		if f.Kind.electric() && !f.Kind.hot() && !(f.SplashProof && f.Secured) {
			single(Change{Kind: "splash_proof", Text: "a " + f.label() + " held twice and made for splash"}, 0.5)
		}
		for n := 1; n <= min(3, f.Count); n++ {
			text := fmt.Sprintf("leave out %d of %d: %s", n, f.Count, f.label())
			if single(Change{Kind: "drop", Count: n, Text: text}, float64(n)) {
				break
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Change) int {
		switch {
		case a.share < b.share:
			return -1
		case a.share > b.share:
			return 1
		}
		return 0
	})
	return out
}
