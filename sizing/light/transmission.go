package light

import (
	"fmt"
	"math"
	"slices"
)

// Mesh is a woven or welded mesh of round wire.
type Mesh struct {
	WireM float64 // wire diameter, m, above 0
	// PitchM is the spacing of the wires centre to centre, m, wider than the wire.
	PitchM float64
	// PitchOtherM is the spacing in the other direction; 0 for a square mesh.
	PitchOtherM float64
}

// Transmission is the share of UVI that passes the mesh when the light falls
// angleDeg from square on, slanted across the wires spaced PitchOtherM:
//
//	T = (1 − d/p1) (1 − d/(p2 cos a)), never below 0
//
// At 0° it is the open area of wire-cloth practice. Opaque mesh passes UV and
// visible light nearly alike (Kotilainen et al., PLoS ONE 13, 2018, open data),
// so geometry serves for both; dust and coating lower it, and a reading through
// the mesh is better (see Layer). angleDeg is 0 to below 90. Errors are
// *InputError: no pitch, no wire, or wire as thick as the pitch.
func (m Mesh) Transmission(angleDeg float64) (float64, error) {
	other, otherField := m.PitchOtherM, "pitch_other_m"
	if other == 0 {
		other, otherField = m.PitchM, "pitch_m"
	}
	err := first(
		positive("pitch_m", m.PitchM, 1),
		positive(otherField, other, 1),
		positive("wire_m", m.WireM, 1),
	)
	if err == nil && m.WireM >= math.Min(m.PitchM, other) {
		err = &InputError{"wire_m", fmt.Sprintf("must be thinner than the pitch, %g m", math.Min(m.PitchM, other))}
	}
	if err == nil && !(angleDeg >= 0 && angleDeg < 90) {
		err = &InputError{"angle_deg", fmt.Sprintf("must be from 0 to below 90, not %g", angleDeg)}
	}
	if err != nil {
		return 0, err
	}
	return (1 - m.WireM/m.PitchM) * math.Max(0, 1-m.WireM/(other*math.Cos(radians(angleDeg)))), nil
}

// Sheet is a pane or sheet material with its measured transmission in the UV-B.
type Sheet struct {
	Code, Name string
	ThicknessM float64 // of the sample, m; 0 where samples differ or none is given
	// Low and High bound the share passed: of 280 to 315 nm for plastics, at
	// 315 nm for glass. Equal for a single sample. The share of UVI passed
	// depends on the lamp's spectrum and lies near it.
	Low, High float64
	Source    string
	Note      string
}

// Sheets lists the materials known, as measured on new samples. "Glass and
// plastic block all UV-B" is a rule with exceptions: read one through the sheet.
func Sheets() []Sheet {
	const (
		plastic = "photobiologyFilters: spectral transmittance data, CRAN / University of Helsinki, 2014-2026; mean of the spectrum computed from it"
		glass   = "CIE data file 206, window glass transmittance, CIE, 2017, in photobiologyFilters"
		one     = "one new sample"
	)
	return []Sheet{
		{"polycarbonate", "clear polycarbonate", 0.002, 0.0001, 0.0001, plastic, one},
		{"polycarbonate_uv_stable", "UV-stabilised polycarbonate", 0.003, 0.0001, 0.0001, plastic, one},
		{"petg", "clear PET-G", 0.003, 0.0002, 0.0002, plastic, one},
		{"polystyrene", "clear polystyrene", 0.003, 0.0014, 0.0014, plastic, one},
		{"pvc", "clear PVC", 0.0015, 0.0001, 0.0001, plastic, one},
		{"acrylic_extruded", "extruded clear acrylic", 0.003, 0.0089, 0.0089, plastic, one},
		{"acrylic_cast", "cast clear acrylic", 0.003, 0.102, 0.102, plastic, one + "; grades differ widely"},
		{"acrylic_uv_transmitting", "cast UV-transmitting acrylic", 0.003, 0.846, 0.846, plastic, one + "; yellows with use"},
		{"acrylic_uv_blocking", "cast UV-blocking acrylic", 0.003, 0.0001, 0.0001, plastic, one},
		{"glass_float", "clear float glass, 4 to 8 mm", 0, 0, 0.001, glass, "samples of 4 to 8 mm"},
		{"glass_thin", "clear window glass, 2.5 mm", 0.0025, 0.001, 0.001, glass, one},
		{"glass_low_iron", "low-iron glass", 0, 0, 0.241, glass, "makers differ: 2.3 to 19 mm of one passes nothing, 12 mm of another 24 %"},
	}
}

// SheetByCode finds a Sheet by its code. An unknown code is an *InputError.
func SheetByCode(code string) (Sheet, error) {
	all := Sheets()
	i := slices.IndexFunc(all, func(s Sheet) bool { return s.Code == code })
	if i < 0 {
		return Sheet{}, &InputError{"sheet", fmt.Sprintf("%q is not a known material; give a measured transmission instead", code)}
	}
	return all[i], nil
}
