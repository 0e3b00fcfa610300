package sizing

import (
	"errors"
	"fmt"
	"math"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing/ground"
	"denwright/sizing/heat"
	"denwright/sizing/light"
	"denwright/sizing/score"
)

// ClimateUV is the ultraviolet light of each lamp by itself.
type ClimateUV struct {
	Basis
	Lamps []UVLampAnswer `json:"lamps,omitzero"`
}

// UVLampAnswer is one lamp.
type UVLampAnswer struct {
	Basis
	Lamp     string          `json:"lamp"`
	Field    string          `json:"field"`
	Height   quantity.Length `json:"height"`      // of the fixture, above the substrate
	Platform quantity.Length `json:"platform"`    // of the basking place
	Back     quantity.Length `json:"back_height"` // of the animal's back over what it stands on
	// UVIndex at the back on the platform, and at the nearest back that can be reached.
	UVIndex *quantity.UVIndex `json:"uv_index,omitzero"`
	Nearest *quantity.UVIndex `json:"uv_index_nearest_back,omitzero"`
	Window  *UVWindow         `json:"window,omitzero"`
	Cover   *UVCover          `json:"cover,omitzero"`
	// Spectrum: sun-like, hazard (emits below 290 nm, unsafe at any UV index) or unknown.
	Spectrum string         `json:"spectrum"`
	Unmet    []ClimateUnmet `json:"unmet,omitzero"`
	Doubts   []string       `json:"doubts,omitzero"`
}

// UVWindow is the span of distances from lamp to back in which the range is met and
// the ceiling kept.
type UVWindow struct {
	From          quantity.Length  `json:"from"`
	To            quantity.Length  `json:"to"`
	FromSetBy     string           `json:"from_set_by"` // range, ceiling or enclosure
	ToSetBy       string           `json:"to_set_by"`
	UVIndexAtFrom quantity.UVIndex `json:"uv_index_at_from"`
	UVIndexAtTo   quantity.UVIndex `json:"uv_index_at_to"`
	// PlatformFrom and PlatformTo are the heights at which the basking place may stand under this lamp.
	PlatformFrom quantity.Length `json:"platform_from"`
	PlatformTo   quantity.Length `json:"platform_to"`
	// Inside: the platform as given lies in the window.
	Inside bool `json:"platform_inside"`
}

// UVCover is the part of the plane at the animal's back that gets at least the low end of the range.
type UVCover struct {
	AtLeast     quantity.UVIndex `json:"at_least"`
	Length      quantity.Length  `json:"length"`
	Width       quantity.Length  `json:"width"`
	Area        quantity.Area    `json:"area"`
	PatchLength quantity.Length  `json:"patch_length"` // the largest rectangle inside
	PatchWidth  quantity.Length  `json:"patch_width"`
}

func (k *climate) uv() (*ClimateUV, error) {
	if len(k.q.UVLamps) == 0 {
		return &ClimateUV{Basis: notKnown("no UV lamp is given", "/uv_lamps")}, nil
	}
	out := &ClimateUV{Basis: Basis{Standing: care.Known, Assumptions: []string{
		"Each lamp by itself: where two shine on one place their UV indices add up.",
		fmt.Sprintf("The basking peak is judged at the animal's back; the ceiling is UV index %g unless another is given (advised upper limit 7 to 8, Baines and others 2016, recalled).", light.AdvisedCeilingUVI),
	}, Cautions: []string{
		"A refuge with UV index 0 that costs no warmth or cover is needed in every enclosure.",
		"Measure at the animal's back with a UV index meter before it moves in, and again as the lamp ages; a reading in µW/cm² can't be turned into a UV index.",
	}}}
	if k.g.species == nil {
		out.Assumptions = append(out.Assumptions, "No animal is named: distances run to the platform itself. An animal's back is nearer and gets more.")
	} else {
		out.Assumptions = append(out.Assumptions, backBasis)
	}
	known := false
	for i := range k.q.UVLamps {
		a, err := k.uvLamp(i)
		if err != nil {
			return nil, err
		}
		known = known || a.Standing == care.Known
		out.Lamps = append(out.Lamps, a)
	}
	if !known {
		out.Standing, out.Why = care.NotKnown, "no lamp has a reading"
	}
	return out, nil
}

