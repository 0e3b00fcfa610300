package score

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"denwright/care"
)

func changes(t *testing.T, c Case) []Change {
	t.Helper()
	out, err := Changes(c)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func codesOf(chs []Change) []string {
	out := []string{}
	for _, ch := range chs {
		out = append(out, ch.Code)
	}
	return out
}

func TestChangesAreRankedAndReScored(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "hotspot_surface_day", Between(38, 42), Between(38, 42)), // weight 3
		criterion(t, "night_air", Between(18, 22), Between(18, 22)),           // 2
		criterion(t, "humidity_night", Between(30, 60), Between(30, 60)),      // 1
		criterion(t, "retreat_cool", From(1), From(1)),                        // 2
		criterion(t, "floor_length", From(100), From(100)),                    // 1
	}}
	c.Setup.Temperatures.HotSpot = degrees(34)  // half of the way to its limit
	c.Setup.Temperatures.NightAir = nil         // not measured
	c.Setup.Retreats.Cool = new(false)          // to be furnished
	c.Setup.Stand.Stable = nil                  // a hazard possible
	c.Setup.HeatSources[0].Guarded = new(false) // a hazard
	c.Setup.HeatSources[0].Gap = lengthOf(10)
	got := changes(t, c)
	if diff := cmp.Diff([]string{"heat_sources[0].guarded", "stand", "retreat_cool", "hotspot_surface_day", "night_air"}, codesOf(got)); diff != "" {
		t.Fatalf("ranking (-want +got):\n%s", diff)
	}
	for i, want := range []struct {
		kind        Mend
		supposes    bool
		hazard      Presence
		worst, best float64 // gain of the weighted mean, weights 9 in all
	}{
		{Equip, false, Definite, 0, 0},
		{Measure, true, Possible, 0, 0},
		{Furnish, false, "", 2.0 / 9, 2.0 / 9},
		{Adjust, false, "", 1.5 / 9, 1.5 / 9},
		{Measure, true, "", 2.0 / 9, 0},
	} {
		ch := got[i]
		if ch.Kind != want.kind || ch.Supposes != want.supposes || ch.Hazard != want.hazard || ch.Effort != want.kind.Effort() {
			t.Errorf("%s: kind %s, supposes %v, hazard %q, effort %d", ch.Code, ch.Kind, ch.Supposes, ch.Hazard, ch.Effort)
		}
		near := cmp.Comparer(func(a, b float64) bool { return a-b < 0.002 && b-a < 0.002 })
		if diff := cmp.Diff(Interval{want.worst, want.best}, ch.Gain, near); diff != "" {
			t.Errorf("%s: gain (-want +got):\n%s", ch.Code, diff)
		}
		if ch.What == "" || ch.After.Verdict == "" {
			t.Errorf("%s leaves something unsaid: %+v", ch.Code, ch)
		}
	}
	// The outcome told is the outcome of applying it.
	for _, ch := range got {
		r := assess(t, ch.Apply(c))
		after := Outcome{r.Verdict, r.Score, r.Weakest}
		if ch.Supposes {
			before := assess(t, c)
			presences := func(r Result) (out []Presence) {
				for _, h := range r.Hazards {
					out = append(out, h.Presence)
				}
				return out
			}
			if diff := cmp.Diff(before.Findings, r.Findings) + cmp.Diff(presences(before), presences(r)); diff != "" {
				t.Errorf("%s: measuring alone changed the answer:\n%s", ch.Code, diff)
			}
		} else if diff := cmp.Diff(ch.After, after); diff != "" {
			t.Errorf("%s: told and applied differ:\n%s", ch.Code, diff)
		}
	}
	if got[3].From.Number != 34 || *got[3].To.Low != 38 || !strings.HasPrefix(got[3].What, "Raise") {
		t.Errorf("hot spot: %s, from %v to %v", got[3].What, got[3].From, got[3].To)
	}
}

func TestChangesLeadToSuitable(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "hotspot_surface_day", Between(38, 42), Between(38, 42)),
		criterion(t, "uv_index_max", Between(2.9, 7.4), Between(2.9, 7.4)),
		criterion(t, "water_dish", From(1), From(1)),
		criterion(t, "group_size", UpTo(1), UpTo(1)),
		criterion(t, "lid", From(1), From(1)),
		criterion(t, "usable_height", From(45), From(45)),
	}}
	c.Setup.Temperatures = Temperatures{HotSpot: degrees(50), CoolAir: degrees(36)}
	c.Setup.UV = UV{Basking: index(11), Spectrum: "below-290-nm"}
	c.Setup.Water = Water{Present: new(false), Dish: new(false)}
	c.Setup.HeatSources = []HeatSource{
		{Kind: "heated-rock"},
		{Kind: "heat-mat", Place: "under-floor", Control: "none"},
		{Kind: "ceramic-emitter", Place: "inside", Guarded: new(false), Gap: lengthOf(4), Control: "thermostat", ProbeSenses: new(false)},
	}
	c.Setup.Inside.LowestFixture = lengthOf(50)
	c.Setup.Access = Access{Lid: new(false), Lock: new(false)}
	c.Setup.Electrics = Electrics{SprayProof: new(false)}
	c.Setup.Rocks.OnFloor = new(false)
	c.Setup.Stand.Stable = new(false)
	c.Setup.OtherSpecies = []string{"testudo-graeca"}
	c.Animal.Climbs, c.Animal.HumidityLow, c.Animal.Count, c.Animal.Fights = 2, new(70.0), 3, true
	start := assess(t, c)
	definite := 0
	for _, h := range start.Hazards {
		if h.Presence == Definite {
			definite++
		}
	}
	if start.Verdict != AfterChanges || definite < 13 {
		t.Fatalf("start: %s with %d hazards", start.Verdict, definite)
	}
	done := []string{}
	for range 40 {
		chs := changes(t, c)
		if len(chs) == 0 {
			break
		}
		done = append(done, chs[0].Code)
		c = chs[0].Apply(c)
	}
	if r := assess(t, c); r.Verdict != Suitable || r.Score != (Interval{1, 1}) {
		t.Errorf("after %v: %s %v, hazards %+v", done, r.Verdict, r.Score, slices.DeleteFunc(r.Hazards, func(h Hazard) bool { return h.Presence == Absent }))
	}
}

