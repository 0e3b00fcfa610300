package intake

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"denwright/care/quantity"
	"denwright/sizing/score"
)

// blank reports whether a cell says that nothing is known.
func blank(s string) bool {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "?", "??", "???", "-", "–", "unknown", "not known", "n/k", "nk", "n/a", "na", "don't know", "dont know", "not measured":
		return true
	}
	return false
}

// groups takes out what parts thousands and is no decimal sign.
var groups = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "", "'", "")

// number reads a figure with a decimal point or comma. Of both, the last is the
// decimal sign and the other groups thousands. A lone comma before exactly three
// digits could be either, and is refused unless the number starts with 0.
func number(s string) (float64, error) {
	s = strings.TrimSpace(s)
	plain := groups.Replace(s)
	point, comma := strings.LastIndex(plain, "."), strings.LastIndex(plain, ",")
	switch {
	case point >= 0 && comma >= 0:
		group, decimal := ",", "."
		if comma > point {
			group, decimal = ".", ","
		}
		whole, rest, _ := strings.Cut(plain, decimal)
		if strings.Contains(rest, group) || strings.Contains(rest, decimal) || !grouped(strings.Split(whole, group)) {
			return 0, fmt.Errorf("%q is no number", clip(s))
		}
		plain = strings.ReplaceAll(whole, group, "") + "." + rest
	case comma >= 0 || point >= 0:
		sign := ","
		if point >= 0 {
			sign = "."
		}
		parts := strings.Split(plain, sign)
		switch {
		case len(parts) > 2 && grouped(parts):
			plain = strings.Join(parts, "")
		case len(parts) > 2:
			return 0, fmt.Errorf("%q is no number", clip(s))
		case sign == "," && len(parts[1]) == 3 && len(parts[0]) > 0 && len(parts[0]) <= 3 && strings.TrimLeft(parts[0], "0") != "":
			return 0, fmt.Errorf("%q may be %s%s or %s.%s", clip(s), parts[0], parts[1], parts[0], parts[1])
		default:
			plain = parts[0] + "." + parts[1]
		}
	}
	// Only digits reach the parser, so that "1e9", "0x10" and "Inf" are refused.
	if strings.Trim(plain, "0123456789.") != "" && strings.Trim(plain[1:], "0123456789.") != "" || strings.Trim(plain, "+-.") == "" {
		return 0, fmt.Errorf("%q is no number", clip(s))
	}
	x, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number", clip(s))
	}
	return x, nil
}

// grouped reports whether all but the first part have three digits.
func grouped(parts []string) bool {
	for i, p := range parts {
		if i > 0 && len(p) != 3 || i == 0 && (len(p) == 0 || len(p) > 3) {
			return false
		}
	}
	return true
}

// clip shortens what is quoted in a message.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// figure splits a cell into its number and the unit written after it.
func figure(s string) (float64, string, error) {
	s = strings.TrimSpace(s)
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-0123456789., \u00a0\u202f", r) })
	if end < 0 {
		end = len(s)
	}
	if strings.TrimSpace(s[:end]) == "" {
		return 0, "", fmt.Errorf("%q does not begin with a number", clip(s))
	}
	x, err := number(s[:end])
	return x, strings.Trim(strings.TrimSpace(s[end:]), "."), err
}

// unitNames are the spellings of units beyond those that quantity accepts.
var unitNames = map[string]string{
	"ins": "in", "inch": "in", "inches": "in", "\"": "in", "″": "in", "”": "in", "''": "in",
	"feet": "ft", "foot": "ft", "'": "ft", "′": "ft", "’": "ft",
	"cms": "cm", "centimetres": "cm", "centimeters": "cm", "centimetre": "cm", "centimeter": "cm", "mms": "mm", "millimetres": "mm", "millimeters": "mm",
	"metre": "m", "metres": "m", "meter": "m", "meters": "m",
	"c": "°C", "deg c": "°C", "degrees c": "°C", "celsius": "°C", "° c": "°C", "ºc": "°C", "º": "", "°": "",
	"f": "°F", "deg f": "°F", "degrees f": "°F", "fahrenheit": "°F", "° f": "°F", "ºf": "°F",
	"litres": "L", "liters": "L", "litre": "L", "liter": "L", "ltr": "L", "l": "L", "ml": "mL", "gals": "gal", "gallons": "gal", "gallon": "gal", "us gal": "gal",
	"percent": "%", "pct": "%", "% rh": "%", "rh": "%", "%rh": "%", "watt": "W", "watts": "W", "w": "W", "uvi": "UVI", "uv index": "UVI",
}

// unit gives a spelling that quantity accepts; one that is not known is passed on.
func unit(s string) string {
	if name, ok := unitNames[strings.ToLower(strings.TrimSpace(s))]; ok {
		return name
	}
	return strings.TrimSpace(s)
}

