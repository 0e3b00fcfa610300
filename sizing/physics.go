package sizing

import (
	"fmt"
	"math"
	"sync"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/space"
)

// backBasis says how the height of an animal's back is reckoned; see backHeight.
const backBasis = "The animal's back stands over its platform by a fifth of its snout-vent length (lizard), two fifths (amphibian), a thirtieth of its total length (snake) or half its shell's length (" + ownBasis + ")."

// rest is the length of floor that the largest animal takes up at rest: its
// snout-vent length, its shell, or for a snake the side of its coil.
func (g *group) rest() quantity.Length {
	b := g.most
	switch {
	case g.species.Group == care.Snake:
		return b.Total / 8
	case g.species.Group == care.Chelonian:
		return b.Shell
	case b.SnoutVent > 0:
		return b.SnoutVent
	}
	return b.Total / 2
}

// backHeight is how high the back of the largest animal is over what it lies on.
// Common practice, no source; see backBasis.
func (g *group) backHeight() quantity.Length {
	switch g.species.Group {
	case care.Snake:
		return g.most.Total / 30
	case care.Chelonian:
		return g.most.ShellHeight
	case care.Amphibian:
		return g.rest() * 2 / 5
	}
	return g.rest() / 5
}

// What the physical needs are reckoned for. All are assumptions of ours but the tube:
// UV index 0.5 to 1.0 over a circle below a 24 W T5 tube in a reflector at 85 cm
// (Baines and others 2016, read in a figure).
const (
	needRoom    = 20.0 // °C
	needChanges = 1.0  // air changes per hour through gaps
	needCross   = 0.3  // m, the least height of the box
	tubeAt      = 0.85 // m
	tubeLit     = 0.50 // m, of a tube 55 cm long
	tubeStrong  = 1.0  // UVI there
	tubeWeak    = 0.5
	// weakBelow is the top of a UV range, UVI, up to which the weaker tube is taken: that of zone 2.
	weakBelow = 3.0
	// lampHalfAngle of a flood lamp, and the farthest that a single lamp is hung for
	// the sake of its beam; a larger animal gets several side by side.
	lampHalfAngle = 30.0
	lampFarthest  = 0.45 // m
)

// physicalNeeds is the least inside length and the least usable height that physics
// asks for, beside the published rules; 0 where it asks for nothing. s is the space as
// advised so far. Both are computed figures of ours with wide assumptions, no
// publication's: notes say so, with the assumptions. A longer animal never needs less,
// since the ranges are the adult's and everything else grows with the animal and its space.
//
// It costs some tens of microseconds. The hook in advised, before the structure is
// added up:
//
//	if a.Known {
//		length, height, notes := physicalNeeds(c, g, out)
//		out.widen(length, height, notes)
//	}
func physicalNeeds(c *care.Catalogue, g group, s Space) (length, height quantity.Length, notes []string) {
	if height = g.lampHeight(c, &notes); height > 0 {
		s.UsableHeight = max(s.UsableHeight, height)
	}
	length = g.gradientLength(c, s, &notes)
	return length, height, notes
}

// widen raises a space to what physics asks for and says that it governs.
func (s *Space) widen(length, height quantity.Length, notes []string) {
	const own = "the project's own estimate from physics, no published rule; see the notes"
	govern := func(d space.Dimension, what string) {
		kept := s.Governed[:0:0]
		for _, g := range s.Governed {
			if g.Dimension != string(d) {
				kept = append(kept, g)
			}
		}
		s.Governed = append(kept, Governed{Dimension: string(d), Own: what + " (" + own + ")"})
	}
	if length > s.Length && s.Length > 0 {
		s.FloorArea *= quantity.Area(length / s.Length)
		s.Length = length
		govern(space.DimLength, "a gradient from the warm to the cool end")
	}
	if height > s.UsableHeight {
		s.UsableHeight = height
		govern(space.DimHeight, "the distance from lamp to the highest back")
	}
	s.Notes = append(s.Notes, notes...)
}

// gradientLength is the length over which the air falls from the warm end's least to
// the cool end's most. The box is a fin: heat stirred along it, lost through its sides
// and through the wall at its cool end,
//
//	θw/θc = cosh(mL) + β·sinh(mL), so L = ln((r + √(r² − 1 + β²))/(1 + β))/m
//
// with θ the excess over the room, r = θw/θc, m² = G'/(K·D·H), β = U/(m·K), G' the loss
// per metre of length and K the mixing of [heat.DefaultCoefficients] (the textbook fin,
// recalled). It is the limit of the heat balance for many zones, one layer and a heater
// at the end wall; a test holds it to [heat.GradientLength]. A lamp
// that lights no more than the animal adds less heat to the air than the warm end takes,
// so the hot spot asks for no length of its own.
func (g *group) gradientLength(c *care.Catalogue, s Space, notes *[]string) quantity.Length {
	warm := c.Range(g.species.ID, care.WarmAir, care.Adult)
	cool := c.Range(g.species.ID, care.CoolAir, care.Adult)
	if warm.Low == nil || cool.High == nil || *warm.Low <= *cool.High {
		return 0
	}
	area := float64(max(s.FloorArea, s.ContentsFloor))
	if area <= 0 {
		return 0
	}
	if *cool.High <= needRoom {
		*notes = append(*notes, fmt.Sprintf("physics (ours): the cool end may have %.1f °C at most; in a room of %.0f °C no length gives it, only a cooler room or cooling", *cool.High, needRoom))
		return 0
	}
	depth, height := math.Sqrt(area/2), math.Max(needCross, float64(s.UsableHeight))
	ratio := (*warm.Low - needRoom) / (*cool.High - needRoom)
	low, typical, high, ok := finLengths(depth, height, ratio)
	if !ok {
		return 0
	}
	*notes = append(*notes, fmt.Sprintf("physics (ours, no publication): air of %.1f °C at the warm end and no more than %.1f °C at the cool end needs about %.0f cm of length (%.0f to %.0f cm as the air mixes less or more), for a box of 18 mm plywood, %.0f cm wide and %.0f cm high, in a room of %.0f °C, one air change per hour, ranges of adults",
		*warm.Low, *cool.High, 100*typical, 100*low, 100*high, 100*depth, 100*height, needRoom))
	return quantity.Length(typical)
}