// lightLamp puts a lamp with a reading into the terms of package light.
func lightLamp(l *ClimateUVLamp, b *Basis) light.Lamp {
	lamp := light.Lamp{Shape: light.PointSource, SizeM: float64(orElse(l.Size, 0)), LitLengthM: float64(orElse(l.LitLength, 0)),
		ReadUVI: float64(l.Reading.UVIndex), ReadAtM: float64(l.Reading.Distance), Kept: float64(orElse(l.Kept, 1))}
	if l.Shape == "tube" {
		lamp.Shape = light.Tube
	}
	if l.BeamAngle != nil {
		lamp.BeamDeg = l.BeamAngle.Number
	}
	if l.Kept == nil {
		b.Assumptions = append(b.Assumptions, "The reading is today's.")
	}
	switch {
	case l.Passed != nil:
		lamp.Through = []light.Layer{{Name: "as measured", Transmission: float64(*l.Passed)}}
		return lamp
	case l.Mesh == nil && l.Sheet == "":
		b.Assumptions = append(b.Assumptions, "Nothing lies between lamp and animal that did not when it was read.")
	}
	if l.Mesh != nil {
		var none problems // checked with the question
		open := none.openArea("", l.Mesh, func(s string) { b.Assumptions = append(b.Assumptions, s) })
		lamp.Through = append(lamp.Through, light.Layer{Name: "mesh", Transmission: open})
		b.Assumptions = append(b.Assumptions, fmt.Sprintf("The mesh passes its open area, %.0f %%; dust and coating take more.", 100*open))
	}
	if l.Sheet != "" {
		if s, err := light.SheetByCode(l.Sheet); err == nil {
			lamp.Through = append(lamp.Through, light.Layer{Name: s.Name, Transmission: (s.Low + s.High) / 2})
			b.Assumptions = append(b.Assumptions, fmt.Sprintf("%s passes %.3g to %.3g of the UV-B (%s; %s); the middle is taken.", s.Name, s.Low, s.High, s.Source, s.Note))
		}
	}
	return lamp
}

