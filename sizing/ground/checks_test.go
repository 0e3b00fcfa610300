package ground_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"denwright/sizing/ground"
)

// inputs are the named numbers of one check row.
type inputs map[string]float64

// pane solves the pane that a row describes in mm; the published constants are
// tabulated by length over height, so a row that states beta is given the ratio
// of the table row with that beta.
func pane(height, beta float64) (ground.Glazing, error) {
	ratio := map[float64]float64{0.37: 3, 0.32: 2}[beta]
	return ground.GlassThickness(ground.Pane{Length: ratio * height / 1000, Height: height / 1000, Braced: true})
}

// formulas maps each formula of the table to the function of this package that
// answers it. Inputs are turned into SI and answers into the row's unit.
var formulas = map[string]func(in inputs) (float64, error){
	"air=TP-CC": func(in inputs) (float64, error) { return ground.AirSpace(in["TP"], in["CC"]) },
	"PS=96.72-0.038*VW": func(in inputs) (float64, error) {
		n, err := ground.Porosity(ground.Organic, in["VW"])
		return 100 * n, err
	},
	"rho_wet=rho_d+1000*theta": func(in inputs) (float64, error) { return ground.BulkDensity(in["rho_d"], in["theta"]) },
	"rho_sat=rho_d+1000*n":     func(in inputs) (float64, error) { return ground.BulkDensity(in["rho_d"], in["n"]) },
	"m=L*Wd*H*(rho_d+1000*theta)": func(in inputs) (float64, error) {
		s, err := ground.SubstrateNamed("sandy clay loam")
		if err != nil {
			return 0, err
		}
		s.DryDensity = ground.Exactly(in["rho_d"])
		theta := in["theta"]
		c, err := ground.Describe(ground.Fill{Length: in["L"], Depth: in["Wd"], Thickness: in["H"], Substrate: s, Moist: &theta})
		return c.Moist.Typical, err
	},
	"h=r*tan(phi*pi/180)": func(in inputs) (float64, error) { return ground.BankRise(in["r"], in["phi"]) },
	"V=1000*L*Wd*H*n": func(in inputs) (float64, error) {
		s, err := ground.SubstrateNamed("sand")
		if err != nil {
			return 0, err
		}
		d, err := ground.SubstrateNamed("expanded clay")
		if err != nil {
			return 0, err
		}
		d.Porosity = ground.Exactly(in["n"])
		c, err := ground.Describe(ground.Fill{Length: in["L"], Depth: in["Wd"], Thickness: 0.1, Substrate: s, DrainageThickness: in["H"], Drainage: d})
		return 1000 * c.DrainageWater.Typical, err
	},
	"kappa=lam/C": func(in inputs) (float64, error) { return ground.Diffusivity(in["lam"], in["C"]) },
	"C=rho*cp":    func(in inputs) (float64, error) { return ground.VolumetricHeat(in["rho"], in["cp"]) },
	"R=d/k":       func(in inputs) (float64, error) { return ground.Resistance(in["d"], in["k"]) },
	"z=sqrt(2*kappa/(2*pi/P))": func(in inputs) (float64, error) {
		return ground.DampingDepth(in["kappa"], in["P"])
	},
	"q=m*9.80665/(1000*L*Wd)": func(in inputs) (float64, error) {
		f, err := ground.Stand(ground.Standing{Mass: in["m"], Length: in["L"], Depth: in["Wd"]})
		return f.Pressure / 1000, err
	},
	"p=rho*9.81*h/1000": func(in inputs) (float64, error) {
		p, err := ground.WaterPressure(in["h"])
		return p / 1000, err
	},
	"w=5*q*L^4/(384*E*I)": func(in inputs) (float64, error) {
		if in["L"] < 100 { // this row is in N, m and Pa, the others in N, mm and MPa
			return ground.UniformDeflection(in["q"], in["L"], in["E"], in["I"])
		}
		w, err := ground.UniformDeflection(in["q"]*1e3, in["L"]/1e3, in["E"]*1e6, in["I"]/1e12)
		return w * 1e3, err
	},
	"I=b*h^3/12": func(in inputs) (float64, error) {
		i, err := ground.SecondMoment(in["b"]/1e3, in["h"]/1e3)
		return i * 1e12, err
	},
	"w=F*L^3/(48*E*I)": func(in inputs) (float64, error) {
		w, err := ground.PointDeflection(in["F"], in["L"]/1e3, in["E"]*1e6, in["I"]/1e12)
		return w * 1e3, err
	},
	"B=s/SF": func(in inputs) (float64, error) {
		b, err := ground.AllowableStress(in["s"]*1e6, in["SF"])
		return b / 1e6, err
	},
	"t=sqrt(beta*1e-5*H^3/B)": func(in inputs) (float64, error) {
		g, err := pane(in["H"], in["beta"])
		return g.Thickness * 1e3, err
	},
	"w=alpha*1e-5*H^5/(E*t^3)": func(in inputs) (float64, error) {
		g, err := pane(in["H"], 0.32) // alpha 0.056 stands in the same table row
		return g.Deflection * 1e3, err
	},
	"m=2500*L*H*t": func(in inputs) (float64, error) { return ground.PanelMass(2500, in["L"], in["H"], in["t"]) },
}

