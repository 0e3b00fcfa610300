package quantity

import (
	"math"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The customary units are exact by definition: international yard and pound
// agreement of 1959 (1 in = 25.4 mm, 1 lb = 0.45359237 kg), US liquid gallon
// 231 in³; the Fahrenheit scale by its fixed points. NIST Handbook 44, appendix C, recalled.
func TestConversions(t *testing.T) {
	tests := []struct {
		got, want float64
	}{
		{must(ParseLength("48 in")), 1.2192},
		{must(ParseLength("4ft")), 1.2192},
		{must(ParseLength("120 cm")), 1.2},
		{must(ParseLength("1,2 m")), 1.2},
		{must(ParseVolume("75 gal")), 0.2839058838},
		{must(ParseTemperature("104 °F")), 40},
		{must(ParseTemperature("32F")), 0},
		{must(ParseTemperature("-40F")), -40},
		{must(ParseFraction("60 %")), 0.6},
		{must(ParseUVIndex("3.5")), 3.5},
		{must(ParsePower("100W")), 100},
	}
	for _, tt := range tests {
		if math.Abs(tt.got-tt.want) > 1e-9 {
			t.Errorf("got %.12g, want %.12g", tt.got, tt.want)
		}
	}
}

func must[T ~float64](x T, err error) float64 {
	if err != nil {
		panic(err)
	}
	return float64(x)
}

func TestParseRefuses(t *testing.T) {
	for in, want := range map[string]string{
		"":        "does not begin with a number",
		"tall":    "does not begin with a number",
		"120":     "unit is missing",
		"120 °C":  "is not one of a length",
		"NaN cm":  "does not begin with a number",
		"1e400cm": "is not one of a length",
	} {
		if _, err := ParseLength(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("ParseLength(%q) = %v, want an error with %q", in, err, want)
		}
	}
}

func TestWire(t *testing.T) {
	low, high := 38.0, 42.0
	in := struct {
		L Length      `json:"length"`
		T Temperature `json:"temperature"`
		B Band        `json:"band"`
		F Fraction    `json:"humidity"`
	}{1.2, 40, Band{Low: &low, High: &high, Unit: "°C"}, 0.6}
	for system, want := range map[System]string{
		Metric:   `{"length":{"value":120,"unit":"cm"},"temperature":{"value":40,"unit":"°C"},"band":{"low":38,"high":42,"unit":"°C"},"humidity":{"value":60,"unit":"%"}}`,
		Imperial: `{"length":{"value":47.24,"unit":"in"},"temperature":{"value":104,"unit":"°F"},"band":{"low":100.4,"high":107.6,"unit":"°F"},"humidity":{"value":60,"unit":"%"}}`,
	} {
		got, err := json.Marshal(in, json.WithMarshalers(Marshalers(system)))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, string(got)); diff != "" {
			t.Errorf("%v: %s", system, diff)
		}
	}
	plain, err := json.Marshal(in)
	if err != nil || !strings.Contains(string(plain), `"unit":"cm"`) {
		t.Errorf("without a system: %s, %v; want metric", plain, err)
	}
	for body, want := range map[string]string{
		`{"value":40,"unit":"°F"}`: "is not one of a length",
		`{"value":40}`:             "unit is missing",
		`{"unit":"cm"}`:            "value is missing",
	} {
		var l Length
		if err := json.Unmarshal([]byte(body), &l); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want an error with %q", body, err, want)
		}
	}
}

// Writing a length in either system and reading it back loses no more than the
// digits it is written with.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Length(rapid.Float64Range(0.001, 20).Draw(t, "metres"))
		system := rapid.SampledFrom([]System{Metric, Imperial}).Draw(t, "system")
		raw, err := json.Marshal(l, json.WithMarshalers(Marshalers(system)))
		if err != nil {
			t.Fatal(err)
		}
		var back Length
		if err := json.Unmarshal(raw, &back); err != nil {
			t.Fatal(err)
		}
		if math.Abs(float64(back-l)) > 0.0005+1e-12 {
			t.Fatalf("%v m came back as %v m from %s", l, back, raw)
		}
	})
}