func (k *climate) uvLamp(i int) (UVLampAnswer, error) {
	l := &k.q.UVLamps[i]
	top := float64(orElse(k.q.HighestPlatform, 0))
	place := float64(orElse(l.Platform, quantity.Length(top)))
	top = math.Max(top, place)
	at := fmt.Sprintf("/uv_lamps/%d", i)
	back := float64(k.back())
	out := UVLampAnswer{Basis: Basis{Standing: care.Known}, Lamp: l.Name, Field: at, Platform: quantity.Length(place), Back: quantity.Length(back)}
	if l.Height != nil {
		out.Height = *l.Height
	} else {
		out.Height = quantity.Length(math.Max(k.air.Height-0.05, k.air.Height/2))
		out.Assumptions = append(out.Assumptions, fmt.Sprintf("The lamp hangs %.0f cm above the substrate.", out.Height.Centimetres()))
	}
	if l.Platform == nil && k.q.HighestPlatform == nil {
		out.Assumptions = append(out.Assumptions, "The animal basks on the substrate; no platform is given.")
	}
	var nm *float64
	if l.ShortestWavelength != nil {
		nm = &l.ShortestWavelength.Number
	}
	spectrum, err := light.JudgeSpectrum(nm)
	if err != nil {
		return out, err
	}
	switch out.Spectrum = spectrum.String(); spectrum {
	case light.SpectrumHazard:
		out.Cautions = append(out.Cautions, fmt.Sprintf("This lamp emits below %g nm, which sunlight at the ground does not hold: do not use it, at any distance.", light.ShortestSafeNM))
	case light.SpectrumUnknown:
		out.Give = append(out.Give, at+"/shortest_wavelength")
	}
	if l.Reading == nil {
		out.Standing, out.Why = care.NotKnown, "no UV index was read; the figure on a box can't be turned into one"
		out.Give = append(out.Give, at+"/reading")
		return out, nil
	}
	lamp := lightLamp(l, &out.Basis)
	if err := lamp.Check(); err != nil {
		return out, err
	}
	out.Assumptions = append(out.Assumptions, lamp.Assumptions()...)

	rise := top - place
	if k.g.count > 1 {
		rise += back
		out.Assumptions = append(out.Assumptions, "The nearest back is that of an animal on another's back.")
	}
	height := float64(out.Height)
	near := rise + light.MinDistanceM
	far := math.Min(height-back, light.MaxDistanceM)
	if far <= near {
		out.Standing, out.Why = care.NotKnown, "the animal reaches the lamp: hang it higher, or lower the highest platform"
		return out, nil
	}
	dist := height - place - back
	if dist < near {
		out.Why = "on this platform the animal reaches the lamp"
		dist = math.NaN()
	} else {
		here, err := lamp.UVI(light.Spot{BelowM: dist}, light.Flat)
		if err != nil {
			return out, err
		}
		reach, err := lamp.UVI(light.Spot{BelowM: dist - rise}, light.Flat)
		if err != nil {
			return out, err
		}
		out.UVIndex, out.Nearest = new(quantity.UVIndex(here)), new(quantity.UVIndex(reach))
		out.Doubts = lamp.Doubts(dist - rise)
	}
	low, high := k.wanted("uv")
	if low == nil || high == nil {
		out.Give = append(out.Give, "/species", "/targets/uv")
		out.Assumptions = append(out.Assumptions, "No range is aimed at: only the UV index where it stands is given.")
		return out, nil
	}
	ceiling := light.AdvisedCeilingUVI
	if u := k.q.Targets.UV; u != nil && u.Ceiling != nil {
		ceiling = float64(*u.Ceiling)
	}
	return out, k.uvWindow(&out, lamp, light.Target{LowUVI: *low, HighUVI: *high, CeilingUVI: ceiling, RiseM: rise, NearestM: near, FarthestM: far}, dist)
}

// uvWindow adds the window and the area covered; dist is NaN where the platform as
// given is out of place.
func (k *climate) uvWindow(out *UVLampAnswer, lamp light.Lamp, t light.Target, dist float64) error {
	w, err := lamp.Window(t)
	var short *light.UnreachableError
	switch {
	case errors.As(err, &short):
		aim := t.LowUVI
		if short.NearestUVI > t.HighUVI {
			aim = t.HighUVI
		}
		out.Unmet = append(out.Unmet, ClimateUnmet{"uv", figure(aim, "UVI", 1), figure(short.NearestUVI, "UVI", 2),
			fmt.Sprintf("%s (at %.0f cm from the lamp)", short.Reason, 100*short.AtM), "always"})
	case err != nil:
		return err
	default:
		lift := float64(out.Height - out.Back)
		out.Window = &UVWindow{From: quantity.Length(w.FromM), To: quantity.Length(w.ToM), FromSetBy: string(w.FromSetBy), ToSetBy: string(w.ToSetBy),
			UVIndexAtFrom: quantity.UVIndex(w.UVIFrom), UVIndexAtTo: quantity.UVIndex(w.UVITo),
			PlatformFrom: quantity.Length(math.Max(0, lift-w.ToM)), PlatformTo: quantity.Length(math.Max(0, lift-w.FromM)),
			Inside: dist >= w.FromM-1e-9 && dist <= w.ToM+1e-9}
		if math.IsNaN(dist) {
			dist = (w.FromM + w.ToM) / 2
		}
		if out.Doubts == nil {
			out.Doubts = w.Doubts
		}
	}
	least := math.Max(t.LowUVI, 0.1)
	if math.IsNaN(dist) {
		return nil
	}
	c, err := lamp.Cover(dist, least, light.Flat)
	if errors.As(err, &short) {
		return nil // nowhere on that plane; the UV index says so already
	}
	if err != nil {
		return err
	}
	out.Cover = &UVCover{quantity.UVIndex(least), quantity.Length(c.LengthM), quantity.Length(c.WidthM), quantity.Area(c.AreaM2), quantity.Length(c.PatchLengthM), quantity.Length(c.PatchWidthM)}
	return nil
}