// excluded rows can't be answered by a function that the engine needs.
var excluded = map[string]string{
	"ENG111": "regression of air space on wet density: misses the source's own peat by half (5.5 against 11 %), and the engine takes air space from porosity and field capacity",
}

// widened rows were computed with another constant than the engine's.
var widened = map[string]struct {
	tolerance float64
	reason    string
}{
	"ENG148": {0.0016, "the row takes g = 9.81 m/s²; the engine takes standard gravity, as row ENG147 does"},
}

// TestEngineeringChecks runs every soil and load row of the copied table, whose
// columns name the source of each, through exported functions.
func TestEngineeringChecks(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "physics", "ground", "engineering_checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for _, r := range rows[1:] {
		id, formula, basis := r[0], r[2], r[7]
		if why, out := excluded[id]; out {
			t.Logf("%s not run: %s", id, why)
			continue
		}
		fn := formulas[formula]
		if fn == nil {
			t.Errorf("%s: no function for %q and no reason to leave it out", id, formula)
			continue
		}
		in := inputs{}
		for _, pair := range strings.Split(r[3], ";") {
			name, v, _ := strings.Cut(pair, "=")
			if in[name], err = strconv.ParseFloat(v, 64); err != nil {
				t.Fatalf("%s: %v", id, err)
			}
		}
		want, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			t.Fatalf("%s: %v", id, err)
		}
		tol, err := strconv.ParseFloat(r[6], 64)
		if err != nil {
			t.Fatalf("%s: %v", id, err)
		}
		if w, ok := widened[id]; ok {
			t.Logf("%s run with tolerance %g instead of %g: %s", id, w.tolerance, tol, w.reason)
			tol = w.tolerance
		}
		got, err := fn(in)
		if err != nil {
			t.Errorf("%s %s: %v", id, formula, err)
			continue
		}
		counts[basis]++
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("%s %s: got %.8g, want %g ± %g", id, formula, got, want, tol)
		}
	}
	t.Logf("checks against published figures: %d, against computed figures: %d", counts["seen"], counts["computed"])
	if counts["seen"] != 24 || counts["computed"] != 21 {
		t.Errorf("the table lost rows: %v", counts)
	}
}

// TestTabulatedSoils holds the thermal table against the volumetric heats and
// diffusivities printed beside it in the same published table (Transport in the
// atmosphere-vegetation-soil continuum, table 2.2, CUP 2013), through [ground.Daily].
func TestTabulatedSoils(t *testing.T) {
	for _, c := range []struct {
		name         string
		water, kappa float64 // published diffusivity, m²/s
		tol          float64 // the print has two digits
	}{
		{"sand", 0, 0.19e-6, 0.01e-6}, {"sand", 0.2, 0.99e-6, 0.01e-6}, {"sand", 0.4, 0.85e-6, 0.01e-6},
		{"clay", 0.2, 0.40e-6, 0.01e-6}, {"clay", 0.4, 0.45e-6, 0.01e-6},
		{"peat", 0.45, 0.13e-6, 0.01e-6}, {"peat", 0.9, 0.12e-6, 0.01e-6},
	} {
		s := substrate(t, c.name)
		b, err := ground.Daily(s, c.water, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		// The damping depth is the only place where diffusivity shows.
		want, err := ground.DampingDepth(c.kappa, ground.DayLength)
		if err != nil {
			t.Fatal(err)
		}
		if rel := math.Abs(b.DampingDepth/want - 1); rel > c.tol/c.kappa {
			t.Errorf("%s at %g: damping depth %.4f m, published diffusivity gives %.4f", c.name, c.water, b.DampingDepth, want)
		}
	}
}