// finLengths is the fin's length at the low, typical and high mixing, for a ratio of
// excesses above 1; ok is false where a material is missing.
func finLengths(depth, height, ratio float64) (low, typical, high float64, ok bool) {
	u, err := plywood()
	if err != nil {
		return 0, 0, 0, false
	}
	vent, err := heat.VentLoss(needChanges*depth*height/3600, 1, 0) // W/K per metre of length
	if err != nil {
		return 0, 0, 0, false
	}
	loss := u[0]*2*height + (u[1]+u[2])*depth + vent
	k := heat.DefaultCoefficients(height).Along
	at := func(mixing float64) float64 {
		m := math.Sqrt(loss / (mixing * depth * height))
		tip := u[0] / (m * mixing)
		return math.Log((ratio+math.Sqrt(ratio*ratio-1+tip*tip))/(1+tip)) / m
	}
	return at(k.Low), at(k.Typical), at(k.High), true
}

// plywood is the transmittance of 18 mm plywood as wall, lid and floor, W/(m²K).
var plywood = sync.OnceValues(func() (u [3]float64, err error) {
	m, err := heat.MaterialNamed("plywood")
	if err != nil {
		return u, err
	}
	for i, flow := range []heat.Flow{heat.Sideways, heat.Upward, heat.Downward} {
		if u[i], err = heat.Transmittance(heat.StillAir(flow), heat.StillAir(flow), m.Layer(0.018)); err != nil {
			return u, err
		}
	}
	return u, nil
})

// lampHeight is the least usable height for an animal that basks: its platform, its
// back, and over that the distance at which the lamp's beam covers it whole and a
// stated UV tube keeps to its range.
func (g *group) lampHeight(c *care.Catalogue, notes *[]string) quantity.Length {
	n := g.species.Nature
	rest := g.rest()
	if n.Basks < 1 || rest <= 0 || c.Range(g.species.ID, care.WarmAir, care.Adult).Standing == care.NotApplicable {
		return 0
	}
	platform := quantity.Length(n.Climbs) * rest / 2
	back := g.backHeight()
	beam := math.Min(lampFarthest, float64(rest)/2/math.Tan(lampHalfAngle*math.Pi/180))
	clear, why := beam, "a 60° lamp's beam covers the animal, at most 45 cm"
	if d := profileOf(c, g.species, g.youngest).uvDistance; d > clear {
		clear, why = d, "where a 24 W T5 tube in a reflector keeps to the UV range, at index 0.5 or 1.0 at 85 cm, as published, by the strength wanted"
	}
	if n.Habit == care.Aquatic || n.Habit == care.SemiAquatic || n.Swims >= 3 {
		*notes = append(*notes, fmt.Sprintf("physics (ours, no publication): over the place where it basks, on land or haul-out, about %.0f cm to the lamp (%s); it is not part of the usable height", 100*(float64(back)+clear), why))
		return 0
	}
	height := platform + back + quantity.Length(clear)
	*notes = append(*notes, fmt.Sprintf("physics (ours, no publication): about %.0f cm of usable height, of which platform %.0f cm (half the resting length for each step of climbing, %s), back over it %.0f cm, back to lamp %.0f cm (%s); a weaker lamp or mesh needs less",
		height.Centimetres(), platform.Centimetres(), ownBasis, back.Centimetres(), 100*clear, why))
	return height
}

// uvDistance is the nearest that an animal may come to the stated tube, m; 0 where no
// UV range is held.
func uvDistance(c *care.Catalogue, s *care.Species) float64 {
	r := c.Range(s.ID, care.UVMax, care.Adult)
	if r.High == nil || *r.High <= 0 {
		return 0
	}
	lamp := light.Lamp{Shape: light.Tube, LitLengthM: tubeLit, ReadUVI: tubeStrong, ReadAtM: tubeAt, Kept: 1}
	if *r.High <= weakBelow {
		lamp.ReadUVI = tubeWeak
	}
	w, err := lamp.Window(light.Target{HighUVI: *r.High, CeilingUVI: light.AdvisedCeilingUVI, NearestM: light.MinDistanceM, FarthestM: light.MaxDistanceM})
	if err != nil {
		return 0 // no such range can be had from this tube: it asks for no height
	}
	return w.FromM
}
