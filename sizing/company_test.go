package sizing_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

func company(t testing.TB, c *care.Catalogue, q sizing.CompanyQuestion) *sizing.CompanyAnswer {
	t.Helper()
	a, err := sizing.Company(c, q)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func adults(n int, sex string) sizing.Animal {
	return sizing.Animal{Count: n, Stage: care.Adult, Sex: sex}
}

// TestCompany puts real species together. What the records say of each species'
// company is recalled (see the species' nature).
func TestCompany(t *testing.T) {
	c := catalogue(t)
	snake := func(cm float64) sizing.Animal {
		return sizing.Animal{Count: 1, Length: new(quantity.Centimetres(cm)), Measure: care.TotalLength}
	}
	tests := []struct {
		name    string
		members []sizing.CompanyMember
		verdict sizing.CompanyVerdict
		code    string // of a reason
		speaks  sizing.Speaks
		says    string
	}{
		{"one animal", []sizing.CompanyMember{{"pogona-vitticeps", []sizing.Animal{adults(1, "")}}}, sizing.NoObjection, "", "", ""},
		{"two bearded dragons", []sizing.CompanyMember{{"pogona-vitticeps", []sizing.Animal{adults(2, "male")}}}, sizing.DoNot, "sexes", sizing.Against, "2 males"},
		{"two female bearded dragons", []sizing.CompanyMember{{"pogona-vitticeps", []sizing.Animal{adults(2, "female")}}}, sizing.DoNot, "sexes", sizing.Against, "females"},
		{"kingsnakes", []sizing.CompanyMember{{"lampropeltis-getula", []sizing.Animal{adults(2, "female")}}}, sizing.DoNot, "sociality", sizing.Against, "lives alone"},
		{"fire-bellied toads", []sizing.CompanyMember{{"bombina-orientalis", []sizing.Animal{adults(3, "female")}}}, sizing.CompanyUnknown, "sociality", sizing.For, "company"},
		{"horned frogs", []sizing.CompanyMember{{"ceratophrys-ornata", []sizing.Animal{adults(2, "female")}}}, sizing.DoNot, "predation", sizing.Caution, "eats its own kind"},
		{"unequal snakes", []sizing.CompanyMember{{"thamnophis-sirtalis", []sizing.Animal{snake(20), snake(80)}}}, sizing.DoNot, "predation", sizing.Against, "4.0 times"},
		{"kingsnake and corn snake", []sizing.CompanyMember{{"lampropeltis-getula", []sizing.Animal{adults(1, "")}}, {"pantherophis-guttatus", []sizing.Animal{adults(1, "")}}}, sizing.DoNot, "predation", sizing.Against, "eats other snakes"},
		{"tortoise and bearded dragon", []sizing.CompanyMember{{"testudo-hermanni", []sizing.Animal{adults(1, "")}}, {"pogona-vitticeps", []sizing.Animal{adults(1, "")}}}, sizing.DoNot, "hygiene", sizing.Against, "amoebae"},
		{"desert and stream", []sizing.CompanyMember{{"uromastyx-geyri", []sizing.Animal{adults(1, "")}}, {"salamandra-salamandra", []sizing.Animal{adults(1, "")}}}, sizing.DoNot, "climate", sizing.Against, "no value suits"},
		{"newt and treefrog", []sizing.CompanyMember{{"pleurodeles-waltl", []sizing.Animal{adults(1, "")}}, {"dryophytes-cinereus", []sizing.Animal{adults(1, "")}}}, sizing.DoNot, "mixed_species", sizing.Against, "unless shown otherwise"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a := company(t, c, sizing.CompanyQuestion{Members: tt.members})
			if a.Verdict != tt.verdict {
				t.Errorf("%s, want %s: %+v", a.Verdict, tt.verdict, a.Reasons)
			}
			found := slices.ContainsFunc(a.Reasons, func(r sizing.CompanyReason) bool {
				return r.Code == tt.code && r.Speaks == tt.speaks && strings.Contains(r.Text, tt.says)
			})
			if tt.code != "" && !found {
				t.Errorf("no %s %s %q in %+v", tt.code, tt.speaks, tt.says, a.Reasons)
			}
		})
	}
}

