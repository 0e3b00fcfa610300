package heat

import (
	"fmt"
	"math"
)

// Material is one building material with its thermal figures.
type Material struct {
	Name         string
	Conductivity Interval // W/(m·K)
	Density      float64  // kg/m³
	SpecificHeat float64  // J/(kg·K); recalled from ISO 10456 for every row
	Reference    Reference
}

// Materials returns the table of wall materials. Conductivities are those of
// the reference named in each row; densities are those the conductivity is
// stated for. Specific heats are recalled from ISO 10456 and serve the warm-up
// time only.
func Materials() []Material {
	isoCopy := Reference{"Thermal conductivities of materials (from EN ISO 10077-2:2003 and EN ISO 10456:2007)", "document copy of the standard's table", 2007, "read-through"}
	iso := recalled("ISO 10456 Building materials - tabulated design hygrothermal values", "ISO", 2007)
	tables := recalled("General engineering material tables", "various", 0)
	building := Reference{"Thermal conductivity of building materials reference tables", "building page", 2026, "read"}
	return []Material{
		{"float glass", Interval{1.0, 1.0, 1.05}, 2500, 750, isoCopy},
		{"acrylic", Interval{0.18, 0.18, 0.20}, 1180, 1500, isoCopy},
		{"polycarbonate", Exactly(0.20), 1200, 1200, isoCopy},
		{"PVC sheet", Interval{0.16, 0.17, 0.17}, 1390, 900, isoCopy},
		{"foamed PVC sheet", Interval{0.06, 0.08, 0.10}, 600, 900, tables},
		{"polypropylene", Exactly(0.22), 910, 1800, isoCopy},
		{"polyethylene", Exactly(0.50), 980, 1800, isoCopy},
		{"softwood", Interval{0.10, 0.13, 0.144}, 500, 1600, isoCopy},
		{"hardwood", Interval{0.16, 0.18, 0.21}, 700, 1600, isoCopy},
		{"plywood", Interval{0.09, 0.13, 0.17}, 500, 1600, iso},
		{"oriented strand board", Exactly(0.13), 650, 1700, iso},
		{"fibreboard", Interval{0.10, 0.14, 0.18}, 600, 1700, iso},
		{"chipboard", Interval{0.10, 0.14, 0.18}, 600, 1700, iso},
		{"extruded polystyrene", Interval{0.025, 0.035, 0.036}, 35, 1450, building},
		{"expanded polystyrene", Interval{0.035, 0.038, 0.040}, 20, 1450, building},
		{"polyurethane foam", Interval{0.022, 0.028, 0.028}, 30, 1400, building},
		{"cork board", Interval{0.040, 0.045, 0.050}, 150, 1560, building},
	}
}

// MaterialNamed finds a material of [Materials] by its name.
func MaterialNamed(name string) (Material, error) {
	for _, m := range Materials() {
		if m.Name == name {
			return m, nil
		}
	}
	return Material{}, bad("material", "%q is not in the table of materials", name)
}

// Layer returns a layer of the material, thickness in m, at its typical conductivity.
func (m Material) Layer(thickness float64) Layer {
	return Layer{Name: m.Name, Thickness: thickness, Conductivity: m.Conductivity.Typical, Density: m.Density, SpecificHeat: m.SpecificHeat}
}

// AirGap returns an unventilated vertical air gap, as in double glazing or a
// cavity wall. Resistance 0.18 m²K/W: Energy in buildings, section 2.2.6, The
// Open University (undated), read.
func AirGap() Layer { return Layer{Name: "air gap", Resistance: 0.18} }

// Layer is one homogeneous layer of a wall. Either Resistance is given and
// stands for the whole layer, or Thickness and Conductivity are, both above 0.
// Density and SpecificHeat may be 0: the layer then stores no heat.
type Layer struct {
	Name         string
	Thickness    float64 // m
	Conductivity float64 // W/(m·K)
	Resistance   float64 // m²K/W
	Density      float64 // kg/m³
	SpecificHeat float64 // J/(kg·K)
}

// R is the layer's thermal resistance R = d/k in m²K/W (ISO 6946).
// An InputError names thickness, conductivity or resistance if it is not physical.
func (l Layer) R() (float64, error) {
	if l.Resistance != 0 {
		return l.Resistance, within("resistance", l.Resistance, 0, 100, "m²K/W")
	}
	// Written out rather than through the helpers: this runs for every layer of
	// every solve, and only a failure should pay for its message.
	if !(l.Thickness > 0 && l.Thickness <= 10 && l.Conductivity > 0 && l.Conductivity <= 500) {
		return 0, first(positive("thickness", l.Thickness, 10, "m"), positive("conductivity", l.Conductivity, 500, "W/(m·K)"))
	}
	return l.Thickness / l.Conductivity, nil
}

