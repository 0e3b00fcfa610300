package heat

import "testing"

func material(t testing.TB, name string, d float64) Layer {
	t.Helper()
	m, err := MaterialNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m.Layer(d)
}

// glassBox is a 60 × 45 × 45 cm glass box with a mesh lid and 5 cm of soil-like
// substrate, a ventilation strip low on the front, in which a lamp hangs at the left.
func glassBox(t testing.TB) Enclosure {
	glass := Face{Layers: []Layer{material(t, "float glass", 0.004)}}
	return Enclosure{
		Length: 0.60, Depth: 0.45, Height: 0.40,
		Faces: Faces{Front: glass, Back: glass, Left: glass, Right: glass,
			Top:   Face{Mesh: 1, MeshOpen: 0.6},
			Floor: Face{Layers: []Layer{material(t, "float glass", 0.005)}}},
		Substrate: Layer{Name: "substrate", Thickness: 0.05, Conductivity: 0.3},
		Openings:  []Opening{{Side: Front, Area: 0.006, FreeShare: 0.4, Low: 0.05, High: 0.07}},
	}
}

func lamp(watts float64) Source {
	return Source{Name: "lamp", Kind: HalogenLamp, Watts: watts, X: 0.12, Z: 0.38, TargetZ: 0.08}
}

// panelBox is a 240 × 120 × 180 cm box of 18 mm plywood and 30 mm foam, with a
// pair of glass doors over 60 % of the front and a small low and high vent.
func panelBox(t testing.TB) Enclosure {
	wall := Face{Layers: []Layer{material(t, "plywood", 0.018), material(t, "extruded polystyrene", 0.030)}}
	front := wall
	front.FrameShare, front.FrameLayers = 0.6, []Layer{material(t, "float glass", 0.006)}
	return Enclosure{
		Length: 2.40, Depth: 1.20, Height: 1.60,
		Faces:     Faces{Front: front, Back: wall, Left: wall, Right: wall, Top: wall, Floor: wall},
		Substrate: Layer{Name: "substrate", Thickness: 0.20, Conductivity: 0.9},
		Openings: []Opening{
			{Side: Right, Area: 0.01, FreeShare: 0.4, Low: 0.2, High: 0.3},
			{Side: Left, Area: 0.01, FreeShare: 0.4, Low: 1.4, High: 1.5},
		},
		Leakage: 0.5,
	}
}

// frogTank is an unlit 100 × 40 × 50 cm glass tank.
func frogTank(t testing.TB) Enclosure {
	glass := Face{Layers: []Layer{material(t, "float glass", 0.006)}}
	return Enclosure{Length: 1, Depth: 0.4, Height: 0.5,
		Faces:   Faces{Front: glass, Back: glass, Left: glass, Right: glass, Top: Face{Layers: glass.Layers, Mesh: 0.3, MeshOpen: 0.5}, Floor: glass},
		Leakage: 0.5}
}
