package layout

// Practice are the workshop figures, in metres. They are inputs: the trade's habits
// differ, and none was found published.
type Practice struct {
	Trim         float64 // width of a trim ring beyond the cut edge of its opening, all round
	TrimGap      float64 // least clear distance between two trim rings
	OpeningGap   float64 // least distance between the cut edges of two lamp openings
	HoleGap      float64 // least web between any other two cuts, or between a cut and a trim ring or a fixture's body
	EdgeDistance float64 // least web from a cut to the inside face of a wall, and of a trim to it: half of that
	Screws       int     // fixing screws per opening
	ScrewInset   float64 // circle of the screws outside the cut edge
	NozzleHole   float64
	FanHole      float64
	CordHole     float64
	MatService   float64 // width of the service opening to a hide with a mat
	UVClear      float64 // clear of a lamp's trim
	PlantTilt    float64 // degrees back from level
	FanClear     float64 // from a fan's edge to a hot spot
	Vent         float64 // area of the low vents, and of the high vents, as a share of the floor
}

// TradePractice are habits of the trade, in inches: two openings cut 2¼ in apart leave
// room for two 1 in trims; eight screws ½ in from the cut edge; ⅝ in holes for nozzles
// and small fan mounts; 1½ in for corded plugs; a service opening of 20 in for a large
// mat; a UV fixture 1 in clear of a trim. Common practice, no source. It is an input
// with figures to check against, not what a plan takes by itself.
func TradePractice() Practice {
	return Practice{Trim: 0.0254, TrimGap: 0.00635, OpeningGap: 0.05715, Screws: 8, ScrewInset: 0.0127,
		NozzleHole: 0.015875, FanHole: 0.015875, CordHole: 0.0381, MatService: 0.508, UVClear: 0.0254}.over(OwnPractice())
}

// OwnPractice is what a plan takes where nothing is given: round metric figures of our
// own. Common practice, no source.
func OwnPractice() Practice {
	return Practice{Trim: 0.020, TrimGap: 0.005, OpeningGap: 0.050, HoleGap: 0.020, EdgeDistance: 0.040, Screws: 8, ScrewInset: 0.010,
		NozzleHole: 0.016, FanHole: 0.016, CordHole: 0.040, MatService: 0.40, UVClear: 0.025, PlantTilt: 45, FanClear: 0.15, Vent: 0.015}
}

// over fills what is 0 from another practice.
func (p Practice) over(d Practice) Practice {
	for _, x := range []struct {
		to   *float64
		from float64
	}{{&p.Trim, d.Trim}, {&p.TrimGap, d.TrimGap}, {&p.OpeningGap, d.OpeningGap}, {&p.HoleGap, d.HoleGap}, {&p.EdgeDistance, d.EdgeDistance},
		{&p.ScrewInset, d.ScrewInset}, {&p.NozzleHole, d.NozzleHole}, {&p.FanHole, d.FanHole}, {&p.CordHole, d.CordHole}, {&p.MatService, d.MatService},
		{&p.UVClear, d.UVClear}, {&p.PlantTilt, d.PlantTilt}, {&p.FanClear, d.FanClear}, {&p.Vent, d.Vent}} {
		if *x.to <= 0 {
			*x.to = x.from
		}
	}
	if p.Screws <= 0 {
		p.Screws = d.Screws
	}
	return p
}

// Waste are allowances over the net figures, as fractions. Common practice, no source.
type Waste struct{ Panel, Glass, Mesh, Trim, Fill float64 }

// OwnWaste is taken where nothing is given: glass is cut to order, fill settles.
func OwnWaste() Waste { return Waste{Panel: 0.10, Glass: 0, Mesh: 0.15, Trim: 0.10, Fill: 0.10} }

func (w Waste) over(d Waste) Waste {
	if w == (Waste{}) {
		return d
	}
	return w
}