// stack sums the resistances of layers; an error names the layer.
func stack(layers []Layer) (float64, error) {
	var sum float64
	for i, l := range layers {
		r, err := l.R()
		if err != nil {
			return 0, under(fmt.Sprintf("layers[%d]", i), err)
		}
		sum += r
	}
	return sum, nil
}

// under puts a path before the field of an InputError.
func under(path string, err error) error {
	if fe, ok := err.(*InputError); ok {
		return &InputError{path + "." + fe.Field, fe.Reason}
	}
	return fmt.Errorf("%s: %w", path, err)
}

// Resistance is the total R = Rs_in + Σ d/k + Rs_out, m²K/W (ISO 6946). The
// surface resistances are 0 or more; a total of 0 is an error.
func Resistance(inside, outside float64, layers ...Layer) (float64, error) {
	r, err := stack(layers)
	if err := first(err, within("inside", inside, 0, 10, "m²K/W"), within("outside", outside, 0, 10, "m²K/W")); err != nil {
		return 0, err
	}
	if r += inside + outside; r <= 0 {
		return 0, bad("layers", "a wall needs some thermal resistance")
	}
	return r, nil
}

// Transmittance is U = 1/R of [Resistance], W/(m²K). An enclosure in a room has
// still air on both sides, so both surface resistances are of [StillAir]; the
// U-values printed for windows assume wind outside and are about half as large again.
func Transmittance(inside, outside float64, layers ...Layer) (float64, error) {
	r, err := Resistance(inside, outside, layers...)
	if err != nil {
		return 0, err
	}
	return 1 / r, nil
}

// Path is one of several heat paths side by side: its share of the area
// (0 to 1) and its total resistance in m²K/W.
type Path struct{ Share, Resistance float64 }

// Parallel is the resistance of paths side by side, R = 1/Σ(f/R), in m²K/W:
// the upper limit of ISO 6946 (frames, battens). Shares must sum to 1.
func Parallel(paths ...Path) (float64, error) {
	var share, u float64
	for i, p := range paths {
		field := fmt.Sprintf("paths[%d]", i)
		if err := first(within(field+".share", p.Share, 0, 1, ""), positive(field+".resistance", p.Resistance, 1000, "m²K/W")); err != nil {
			return 0, err
		}
		share += p.Share
		u += p.Share / p.Resistance
	}
	if math.Abs(share-1) > 1e-9 {
		return 0, bad("paths", "shares must sum to 1, not %g", share)
	}
	return 1 / u, nil
}

// Flow is the direction in which heat leaves a surface.
type Flow int

// The directions of heat flow that ISO 6946 tells apart.
const (
	Sideways Flow = iota // through a wall
	Upward               // through a lid
	Downward             // through a floor
)

// StillAir is the conventional surface resistance in still air, m²K/W: 0.13
// sideways (Energy in buildings, section 2.2.6, The Open University, undated,
// read), 0.10 upward and 0.17 downward (ISO 6946, 2017, recalled; the range was
// read). It applies to the room's side of an enclosure as well as to the inside.
func StillAir(f Flow) float64 {
	switch f {
	case Upward:
		return 0.10
	case Downward:
		return 0.17
	}
	return 0.13
}

// StillConvection is the convective coefficient in still air, W/(m²K): 2.5
// sideways, 5.0 upward, 0.7 downward (ISO 6946 annex, 2017, recalled).
func StillConvection(f Flow) float64 {
	switch f {
	case Upward:
		return 5.0
	case Downward:
		return 0.7
	}
	return 2.5
}

// WindConvection is the convective coefficient of a surface in moving air,
// hc = 4 + 4v, W/(m²K), v in m/s from 0 to 20 (ISO 6946 annex, 2017, recalled).
func WindConvection(speed float64) (float64, error) {
	return 4 + 4*speed, within("speed", speed, 0, 20, "m/s")
}

// SurfaceResistance is Rs = 1/(hc + hr), m²K/W, with hr of
// [RadiativeCoefficient] at the mean temperature (ISO 6946 annex, 2017, recalled;
// it reproduces the conventional values of [StillAir]).
func SurfaceResistance(convection, emissivity, meanTemperature float64) (float64, error) {
	hr, err := RadiativeCoefficient(emissivity, meanTemperature)
	if err := first(err, within("convection", convection, 0, 200, "W/(m²K)")); err != nil {
		return 0, err
	}
	if convection+hr <= 0 {
		return 0, bad("convection", "a surface needs convection or radiation")
	}
	return 1 / (convection + hr), nil
}

