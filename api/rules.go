package api

import (
	"fmt"
	"slices"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/space"
)

type rulePage struct {
	Rules []rule `json:"rules"`
	Total int    `json:"total"`
	Next  string `json:"next_cursor,omitzero"`
	stamp
}

// rule is a care.Rule on the wire. Where the record has 0 for "says nothing", the
// field is left out. A figure for each cm of body stays as the rule states it, in
// either system of units.
type rule struct {
	ID           string       `json:"id"`
	Source       string       `json:"source_key"`
	Jurisdiction string       `json:"jurisdiction,omitzero"`
	Status       care.Status  `json:"status"`
	Access       care.Access  `json:"access"`
	Topic        string       `json:"topic"`
	Scope        ruleScope    `json:"scope"`
	Measure      care.Measure `json:"measure,omitzero"`
	Class        *ruleClass   `json:"class,omitzero"`
	Age          *ruleAge     `json:"age,omitzero"`
	AdultsOnly   bool         `json:"adults_only,omitzero"`
	Animals      int          `json:"animals,omitzero"`
	Clause       bool         `json:"clause,omitzero"`
	Unread       bool         `json:"unread,omitzero"`
	Doubtful     string       `json:"doubtful,omitzero"`
	VariantOf    string       `json:"variant_of,omitzero"`
	Figures      *ruleFigures `json:"figures,omitzero"`
	Extra        *ruleExtra   `json:"extra,omitzero"`
	Climate      *ruleClimate `json:"climate,omitzero"`
	Note         string       `json:"note,omitzero"`
}

type ruleScope struct {
	Match    care.Match   `json:"match"`
	Species  []string     `json:"species,omitzero"`
	Genera   []string     `json:"genera,omitzero"`
	Families []string     `json:"families,omitzero"`
	Orders   []string     `json:"orders,omitzero"`
	Groups   []care.Group `json:"groups,omitzero"`
	Habits   []care.Habit `json:"habits,omitzero"`
	Except   []string     `json:"except,omitzero"`
}

type ruleClass struct {
	Measure care.Measure `json:"measure,omitzero"`
	Over    *figure      `json:"over,omitzero"`
	UpTo    *figure      `json:"up_to,omitzero"`
}

type ruleAge struct {
	From *figure `json:"from,omitzero"`
	UpTo *figure `json:"up_to,omitzero"`
}

type ruleFigures struct {
	Length               *figure    `json:"length,omitzero"`
	Width                *figure    `json:"width,omitzero"`
	WidthCap             *figure    `json:"width_cap,omitzero"`
	Height               *figure    `json:"height,omitzero"`
	HeightLimit          *figure    `json:"height_limit,omitzero"`
	HeightKeepsVolume    bool       `json:"height_keeps_volume,omitzero"`
	LengthFactor         *figure    `json:"length_factor,omitzero"`
	WidthFactor          *figure    `json:"width_factor,omitzero"`
	HeightFactor         *figure    `json:"height_factor,omitzero"`
	ShortestSideFactor   *figure    `json:"shortest_side_factor,omitzero"`
	PerimeterFactor      *figure    `json:"perimeter_factor,omitzero"`
	Area                 *figure    `json:"area,omitzero"`
	AreaPerLength        *figure    `json:"area_per_length,omitzero"`
	AreaPerLengthSquared *figure    `json:"area_per_length_squared,omitzero"`
	Volume               *figure    `json:"volume,omitzero"`
	VolumePerLength      *figure    `json:"volume_per_length,omitzero"`
	Reshape              bool       `json:"reshape,omitzero"`
	Basin                bool       `json:"basin,omitzero"`
	SubstrateDepth       *figure    `json:"substrate_depth,omitzero"`
	SubstrateShells      *figure    `json:"substrate_shell_heights,omitzero"`
	Water                *ruleWater `json:"water,omitzero"`
}

type ruleWater struct {
	AreaIsWater          bool    `json:"area_is_water,omitzero"`
	Area                 *figure `json:"area,omitzero"`
	AreaPerLengthSquared *figure `json:"area_per_length_squared,omitzero"`
	Depth                *figure `json:"depth,omitzero"`
	DepthMax             *figure `json:"depth_max,omitzero"`
	DepthFactor          *figure `json:"depth_factor,omitzero"`
	DepthFactorMax       *figure `json:"depth_factor_max,omitzero"`
	DepthShells          *figure `json:"depth_shell_heights,omitzero"`
	Volume               *figure `json:"volume,omitzero"`
	VolumePerLength      *figure `json:"volume_per_length,omitzero"`
	Share                float64 `json:"share,omitzero"`
	LandShareMin         float64 `json:"land_share_min,omitzero"`
	LandShareMax         float64 `json:"land_share_max,omitzero"`
	Clause               string  `json:"clause,omitzero"`
}

type ruleExtra struct {
	AreaShares                []float64 `json:"area_shares,omitzero"`
	VolumeShares              []float64 `json:"volume_shares,omitzero"`
	PerimeterShares           []float64 `json:"perimeter_shares,omitzero"`
	Area                      *figure   `json:"area,omitzero"`
	WaterArea                 *figure   `json:"water_area,omitzero"`
	WaterAreaPerLengthSquared *figure   `json:"water_area_per_length_squared,omitzero"`
	WaterVolume               *figure   `json:"water_volume,omitzero"`
	AreaPerAnimal             *figure   `json:"area_per_animal,omitzero"`
}