// with reads a figure with the unit in the cell, else that of the header, else the
// unit that goes without saying, if any.
func with[T ~float64](text, header, otherwise string, parse func(string) (T, error)) (T, error) {
	x, symbol, err := figure(text)
	if err != nil {
		return 0, err
	}
	if symbol = unit(symbol); symbol == "" {
		symbol = header
	}
	if symbol == "" {
		symbol = otherwise
	}
	if symbol == "" {
		return 0, fmt.Errorf("%q has no unit, in the cell or in the header", clip(text))
	}
	return parse(strconv.FormatFloat(x, 'f', -1, 64) + " " + symbol)
}

var (
	feetInches = regexp.MustCompile(`^(\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*(\d+(?:[.,]\d+)?)\s*(?:"|″|”|''|in\.?|ins|inch|inches)?$`)
	fractional = regexp.MustCompile(`^(?:(\d+)[ -]+)?(\d+)/(\d+)\s*(.*)$`)
)

// length reads "120 cm", "48in", `4' 2"`, `47 1/4"` or "1,2 m".
func length(text, header string) (quantity.Length, error) {
	text = strings.TrimSpace(text)
	if m := feetInches.FindStringSubmatch(text); m != nil {
		feet, err := number(m[1])
		if err != nil {
			return 0, err
		}
		inches, err := number(m[2])
		if err != nil {
			return 0, err
		}
		return quantity.ParseLength(fmt.Sprintf("%g in", feet*12+inches))
	}
	if m := fractional.FindStringSubmatch(text); m != nil {
		whole, _ := strconv.ParseFloat("0"+m[1], 64) // digits only, by the pattern
		over, _ := strconv.ParseFloat(m[2], 64)
		under, _ := strconv.ParseFloat(m[3], 64)
		if under == 0 || over >= under {
			return 0, fmt.Errorf("%q is no number", clip(text))
		}
		text = strconv.FormatFloat(whole+over/under, 'f', -1, 64) + " " + m[4]
	}
	return with(text, header, "", quantity.ParseLength)
}

func temperature(text, header string) (quantity.Temperature, error) {
	return with(text, header, "", quantity.ParseTemperature)
}

func volume(text, header string) (quantity.Volume, error) {
	return with(text, header, "", quantity.ParseVolume)
}

func uvIndex(text, header string) (quantity.UVIndex, error) {
	return with(text, header, "UVI", quantity.ParseUVIndex)
}

// humidity is relative, in %. A bare figure of 1 or less may be a share of one.
func humidity(text, header string) (quantity.Fraction, error) {
	x, symbol, err := figure(text)
	if err == nil && unit(symbol) == "" && header == "" && x > 0 && x <= 1 {
		return 0, fmt.Errorf("%q may be %g %% or a share of one", clip(text), x)
	}
	return with(text, header, "%", quantity.ParseFraction)
}

// months is an age: "18", "18 months", "2 years", "6 weeks".
func months(text, header string) (quantity.Hours, error) {
	x, symbol, err := figure(text)
	if err != nil {
		return 0, err
	}
	if symbol == "" {
		symbol = header
	}
	each, ok := map[string]float64{"": 1, "month": 1, "months": 1, "mo": 1, "m": 1, "mths": 1, "year": 12, "years": 12, "yr": 12, "yrs": 12, "y": 12, "week": 7 / 30.4375, "weeks": 7 / 30.4375, "wks": 7 / 30.4375}[strings.ToLower(symbol)]
	if !ok {
		return 0, fmt.Errorf("%q is no age: months, years or weeks", clip(text))
	}
	return quantity.Hours(x * each * 730.5), nil
}

func yesNo(text string) (bool, error) {
	switch strings.ToLower(strings.Trim(strings.TrimSpace(text), ".!")) {
	case "y", "yes", "true", "1", "x", "✓", "✔", "ok":
		return true, nil
	case "n", "no", "false", "0", "none":
		return false, nil
	}
	return false, fmt.Errorf("%q is neither yes nor no", clip(text))
}

// words reads a word of a vocabulary, or a synonym of one.
func word(text string, vocabulary []string, also map[string]string) (string, error) {
	s := strings.Join(strings.Fields(strings.ToLower(text)), "-")
	if w, ok := also[s]; ok {
		return w, nil
	}
	for _, w := range vocabulary {
		if s == w {
			return w, nil
		}
	}
	return "", fmt.Errorf("%q is not one of %s", clip(text), strings.Join(vocabulary, ", "))
}

var sizeSigns = regexp.MustCompile(`(?i)\s*(?:×|\*|\bby\b|x)\s*`)