// back is the height of the animal's back; 0 where no animal is named.
func (k *climate) back() quantity.Length {
	if k.g.species == nil {
		return 0
	}
	return k.g.backHeight()
}

// LoadsAnswer is what the enclosure weighs and presses on.
type LoadsAnswer struct {
	Basis
	Walls quantity.Mass `json:"walls"` // sides, lid and floor
	Water quantity.Mass `json:"water,omitzero"`
	// Total with the fill saturated, its heaviest, at the high end of its density.
	Total         quantity.Mass  `json:"total"`
	FloorPressure score.Figure   `json:"floor_pressure"`
	PerFoot       *score.Figure  `json:"per_foot,omitzero"`
	Floors        []FloorFinding `json:"floors"`
	AskEngineer   bool           `json:"ask_engineer"`
	Reason        string         `json:"reason,omitzero"`
	Soil          *PanelPush     `json:"soil_on_front,omitzero"`
	OpenWater     *PanelPush     `json:"water_on_front,omitzero"`
	Shelf         *ShelfAnswer   `json:"shelf,omitzero"`
}

// FloorFinding sets the load against a published design load for floors.
type FloorFinding struct {
	Floor   string       `json:"floor"`
	Source  string       `json:"source"`
	Design  score.Figure `json:"design_load"`
	Ratio   score.Figure `json:"ratio"`            // averaged pressure over it
	Foot    score.Figure `json:"foot_ratio"`       // one foot over the design point load; 0 without feet or figure
	Exceeds bool         `json:"exceeds,omitzero"` // and the whole weight is above the least point load
}

// PanelPush is what stands against the front panel.
type PanelPush struct {
	Height quantity.Length `json:"height"`
	Bottom score.Figure    `json:"pressure_at_foot"`
	Force  score.Figure    `json:"force"` // on the whole panel
	// Glass is the thickness for a pane held along four edges; left out where it is not.
	Glass *GlassAnswer `json:"glass,omitzero"`
	Note  string       `json:"note,omitzero"`
}

// GlassAnswer is the pane.
type GlassAnswer struct {
	Least   score.Figure  `json:"least"`
	Stock   *score.Figure `json:"next_sold,omitzero"`
	Bends   score.Figure  `json:"deflection"`
	Caution string        `json:"caution"`
}

// ShelfAnswer is how far a shelf under the enclosure sags.
type ShelfAnswer struct {
	Load      quantity.Mass          `json:"load"`
	Span      quantity.Length        `json:"span"`
	Now       Estimate[score.Figure] `json:"sag_now"`
	Late      Estimate[score.Figure] `json:"sag_after_years"`
	Holds     bool                   `json:"holds"` // within 1/300 of the span after years
	Thickness score.Figure           `json:"thickness_needed"`
}

// wallMass adds up the sides; whole is false where a layer has no density.
func (k *climate) wallMass() (kg float64, whole bool, err error) {
	whole = true
	a := k.air
	height := float64(k.q.Enclosure.Height)
	for _, side := range []struct {
		heat.Side
		heat.Face
	}{{heat.Front, a.Faces.Front}, {heat.Back, a.Faces.Back}, {heat.Left, a.Faces.Left}, {heat.Right, a.Faces.Right}, {heat.Top, a.Faces.Top}, {heat.Floor, a.Faces.Floor}} {
		f := side.Face
		length, across := a.Length, height
		switch side.Side {
		case heat.Left, heat.Right:
			length = a.Depth
		case heat.Top, heat.Floor:
			across = a.Depth
		}
		for _, part := range []struct {
			share  float64
			layers []heat.Layer
		}{{(1 - f.Mesh) * (1 - f.FrameShare), f.Layers}, {(1 - f.Mesh) * f.FrameShare, f.FrameLayers}} {
			if part.share == 0 {
				continue
			}
			for _, l := range part.layers {
				if l.Density == 0 || l.Thickness > 1 {
					whole = whole && l.Name == heat.AirGap().Name
					continue
				}
				m, err := ground.PanelMass(l.Density, length, across, l.Thickness)
				if err != nil {
					return 0, false, err
				}
				kg += part.share * m
			}
		}
	}
	return kg, whole, nil
}

