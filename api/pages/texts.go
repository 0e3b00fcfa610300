package pages

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"math"
	"path"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"denwright/care"
	"denwright/care/quantity"
)

// The texts lie in texts/<language>/<part>.yaml, each a flat list of key and text,
// so that a translation is one more folder. A text is plain, never markup; %s and
// %d stand for what is put in. What the engine itself says is in English.
//
//go:embed texts
var textFiles embed.FS

type texts map[string]string

// loadTexts reads every language, each complete with English where it lacks a key.
func loadTexts() (map[string]texts, error) {
	all := map[string]texts{}
	err := fs.WalkDir(textFiles, "texts", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(textFiles, name)
		if err != nil {
			return err
		}
		part := texts{}
		if err := yaml.Unmarshal(raw, &part); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		language := path.Base(path.Dir(name))
		if all[language] == nil {
			all[language] = texts{}
		}
		for k, v := range part {
			if _, twice := all[language][k]; twice {
				return fmt.Errorf("%s: %s is there twice", name, k)
			}
			all[language][k] = v
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("pages: texts: %w", err)
	}
	for _, t := range all {
		for k, v := range all["en"] {
			if _, ok := t[k]; !ok {
				t[k] = v
			}
		}
	}
	return all, nil
}

// say gives the text of a key, or the key itself where there is none, which a test rules out.
func (t texts) say(key string, args ...any) string {
	text, ok := t[key]
	if !ok {
		return key
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// count is say for a number of things: <key>.one where there is one.
func (t texts) count(key string, n int) string {
	if n == 1 && t.has(key+".one") {
		return t.say(key + ".one")
	}
	return t.say(key, n)
}

// word gives the text of a word out of an answer, or the word itself.
func (t texts) word(prefix string, w any) string {
	if key := prefix + "." + fmt.Sprint(w); t.has(key) {
		return t.say(key)
	}
	return fmt.Sprint(w)
}

// has reports whether there is a text.
func (t texts) has(key string) bool { return t[key] != "" }

// functions are what templates may call, bound to a language and to units.
func functions(all texts, units quantity.System) template.FuncMap {
	return template.FuncMap{
		"t":     all.say,
		"has":   all.has,
		"count": all.count,
		"word":  all.word,
		"q":     func(v quantity.Valuer) string { return v.Value().In(units).String() },
		"span":  writeInterval,
		"band":  func(b any) string { return writeBand(b, units) },
		// The lists that pages lead through.
		"nav":        func() []string { return []string{"species", "size", "plan", "assess", "match", "climate", "intake"} },
		"doors":      func() []string { return []string{"species", "size", "plan", "assess", "match", "climate", "intake"} },
		"method":     func() []string { return []string{"claims", "rules", "verdict", "physics", "limits"} },
		"hundredths": func(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) },
		"percent":    func(x float64) string { return strconv.FormatFloat(math.Round(x*100), 'f', 0, 64) + " %" },
		"when":       when,
		"number":     func(n int64) string { return strconv.FormatInt(n, 10) }, // also of a pointer
		"join":       func(sep string, parts []string) string { return strings.Join(parts, sep) },
		// plain is text for between tags in which JSON stays short.
		"plain": plainText,
		"add":   func(a, b int) int { return a + b },
		"dict": func(pairs ...any) (map[string]any, error) {
			if len(pairs)%2 != 0 {
				return nil, fmt.Errorf("dict: a key without a value")
			}
			m := map[string]any{}
			for i := 0; i < len(pairs); i += 2 {
				m[fmt.Sprint(pairs[i])] = pairs[i+1]
			}
			return m, nil
		},
	}
}

// when writes a moment for a reader who may sit anywhere.
func when(t time.Time) string { return t.UTC().Format("2 Jan 2006, 15:04 UTC") }

// writeBand writes a range for a reader; a missing one is a dash.
func writeBand(v any, units quantity.System) string {
	var b quantity.Band
	switch v := v.(type) {
	case quantity.Band:
		b = v
	case *quantity.Band:
		if v == nil {
			return "–"
		}
		b = *v
	case care.WorkingRange:
		b = quantity.Band{Low: v.Low, High: v.High, Unit: v.Unit}
	case *care.Claim:
		b = *v.Band()
	}
	switch {
	case b.Low == nil && b.High == nil:
		return "–"
	case b.Unit == "zone" && b.Low != nil && b.High != nil:
		if *b.Low == *b.High {
			return fmt.Sprintf("zone %.0f", *b.Low)
		}
		return fmt.Sprintf("zones %.0f–%.0f", *b.Low, *b.High)
	case b.Unit == "animals" && b.High != nil && *b.High == 1:
		return "1 animal"
	}
	return b.In(units).String()
}