// TestMixedIsNeverAllowed: no two species of the catalogue are ever answered with
// anything but "do not", and each reason says what it rests on.
func TestMixedIsNeverAllowed(t *testing.T) {
	c := catalogue(t)
	all := c.Species()
	pairs := 0
	for i, a := range all {
		for j := i + 1; j < len(all); j += 7 { // a seventh of the pairs
			answer := company(t, c, sizing.CompanyQuestion{Members: []sizing.CompanyMember{{a.ID, []sizing.Animal{adults(1, "")}}, {all[j].ID, []sizing.Animal{adults(1, "")}}}})
			if answer.Verdict != sizing.DoNot || answer.Space != nil {
				t.Errorf("%s with %s: %s", a.ID, all[j].ID, answer.Verdict)
			}
			for _, r := range answer.Reasons {
				if r.Basis == "" || r.Text == "" || (r.Speaks == sizing.Unknown) != (r.Settle != "") {
					t.Errorf("%s with %s: %+v", a.ID, all[j].ID, r)
				}
			}
			for _, s := range answer.Shared {
				if (s.Range != nil) != (s.Standing == "shared") {
					t.Errorf("%s with %s: %+v", a.ID, all[j].ID, s)
				}
			}
			pairs++
		}
	}
	t.Logf("%d pairs of species", pairs)
}

// TestCompanyNeedsTheSexes: where males fight, animals of unknown sex can't be told;
// knowing them settles it.
func TestCompanyNeedsTheSexes(t *testing.T) {
	c := catalogue(t)
	found := 0
	for _, s := range c.Species() {
		if !strings.HasPrefix(s.Nature.Sociality, "group") || !strings.Contains(s.Nature.Sociality, "males fight") {
			continue
		}
		ask := func(animals ...sizing.Animal) sizing.Speaks {
			for _, r := range company(t, c, sizing.CompanyQuestion{Members: []sizing.CompanyMember{{s.ID, animals}}}).Reasons {
				if r.Code == "sexes" {
					return r.Speaks
				}
			}
			return ""
		}
		if got := ask(adults(2, "")); got != sizing.Unknown {
			t.Errorf("%s, sexes unknown: %q", s.ID, got)
		}
		if got := ask(adults(2, "male")); got != sizing.Against {
			t.Errorf("%s, two males: %q", s.ID, got)
		}
		if got := ask(adults(1, "male"), adults(1, "female")); got != "" {
			t.Errorf("%s, a pair: %q", s.ID, got)
		}
		found++
	}
	if found < 3 {
		t.Errorf("only %d species whose males fight in groups", found)
	}
}

// TestCompanySpace: the published rules for further animals are in the answer, and an
// enclosure large enough for one may not be for two.
func TestCompanySpace(t *testing.T) {
	c := catalogue(t)
	ask := func(n int) *sizing.CompanyAnswer {
		setup := ideal(t, c, c.SpeciesByID("testudo-hermanni"), "", 0)
		return company(t, c, sizing.CompanyQuestion{Setup: &setup, Members: []sizing.CompanyMember{{"testudo-hermanni", []sizing.Animal{adults(n, "female")}}}})
	}
	short := func(a *sizing.CompanyAnswer) bool {
		return slices.ContainsFunc(a.Reasons, func(r sizing.CompanyReason) bool { return r.Code == "space" && r.Speaks != sizing.For })
	}
	one, four := ask(1), ask(4)
	if short(one) || !short(four) || four.Space.FloorArea <= one.Space.FloorArea {
		t.Errorf("one: %+v\nfour: %+v", one.Reasons, four.Reasons)
	}
	_, err := sizing.Company(c, sizing.CompanyQuestion{Members: []sizing.CompanyMember{{"testudo-hermanni", nil}, {"nobody", []sizing.Animal{adults(1, "")}}}})
	var bad sizing.Invalid
	if !errors.As(err, &bad) || len(bad) != 2 || bad[0].Field != "/members/0/animals" || bad[1].Field != "/members/1/species" {
		t.Errorf("%v", err)
	}
}
