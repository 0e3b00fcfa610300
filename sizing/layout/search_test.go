package layout_test

import (
	"errors"
	"flag"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"denwright/sizing/layout"
)

// anyBrief draws an enclosure with animals and equipment: some roomy, some tight, some
// impossible.
func anyBrief(t *rapid.T) layout.Brief {
	f := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	n := func(name string, low, high int) int { return rapid.IntRange(low, high).Draw(t, name) }
	yes := func(name string) bool { return rapid.Bool().Draw(t, name) }
	size := f("animal", 0.03, 0.6)
	b := layout.Brief{
		Seed:    rapid.Uint64().Draw(t, "seed"),
		WarmEnd: rapid.SampledFrom([]string{"left", "right"}).Draw(t, "warm end"),
		Box: layout.Box{Length: max(0.4, size*f("long", 3, 8)), Panel: f("panel", 0.004, 0.025), Glass: 0.006, Material: "plywood",
			Drainage: f("drainage", 0, 0.08), Substrate: f("substrate", 0, 0.3)},
		Animal: layout.Animal{Count: n("count", 1, 4), Length: size, Width: size * f("slim", 0.2, 0.6), BackHeight: size * f("flat", 0.1, 0.4), Reach: size * f("reach", 0.3, 3),
			Climbs: n("climbs", 0, 3), Digs: n("digs", 0, 3), Swims: n("swims", 0, 3)},
	}
	b.Box.Width = max(0.3, b.Box.Length*f("wide", 0.35, 1))
	b.Box.Height = b.Box.Drainage + b.Box.Substrate + max(0.35, size*f("high", 1.2, 5))
	floor := b.Box.Length * b.Box.Width
	one := b.Animal.Length * b.Animal.Width
	b.Needs = layout.Needs{HotSpot: 1.5 * one, Retreat: 1.5 * one, Water: one, WaterDepth: f("depth", 0.01, 0.15), Feeding: one / 2, Clear: f("clear", 0.2, 0.6)}
	if yes("humid") {
		b.Needs.HumidRetreat = 1.5 * one
	}
	if b.Animal.Digs > 1 {
		b.Needs.Digging = floor * f("digging", 0.1, 0.5)
	}
	switch {
	case b.Animal.Swims == 3 && yes("mostly wet"):
		b.Needs.Water, b.Needs.Retreat, b.Needs.HumidRetreat, b.Needs.Feeding, b.Needs.Digging = 0.75*floor, 0, 0, 0, 0
	case b.Animal.Swims == 3:
		b.Needs.Water = 0.35 * floor
	}
	if yes("no heat") {
		b.Needs.HotSpot = 0
	}
	for _, wall := range []string{"back", "left", "right"} {
		if n("rock "+wall, 0, 3) == 0 {
			b.Box.Rock = append(b.Box.Rock, layout.Rock{Wall: wall, Thickness: f("rock", 0.02, 0.08), Foam: 0.02, FoamMaterial: "extruded polystyrene"})
		}
	}
	if yes("batten") {
		b.Box.Battens = append(b.Box.Battens, layout.Batten{AlongLength: yes("along"), At: f("at", 0.1, 0.9) * b.Box.Width, Width: f("batten width", 0.02, 0.06)})
	}
	if yes("trade") {
		b.Practice = layout.TradePractice()
	}
	add := func(x layout.Fixture) {
		x.Guarded, x.Secured, x.SplashProof, x.Corded = n("guarded", 0, 3) > 0, yes("secured"), yes("splash"), yes("corded")
		b.Fixtures = append(b.Fixtures, x)
	}
	air := b.Box.Height - b.Box.Drainage - b.Box.Substrate
	if n("lamps", 0, 4) > 0 {
		near := f("near", 0.1, 0.5) * air
		add(layout.Fixture{Kind: layout.Basking, Count: n("basking", 1, 8), Watts: 75, Opening: f("opening", 0.06, 0.16), Hang: f("hang", 0, 0.05), MaxHang: f("max hang", 0, 0.4) * air, Beam: f("beam", 30, 100), Near: near, Far: near + f("window", 0.05, 0.5)})
	}
	if yes("uv") {
		near := f("uv near", 0.1, 0.4) * air
		add(layout.Fixture{Kind: layout.UV, Count: n("uvs", 1, 2), Watts: 39, Length: b.Box.Length * f("uv long", 0.2, 0.6), Width: f("uv wide", 0.04, 0.12), Hang: 0.05, MaxHang: 0.3 * air, Near: near, Far: near + f("uv window", 0.1, 0.5)})
	}
	if yes("night") {
		add(layout.Fixture{Kind: layout.NightHeat, Count: 1, Watts: 60, Opening: f("night opening", 0.06, 0.14), Hang: 0.03, Near: 0.1})
	}
	if yes("plant") {
		add(layout.Fixture{Kind: layout.PlantLight, Count: n("plants", 1, 2), Watts: 20, Length: b.Box.Length * f("plant long", 0.2, 0.7), Width: 0.05, Hang: 0.05})
	}
	if yes("mist") {
		add(layout.Fixture{Kind: layout.Nozzle, Count: n("nozzles", 1, 4), Throw: f("throw", 0.05, 0.4), LitresPerMinute: 0.06})
	}
	if yes("fog") {
		add(layout.Fixture{Kind: layout.Fog, Count: 1, Opening: 0.03, Throw: f("fog throw", 0.05, 0.2), LitresPerMinute: 0.008})
	}
	if yes("fan") {
		add(layout.Fixture{Kind: layout.Fan, Count: n("fans", 1, 2), Watts: 3, Length: 0.08, Width: 0.08, Hang: 0.03})
	}
	if n("mat", 0, 4) == 0 && b.Needs.Retreat > 0 {
		add(layout.Fixture{Kind: layout.Mat, Count: 1, Watts: 30, Length: f("mat", 0.1, 0.5), Width: 0.15})
	}
	if n("wall", 0, 4) == 0 {
		add(layout.Fixture{Kind: layout.WaterWall, Count: 1, Watts: 10, Length: b.Box.Length * f("water wall", 0.1, 0.3), Width: air * f("fall", 0.3, 0.8)})
	}
	if yes("climate") {
		low, night := f("low", 0.3, 0.8), f("night low", 0.3, 0.85)
		b.Climate = &layout.Climate{AirC: 27, NightC: 22, WaterC: 24, RoomC: 21, RoomHumidity: 0.45, AirChanges: f("air changes", 0.3, 8), DayLow: low, DayHigh: low + 0.15, NightLow: night, NightHigh: night + 0.1}
	}
	b.Light.Seasons = []layout.Season{{Name: "one", From: 1, To: 12, Hours: f("light", 6, 18), NightHeat: true}}
	return b
}

