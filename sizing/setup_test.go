package sizing_test

import (
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// A reading in °F sent as °C is possible but far from anything the animal is kept
// at: the answer stands, with a warning that names the field.
func TestSlipsAreWarnedOf(t *testing.T) {
	c := catalogue(t)
	tests := []struct {
		name  string
		setup score.Setup
		field string // empty: no warning
	}{
		{"40 °F sent as °C", score.Setup{Temperatures: score.Temperatures{CoolAir: new(quantity.Temperature(40))}}, "/setup/temperatures/cool_air"},
		{"104 °F sent as °C", score.Setup{Temperatures: score.Temperatures{HotSpot: new(quantity.Temperature(104))}}, "/setup/temperatures/hot_spot"},
		{"68 °F sent as °C", score.Setup{Temperatures: score.Temperatures{NightAir: new(quantity.Temperature(68))}}, "/setup/temperatures/night_air"},
		{"ends swapped", score.Setup{Temperatures: score.Temperatures{WarmAir: new(quantity.Temperature(24)), CoolAir: new(quantity.Temperature(31))}}, "/setup/temperatures/cool_air"},
		{"metres for centimetres", score.Setup{Inside: &score.Inside{Length: new(quantity.Length(0.012)), Width: new(quantity.Length(0.006)), Height: new(quantity.Length(0.006))}}, "/setup/inside"},
		{"all as it should be", score.Setup{Temperatures: score.Temperatures{HotSpot: new(quantity.Temperature(40)), WarmAir: new(quantity.Temperature(31)), CoolAir: new(quantity.Temperature(24)), NightAir: new(quantity.Temperature(18))}}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}, Setup: tt.setup})
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, w := range a.Warnings {
				found = found || w.Field == tt.field
				if tt.field == "" {
					t.Errorf("warned at %s: %s", w.Field, w.Text)
				}
			}
			if tt.field != "" && !found {
				t.Errorf("no warning at %s in %v", tt.field, a.Warnings)
			}
		})
	}
}

// What can't be is refused, every field of it at once.
func TestAbsurdSetupsAreRefused(t *testing.T) {
	c := catalogue(t)
	_, err := sizing.Assess(c, sizing.AssessmentQuestion{
		Question: sizing.Question{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Length: new(quantity.Length(40)), Measure: care.TotalLength}}},
		Setup: score.Setup{
			Inside:       &score.Inside{Length: new(quantity.Length(-1)), Width: new(quantity.Length(0)), Height: new(quantity.Length(500))},
			Temperatures: score.Temperatures{HotSpot: new(quantity.Temperature(400))},
			Humidity:     score.Humidity{Day: new(quantity.Fraction(1.4))},
			UV:           score.UV{Basking: new(quantity.UVIndex(-1))},
			Material:     "gold",
			HeatSources:  []score.HeatSource{{Kind: "campfire", Power: new(quantity.Power(1e6))}},
		}})
	if err == nil {
		t.Fatal("taken as it is")
	}
	for _, field := range []string{"/animals/0/length", "/setup/inside/length", "/setup/inside/width", "/setup/inside/height", "/setup/temperatures/hot_spot",
		"/setup/humidity/day", "/setup/uv/basking", "/setup/material", "/setup/heat_sources/0/kind", "/setup/heat_sources/0/power"} {
		if !strings.Contains(err.Error(), field+":") {
			t.Errorf("%s is not named in\n%v", field, err)
		}
	}
}