func thick(f heat.Face) (t float64) {
	for _, l := range f.Layers {
		t += l.Thickness
	}
	return t
}

func (k *climate) loads() (*LoadsAnswer, error) {
	walls, whole, err := k.wallMass()
	if err != nil {
		return nil, err
	}
	out := &LoadsAnswer{Basis: Basis{Standing: care.Known, Cautions: ground.Cautions()}, Walls: quantity.Mass(walls)}
	if !whole {
		out.Assumptions = append(out.Assumptions, "A layer without a named material has no density: its mass is not counted.")
	}
	total := walls
	if k.fill != nil {
		c, err := ground.Describe(*k.fill)
		if err != nil {
			return nil, err
		}
		total += c.Saturated.High
		out.Assumptions = append(out.Assumptions, "The fill is flooded and at the high end of its density.")
	}
	if w := k.q.Water; w != nil {
		if w.Depth != nil {
			out.Water = quantity.Mass(1000 * float64(w.Area) * float64(*w.Depth))
			total += float64(out.Water)
		} else {
			out.Give = append(out.Give, "/water/depth")
			out.Assumptions = append(out.Assumptions, "The water is not counted: its depth is not given.")
		}
	}
	l := orElse(k.q.Load, ClimateLoad{})
	if l.Furnishings != nil {
		total += float64(*l.Furnishings)
	} else {
		out.Give = append(out.Give, "/load/furnishings")
		out.Assumptions = append(out.Assumptions, "Rocks, wood, plants and equipment are not counted.")
	}
	carried := total
	stand := orElse(l.Stand, ClimateStand{})
	if stand.Mass != nil {
		total += float64(*stand.Mass)
	} else {
		out.Assumptions = append(out.Assumptions, "A stand is not counted.")
	}
	out.Total = quantity.Mass(total)
	f := k.air.Faces
	s := ground.Standing{Mass: math.Max(total, 1e-3), Length: k.air.Length + thick(f.Left) + thick(f.Right), Depth: k.air.Depth + thick(f.Front) + thick(f.Back), Feet: stand.Feet}
	if stand.Feet > 0 {
		if stand.FootArea != nil {
			s.FootArea = float64(*stand.FootArea)
		} else {
			s.FootArea = math.Min(0.0025, s.Length*s.Depth)
			out.Assumptions = append(out.Assumptions, "A foot is 5 by 5 cm.")
		}
	} else {
		out.Assumptions = append(out.Assumptions, "It stands on its whole base.")
	}
	load, err := ground.Stand(s)
	if err != nil {
		field, reason := physicsField(err)
		return &LoadsAnswer{Basis: notKnown("beyond what the formula is checked for: " + field + " " + reason), FloorPressure: figure(0, "kN/m²", 2), Floors: []FloorFinding{}}, nil
	}
	out.FloorPressure = figure(load.Pressure/1000, "kN/m²", 2)
	if stand.Feet > 0 {
		out.PerFoot = new(figure(load.Foot/1000, "kN", 2))
	}
	for _, c := range load.Comparisons {
		out.Floors = append(out.Floors, FloorFinding{c.Load.Name, fmt.Sprintf("%s, %s (%s)", c.Load.Reference.Title, c.Load.Reference.Publisher, c.Load.Reference.Access),
			figure(c.Load.Uniform/1000, "kN/m²", 2), figure(c.UniformRatio, "ratio", 2), figure(c.PointRatio, "ratio", 2), c.Exceeds})
	}
	out.AskEngineer, out.Reason = load.AskEngineer, load.Reason
	if err := k.push(out); err != nil {
		return nil, err
	}
	return out, k.shelf(out, l.Shelf, carried)
}

