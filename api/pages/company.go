package pages

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"denwright/care"
	"denwright/sizing"
)

// companyRow is the list of the form: each row is animals of one species that are
// alike; rows of one species are one member of the company.
const companyRow = "members"

func companyFields() []field {
	return []field{
		{At: "members.0.species", Kind: textField, Needed: true},
		{At: "members.0.count", Kind: wholeField, Needed: true, Start: "1"},
		{At: "members.0.stage", Kind: choiceField, Options: words(care.Stages), Start: "adult"},
		{At: "members.0.sex", Kind: choiceField, Options: []string{"female", "male", "unknown"}},
		{At: "members.0.length", Kind: lengthField},
		{At: "members.0.measure", Kind: choiceField, Options: []string{string(care.TotalLength), string(care.SnoutVent), string(care.Shell)}},
	}
}

// companyLine is a row of the form: animals that are alike.
type companyLine struct {
	Species string `json:"species"`
	sizing.Animal
}

type companyData struct {
	Form *form
	*sizing.CompanyAnswer
	Reasons []companyReasons
	// Titles are the sources that the answer names, by key.
	Titles map[string]*care.Source
}

// companyReasons are the reasons of one weight.
type companyReasons struct {
	Speaks sizing.Speaks
	All    []sizing.CompanyReason
}

// companyPage asks which animals are to share and answers whether they may.
func companyPage(r *request) error {
	values := r.QueryParams()
	f := r.newForm("ask", withTwoRows(values), append(companyFields(), r.jurisdictionField()), companyRow)
	d := companyData{Form: f}
	var sent struct {
		Members      []companyLine `json:"members"`
		Jurisdiction string        `json:"jurisdiction,omitzero"`
	}
	if f.sent() && f.ask(&sent) {
		q := sizing.CompanyQuestion{Jurisdiction: sent.Jurisdiction}
		// Where each row has come to: the member, and the animals in it.
		rows := map[string]string{}
		for i, line := range sent.Members {
			line.Species = r.named(line.Species)
			at := slices.IndexFunc(q.Members, func(m sizing.CompanyMember) bool { return m.Species == line.Species })
			if at < 0 {
				at = len(q.Members)
				q.Members = append(q.Members, sizing.CompanyMember{Species: line.Species})
				rows[fmt.Sprintf("/members/%d/species", at)] = fmt.Sprintf("/members/%d/species", i)
			}
			rows[fmt.Sprintf("/members/%d/animals/%d", at, len(q.Members[at].Animals))] = fmt.Sprintf("/members/%d", i)
			q.Members[at].Animals = append(q.Members[at].Animals, line.Animal)
		}
		answer, err := sizing.Company(r.snap.Catalogue, q)
		if invalid, bad := err.(sizing.Invalid); bad {
			for i := range invalid {
				for from, to := range rows {
					if rest, is := strings.CutPrefix(invalid[i].Field, from); is && (rest == "" || rest[0] == '/') {
						invalid[i].Field = to + rest
						break
					}
				}
			}
		}
		if err != nil && !f.refused(err) {
			return err
		}
		d.CompanyAnswer = answer
	}
	if d.CompanyAnswer != nil {
		d.Titles = map[string]*care.Source{}
		for _, reason := range d.CompanyAnswer.Reasons {
			for _, key := range reason.Sources {
				d.Titles[key] = r.snap.Source(key)
			}
		}
		if d.Space != nil {
			for _, g := range d.Space.Governed {
				d.Titles[g.Source] = r.snap.Source(g.Source)
			}
		}
		for _, s := range []sizing.Speaks{sizing.Against, sizing.Unknown, sizing.Caution, sizing.For} {
			of := companyReasons{Speaks: s}
			for _, reason := range d.CompanyAnswer.Reasons {
				if reason.Speaks == s {
					of.All = append(of.All, reason)
				}
			}
			if len(of.All) > 0 {
				d.Reasons = append(d.Reasons, of)
			}
		}
	}
	return r.render("company", r.t("company.title"), d)
}

// named is the id of the species that alone bears a name, or the name as it is.
func (r *request) named(name string) string {
	name = strings.TrimSpace(name)
	if r.snap.SpeciesByID(name) == nil && name != "" {
		if found := r.snap.Find(name, 1); found.Outcome == "one" {
			return found.Candidates[0].Species.ID
		}
	}
	return name
}

// withTwoRows asks for a second row in an empty form: company is of two.
func withTwoRows(values url.Values) url.Values {
	if values.Has(unitsField) {
		return values
	}
	out := url.Values{}
	for name, v := range values {
		out[name] = v
	}
	out.Set("add", companyRow)
	return out
}