// sizes reads "120 x 60 x 50 cm" or `48" x 24"`: two or three lengths; a unit at the
// end holds for those without one.
func sizes(text, header string) ([]quantity.Length, error) {
	parts := sizeSigns.Split(strings.TrimSpace(text), -1)
	if len(parts) < 2 || len(parts) > 3 {
		return nil, fmt.Errorf("%q is not length x width x height", clip(text))
	}
	if _, symbol, err := figure(parts[len(parts)-1]); err == nil && symbol != "" {
		header = unit(symbol)
	}
	var out []quantity.Length
	for _, p := range parts {
		l, err := length(p, header)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// heatWords are the words of a heat cell beyond the vocabularies of score.
var heatWords = map[string]func(*score.HeatSource){
	"guarded":     func(h *score.HeatSource) { h.Guarded = new(true) },
	"unguarded":   func(h *score.HeatSource) { h.Guarded = new(false) },
	"bare":        func(h *score.HeatSource) { h.Guarded = new(false) },
	"probe-ok":    func(h *score.HeatSource) { h.ProbeSenses = new(true) },
	"probe-off":   func(h *score.HeatSource) { h.ProbeSenses = new(false) },
	"stat":        func(h *score.HeatSource) { h.Control = "thermostat" },
	"no-stat":     func(h *score.HeatSource) { h.Control = "none" },
	"unregulated": func(h *score.HeatSource) { h.Control = "none" },
	"timer":       func(h *score.HeatSource) { h.Control = "timer-only" },
	"under":       func(h *score.HeatSource) { h.Place = "under-floor" },
}

// heatKinds are spellings of the kinds of heat source.
var heatKinds = map[string]string{
	"lamp": "basking-lamp", "bulb": "basking-lamp", "basking": "basking-lamp", "spot": "basking-lamp", "spotlight": "basking-lamp",
	"halogen": "halogen-lamp", "mercury": "uv-heat-lamp", "ceramic": "ceramic-emitter", "che": "ceramic-emitter", "dhp": "deep-heat-emitter", "panel": "radiant-panel",
	"mat": "heat-mat", "heatmat": "heat-mat", "cable": "heat-cable", "rock": "heated-rock", "heat-rock": "heated-rock", "hot-rock": "heated-rock", "heater": "water-heater",
}

// heat reads the heat sources, parted by + or / or ; each a kind and words about it:
// "halogen 75W inside guarded stat probe-ok gap 30cm + mat 20W under no-stat". "none"
// says that there are none.
func heat(text string) ([]score.HeatSource, error) {
	if s := strings.ToLower(strings.TrimSpace(text)); s == "none" || s == "no" {
		return []score.HeatSource{}, nil
	}
	out := []score.HeatSource{}
	for _, one := range strings.FieldsFunc(text, func(r rune) bool { return r == '+' || r == '/' || r == ';' }) {
		h, err := heatSource(strings.Fields(strings.ToLower(one)))
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%q names no heat source", clip(text))
	}
	return out, nil
}

func heatSource(words []string) (h score.HeatSource, err error) {
	for i := 0; i < len(words); i++ {
		w := strings.Trim(words[i], ",.")
		two := w
		if i+1 < len(words) {
			two = w + "-" + strings.Trim(words[i+1], ",.")
		}
		switch {
		case w == "":
		case w == "gap" && i+1 < len(words):
			i++
			text := words[i]
			if i+1 < len(words) && unitNames[words[i+1]] != "" || i+1 < len(words) && (words[i+1] == "cm" || words[i+1] == "in") {
				i++
				text += words[i]
			}
			l, err := length(text, "")
			if err != nil {
				return h, err
			}
			h.Gap = &l
		case known(&h, two):
			i++
		case known(&h, w):
		default:
			x, symbol, err := figure(w)
			if err == nil && symbol == "" && i+1 < len(words) && unit(words[i+1]) == "W" {
				i++
				symbol = "W"
			}
			if err != nil || unit(symbol) != "W" {
				return h, fmt.Errorf("%q is not a word for a heat source", clip(w))
			}
			p := quantity.Power(x)
			h.Power = &p
		}
	}
	if h.Kind == "" {
		return h, fmt.Errorf("%q does not say what kind of heat source it is: one of %s", clip(strings.Join(words, " ")), strings.Join(score.HeatKinds, ", "))
	}
	return h, nil
}

// known takes a word of the vocabularies into the heat source.
func known(h *score.HeatSource, w string) bool {
	if set, ok := heatWords[w]; ok && w != "timer" {
		set(h)
		return true
	}
	kind, ok := heatKinds[w]
	if k, err := word(w, score.HeatKinds, nil); err == nil {
		kind, ok = k, true
	}
	if ok && h.Kind == "" {
		h.Kind = kind
		return true
	}
	if p, err := word(w, score.Places, nil); err == nil {
		h.Place = p
		return true
	}
	if k, err := word(w, score.Controls, map[string]string{"timer": "timer-only"}); err == nil && k != "none" {
		h.Control = k
		return true
	}
	return false
}