// push is what soil and water press on the front panel.
func (k *climate) push(out *LoadsAnswer) error {
	glass := func(at *PanelPush, fluid float64) error {
		if !orElse(k.q.Enclosure.FrontBraced, false) {
			at.Note = "glass thickness not known: the published constants hold for a pane held along all four edges; say whether the front is (/enclosure/front_braced), or ask a glazier"
			return nil
		}
		g, err := ground.GlassThickness(ground.Pane{Length: k.air.Length, Height: float64(at.Height), Fluid: fluid, Braced: true})
		var bad *ground.InputError
		if errors.As(err, &bad) {
			at.Note = "glass thickness not known: " + bad.Error()
			return nil
		}
		if err != nil {
			return err
		}
		at.Glass = &GlassAnswer{Least: figure(math.Ceil(1000*g.Thickness), "mm", 0), Bends: figure(1000*g.Deflection, "mm", 1), Caution: g.Caution}
		if g.Stock > 0 {
			at.Glass.Stock = new(figure(1000*g.Stock, "mm", 0))
		}
		return nil
	}
	if f := k.fill; f != nil {
		full := f.Substrate.Porosity.High
		if f.Substrate.Family == ground.Grains {
			full += f.Substrate.FieldCapacity.High
		}
		density, err := ground.BulkDensity(f.Substrate.DryDensity.High, math.Min(1, full))
		if err != nil {
			return err
		}
		p, err := ground.SoilPush(ground.Backing{Height: math.Min(5, f.Thickness+f.DrainageThickness), Density: math.Min(density, 3000), Friction: f.Substrate.Repose, Flooded: true})
		if err != nil {
			return err
		}
		out.Soil = &PanelPush{Height: quantity.Length(f.Thickness + f.DrainageThickness), Bottom: figure(p.Bottom/1000, "kN/m²", 2), Force: figure(p.Force*k.air.Length, "N", 0)}
		if err := glass(out.Soil, p.Fluid); err != nil {
			return err
		}
		out.Assumptions = append(out.Assumptions, "Soil presses on the front flooded to its surface; where its angle of rest is not known it is taken as mud.")
	}
	if w := k.q.Water; w != nil && w.Depth != nil && orElse(w.AgainstFront, false) {
		bottom, err := ground.WaterPressure(float64(*w.Depth))
		if err != nil {
			return err
		}
		out.OpenWater = &PanelPush{Height: *w.Depth, Bottom: figure(bottom/1000, "kN/m²", 2), Force: figure(bottom*float64(*w.Depth)/2*k.air.Length, "N", 0)}
		return glass(out.OpenWater, 0)
	}
	return nil
}

func (k *climate) shelf(out *LoadsAnswer, s *ClimateShelf, carried float64) error {
	if s == nil {
		return nil
	}
	board, err := ground.BoardNamed(s.Board)
	if err != nil {
		return err
	}
	sh := ground.Shelf{Span: float64(orElse(s.Span, quantity.Length(k.air.Length))), Width: float64(orElse(s.Width, quantity.Length(k.air.Depth))),
		Thickness: float64(s.Thickness), Board: board, Mass: float64(orElse(s.Mass, quantity.Mass(carried)))}
	sag, err := ground.Deflect(sh)
	var bad *ground.InputError
	if errors.As(err, &bad) {
		out.Assumptions = append(out.Assumptions, "Shelf: not known, beyond what the formula is checked for: "+bad.Error()+".")
		return nil
	}
	if err != nil {
		return err
	}
	out.Shelf = &ShelfAnswer{Load: quantity.Mass(sh.Mass), Span: quantity.Length(sh.Span), Now: figures(sag.Now.Low, sag.Now.Typical, sag.Now.High, 1000, "mm", 1),
		Late: figures(sag.Late.Low, sag.Late.Typical, sag.Late.High, 1000, "mm", 1), Holds: sag.Holds, Thickness: figure(1000*sag.Thickness, "mm", 1)}
	out.Assumptions = append(out.Assumptions, "The shelf lies on two supports with an even load; sag after years is by recalled creep factors, from dry to damp.")
	return nil
}
