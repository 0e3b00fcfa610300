package pages

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
)

// stated is one thing that a question states: where, and what as it would be typed.
type stated struct {
	At    string // with dots: setup.inside.length
	Value string
}

// Label says where in words that stand by themselves: "heat sources 1, power".
func (f stated) Label() string {
	var parts []string
	for part := range strings.SplitSeq(strings.TrimPrefix(f.At, "setup."), ".") {
		if n, err := strconv.Atoi(part); err == nil && len(parts) > 0 {
			parts[len(parts)-1] += " " + strconv.Itoa(n+1)
			continue
		}
		if part == "uv" {
			part = "UV"
		}
		parts = append(parts, strings.ReplaceAll(part, "_", " "))
	}
	return strings.Join(parts, ", ")
}

// statedIn takes a question apart, in the order in which a keeper goes round an enclosure.
func statedIn(question []byte) ([]stated, error) {
	var tree any
	if err := json.Unmarshal(question, &tree); err != nil {
		return nil, err
	}
	var out []stated
	var walk func(v any, at string)
	walk = func(v any, at string) {
		switch v := v.(type) {
		case map[string]any:
			number, isNumber := v["value"].(float64)
			if unit, isUnit := v["unit"].(string); isNumber && isUnit && len(v) == 2 {
				out = append(out, stated{at, plainNumber(number) + " " + unit})
				return
			}
			for name, part := range v {
				walk(part, strings.TrimPrefix(at+"."+name, "."))
			}
		case []any:
			if len(v) == 0 {
				out = append(out, stated{at, "none"})
			}
			for i, part := range v {
				if _, object := part.(map[string]any); object {
					walk(part, at+"."+strconv.Itoa(i))
				} else {
					walk(part, at)
				}
			}
		case float64:
			out = append(out, stated{at, plainNumber(v)})
		case bool:
			out = append(out, stated{at, map[bool]string{true: "yes", false: "no"}[v]})
		case string:
			out = append(out, stated{at, v})
		}
	}
	walk(tree, "")
	slices.SortStableFunc(out, func(a, b stated) int {
		return cmp.Or(cmp.Compare(roundOf(a.At), roundOf(b.At)), comparePlaces(a.At, b.At))
	})
	return out, nil
}

func plainNumber(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// roundOrder is the order of the parts of a question.
var roundOrder = []string{"species", "animals", "jurisdiction", "setup.inside", "setup.material", "setup.temperatures", "setup.humidity", "setup.uv",
	"setup.heat_sources", "setup.substrate", "setup.water", "setup.retreats", "setup.climbing", "setup.ventilation", "setup.access"}

func roundOf(at string) int {
	i := slices.IndexFunc(roundOrder, func(part string) bool { return at == part || strings.HasPrefix(at, part+".") })
	if i < 0 {
		return len(roundOrder)
	}
	return i
}

// comparePlaces orders names by letter and rows by number.
func comparePlaces(a, b string) int {
	return slices.CompareFunc(strings.Split(a, "."), strings.Split(b, "."), func(x, y string) int {
		n, errN := strconv.Atoi(x)
		m, errM := strconv.Atoi(y)
		if errN == nil && errM == nil {
			return n - m
		}
		return cmp.Compare(x, y)
	})
}

// restated is what two questions say differently; empty is not stated.
type restated struct {
	Label    string
	Old, New string
}

// restatements lists what differs between two questions.
func restatements(old, now []byte) ([]restated, error) {
	before, err := statedIn(old)
	if err != nil {
		return nil, err
	}
	after, err := statedIn(now)
	if err != nil {
		return nil, err
	}
	values := func(all []stated, at string) string {
		var out []string
		for _, f := range all {
			if f.At == at {
				out = append(out, f.Value)
			}
		}
		return strings.Join(out, ", ")
	}
	var out []restated
	seen := map[string]bool{}
	for _, f := range slices.Concat(before, after) {
		if seen[f.At] {
			continue
		}
		seen[f.At] = true
		if a, b := values(before, f.At), values(after, f.At); a != b {
			out = append(out, restated{f.Label(), a, b})
		}
	}
	return out, nil
}