type ruleClimate struct {
	Air      *quantity.Band `json:"air,omitzero"`
	HotSpot  *quantity.Band `json:"hot_spot,omitzero"`
	Humidity *quantity.Band `json:"humidity,omitzero"`
	Water    *quantity.Band `json:"water,omitzero"`
}

// ruleList is the published space rules held, by id.
func ruleList(s *snapshot, q *query) (any, error) {
	status := oneOf(q, "status", []care.Status{care.InForce, care.Advisory, care.Laboratory, care.Superseded})
	place, _ := q.text("jurisdiction")
	if place != "" && !slices.ContainsFunc(s.Jurisdictions(), func(j string) bool { return space.InJurisdiction(j, place) }) {
		q.add("?jurisdiction", fmt.Sprintf("is %q, for which no rules are held", place), "use one of "+strings.Join(s.Jurisdictions(), ", "))
	}
	id, _ := q.text("species")
	if id != "" && s.SpeciesByID(id) == nil {
		bad := sizing.Problem{Field: "?species", Reason: fmt.Sprintf("is %q, which is not the id of a species held", id), Remedy: "use the id of one of the candidates, or search with GET /v1/species?q="}
		for _, k := range s.Find(id, maxCandidates).Candidates {
			bad.Candidates = append(bad.Candidates, sizing.Ref(k.Species))
		}
		q.bad = append(q.bad, bad)
	}
	rules := slices.DeleteFunc(slices.Clone(s.rules), func(r *care.Rule) bool {
		return status != "" && r.Status != status || place != "" && !space.InJurisdiction(r.Jurisdiction, place) ||
			id != "" && !slices.Contains(s.RulesFor(id), r)
	})
	page := paged(q, rules, func(r *care.Rule) string { return r.ID })
	if err := q.done(); err != nil {
		return nil, err
	}
	out := rulePage{Rules: make([]rule, len(page.part)), Total: page.total, Next: page.next, stamp: s.stamp()}
	for i, r := range page.part {
		out.Rules[i] = ruleOf(r)
	}
	return out, nil
}

// bodyLength words a measure as it stands in the unit of a factor.
func bodyLength(m care.Measure) string {
	switch m {
	case care.SnoutVent:
		return "snout-vent length"
	case care.Shell:
		return "shell length"
	}
	return "total length"
}

func ruleOf(r *care.Rule) rule {
	k := r.Scope
	out := rule{ID: r.ID, Source: r.Source, Jurisdiction: r.Jurisdiction, Status: r.Status, Access: r.Access, Topic: r.Topic,
		Scope:   ruleScope{k.Match, k.Species, k.Genera, k.Families, k.Orders, k.Groups, k.Habits, k.Except},
		Measure: r.Measure, AdultsOnly: r.AdultsOnly, Animals: r.Animals, Clause: r.Clause, Unread: r.Unread, Doubtful: r.Doubtful,
		VariantOf: r.VariantOf, Note: r.Note}
	if c := r.Class; c != nil {
		out.Class = &ruleClass{c.Measure, given(c.Over, "cm"), given(c.UpTo, "cm")}
	}
	if a := r.Age; a != nil {
		out.Age = &ruleAge{given(a.From, "months"), given(a.UpTo, "months")}
	}
	length := bodyLength(r.Measure)
	times, squared := "× "+length, "× "+length+" squared"
	if f := r.Figures; !f.Empty() {
		out.Figures = &ruleFigures{
			given(f.Length, "cm"), given(f.Width, "cm"), given(f.WidthCap, "cm"), given(f.Height, "cm"), given(f.HeightLimit, "cm"), f.HeightKeepsVolume,
			given(f.LengthFactor, times), given(f.WidthFactor, times), given(f.HeightFactor, times), given(f.ShortestSideFactor, times),
			given(f.PerimeterFactor, times), given(f.Area, "cm²"), given(f.AreaPerLength, "cm² per cm of "+length), given(f.AreaPerLengthSquared, squared),
			given(f.Volume, "L"), given(f.VolumePerLength, "L per cm of "+length), f.Reshape, f.Basin, given(f.SubstrateDepth, "cm"),
			given(f.SubstrateShellHeights, "× shell height"), nil}
		if w := f.Water; w != nil {
			out.Figures.Water = &ruleWater{w.AreaIsWater, given(w.Area, "cm²"), given(w.AreaPerLengthSquared, squared), given(w.Depth, "cm"),
				given(w.DepthMax, "cm"), given(w.DepthFactor, times), given(w.DepthFactorMax, times), given(w.DepthShellHeights, "× shell height"),
				given(w.Volume, "L"), given(w.VolumePerLength, "L per cm of "+length), w.Share, w.LandShareMin, w.LandShareMax, w.Clause}
		}
	}
	if x := r.Extra; x != nil {
		out.Extra = &ruleExtra{x.AreaShares, x.VolumeShares, x.PerimeterShares, given(x.Area, "cm²"), given(x.WaterArea, "cm²"),
			given(x.WaterAreaPerLengthSquared, squared), given(x.WaterVolume, "L"), given(x.AreaPerAnimal, "cm²")}
	}
	if c := r.Climate; c != nil {
		out.Climate = &ruleClimate{band(c.AirLow, c.AirHigh, "°C"), band(c.HotSpotLow, c.HotSpotHigh, "°C"),
			band(c.HumidityLow, c.HumidityHigh, "%"), band(nil, c.WaterHigh, "°C")}
	}
	return out
}
