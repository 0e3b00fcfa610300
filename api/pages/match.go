package pages

import (
	"net/url"
	"slices"
	"strconv"

	"denwright/care"
	"denwright/sizing"
)

// matchPages are the pages about what could live in an enclosure, and together.
func (s *Site) matchPages(m mount) {
	m.get("/match", matchPage)
	m.get("/company", companyPage)
}

// speciesPerPage is how many species are listed at a time, and mostFirst how many things to
// find out, so that the page stays small.
const (
	speciesPerPage = 20
	mostFirst      = 8
)

// matchFields are what a match asks besides the setup.
func (r *request) matchFields() []field {
	return []field{
		{At: "count", Kind: wholeField, Start: "1"},
		{At: "stage", Kind: choiceField, Options: words(care.Stages), Start: "adult"},
		{At: "sex", Kind: choiceField, Options: []string{"female", "male", "unknown"}},
		r.jurisdictionField(),
		{At: "empty", Kind: tickField, Wide: true},
		{At: "groups", Kind: manyField, Options: words(care.Groups), Wide: true},
		{At: "without", Kind: manyField, Options: sizing.HazardClasses, Wide: true},
		{At: "experience", Kind: choiceField, Options: words(sizing.Experiences)},
		{At: "fits", Kind: manyField, Options: words(sizing.Fits), Wide: true},
	}
}

type matchData struct {
	Form *form
	*sizing.MatchAnswer
	Groups []groupView
	// Page of Pages is shown; Listed is how many species there are on all.
	Page, Listed int
	Pages        []int
	Before       int // ranks on earlier pages
}

// matchPage ranks the species that could live in an enclosure.
func matchPage(r *request) error {
	values := renamed(r.QueryParams(), "animals.0.", "", "count", "stage", "sex")
	f := r.newForm("ask", values, slices.Concat(r.matchFields(), setupFields()), heatRow)
	d := matchData{Form: f, Page: 1}
	var q sizing.MatchQuestion
	if f.sent() && f.ask(&q) {
		answer, err := r.snap.Matcher.Match(q)
		if err != nil && !f.refused(err) {
			return err
		}
		d.MatchAnswer = answer
	}
	if d.MatchAnswer != nil {
		d.Listed = len(d.Species)
		pages := (d.Listed + speciesPerPage - 1) / speciesPerPage
		if n, err := strconv.Atoi(values.Get("page")); err == nil && n >= 1 && n <= pages {
			d.Page = n
		}
		for n := range pages {
			d.Pages = append(d.Pages, n+1)
		}
		d.Before = (d.Page - 1) * speciesPerPage
		d.Species = d.Species[min(d.Before, d.Listed):min(d.Page*speciesPerPage, d.Listed)]
		d.MeasureFirst = d.MeasureFirst[:min(len(d.MeasureFirst), mostFirst)]
	}
	d.Groups = f.Groups(nil)
	return r.render("match", r.t("match.title"), d)
}

// renamed gives fields of one form the names that they have in another: the form of
// an assessment and that of a match ask the same of one animal.
func renamed(values url.Values, from, to string, names ...string) url.Values {
	out := url.Values{}
	for name, v := range values {
		out[name] = v
	}
	for _, name := range names {
		if v, there := out[from+name]; there && !out.Has(to+name) {
			out[to+name] = v
		}
		delete(out, from+name)
	}
	return out
}