// A plan that the placer gives is a plan that the judge passes: 1,000 enclosures with
// equipment in a normal run. For 10,000:
//
//	go test ./sizing/layout -run TestNothingBroken -rapid.checks=10000
func TestNothingBroken(t *testing.T) {
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set("1000"); err != nil {
			t.Fatal(err)
		}
		defer func() { _ = f.Value.Set(f.DefValue) }()
	}
	placed, blocked := 0, map[layout.Constraint]int{}
	rapid.Check(t, func(t *rapid.T) {
		b := anyBrief(t)
		p, err := layout.Solve(b)
		var stop *layout.Blocked
		if errors.As(err, &stop) {
			blocked[stop.Constraint]++
			if stop.Reason == "" || stop.Item == "" {
				t.Fatalf("blocked without a reason: %+v", stop)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		placed++
		for _, x := range layout.Check(b, p) {
			t.Errorf("%s: %s %s", x.Constraint, x.Item, x.Why)
		}
		// Areas and litres by their closed forms.
		floor := float64(p.Clear.Length * p.Clear.Width)
		for _, pl := range p.Floor {
			if pl.Role != layout.Digging && pl.Role != layout.Walking {
				floor -= float64(pl.Length * pl.Width)
			}
		}
		if math.Abs(floor-float64(p.ClearFloor)) > 1e-6 {
			t.Errorf("clear floor is %v, furnishings leave %v", p.ClearFloor, floor)
		}
		if p.Tub != nil && math.Abs(float64(p.Tub.Volume)-float64(p.Tub.Area)*float64(p.Tub.Depth)) > 1e-9 {
			t.Errorf("tub %+v", p.Tub)
		}
	})
	t.Logf("%d placed; blocked by %v", placed, blocked)
	if placed < 100 {
		t.Errorf("only %d plans were placed: the test says little", placed)
	}
}

// The judge objects to every spoilt plan, so that its silence says something.
func TestCheckFinds(t *testing.T) {
	fixture := func(p *layout.Plan, k layout.Kind) *layout.Mounted {
		i := slices.IndexFunc(p.Fixtures, func(m layout.Mounted) bool { return m.Kind == k })
		return &p.Fixtures[i]
	}
	place := func(p *layout.Plan, r layout.Role) *layout.Place {
		i := slices.IndexFunc(p.Floor, func(x layout.Place) bool { return x.Role == r })
		return &p.Floor[i]
	}
	hole := func(p *layout.Plan, code string) *layout.Hole {
		i := slices.IndexFunc(p.Holes, func(h layout.Hole) bool { return h.Code == code })
		return &p.Holes[i]
	}
	opening := func(p *layout.Plan, code string) *layout.Opening {
		i := slices.IndexFunc(p.Walls, func(o layout.Opening) bool { return o.Code == code })
		return &p.Walls[i]
	}
	const lizard, tree, snake, frog = "digging-lizard", "tree-lizard", "heavy-snake", "frog"
	for _, c := range []struct {
		want  layout.Constraint
		in    string
		spoil func(*layout.Brief, *layout.Plan)
	}{
		{layout.RoomOnFloor, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Water).Rect = place(p, layout.CoolRetreat).Rect }},
		{layout.RoomOnFloor, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Water).X = p.Length }},
		{layout.RoomOnFloor, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Feeding).Length /= 2 }},
		{layout.RoomOnFloor, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Box.Rock = nil }},
		{layout.GradientOrder, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.HumidRetreat).X = 0 }},
		{layout.GradientOrder, lizard, func(_ *layout.Brief, p *layout.Plan) { p.WarmEnd = "right" }},
		{layout.RetreatBothEnds, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.CoolRetreat).X = 1.0 }},
		{layout.WalkingArea, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Needs.Clear = 0.9 }},
		{layout.WalkingArea, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Walking).Width = 0.05 }},
		{layout.DiggingGround, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Needs.Digging = 2 }},
		{layout.DiggingGround, lizard, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Digging).Rect = place(p, layout.HotSpot).Rect }},
		{layout.ClimbHeight, tree, func(_ *layout.Brief, p *layout.Plan) { place(p, layout.Climbing).Top = p.Surface + 0.1 }},
		{layout.HaulOut, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Animal.Swims = 3 }},
		{layout.LampCone, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Fixtures[0].Beam = 30 }},
		{layout.LampAim, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.Basking).X += 0.4 }},
		{layout.LampDistance, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Fixtures[0].Near, b.Fixtures[0].Far = 0.6, 0.7 }},
		{layout.LampDistance, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.Basking).Hang = 0.6 }},
		{layout.BeamFree, lizard, func(_ *layout.Brief, p *layout.Plan) {
			c := place(p, layout.Climbing)
			c.Rect, c.Top = place(p, layout.HotSpot).Rect, 0.8
		}},
		{layout.UVOverSpot, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.UV).X = 1.9 }},
		{layout.UVDistance, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.UV).Hang = 0.4 }},
		{layout.UVClearOfTrim, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.UV).Y = fixture(p, layout.Basking).Y - 0.14 }},
		{layout.OverWater, lizard, func(_ *layout.Brief, p *layout.Plan) {
			w := place(p, layout.Water)
			fixture(p, layout.NightHeat).X, fixture(p, layout.NightHeat).Y = w.X+w.Length/2, w.Y+w.Width/2
		}},
		{layout.SprayOff, lizard, func(_ *layout.Brief, p *layout.Plan) {
			fixture(p, layout.Nozzle).X = fixture(p, layout.NightHeat).X + 0.2
		}},
		{layout.SprayOff, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Fixtures[4].Throw = 1.5 }},
		{layout.FanOff, tree, func(_ *layout.Brief, p *layout.Plan) {
			s := place(p, layout.HotSpot)
			fixture(p, layout.Fan).X, fixture(p, layout.Fan).Y = s.X, s.Y
		}},
		{layout.OutOfReach, lizard, func(b *layout.Brief, _ *layout.Plan) { b.Fixtures[0].Guarded, b.Animal.Reach = false, 1.5 }},
		{layout.OutOfReach, tree, func(_ *layout.Brief, p *layout.Plan) {
			c := place(p, layout.Climbing)
			c.Top = 1.78
			fixture(p, layout.PlantLight).X, fixture(p, layout.PlantLight).Y = c.X, c.Y
		}},
		{layout.OpeningSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { hole(p, "L2").X = hole(p, "L1").X + 0.14 }},
		{layout.TrimSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { hole(p, "L1").Trim += 0.06 }},
		{layout.TrimSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { hole(p, "L1").Screws = 6 }},
		{layout.HoleSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) {
			hole(p, "C1").X, hole(p, "C1").Y = hole(p, "L4").X+0.05, hole(p, "L4").Y
		}},
		{layout.HoleSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { p.Holes = p.Holes[:len(p.Holes)-1] }},
		{layout.HoleSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) {
			hole(p, "C1").X, hole(p, "C1").Y = fixture(p, layout.PlantLight).X, fixture(p, layout.PlantLight).Y
		}},
		{layout.EdgeSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { hole(p, "L1").X = 0.06 }},
		{layout.EdgeSpacing, lizard, func(_ *layout.Brief, p *layout.Plan) { hole(p, "N1").FromLeft += 0.01 }},
		{layout.PanelWeb, lizard, func(b *layout.Brief, p *layout.Plan) {
			hole(p, "C1").X, hole(p, "C1").Y = hole(p, "C2").X+hole(p, "C2").Diameter+0.01, hole(p, "C2").Y
		}},
		{layout.BattenFree, lizard, func(_ *layout.Brief, p *layout.Plan) {
			p.Battens = []layout.Rect{{X: hole(p, "L1").X, Y: 0, Length: 0.03, Width: p.Width}}
		}},
		{layout.BodyOverlap, lizard, func(_ *layout.Brief, p *layout.Plan) {
			fixture(p, layout.UV).X, fixture(p, layout.UV).Y = fixture(p, layout.PlantLight).X, fixture(p, layout.PlantLight).Y
		}},
		{layout.BodyOverlap, frog, func(_ *layout.Brief, p *layout.Plan) {
			p.Fixtures = slices.DeleteFunc(p.Fixtures, func(m layout.Mounted) bool { return m.Kind == layout.Fan })
		}},
		{layout.PlantLightPlaced, lizard, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.PlantLight).Y = p.Width - 0.1 }},
		{layout.ServiceOpening, snake, func(_ *layout.Brief, p *layout.Plan) { opening(p, "service_door").Length = 0.3 }},
		{layout.ServiceOpening, snake, func(_ *layout.Brief, p *layout.Plan) { opening(p, "service_door").Wall = "left" }},
		{layout.MatFits, snake, func(_ *layout.Brief, p *layout.Plan) { fixture(p, layout.Mat).X -= 0.5 }},
		{layout.VentsPlaced, lizard, func(_ *layout.Brief, p *layout.Plan) { opening(p, "vent_low").Up = 0.1 }},
		{layout.VentsPlaced, lizard, func(_ *layout.Brief, p *layout.Plan) { opening(p, "vent_high").Wall = "right" }},
		{layout.WallOverlap, lizard, func(_ *layout.Brief, p *layout.Plan) { opening(p, "vent_low").Along = 1 }},
		{layout.MistOffLamps, lizard, func(_ *layout.Brief, p *layout.Plan) {
			for i, e := range p.Program.Seasons[0].Events {
				if e.Code == "mist" {
					p.Program.Seasons[0].Events[i].Start, p.Program.Seasons[0].Events[i].End = "07:50", "07:55"
				}
			}
		}},
		{layout.MistOffLamps, lizard, func(_ *layout.Brief, p *layout.Plan) { // before the night heat has cooled
			for i, e := range p.Program.Seasons[0].Events {
				if e.Code == "mist" {
					p.Program.Seasons[0].Events[i].Start, p.Program.Seasons[0].Events[i].End = "07:10", "07:12"
				}
			}
		}},
		{layout.FogCeiling, snake, func(b *layout.Brief, p *layout.Plan) { p.Moisture.FogPeak, p.Moisture.Fog.Number = 0.9, 9 }},
		{layout.FogCeiling, snake, func(b *layout.Brief, p *layout.Plan) { p.Moisture.Fog.Number /= 2 }},
	} {
		b := worked()[c.in]
		p := solve(t, b)
		c.spoil(&b, p)
		found := layout.Check(b, p)
		if !slices.ContainsFunc(found, func(x layout.Broken) bool { return x.Constraint == c.want }) {
			t.Errorf("%s: a plan spoilt in %s passes: %+v", c.in, c.want, found)
		}
	}
}