// FabricLoss is Q = U·A·(Ti − Te) in W: transmittance in W/(m²K), area in m²,
// temperatures in °C. It is negative when the outside is warmer.
func FabricLoss(transmittance, area, inside, outside float64) (float64, error) {
	return transmittance * area * (inside - outside), first(within("transmittance", transmittance, 0, 1000, "W/(m²K)"),
		within("area", area, 0, 1e4, "m²"), celsius("inside", inside), celsius("outside", outside))
}

// Face is one side of the enclosure.
type Face struct {
	// Layers from the inside outward. A face that is all mesh needs none.
	Layers []Layer
	// FrameShare is the share of the face (0 to below 1) that is built of FrameLayers instead.
	FrameShare  float64
	FrameLayers []Layer
	// Mesh is the share of the face, 0 to 1, that is mesh; MeshOpen is the mesh's
	// open-area share, above 0 to 1, required where Mesh is above 0.
	Mesh, MeshOpen float64
	// ExtraResistance outside, m²K/W: a wall, a stand or bedding board that the face stands against.
	ExtraResistance float64
	// AirSpeed outside, m/s; 0 is the still air of a room.
	AirSpeed float64
}

// faceValues are what the balance needs of a face.
type faceValues struct {
	u      float64 // W/(m²K), closed part and mesh together
	keep   float64 // share of heat put on the inner surface that reaches the inside air
	factor float64 // 1 − U·Rsi over the whole face; mesh counts as the room
	closed float64 // share of the face that is not mesh
	wall   float64 // W/(m²K) of that part alone
	inside float64 // Rsi, m²K/W
}

// evaluate computes a face's figures for the flow direction; extra is the
// resistance of a cover inside the layers (substrate on a floor).
func (f Face) evaluate(dir Flow, cover float64) (faceValues, error) {
	if err := first(within("mesh", f.Mesh, 0, 1, ""), within("extra_resistance", f.ExtraResistance, 0, 20, "m²K/W"),
		within("frame_share", f.FrameShare, 0, 0.999, ""), within("air_speed", f.AirSpeed, 0, 20, "m/s")); err != nil {
		return faceValues{}, err
	}
	var v faceValues
	if f.Mesh < 1 {
		if len(f.Layers) == 0 {
			return v, bad("layers", "must have at least one layer, unless the whole face is mesh")
		}
		in, out := StillAir(dir), StillAir(dir)
		if f.AirSpeed > 0 {
			hc, err := WindConvection(f.AirSpeed)
			if err != nil {
				return v, err
			}
			if out, err = SurfaceResistance(hc, 0.9, 20); err != nil {
				return v, err
			}
		}
		r, err := Resistance(in+cover, out+f.ExtraResistance, f.Layers...)
		if err != nil {
			return v, err
		}
		if f.FrameShare > 0 {
			rf, err := Resistance(in+cover, out+f.ExtraResistance, f.FrameLayers...)
			if err != nil {
				return v, under("frame", err)
			}
			if r, err = Parallel(Path{1 - f.FrameShare, r}, Path{f.FrameShare, rf}); err != nil {
				return v, err
			}
		}
		v.closed, v.wall, v.inside = 1-f.Mesh, 1/r, in
		v.u = v.closed / r
		v.factor = v.closed * (1 - in/r)
		v.keep = v.factor
	}
	if f.Mesh > 0 {
		if err := positive("mesh_open", f.MeshOpen, 1, ""); err != nil {
			return v, err
		}
		u, err := MeshTransmittance(f.MeshOpen)
		if err != nil {
			return v, err
		}
		v.u += f.Mesh * u
		// Radiation that meets mesh passes the holes and is lost; the wires give half of theirs back.
		v.keep += f.Mesh * (1 - f.MeshOpen) / 2
	}
	return v, nil
}

// MeshTransmittance is the loss through mesh that is not carried by air passing
// it, W/(m²K): long-wave radiation through the holes (and half of what the wires
// take up), in series with the convective film of the surfaces inside that
// radiate. Air that passes the mesh is counted as vent flow instead. An
// approximation without a published source; open is the open-area share, above 0 to 1.
func MeshTransmittance(open float64) (float64, error) {
	if err := positive("open", open, 1, ""); err != nil {
		return 0, err
	}
	hr, err := RadiativeCoefficient(0.9, 25)
	if err != nil {
		return 0, err
	}
	hr *= open + (1-open)/2
	return 1 / (1/hr + 1/StillConvection(Upward)), nil
}
