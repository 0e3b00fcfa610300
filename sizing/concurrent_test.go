package sizing_test

import (
	"fmt"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
	"denwright/sizing/score"
)

// TestManyAtOnce: what is kept with a catalogue and in a matcher gives many askers at
// once the answers that one gets, also while it is cleared for want of room.
func TestManyAtOnce(t *testing.T) {
	c, alone := catalogue(t), catalogue(t)
	shared := sizing.NewMatcher(c)
	side := quantity.Centimetres(120)
	setup := score.Setup{Inside: &score.Inside{Length: &side, Width: &side, Height: &side}}
	encode := quantity.NewEncoder(quantity.Metric, false)
	ask := func(c *care.Catalogue, m *sizing.Matcher, i int) (string, error) {
		s := c.Species()[i%len(c.Species())]
		q := sizing.Question{Species: s.ID, Animals: []sizing.Animal{{Count: 1 + i%5, Stage: care.Stages[i%len(care.Stages)]}}}
		if i%4 == 0 {
			q.Jurisdiction = "DE"
		}
		var out []byte
		needs, err := sizing.Require(c, q)
		if err == nil {
			out, err = encode.Append(out, needs)
		}
		if err != nil {
			return "", err
		}
		found, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: q, Setup: setup})
		if err == nil {
			out, err = encode.Append(out, found)
		}
		if err != nil {
			return "", err
		}
		if i%16 == 0 {
			match, err := m.Match(sizing.MatchQuestion{Setup: setup, Count: 1 + i/16%10, Jurisdiction: q.Jurisdiction, Limit: 3})
			if err != nil {
				return "", err
			}
			if out, err = encode.Append(out, match); err != nil {
				return "", err
			}
		}
		return string(out), nil
	}
	const questions = 320 // of more groups than are kept
	var want [questions]string
	var refused [questions]error
	for i := range questions {
		want[i], refused[i] = ask(alone, sizing.NewMatcher(alone), i)
	}
	wrong := make(chan string, questions)
	var wg sync.WaitGroup
	for first := range 8 {
		wg.Go(func() {
			for i := first; i < questions; i += 8 {
				got, err := ask(c, shared, i)
				if fmt.Sprint(err) != fmt.Sprint(refused[i]) || got != want[i] {
					wrong <- fmt.Sprintf("question %d: %v, alone %v %s", i, err, refused[i], cmp.Diff(want[i], got))
				}
			}
		})
	}
	wg.Wait()
	close(wrong)
	for w := range wrong {
		t.Error(w)
	}
}

// TestKeptNeedsAreOfTheGroup: whatever was asked before of the same species, an answer is
// that of a catalogue which was asked nothing else.
func TestKeptNeedsAreOfTheGroup(t *testing.T) {
	side := quantity.Centimetres(120)
	setup := score.Setup{Inside: &score.Inside{Length: &side, Width: &side, Height: &side}}
	encode := quantity.NewEncoder(quantity.Metric, false)
	groups := []sizing.Question{
		{Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}},
		{Animals: []sizing.Animal{{Count: 2, Stage: care.Adult}}},
		{Animals: []sizing.Animal{{Count: 2, Stage: care.Adult, Sex: "female"}}},
		{Animals: []sizing.Animal{{Count: 2, Stage: care.Adult, Sex: "male"}}},
		{Animals: []sizing.Animal{{Count: 1, Stage: care.Juvenile}}},
		{Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}, Jurisdiction: "DE"},
		{Animals: []sizing.Animal{{Count: 1, Stage: care.Adult}}, Jurisdiction: "US-FL"},
		{Animals: []sizing.Animal{{Count: 1, Stage: care.Adult, Age: new(quantity.Hours(8 * 8766))}}},
	}
	answer := func(c *care.Catalogue, q sizing.Question) string {
		a, err := sizing.Assess(c, sizing.AssessmentQuestion{Question: q, Setup: setup})
		if err != nil {
			return err.Error()
		}
		a.Animals = nil // says what was asked
		out, err := encode.Append(nil, a)
		if err != nil {
			t.Fatal(err)
		}
		return string(out)
	}
	shared, alone := catalogue(t), make([]*care.Catalogue, len(groups))
	for i := range alone {
		alone[i] = catalogue(t)
	}
	differ := make([]bool, len(groups)) // from the group before, for some species: else nothing is tested
	for _, s := range shared.Species() {
		before := ""
		for i, q := range groups {
			q.Species = s.ID
			got, want := answer(shared, q), answer(alone[i], q)
			if got != want {
				t.Fatalf("%s, group %d: %s", s.ID, i, cmp.Diff(want, got))
			}
			differ[i] = differ[i] || got != before
			before = got
		}
	}
	for i := range groups[1:] {
		if !differ[i+1] {
			t.Errorf("group %d is answered like the one before for every species", i+1)
		}
	}
}