// What blocks is named, and the change offered frees it; a grain less does not.
func TestBlocked(t *testing.T) {
	for _, c := range []struct {
		name  string
		in    string
		spoil func(*layout.Brief)
		want  layout.Constraint
		kind  string // of some change offered
	}{
		{"too short to hold everything", "digging-lizard", func(b *layout.Brief) { b.Box.Length, b.Needs.Digging, b.Needs.Clear = 1.0, 0.2, 0.2 }, layout.RoomOnFloor, "length"},
		{"too little ground to dig", "digging-lizard", func(b *layout.Brief) { b.Needs.Digging = 2.6 }, layout.DiggingGround, "width"},
		{"too low under the lamp", "tortoise", func(b *layout.Brief) { b.Box.Height = 0.45 }, layout.LampDistance, "height"},
		{"too high above the tortoise", "tortoise", func(b *layout.Brief) { b.Box.Height, b.Fixtures[0].MaxHang = 1.2, 0.1 }, layout.LampDistance, "height"},
		{"beams too narrow", "digging-lizard", func(b *layout.Brief) { b.Fixtures[0].Count, b.Fixtures[0].Beam = 1, 45 }, layout.LampCone, "add"},
		{"unguarded within reach", "tree-lizard", func(b *layout.Brief) { b.Fixtures[4].Guarded, b.Animal.Reach = false, 2 }, layout.OutOfReach, "drop"},
		{"spray everywhere", "frog", func(b *layout.Brief) { b.Fixtures[4].SplashProof, b.Fixtures[2].Throw = false, 0.8 }, layout.SprayOff, "splash_proof"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := worked()[c.in]
			c.spoil(&b)
			_, err := layout.Solve(b)
			var stop *layout.Blocked
			if !errors.As(err, &stop) {
				t.Fatalf("is not blocked: %v", err)
			}
			if stop.Constraint != c.want {
				t.Errorf("blocked by %s (%v), want %s", stop.Constraint, stop, c.want)
			}
			changes := layout.Changes(b)
			if !slices.ContainsFunc(changes, func(x layout.Change) bool { return x.Kind == c.kind }) {
				t.Errorf("no change of %s among %+v", c.kind, changes)
			}
			for _, x := range changes {
				freed := x.Apply(b)
				p, err := layout.Solve(freed)
				if err != nil {
					t.Errorf("%s does not free it: %v", x.Text, err)
					continue
				}
				for _, broken := range layout.Check(freed, p) {
					t.Errorf("%s: %+v", x.Text, broken)
				}
				less := x
				switch {
				case x.By > 0.0101:
					less.By -= 0.010
				case x.By < -0.0101:
					less.By += 0.010
				case x.Count > 1:
					less.Count--
				default:
					continue
				}
				if _, err := layout.Solve(less.Apply(b)); err == nil {
					t.Errorf("%s: less does too", x.Text)
				}
			}
			t.Logf("%v -> %v", err, changes[0].Text)
		})
	}
}

func BenchmarkChanges(b *testing.B) {
	brief := worked()["digging-lizard"]
	brief.Box.Length = 1.0
	for b.Loop() {
		layout.Changes(brief)
	}
}
