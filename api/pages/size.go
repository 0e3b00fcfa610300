package pages

import (
	"slices"

	"denwright/care"
	"denwright/sizing"
)

// animalFields are the fields of who lives there, the same in every form that asks it.
func animalFields() []field {
	return []field{
		{At: "species", Kind: textField, Wide: true, Needed: true},
		{At: "animals.0.count", Kind: wholeField, Needed: true, Start: "1"},
		{At: "animals.0.stage", Kind: choiceField, Options: words(care.Stages), Start: "adult"},
		{At: "animals.0.sex", Kind: choiceField, Options: []string{"female", "male", "unknown"}},
		{At: "animals.0.length", Kind: lengthField},
		{At: "animals.0.measure", Kind: choiceField, Options: []string{string(care.TotalLength), string(care.SnoutVent), string(care.Shell)}},
		{At: "animals.0.age", Kind: hoursField, Unit: "months"},
	}
}

// jurisdictionField chooses among those for which rules are held.
func (r *request) jurisdictionField() field {
	return field{At: "jurisdiction", Kind: choiceField, Options: r.snap.Jurisdictions()}
}

func words[T ~string](all []T) []string {
	out := make([]string, len(all))
	for i, w := range all {
		out[i] = string(w)
	}
	return out
}

type sizeData struct {
	Form *form
	*sizing.Requirement
}

// sizePage asks who is to live there and answers how big it must be.
func sizePage(r *request) error {
	d := sizeData{Form: r.newForm("ask", r.QueryParams(), append(animalFields(), r.jurisdictionField()), "animals")}
	if d.Form.sent() {
		var q sizing.Question
		if d.Form.ask(&q) {
			answer, err := sizing.Require(r.snap.Catalogue, q)
			if err != nil && !d.Form.refused(err) {
				return err
			}
			d.Requirement = answer
		}
	}
	title := r.t("size.title")
	if d.Requirement != nil {
		title = r.t("size.title-for", d.Species.Common)
	}
	return r.render("size", title, d)
}

// Governing are the published rules that govern, Others the rest.
func (d sizeData) Governing() []sizing.RuleAnswer { return d.rules(true) }
func (d sizeData) Others() []sizing.RuleAnswer    { return d.rules(false) }

func (d sizeData) rules(govern bool) []sizing.RuleAnswer {
	return slices.DeleteFunc(slices.Clone(d.Rules), func(a sizing.RuleAnswer) bool { return a.Governs != govern })
}