func TestApplyLeavesTheCaseAlone(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "usable_height", From(45), From(45)), criterion(t, "night_air", Between(15, 16), Between(15, 16)),
	}, Measured: map[string]Measurement{"night_air": Exactly(19)}}
	c.Setup.Inside.LowestFixture = lengthOf(40)
	c.Setup.HeatSources[0].ProbeSenses = new(false)
	before := assess(t, c)
	for _, ch := range changes(t, c) {
		ch.Apply(c)
	}
	ignore := cmp.FilterPath(func(p cmp.Path) bool { return slices.Contains([]string{".ask", ".key", ".fix"}, p.Last().String()) }, cmp.Ignore())
	if diff := cmp.Diff(before, assess(t, c), cmp.AllowUnexported(Result{}, Hazard{}, governing{}), ignore); diff != "" {
		t.Errorf("the case changed:\n%s", diff)
	}
}

func TestNoChangeAddsAHazard(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "substrate_depth", From(15), From(15)), criterion(t, "floor_length", From(100), From(100)),
	}}
	c.Setup.Substrate.Depth = lengthOf(4)
	if got := codesOf(changes(t, c)); !slices.Contains(got, "substrate_depth") {
		t.Fatalf("changes %v lack deeper substrate", got)
	}
	c.Setup.HeatSources = append(c.Setup.HeatSources, HeatSource{Kind: "heat-mat", Place: "under-floor", Control: "thermostat", ProbeSenses: new(true)})
	if got := codesOf(changes(t, c)); slices.Contains(got, "substrate_depth") {
		t.Errorf("changes %v bury the mat", got)
	}
	// Nor one that costs the height the animal needs.
	c.Setup.HeatSources = c.Setup.HeatSources[:1]
	c.Criteria = append(c.Criteria, criterion(t, "usable_height", From(50), From(50)))
	if got := codesOf(changes(t, c)); slices.Contains(got, "substrate_depth") {
		t.Errorf("changes %v make the enclosure too low", got)
	}
}

func TestOneThingToDoIsOneChange(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{
		criterion(t, "floor_length", From(100), From(140)), criterion(t, "floor_width", From(50), From(70)), criterion(t, "floor_area", From(0.5), From(1)),
		criterion(t, "cool_air_day", Between(22, 27), Between(22, 27)), criterion(t, "uv_index_max", Between(2.9, 7.4), Between(2.9, 7.4)),
	}}
	for i := range 3 {
		c.Criteria[i].HangsOn = "the length of the animal"
	}
	c.Setup.Temperatures.CoolAir = degrees(34)
	c.Setup.UV.Basking = nil
	c.Setup.HeatSources = nil
	want := map[string][]string{
		"cool_air_day":                    {"cool_air_day", "no_cool_refuge"},
		"uv_index_max":                    {"uv_index_max", "uv_over_ceiling"},
		"animal/the length of the animal": {"floor_length", "floor_width", "floor_area"},
		"heat_sources":                    {"touchable_heat", "unregulated_heat", "probe_cannot_feel", "mat_under_deep_soil", "heated_rock"},
	}
	got := map[string][]string{}
	for _, ch := range changes(t, c) {
		got[ch.Code] = ch.For
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("changes and what for (-want +got):\n%s", diff)
	}
	c.Setup.Inside = nil
	i := slices.IndexFunc(changes(t, c), func(ch Change) bool { return ch.Code == "floor" })
	if i < 0 || len(changes(t, c)[i].For) != 3 {
		t.Errorf("the floor is not measured in one go: %v", codesOf(changes(t, c)))
	}
}

func TestUnsuitableOffersNoSize(t *testing.T) {
	c := Case{Setup: safeSetup(), Animal: safeAnimal(), Criteria: []Criterion{criterion(t, "floor_length", From(200), From(200))}}
	if got := changes(t, c); len(got) != 0 {
		t.Errorf("changes %v", codesOf(got))
	}
	c.Animal.Group = care.Chelonian
	if r := assess(t, c); r.Verdict != Unsuitable {
		t.Errorf("verdict %s", r.Verdict)
	}
}
