package moisture_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"denwright/sizing/moisture"
)

// table reads a check table; its columns name the source of every row.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "physics", "moisture", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, rec := range all[1:] {
		row := map[string]string{}
		for i, h := range all[0] {
			row[h] = rec[i]
		}
		if row["source_title"] == "" {
			t.Fatalf("%s: %v names no source", name, rec)
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// tally counts checks by basis: "seen" was read in a publication or a true
// copy, "computed" was worked out from a formula or another program.
type tally map[string]int

func (c tally) check(t *testing.T, what, basis string, got, want, tol float64) {
	t.Helper()
	c[basis]++
	if !(math.Abs(got-want) <= tol) { // so that NaN fails
		t.Errorf("%s: got %.8g, want %.8g ± %.2g", what, got, want, tol)
	}
}

func (c tally) log(t *testing.T) {
	t.Helper()
	t.Logf("checks against published figures (seen): %d; against computed figures: %d", c["seen"], c["computed"])
}

// must unwraps a value whose inputs the table has made valid.
func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// TestEngineeringChecks runs each row through the function of the engine that
// answers its formula, with the row's inputs turned into the engine's units.
func TestEngineeringChecks(t *testing.T) {
	type in map[string]float64
	state := func(c, rh, p float64) moisture.State {
		return must[moisture.State](t)(moisture.Describe(moisture.Air{TemperatureC: c, Humidity: rh / 100, PressurePa: p}))
	}
	pws := moisture.SaturationPressure
	formulas := map[string]func(in) float64{
		"p=pws(t)":                                        func(x in) float64 { return pws(x["t"]) },
		"Ws=W(pws(t),p)":                                  func(x in) float64 { return state(x["t"], 100, x["p"]).HumidityRatio },
		"w=W(RH/100*pws(t),p)":                            func(x in) float64 { return state(x["t"], x["RH"], x["p"]).HumidityRatio },
		"td=TD(RH/100*pws(t))":                            func(x in) float64 { return state(x["t"], x["RH"], moisture.SeaLevelPa).DewPointC },
		"tw=TW(t,RH,p)":                                   func(x in) float64 { return state(x["t"], x["RH"], x["p"]).WetBulbC },
		"td=TD(p*w/(0.621945+w))":                         func(x in) float64 { return moisture.DewPoint(moisture.VapourPressure(x["w"], x["p"])) },
		"w=Wtw(t,tw,p)":                                   func(x in) float64 { return moisture.RatioFromWetBulb(x["t"], x["tw"], x["p"]) },
		"h=1006*t+w*(2501000+1860*t)":                     func(x in) float64 { return moisture.Enthalpy(x["t"], x["w"]) },
		"h=1006*t":                                        func(x in) float64 { return moisture.Enthalpy(x["t"], 0) },
		"h=1006*t+W(pws(t),p)*(2501000+1860*t)":           func(x in) float64 { return state(x["t"], 100, x["p"]).Enthalpy },
		"v=287.042*(t+273.15)/p":                          func(x in) float64 { return moisture.SpecificVolume(x["t"], 0, x["p"]) },
		"v=287.042*(t+273.15)*(1+1.607858*w)/p":           func(x in) float64 { return moisture.SpecificVolume(x["t"], x["w"], x["p"]) },
		"rho=(1+w)/(287.042*(t+273.15)*(1+1.607858*w)/p)": func(x in) float64 { return moisture.Density(x["t"], x["w"], x["p"]) },
		"rho_v=1000*RH/100*pws(t)/(461.523*(t+273.15))":   func(x in) float64 { return 1000 * state(x["t"], x["RH"], moisture.SeaLevelPa).VapourDensity },
		"p=101325*(1-2.25577e-5*z)^5.2559":                func(x in) float64 { return must[float64](t)(moisture.PressureAtAltitude(x["z"])) },
		"P=g*L/3600":                                      func(x in) float64 { return moisture.LatentPower(x["g"]/1000, x["L"]*1000) },
		"f=1-Rsi/R":                                       func(x in) float64 { return must[float64](t)(moisture.TemperatureFactor(1/x["R"], x["Rsi"])) },
		"Tsi=f*(Ti-Te)+Te":                                func(x in) float64 { return moisture.SurfaceTemperature(x["Ti"], x["Te"], x["f"]) },
		"RHs=RH*pws(Ti)/pws(Tsi)":                         func(x in) float64 { return 100 * moisture.SurfaceHumidity(x["RH"]/100, x["Ti"], x["Tsi"]) },
		"Tsi=Ti-(Ti-Te)*U*Rsi": func(x in) float64 {
			return moisture.SurfaceTemperature(x["Ti"], x["Te"], must[float64](t)(moisture.TemperatureFactor(x["U"], x["Rsi"])))
		},
		// The row gives humidity ratios; the engine takes the water and air that have them.
		"g=(25+19*v)*A*(xs-x)/3600": func(x in) float64 {
			pa := moisture.VapourPressure(x["x"], moisture.SeaLevelPa)
			e := must[moisture.Evaporation](t)(moisture.Evaporate(moisture.OpenWater{AreaM2: x["A"], SpeedMPerS: x["v"],
				WaterC: moisture.DewPoint(moisture.VapourPressure(x["xs"], moisture.SeaLevelPa)),
				Air:    moisture.Air{TemperatureC: 30, Humidity: pa / pws(30), PressurePa: moisture.SeaLevelPa}}))
			return e.RatioForm / 3600
		},
		"g=1000*(25+19*v)*A*(W(pws(tw),p)-W(RH/100*pws(t),p))": func(x in) float64 {
			e := must[moisture.Evaporation](t)(moisture.Evaporate(moisture.OpenWater{AreaM2: x["A"], SpeedMPerS: x["v"], WaterC: x["tw"],
				Air: moisture.Air{TemperatureC: x["t"], Humidity: x["RH"] / 100, PressurePa: x["p"]}}))
			return 1000 * e.RatioForm
		},
		"g=3600000*A*(0.089+0.0782*v)*(pw-pa)/Y": func(x in) float64 {
			e := must[moisture.Evaporation](t)(moisture.Evaporate(moisture.OpenWater{AreaM2: x["A"], SpeedMPerS: x["v"], WaterC: moisture.DewPoint(1000 * x["pw"]),
				Air: moisture.Air{TemperatureC: 28, Humidity: 1000 * x["pa"] / pws(28), PressurePa: moisture.SeaLevelPa}}))
			return 1000 * e.CarrierForm
		},
		// The row gives vapour densities in g/m³; the engine takes air that has them.
		"G=n*V*(ri-ro)": func(x in) float64 {
			at := func(gPerM3, c float64) float64 { return gPerM3 / 1000 / moisture.VapourDensity(pws(c), c) }
			d := must[moisture.Demand](t)(moisture.WaterToHold(moisture.Box{VolumeM3: x["V"], AirChangesPerHour: x["n"], AirC: 25,
				RoomC: 20, RoomHumidity: at(x["ro"], 20)}, at(x["ri"], 25)))
			return 1000 * d.ToAddKgPerHour
		},
		"V=1000*L*Wd*H*n": func(x in) float64 {
			d := must[moisture.Drainage](t)(moisture.Drain(moisture.Layer{LengthM: x["L"], WidthM: x["Wd"], DepthM: x["H"], PoreShare: x["n"]}, moisture.Inflow{}))
			return d.CapacityL
		},
		"Q=flow*60": func(x in) float64 { return moisture.Device{LitresPerMinute: x["flow"]}.Litres(60) },
		"C=C0*exp(-n*t)": func(x in) float64 {
			return must[float64](t)(moisture.HumidityAfter(moisture.Box{VolumeM3: 0.4, AirChangesPerHour: x["n"], AirC: 25, RoomC: 20}, x["C0"], 0, x["t"]))
		},
	}
	// Rows that are another formulation's coefficients: the engine has one of its
	// own. How far it stands from each is in TestSaturationAgainstOthers.
	const other = "another formulation of saturation"
	notApplied := map[string]string{
		"e=magnus(t,A,a,b)": other,
		"e=pws_sonntag(t)":  other,
	}
	count := tally{}
	skipped := 0
	for _, row := range table(t, "engineering_checks.csv") {
		if why, ok := notApplied[row["formula"]]; ok {
			t.Logf("not applied: %s %s: %s", row["check_id"], row["formula"], why)
			skipped++
			continue
		}
		f, ok := formulas[row["formula"]]
		if !ok {
			t.Errorf("%s: nothing in the engine answers %q", row["check_id"], row["formula"])
			continue
		}
		x := in{}
		for _, part := range strings.Split(row["inputs"], ";") {
			name, value, _ := strings.Cut(part, "=")
			x[name] = number(t, value)
		}
		what := row["check_id"] + " (" + row["source_title"] + ", " + row["unit"] + ")"
		count.check(t, what, row["basis"], f(x), number(t, row["expected"]), number(t, row["tolerance"]))
	}
	t.Logf("rows not applied: %d", skipped)
	count.log(t)
}

func TestPublishedValues(t *testing.T) {
	count := tally{}
	for _, row := range table(t, "published_values.csv") {
		c := number(t, row["temperature_c"])
		s := must[moisture.State](t)(moisture.Describe(moisture.Air{TemperatureC: c, Humidity: 1, PressurePa: moisture.SeaLevelPa}))
		var got float64
		switch row["item"] {
		case "saturation pressure":
			got = s.SaturationPa
		case "saturation humidity ratio":
			got = s.HumidityRatio
		case "saturated air enthalpy":
			got = s.Enthalpy
		default:
			t.Errorf("no check for %q", row["item"])
			continue
		}
		count.check(t, row["item"]+" at "+row["temperature_c"]+" °C", row["basis"], got, number(t, row["expected"]), number(t, row["tolerance"]))
	}
	count.log(t)
}

// The moist-air grid of a reference library. Its dew points below 0 °C are over
// ice and are left out; the rest of those rows is checked all the same.
func TestPsychrometricGrid(t *testing.T) {
	count := tally{}
	for _, row := range table(t, "psychrometrics.csv") {
		x := func(column string) float64 { return number(t, row[column]) }
		a := moisture.Air{TemperatureC: x("t_c"), Humidity: x("rh_pct") / 100, PressurePa: x("pressure_pa")}
		s := must[moisture.State](t)(moisture.Describe(a))
		what := row["t_c"] + " °C, " + row["rh_pct"] + " %: "
		for _, c := range []struct {
			column   string
			got, tol float64
		}{
			{"sat_vapour_pressure_pa", s.SaturationPa, 0.01},
			{"vapour_pressure_pa", s.VapourPa, 0.01},
			{"vpd_pa", s.DeficitPa, 0.01},
			{"humidity_ratio_kg_per_kg", s.HumidityRatio, 1e-7},
			{"wet_bulb_c", s.WetBulbC, 0.002},
			{"vapour_density_g_per_m3", 1000 * s.VapourDensity, 0.001},
			{"moist_air_density_kg_per_m3", s.Density, 1e-5},
			{"enthalpy_j_per_kg_da", s.Enthalpy, 0.2},
			{"dew_point_c", s.DewPointC, 0.002},
		} {
			if c.column == "dew_point_c" && x(c.column) <= 0 {
				t.Logf("not applied: %sdew point %g °C is over ice", what, x(c.column))
				continue
			}
			count.check(t, what+c.column, row["basis"], c.got, x(c.column), c.tol)
		}
	}
	count.log(t)
}

// TestSaturationAgainstOthers states how far the engine's saturation pressure
// stands from the other formulations in use, 0 to 60 °C and, for those made for
// it, from −40 °C.
func TestSaturationAgainstOthers(t *testing.T) {
	magnus := func(a0, a, b float64) func(float64) float64 {
		return func(t float64) float64 { return 100 * a0 * math.Exp(a*t/(b+t)) }
	}
	sonntag := func(t float64) float64 {
		k := t + 273.15
		return math.Exp(-6096.9385/k + 21.2409642 - 0.02711193*k + 1.673952e-5*k*k + 2.433502*math.Log(k))
	}
	for _, tt := range []struct {
		name     string
		p        func(float64) float64
		from, to float64
		within   float64 // relative
	}{
		{"Sonntag (University of Hamburg routine, 2003)", sonntag, 0, 60, 0.0003},
		{"Sonntag over supercooled water", sonntag, -40, 0, 0.001},
		{"Magnus, WMO coefficients, stated error 0.4 %", magnus(6.112, 17.62, 243.12), 0, 60, 0.004},
		{"Magnus, Alduchov and Eskridge, AMS, 1996 (recalled)", magnus(6.1094, 17.625, 243.04), 0, 60, 0.004},
		{"Magnus, Bolton (ETH Zurich routine, 2000)", magnus(6.112, 17.67, 243.5), 0, 35, 0.004},
		{"Magnus, Tetens (ETH Zurich routine, 2000)", magnus(6.1078, 17.2693882, 237.3), 0, 35, 0.004},
	} {
		var worst, at float64
		for c := tt.from; c <= tt.to; c += 0.25 {
			if off := math.Abs(moisture.SaturationPressure(c)/tt.p(c) - 1); off > worst {
				worst, at = off, c
			}
		}
		t.Logf("%s, %g to %g °C: at most %.3f %%, at %g °C", tt.name, tt.from, tt.to, 100*worst, at)
		if !(worst <= tt.within) {
			t.Errorf("%s: %.4f %%, over %.4f %%", tt.name, 100*worst, 100*tt.within)
		}
	}
	// The single values of the check table.
	for _, row := range table(t, "engineering_checks.csv") {
		if !strings.Contains(row["formula"], "magnus") && !strings.Contains(row["formula"], "sonntag") {
			continue
		}
		c := number(t, strings.TrimPrefix(strings.Split(row["inputs"], ";")[0], "t="))
		want := number(t, row["expected"]) * map[string]float64{"hPa": 100, "Pa": 1}[row["unit"]]
		off := moisture.SaturationPressure(c)/want - 1
		t.Logf("%s at %g °C: %+.3f %%", row["check_id"], c, 100*off)
		if !(math.Abs(off) <= 0.004) {
			t.Errorf("%s: %.3f %% off", row["check_id"], 100*off)
		}
	}
}
