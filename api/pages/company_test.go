package pages

import (
	"html"
	"strings"
	"testing"

	"denwright/care"
	"denwright/sizing"
)

// The page says what the engine says of a company, whose rows of one species are one
// member, by whatever name.
func TestCompanyPage(t *testing.T) {
	h, r := serve(t), viewer(t)
	for _, c := range []struct {
		query   string
		members []sizing.CompanyMember
	}{
		{"&members.0.species=leopard+gecko&members.0.count=1&members.0.stage=adult&members.0.sex=male&members.1.species=Eublepharis+macularius&members.1.count=2&members.1.stage=adult&members.1.sex=female",
			[]sizing.CompanyMember{{Species: "eublepharis-macularius", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult, Sex: "male"}, {Count: 2, Stage: care.Adult, Sex: "female"}}}}},
		{"&members.0.species=pogona-vitticeps&members.0.count=1&members.0.stage=adult&members.2.species=python-regius&members.2.count=1&members.2.stage=adult",
			[]sizing.CompanyMember{{Species: "pogona-vitticeps", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}, {Species: "python-regius", Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}}}},
	} {
		answer, err := sizing.Company(r.snap.Catalogue, sizing.CompanyQuestion{Members: c.members})
		if err != nil {
			t.Fatal(err)
		}
		_, body := visit(t, h, "/company?units=metric"+c.query)
		body = html.UnescapeString(body)
		want := []string{`<p class="big">` + r.all.word("company.verdict", answer.Verdict) + "</p>"}
		for _, reason := range answer.Reasons {
			want = append(want, reason.Text)
		}
		for _, w := range want {
			if !strings.Contains(body, w) {
				t.Errorf("%s: the page lacks %q", c.query, w)
			}
		}
	}
}

// A problem stands in the row where it was typed, though rows of a species are asked together.
func TestCompanyProblemsInTheirRows(t *testing.T) {
	h := serve(t)
	const first = "/company?units=metric&members.0.species=leopard+gecko&members.0.count=1&members.0.stage=adult"
	for query, id := range map[string]string{
		"&members.3.species=nobody+at+all&members.3.count=1&members.3.stage=adult":                                                                                              "f-members-3-species",
		"&members.2.species=leopard+gecko&members.2.count=0&members.2.stage=adult":                                                                                              "f-members-2-count",
		"&members.1.species=ball+python&members.1.count=1&members.1.stage=adult&members.4.species=leopard+gecko&members.4.count=1&members.4.length=900&members.4.measure=total": "f-members-4-length",
	} {
		_, body := visit(t, h, first+query)
		if !strings.Contains(body, `id="`+id+`-problem"`) || strings.Contains(body, `<p class="big">`) {
			t.Errorf("%s: no problem at %s", query, id)
		}
	}
	_, body := visit(t, h, "/company")
	if strings.Count(body, `name="members.`) < 2*6 || strings.Contains(body, "-problem") {
		t.Error("the empty form does not ask for two")
	}
}
