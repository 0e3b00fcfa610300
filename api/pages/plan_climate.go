package pages

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/layout"
)

// climateOf is a finished plan as a question about its climate: box, vents, lamps where
// they hang and water are as planned. What a plan does not say is what such a build
// mostly is, and stands in the form to be changed: halogen lamps, ceramic night heaters,
// potting soil where it mists and sandy clay loam elsewhere. The room is the keeper's to
// give where the plan did not ask.
func climateOf(form *form, q sizing.PlanQuestion, p *layout.Plan) url.Values {
	v := url.Values{unitsField: {form.typed.String()}}
	for name, values := range form.kept() {
		if name == "species" || strings.HasPrefix(name, "animals.") {
			v[name] = values
		}
	}
	set := func(at string, l quantity.Length) { v.Set(at, exact(l)) }
	area := func(at string, m2 float64) { v.Set(at, strconv.FormatFloat(m2*1e4, 'f', 0, 64)+" cm²") }
	set("enclosure.length", p.Length)
	set("enclosure.width", p.Width)
	set("enclosure.height", p.Height)
	material := "plywood"
	if q.Enclosure != nil && q.Enclosure.Material != "" {
		material = q.Enclosure.Material
	}
	v.Set("enclosure.walls.layers.0.material", material)
	set("enclosure.walls.layers.0.thickness", p.Panel)
	v.Set("enclosure.front.construction", "glass-6mm")
	v.Set("enclosure.lid.kind", "panel")
	vents := 0
	for _, o := range p.Walls {
		if o.Code != "vent_high" && o.Code != "vent_low" {
			continue
		}
		at := fmt.Sprintf("enclosure.vents.%d.", vents)
		vents++
		v.Set(at+"side", o.Wall)
		area(at+"area", float64(o.Length*o.Height))
		set(at+"bottom", o.Up-p.Surface)
		set(at+"top", o.Up+o.Height-p.Surface)
	}
	tops := map[string]quantity.Length{}
	for _, place := range p.Floor {
		tops[place.Code] = place.Top - p.Surface
	}
	damp, sources, lamps := false, 0, 0
	for _, m := range p.Fixtures {
		f := q.Equipment[m.Fixture]
		switch m.Kind {
		case layout.Basking, layout.NightHeat, layout.Mat:
			at := fmt.Sprintf("heat_sources.%d.", sources)
			sources++
			v.Set(at+"kind", map[layout.Kind]string{layout.Basking: "halogen-lamp", layout.NightHeat: "ceramic-emitter", layout.Mat: "heat-mat"}[m.Kind])
			set(at+"from_left", m.X)
			if m.Watts > 0 {
				v.Set(at+"power", strconv.FormatFloat(float64(m.Watts), 'f', -1, 64))
			}
			if m.Kind == layout.Mat {
				set(at+"covers", m.Length)
				area(at+"area", float64(m.Length*m.Width))
				continue
			}
			set(at+"height", m.Face-p.Surface)
			if top, ok := tops[m.Spot]; ok && m.Kind == layout.Basking {
				set(at+"spot_height", top)
			}
			if f.BeamDegrees > 0 {
				v.Set(at+"beam_angle", strconv.FormatFloat(f.BeamDegrees, 'f', -1, 64))
			}
		case layout.UV:
			at := fmt.Sprintf("uv_lamps.%d.", lamps)
			lamps++
			v.Set(at+"shape", "tube")
			set(at+"lit_length", max(m.Length, m.Width))
			set(at+"from_left", m.X)
			set(at+"height", m.Face-p.Surface)
			if top, ok := tops[m.Spot]; ok {
				set(at+"platform", top)
			}
			if m.Watts > 0 {
				v.Set(at+"power", strconv.FormatFloat(float64(m.Watts), 'f', -1, 64))
			}
			if f.Reading != nil {
				v.Set(at+"reading.uv_index", strconv.FormatFloat(float64(f.Reading.UVIndex), 'f', -1, 64))
				set(at+"reading.distance", f.Reading.Distance)
			}
		case layout.Nozzle, layout.Fog:
			damp = true
		}
	}
	for _, f := range q.Equipment {
		if kind, ok := map[layout.Kind]string{layout.Nozzle: "mister", layout.Fog: "fogger"}[f.Kind]; ok && f.OutputPerMinute > 0 && !v.Has("humidifier.kind") {
			v.Set("humidifier.kind", kind)
			v.Set("humidifier.output_per_hour", strconv.FormatFloat(60*float64(max(f.Count, 1))*f.OutputPerMinute.Litres(), 'f', -1, 64)+" L")
		}
	}
	if p.Substrate > 0 {
		v.Set("substrate.kind", map[bool]string{true: "potting soil", false: "sandy clay loam"}[damp])
		set("substrate.depth", p.Substrate)
		if p.Drainage > 0 {
			set("drainage.depth", p.Drainage)
		}
	}
	if p.Tub != nil {
		area("water.area", float64(p.Tub.Area))
		set("water.depth", p.Tub.Depth)
	}
	for from, to := range map[string]string{"room.temperature": "room.winter.temperature", "room.night_temperature": "room.winter.night_temperature", "room.humidity": "room.winter.humidity"} {
		if given := form.Values.Get(from); given != "" {
			v.Set(to, given)
		}
	}
	return v
}
