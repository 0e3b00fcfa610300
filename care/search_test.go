package care

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// catalogueOf holds species with names alone, each given as "Scientific name | language: name, name | …".
// The pairings are invented where they contradict taxonomy: they stand for the ways in which names clash.
func catalogueOf(records ...string) *Catalogue {
	c := &Catalogue{}
	for _, r := range records {
		fields := strings.Split(r, " | ")
		s := &Species{Scientific: fields[0], ID: Slug(fields[0]), Names: Names{Common: map[string][]string{}}}
		for _, field := range fields[1:] {
			language, list, _ := strings.Cut(field, ": ")
			for n := range strings.SplitSeq(list, ", ") {
				if language == "synonym" {
					s.Names.Synonyms = append(s.Names.Synonyms, n)
				} else {
					s.Names.Common[language] = append(s.Names.Common[language], n)
				}
			}
		}
		c.species = append(c.species, s)
	}
	slices.SortFunc(c.species, func(a, b *Species) int { return strings.Compare(a.Scientific, b.Scientific) })
	c.names = newNameIndex(c.species)
	return c
}

func small() *Catalogue {
	return catalogueOf(
		"Pogona vitticeps | synonym: Amphibolurus vitticeps | en: inland bearded dragon, bearded dragon | de: Streifenköpfige Bartagame, Bartagame | es: dragón barbudo | fr: dragon barbu, agame barbu | short: beardie",
		"Pogona henrylawsoni | synonym: Pogona brevis, Pogona rankini | en: Rankin's dragon, pygmy bearded dragon | de: Zwergbartagame | es: dragón barbudo enano | fr: dragon barbu nain",
		"Intellagama lesueurii | synonym: Physignathus lesueurii | en: eastern water dragon | de: Australische Wasseragame",
		"Physignathus cocincinus | synonym: Physignathus cocincinnus (misspelling) | en: Chinese water dragon, water dragon | de: Grüne Wasseragame",
		"Eublepharis macularius | en: leopard gecko | de: Leopardgecko | es: gecko leopardo | fr: gecko léopard | short: leo",
		"Boa constrictor | en: boa constrictor, common boa, red-tailed boa | de: Abgottschlange",
		"Boa imperator | synonym: Boa constrictor imperator, Boa constrictor | en: common boa, Central American boa | de: Kaiserboa | short: BCI",
		"Eryx colubrinus | synonym: Gongylophis colubrinus | en: Kenyan sand boa | de: Kenia-Sandboa",
		"Python regius | en: royal python, ball python | de: Königspython",
		"Malayopython reticulatus | synonym: Python reticulatus | en: reticulated python | de: Netzpython | short: retic",
		"Testudo graeca | en: Greek tortoise, spur-thighed tortoise | de: Maurische Landschildkröte | fr: tortue grecque",
		"Testudo hermanni | synonym: Testudo graeca | en: Hermann's tortoise | de: Griechische Landschildkröte | fr: tortue d'Hermann",
		"Centrochelys sulcata | en: African spurred tortoise, spur-thighed tortoise | de: Spornschildkröte | short: sulcata",
		"Mauremys reevesii | en: Reeves' turtle | de: Chinesische Dreikielschildkröte",
		"Terrapene carolina | en: eastern box turtle",
		"Cuora amboinensis | en: Malayan box turtle, Amboina box turtle",
		"Dryophytes cinereus | en: American green tree frog, green treefrog",
		"Ranoidea caerulea | en: White's tree frog, green tree frog",
		"Lampropeltis triangulum | en: milk snake | de: Dreiecksnatter",
		"Pantherophis guttatus | synonym: Elaphe guttata | en: corn snake, red rat snake | de: Kornnatter",
		"Dasypeltis scabra | en: common egg-eater | fr: serpent mangeur d'œufs",
		"Tiliqua scincoides | en: blue-tongued skink | de: Gewöhnlicher Blauzungenskink",
	)
}

// TestFind gives the outcome and the species that must come first, in rank order.
func TestFind(t *testing.T) {
	tests := []struct {
		about, query, outcome string
		first                 []string
	}{
		{"accepted", "Pogona vitticeps", FoundOne, []string{"Pogona vitticeps"}},
		{"accepted, case and space", "  POGONA\tvitticeps ", FoundOne, []string{"Pogona vitticeps"}},
		{"accepted, words swapped", "vitticeps pogona", FoundOne, []string{"Pogona vitticeps"}},
		{"synonym", "elaphe guttata", FoundOne, []string{"Pantherophis guttatus"}},
		{"remark left out", "Physignathus cocincinnus", FoundOne, []string{"Physignathus cocincinus"}},
		{"common", "corn snake", FoundOne, []string{"Pantherophis guttatus"}},
		{"run together", "cornsnake", FoundOne, []string{"Pantherophis guttatus"}},
		{"hyphen", "Corn-Snake", FoundOne, []string{"Pantherophis guttatus"}},
		{"parted", "milk-snakes", FoundOne, []string{"Lampropeltis triangulum"}},
		{"words swapped", "snake, corn", FoundOne, []string{"Pantherophis guttatus"}},
		{"three words swapped", "rat snake red", FoundOne, []string{"Pantherophis guttatus"}},
		{"plural", "leopard geckos", FoundOne, []string{"Eublepharis macularius"}},
		{"plural in -es", "leopard geckoes", FoundOne, []string{"Eublepharis macularius"}},
		{"plural after e", "egg eaters common", FoundOne, []string{"Dasypeltis scabra"}},
		{"German plural", "Spornschildkröten", FoundOne, []string{"Centrochelys sulcata"}},
		{"German plural in -n", "Kornnattern", FoundOne, []string{"Pantherophis guttatus"}},
		{"German plural in -en", "Abgottschlangen", FoundOne, []string{"Boa constrictor"}},
		{"Spanish plural", "geckos leopardos", FoundOne, []string{"Eublepharis macularius"}},
		{"French plural", "geckos léopards", FoundOne, []string{"Eublepharis macularius"}},
		{"accents dropped", "Konigspython", FoundOne, []string{"Python regius"}},
		{"umlaut as two letters", "Koenigspython", FoundOne, []string{"Python regius"}},
		{"umlaut decomposed", "Ko\u0308nigspython", FoundOne, []string{"Python regius"}},
		{"ligature", "serpent mangeur d'oeufs", FoundOne, []string{"Dasypeltis scabra"}},
		{"full width", "ｃｏｒｎ ｓｎａｋｅ", FoundOne, []string{"Pantherophis guttatus"}},
		{"possessive", "Hermann’s tortoise", FoundOne, []string{"Testudo hermanni"}},
		{"possessive, no sign", "Hermanns tortoise", FoundOne, []string{"Testudo hermanni"}},
		{"possessive, accent for sign", "Hermann´s tortoise", FoundOne, []string{"Testudo hermanni"}},
		{"possessive left out", "Hermann tortoises", FoundOne, []string{"Testudo hermanni"}},
		{"possessive after s", "Reeves's turtle", FoundOne, []string{"Mauremys reevesii"}},
		{"elision", "tortue d’hermann", FoundOne, []string{"Testudo hermanni"}},
		{"short", "beardie", FoundOne, []string{"Pogona vitticeps"}},
		{"short, plural", "Beardies", FoundOne, []string{"Pogona vitticeps"}},
		{"short, other spelling", "beardy", FoundOne, []string{"Pogona vitticeps"}},
		{"short, three letters", "leos", FoundOne, []string{"Eublepharis macularius"}},
		{"short, capitals", "BCI", FoundOne, []string{"Boa imperator"}},
		{"retic", "retics", FoundOne, []string{"Malayopython reticulatus"}},
		{"epithet that is a short name", "sulcata", FoundOne, []string{"Centrochelys sulcata"}},
		{"initial", "P. vitticeps", FoundOne, []string{"Pogona vitticeps"}},
		{"initial of a synonym", "e guttata", FoundOne, []string{"Pantherophis guttatus"}},
		{"initial, two species", "P. reticulatus", FoundOne, []string{"Malayopython reticulatus"}},
		{"initial, shared", "T. graeca", FoundSeveral, []string{"Testudo graeca", "Testudo hermanni"}},
		{"initial, no such", "X. vitticeps", FoundNear, []string{"Pogona vitticeps"}},

		{"accepted though another's synonym", "Boa constrictor", FoundOne, []string{"Boa constrictor", "Boa imperator"}},
		{"accepted though another's synonym", "testudo graeca", FoundOne, []string{"Testudo graeca", "Testudo hermanni"}},
		{"borne by two", "common boa", FoundSeveral, []string{"Boa constrictor", "Boa imperator"}},
		{"borne by two, plural", "spur-thighed tortoises", FoundSeveral, []string{"Centrochelys sulcata", "Testudo graeca"}},
		{"borne by two, gap differs", "green tree frog", FoundSeveral, []string{"Dryophytes cinereus", "Ranoidea caerulea"}},
		{"head of another's name", "bearded dragon", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"the same, swapped", "dragons bearded", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"the same, in Spanish", "dragones barbudos", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"the same, in French", "dragon barbu", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"the same, in German", "Bartagamen", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"held exactly by one, head of another's", "water dragon", FoundSeveral, []string{"Physignathus cocincinus", "Intellagama lesueurii"}},
		{"head", "boa", FoundSeveral, []string{"Boa constrictor", "Boa imperator"}},
		{"head, plural", "box turtles", FoundSeveral, []string{"Cuora amboinensis", "Terrapene carolina"}},
		{"head, run together", "treefrog", FoundSeveral, []string{"Dryophytes cinereus", "Ranoidea caerulea"}},
		{"head", "tortoise", FoundSeveral, nil},
		{"head, German", "Landschildkröte", FoundSeveral, []string{"Testudo graeca", "Testudo hermanni"}},
		{"head within a compound", "Schildkröten", FoundSeveral, nil},
		{"head first", "tortue", FoundSeveral, nil},
		{"genus", "pogona", FoundSeveral, []string{"Pogona henrylawsoni", "Pogona vitticeps"}},
		{"beginning of a word", "beard", FoundSeveral, nil},

		{"initial, epithet misspelt", "P. viticeps", FoundNear, []string{"Pogona vitticeps"}},
		{"spelt like a head, though near another name", "Landschildkröten", FoundSeveral, []string{"Testudo graeca", "Testudo hermanni"}},
		{"misspelt accepted", "Pogona viticeps", FoundNear, []string{"Pogona vitticeps"}},
		{"misspelt genus", "pgona vitticeps", FoundNear, []string{"Pogona vitticeps"}},
		{"neighbours exchanged", "corn sanke", FoundNear, []string{"Pantherophis guttatus"}},
		{"gap moved", "cor nsnkae", FoundNear, []string{"Pantherophis guttatus"}},
		{"swapped and misspelt", "pithon ball", FoundNear, []string{"Python regius"}},
		{"three words, swapped and misspelt", "snake red rta", FoundNear, []string{"Pantherophis guttatus"}},
		{"misspelt head", "tortise", FoundNear, nil},
		{"misspelt ambiguous", "water dragn", FoundNear, []string{"Physignathus cocincinus"}},
		{"part of one name", "ball", FoundNear, []string{"Python regius"}},
		{"beginning of one name", "reticul", FoundNear, []string{"Malayopython reticulatus"}},
		{"genus of one species", "eublepharis", FoundNear, []string{"Eublepharis macularius"}},
		{"epithet", "vitticeps", FoundNear, []string{"Pogona vitticeps"}},

		{"unknown", "unicorn", FoundNone, nil},
		{"unknown", "quantum teapot", FoundNone, nil},
		{"empty", "", FoundNone, nil},
		{"no letters", " -'’. ", FoundNone, nil},
		{"one letter", "p", FoundNone, nil},
		{"more words than any name", "a a a a a a a a", FoundNone, nil},
		{"beginnings of two words", "roy pyth", FoundNear, []string{"Python regius"}},
		{"beginnings of two words of several", "dr be", FoundSeveral, []string{"Pogona vitticeps", "Pogona henrylawsoni"}},
		{"not UTF-8", "\xff\xfe", FoundNone, nil},
		{"other script", "蛇", FoundNone, nil},
		{"long", strings.Repeat("corn snake ", 1000), FoundNone, nil},
	}
	c := small()
	for _, tt := range tests {
		t.Run(tt.about+" "+tt.query[:min(len(tt.query), 20)], func(t *testing.T) {
			got := c.Find(tt.query, 5)
			if got.Outcome != tt.outcome {
				t.Errorf("outcome %q, want %q: %s", got.Outcome, tt.outcome, scientific(got))
			}
			want := tt.first
			if tt.outcome == FoundNone && len(got.Candidates) > 0 {
				t.Errorf("none, yet %s", scientific(got))
			}
			if diff := cmp.Diff(want, scientific(got)[:min(len(want), len(got.Candidates))], cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("first candidates (-want +got):\n%s", diff)
			}
			checkFound(t, c, got, 5)
		})
	}
}

func scientific(f Found) []string {
	out := make([]string, len(f.Candidates))
	for i, k := range f.Candidates {
		out[i] = k.Species.Scientific
	}
	return out
}

// checkFound holds for every answer.
func checkFound(t testing.TB, c *Catalogue, f Found, limit int) {
	t.Helper()
	if !utf8.ValidString(f.Query) || len(f.Query) > longestQuery {
		t.Errorf("query %q is not valid UTF-8 or too long", f.Query)
	}
	n := len(f.Candidates)
	least := map[string]int{FoundNone: 0, FoundOne: 1, FoundNear: 1, FoundSeveral: min(2, limit)}
	if want, ok := least[f.Outcome]; !ok || n < want || n > limit || f.Outcome == FoundNone && n > 0 {
		t.Errorf("%q: outcome %q with %d candidates of at most %d", f.Query, f.Outcome, n, limit)
	}
	seen := map[*Species]bool{}
	for i, k := range f.Candidates {
		if !slices.Contains(c.Species(), k.Species) || seen[k.Species] {
			t.Fatalf("%q: candidate %d is not of the catalogue, or stands twice: %+v", f.Query, i, k)
		}
		seen[k.Species] = true
		if !slices.Contains(held(k.Species), k.Name) {
			t.Errorf("%q: %s does not bear %q", f.Query, k.Species.Scientific, k.Name)
		}
		if !(k.Score >= 0 && k.Score <= 1) || i > 0 && k.Score > f.Candidates[i-1].Score {
			t.Errorf("%q: score %g of candidate %d is out of range or order", f.Query, k.Score, i)
		}
		if k.Distance < 0 || f.Outcome == FoundOne && k.Distance != 0 {
			t.Errorf("%q: outcome %q at distance %d", f.Query, f.Outcome, k.Distance)
		}
		if _, ok := kindRank[k.Kind]; !ok || k.Language == "" {
			t.Errorf("%q: kind %q, language %q", f.Query, k.Kind, k.Language)
		}
	}
}

// held lists every name of a species.
func held(s *Species) []string {
	out := append([]string{s.Scientific}, s.Names.Synonyms...)
	for _, list := range s.Names.Common {
		out = append(out, list...)
	}
	return out
}

func TestFindWarnings(t *testing.T) {
	c := small()
	tests := []struct {
		query string
		want  []string
	}{
		{"Pogona vitticeps", []string{""}},
		{"corn snake", []string{""}},
		{"python reticulatus", []string{"Python reticulatus is held as a synonym of Malayopython reticulatus"}},
		{"p. vitticeps", []string{"read as Pogona vitticeps, the only species held that the initial and epithet fit"}},
		{"Testudo graeca", []string{
			"Testudo graeca is also held as a synonym of Testudo hermanni",
			"Testudo graeca is the accepted name of another species"}},
		{"common boa", []string{"", ""}},
		{"pogona vitticep", []string{""}},
	}
	for _, tt := range tests {
		var got []string
		for _, k := range c.Find(tt.query, 5).Candidates {
			got = append(got, k.Warning)
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%q: warnings (-want +got):\n%s", tt.query, diff)
		}
	}
}

func TestFindLimit(t *testing.T) {
	c := embeddedCatalogue(t)
	for limit, want := range map[int]int{-1: 10, 0: 10, 1: 1, 3: 3, 1000: 100} {
		got := c.Find("lizard", limit)
		if n := len(got.Candidates); n > want || limit < 4 && n != want {
			t.Errorf("limit %d: %d candidates", limit, n)
		}
		if limit == 1 && got.Outcome != FoundSeveral {
			t.Errorf("a limit of one made the outcome %q", got.Outcome)
		}
	}
}

func embeddedCatalogue(t testing.TB) *Catalogue {
	t.Helper()
	c, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestEveryNameHeld: an accepted name means its own species, with a warning if it
// is another's name too; any other name leads to every species that bears it, and
// settles one only if no other does.
func TestEveryNameHeld(t *testing.T) {
	for name, c := range map[string]*Catalogue{"embedded": embeddedCatalogue(t), "clashes": small()} {
		bearers := map[string][]string{} // lower-case name, remarks left out → species
		accepted := map[string]bool{}
		for _, s := range c.Species() {
			accepted[strings.ToLower(s.Scientific)] = true
			for _, n := range held(s) {
				n, _, _ = strings.Cut(strings.ToLower(n), " (")
				if !slices.Contains(bearers[n], s.Scientific) {
					bearers[n] = append(bearers[n], s.Scientific)
				}
			}
		}
		shared, also := 0, 0
		for n, who := range bearers {
			got := c.Find(n, 100)
			checkFound(t, c, got, 100)
			for _, s := range who {
				if !slices.Contains(scientific(got), s) {
					t.Errorf("%s: %q does not lead to %s, which bears it", name, n, s)
				}
			}
			if accepted[n] {
				first := got.Candidates[0]
				if got.Outcome != FoundOne || strings.ToLower(first.Species.Scientific) != n {
					t.Errorf("%s: accepted name %q: %s, first %s", name, n, got.Outcome, first.Species.Scientific)
				}
				if len(who) > 1 {
					also++
				}
				if (len(who) > 1) != (first.Warning != "") {
					t.Errorf("%s: accepted name %q is borne by %v, warning %q", name, n, who, first.Warning)
				}
				continue
			}
			if len(who) > 1 {
				shared++
				if got.Outcome != FoundSeveral {
					t.Errorf("%s: %q is borne by %v, yet %s", name, n, who, got.Outcome)
				}
			}
		}
		t.Logf("%s: %d accepted names (%d also another's), %d distinct names, %d shared by two or more", name, len(c.Species()), also, len(bearers), shared)
		if name == "clashes" && (also == 0 || shared == 0) {
			t.Error("the clashing names are not there to be tested")
		}
	}
}

// TestAmbiguousNamesChooseNone goes through every English name and every phrase
// that ends one: what two species share settles neither.
func TestAmbiguousNamesChooseNone(t *testing.T) {
	c := embeddedCatalogue(t)
	ends := map[string]map[string]bool{}
	accepted := map[string]bool{}
	for _, s := range c.Species() {
		accepted[strings.ToLower(s.Scientific)] = true
		for _, n := range s.Names.Common["en"] {
			words := strings.Fields(strings.ReplaceAll(strings.ToLower(n), "-", " "))
			for i := range words {
				phrase := strings.Join(words[i:], " ")
				if ends[phrase] == nil {
					ends[phrase] = map[string]bool{}
				}
				ends[phrase][s.Scientific] = true
			}
		}
	}
	ambiguous := 0
	for phrase, species := range ends {
		if len(species) < 2 || accepted[phrase] {
			continue
		}
		ambiguous++
		got := c.Find(phrase, 100)
		checkFound(t, c, got, 100)
		if got.Outcome != FoundSeveral {
			t.Errorf("%q ends names of %d species, yet %s: %v", phrase, len(species), got.Outcome, scientific(got))
		}
		for s := range species {
			if !slices.Contains(scientific(got), s) {
				t.Errorf("%q does not list %s", phrase, s)
			}
		}
	}
	t.Logf("%d English names and endings are shared by two or more species", ambiguous)
	if ambiguous < 50 {
		t.Error("too few to be the names of the catalogue")
	}
	for _, q := range []string{"boa", "boas", "water dragon", "dragon water", "box turtle", "box turtles", "tortoise", "gecko", "geckos",
		"tree frog", "treefrog", "horned frog", "bearded dragon", "dragon", "python", "pythons", "monitor", "rat snake", "kingsnake",
		"king snake", "garter snake", "iguana", "uromastyx", "musk turtle", "rainbow boa", "blue-tongued skink", "pacman frog",
		"Bartagame", "Wasseragame", "Schildkröte", "Landschildkröten", "dragón barbudo", "tortuga", "tortue", "Pogona", "Testudo", "Varanus"} {
		if got := c.Find(q, 10); got.Outcome != FoundSeveral || len(got.Candidates) < 2 {
			t.Errorf("%q: %s %v", q, got.Outcome, scientific(got))
		}
	}
}

// misspeller makes misspellings as people do, from a seed.
type misspeller struct{ *rand.Rand }

// edit makes one edit: a letter put in, left out, changed or exchanged with the
// next, two words swapped, or the accents dropped.
func (r misspeller) edit(name string) string {
	letters := []rune(name)
	at := r.IntN(len(letters) - 1)
	letter := rune('a' + r.IntN(26))
	words := strings.Fields(name)
	for {
		switch r.IntN(6) {
		case 0:
			return string(slices.Insert(letters, at, letter))
		case 1:
			return string(slices.Delete(letters, at, at+1))
		case 2:
			letters[at] = letter
			return string(letters)
		case 3:
			letters[at], letters[at+1] = letters[at+1], letters[at]
			return string(letters)
		case 4:
			if len(words) > 1 {
				k := r.IntN(len(words) - 1)
				words[k], words[k+1] = words[k+1], words[k]
				return strings.Join(words, " ")
			}
		case 5:
			if plain := unaccented.Replace(name); plain != name {
				return plain
			}
		}
	}
}

var unaccented = strings.NewReplacer("ä", "a", "ö", "o", "ü", "u", "Ä", "A", "Ö", "O", "Ü", "U", "á", "a", "é", "e", "í", "i", "ó", "o", "ú", "u",
	"ñ", "n", "à", "a", "â", "a", "è", "e", "ê", "e", "ë", "e", "î", "i", "ï", "i", "ô", "o", "ù", "u", "û", "u", "ç", "c", "œ", "oe", "ß", "ss")

// foldedForms are the forms by which a text may equal a held name: letters alone, and stems in order.
func foldedForms(text string) []string {
	var p phrase
	p.fold(text)
	return []string{string(p.letters), string(p.appendSorted(nil, true))}
}

func foldedLetters(text string) string {
	var p phrase
	p.fold(text)
	return string(p.letters)
}

// TestMisspellings is the outside check on names: 500 misspellings of one or two
// edits, of names of six letters or more that one species bears; those that equal
// another held name are left out.
func TestMisspellings(t *testing.T) {
	const seed, count = 20261125, 500
	c := embeddedCatalogue(t)
	type name struct {
		text    string
		species *Species
	}
	var names []name
	bearers := map[string][]*Species{}
	for _, s := range c.Species() {
		all := held(s)
		slices.Sort(all) // map order must not choose the sample
		for _, n := range all {
			for _, key := range foldedForms(n) {
				if !slices.Contains(bearers[key], s) {
					bearers[key] = append(bearers[key], s)
				}
			}
			if utf8.RuneCountInString(n) >= 6 {
				names = append(names, name{n, s})
			}
		}
	}
	// others reports whether the text is, once folded, a name of any species but the one.
	others := func(text string, own *Species) bool {
		for _, key := range foldedForms(text) {
			if slices.ContainsFunc(bearers[key], func(s *Species) bool { return s != own }) {
				return true
			}
		}
		return false
	}
	names = slices.DeleteFunc(names, func(n name) bool { return others(n.text, n.species) })

	r := misspeller{rand.New(rand.NewPCG(seed, 0))}
	first, firstThree, chosen := 0, 0, 0
	for range count {
		var n name
		var typed string
		for {
			n = names[r.IntN(len(names))]
			typed = r.edit(n.text)
			if r.IntN(2) == 1 {
				typed = r.edit(typed)
			}
			if typed != n.text && !others(typed, n.species) {
				break
			}
		}
		got := c.Find(typed, 3)
		checkFound(t, c, got, 3)
		at := slices.IndexFunc(got.Candidates, func(k Candidate) bool { return k.Species == n.species })
		if at == 0 {
			first++
		} else {
			t.Logf("%q for %q: %s, place %d of %v", typed, n.text, got.Outcome, at+1, scientific(got))
		}
		if at >= 0 {
			firstThree++
		}
		if got.Outcome == FoundOne {
			chosen++
			if at != 0 {
				t.Errorf("%q, misspelt for %q, settled %s", typed, n.text, got.Candidates[0].Species.Scientific)
			}
		}
	}
	t.Logf("seed %d: of %d misspellings %d (%.1f %%) found the species first, %d (%.1f %%) in the first three; %d settled it (accents, word order, plurals)",
		seed, count, first, 100*float64(first)/count, firstThree, 100*float64(firstThree)/count, chosen)
	if first < count*97/100 || firstThree < count*99/100 {
		t.Error("below 97 % first or 99 % in the first three")
	}
}

// TestStemsJoinNoSpecies: plural folding makes no two names of different species one.
func TestStemsJoinNoSpecies(t *testing.T) {
	type bearer struct {
		name    string
		species *Species
	}
	first := map[string]bearer{}
	for _, s := range embeddedCatalogue(t).Species() {
		for _, list := range s.Names.Common {
			for _, n := range list {
				var p phrase
				p.fold(n)
				key := string(p.appendHeadStem(nil))
				other, taken := first[key]
				if !taken {
					first[key] = bearer{n, s}
				} else if other.species != s && foldedLetters(other.name) != foldedLetters(n) {
					t.Errorf("%s (%s) and %s (%s) are one as %q", other.name, other.species.Scientific, n, s.Scientific, key)
				}
			}
		}
	}
}

func TestStem(t *testing.T) {
	same := [][]string{
		{"gecko", "geckos", "geckoes"}, {"beardie", "beardies", "beardy"}, {"tortoise", "tortoises"}, {"snake", "snakes"},
		{"box", "boxes"}, {"finch", "finches"}, {"schlange", "schlangen"}, {"natter", "nattern"}, {"leguan", "leguane"},
		{"schildkrote", "schildkroten"}, {"frosch", "frosche"}, {"dragon", "dragones"}, {"tortue", "tortues"}, {"boa", "boas"},
	}
	for _, forms := range same {
		for _, f := range forms[1:] {
			if a, b := string(appendStem(nil, []byte(forms[0]))), string(appendStem(nil, []byte(f))); a != b {
				t.Errorf("%s and %s have the stems %s and %s", forms[0], f, a, b)
			}
		}
	}
	differ := [][2]string{{"grass", "gras"}, {"tree", "tre"}, {"boa", "bo"}, {"leo", "leon"}, {"green", "gre"}, {"golden", "gold"}}
	for _, d := range differ {
		if string(appendStem(nil, []byte(d[0]))) == string(appendStem(nil, []byte(d[1]))) {
			t.Errorf("%s and %s have one stem", d[0], d[1])
		}
	}
}

// alignment is the textbook recurrence of optimal string alignment, to hold the bit-parallel one against.
func alignment(a, b string) int {
	d := make([][]int, len(a)+1)
	for i := range d {
		d[i] = make([]int, len(b)+1)
		d[i][0] = i
	}
	for j := range len(b) + 1 {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}

func TestDistance(t *testing.T) {
	// Worked by hand. "ca" to "abc" is 3 in optimal string alignment, 2 where letters may be put between exchanged ones.
	tests := []struct {
		a, b string
		want int
	}{
		{"kitten", "sitting", 3}, {"ca", "abc", 3}, {"ab", "ba", 1}, {"boa", "boa", 0}, {"a", "", 1},
		{"geckoleopard", "leopardgecko", 10}, {"cornsnake", "cornsnkae", 1},
	}
	var p pattern
	for _, tt := range tests {
		p.set([]byte(tt.a))
		if got := p.distance(tt.b, 64); got != tt.want {
			t.Errorf("%q to %q: %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.StringMatching(`[a-d]{1,64}`).Draw(t, "a")
		b := rapid.StringMatching(`[a-d]{0,70}`).Draw(t, "b")
		most := rapid.IntRange(0, 70).Draw(t, "most")
		var p pattern
		p.set([]byte(a))
		got, want := p.distance(b, most), alignment(a, b)
		if want <= most && got != want || want > most && got <= most {
			t.Fatalf("%d, want %d (most %d)", got, want, most)
		}
	})
}

// TestSpellingsMissNothing: whatever is as near as the nearest, or one edit further, is found.
func TestSpellingsMissNothing(t *testing.T) {
	names, _ := generatedNames(t, 5000)
	list := make([]string, 0, len(names))
	seen := map[string]bool{}
	for _, n := range names {
		if text := foldedLetters(n.Text); text != "" && !seen[text] {
			seen[text] = true
			list = append(list, text)
		}
	}
	var x spellings
	x.build(list)
	var p pattern
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(list).Draw(t, "name")
		seed := rapid.Uint64().Draw(t, "seed")
		r := misspeller{rand.New(rand.NewPCG(seed, 0))}
		for range rapid.IntRange(0, 3).Draw(t, "edits") {
			if len(text) > 1 && len(text) < longestTypo {
				text = foldedLetters(r.edit(text))
			}
		}
		most := rapid.IntRange(0, mostEdits).Draw(t, "most")
		p.set([]byte(text))
		got := map[int32]int32{}
		for _, m := range x.near(&p, most, nil) {
			if _, twice := got[m.id]; twice {
				t.Fatalf("%q stands twice", list[m.id])
			}
			got[m.id] = m.distance
		}
		want, nearest := map[int32]int32{}, int32(most)
		for i, s := range list {
			if d := int32(p.distance(s, most)); int(d) <= most {
				want[int32(i)] = d
				nearest = min(nearest, d)
			}
		}
		for id, d := range want {
			if d > nearest+1 {
				continue
			}
			if g, ok := got[id]; !ok || g != d {
				t.Fatalf("%q within %d: %q at %d, got %d (%t)", text, most, list[id], d, g, ok)
			}
		}
	})
}

// TestFindIsDeterministic: the same question has the same answer, from many goroutines and a rebuilt index.
func TestFindIsDeterministic(t *testing.T) {
	c, again := embeddedCatalogue(t), embeddedCatalogue(t)
	queries := []string{"boa", "gecko", "tortise", "pyhton", "corn snaek", "testudo", "lizard green", "frog", "Python regius"}
	for _, q := range queries {
		want := c.Find(q, 20)
		done := make(chan Found)
		for range 8 {
			go func() { done <- again.Find(q, 20) }()
		}
		for range 8 {
			got := <-done
			if diff := cmp.Diff(want, got, cmp.Comparer(func(a, b *Species) bool { return a.ID == b.ID })); diff != "" {
				t.Errorf("%q (-want +got):\n%s", q, diff)
			}
		}
	}
}

func TestEmptyIndex(t *testing.T) {
	for _, x := range []*NameIndex{NewNameIndex(nil), NewNameIndex([]HeldName{{Text: "(…)", Kind: CommonName}})} {
		if outcome, matches := x.Find("boa", 5); outcome != FoundNone || matches != nil {
			t.Errorf("%s %v", outcome, matches)
		}
	}
}

func FuzzFind(f *testing.F) {
	c := embeddedCatalogue(f)
	for _, seed := range []string{"boa", "P. vitticeps", "corn snaek", "Königspython", "tortue d'Hermann", "s' 's ''", "a b c d e f g", "\xff's", "ß", "box turtels", "ﬁre skink", strings.Repeat("python ", 40)} {
		f.Add(seed, 5)
	}
	f.Fuzz(func(t *testing.T, query string, limit int) {
		got := c.Find(query, limit)
		if limit < 1 {
			limit = 10
		}
		checkFound(t, c, got, min(limit, 100))
		if diff := cmp.Diff(scientific(got), scientific(c.Find(query, limit))); diff != "" {
			t.Errorf("asked twice: %s", diff)
		}
	})
}

// generatedNames makes n different names from those of the catalogue, by one to
// three edits, each with a bearer of its own, and tells the species behind each.
func generatedNames(t testing.TB, n int) (names []HeldName, species []int) {
	t.Helper()
	c := embeddedCatalogue(t)
	real := c.names.index.names
	r := misspeller{rand.New(rand.NewPCG(1, uint64(n)))}
	seen := make(map[string]bool, n)
	for len(names) < n {
		h := real[r.IntN(len(real))]
		for range 1 + r.IntN(3) {
			if len(h.Text) > 3 {
				h.Text = r.edit(h.Text)
			}
		}
		if key := foldedLetters(h.Text); key != "" && !seen[key] {
			seen[key] = true
			species = append(species, h.Bearer)
			h.Bearer = len(names)
			names = append(names, h)
		}
	}
	return names, species
}

// BenchmarkFind gives, beside the mean, the median time and the share of queries
// for which the very name meant comes first, and its species. Among the generated
// names many are as near to a misspelling as the one it was made from.
func BenchmarkFind(b *testing.B) {
	for _, size := range []string{"catalogue", "100000"} {
		var names []HeldName
		var species []int // by bearer
		if size == "catalogue" {
			names = embeddedCatalogue(b).names.index.names
			for i := range embeddedCatalogue(b).Species() {
				species = append(species, i)
			}
		} else {
			names, species = generatedNames(b, 100_000)
		}
		x := NewNameIndex(names)
		r := misspeller{rand.New(rand.NewPCG(2, 0))}
		var exact, typo []string
		var meant []HeldName
		for len(typo) < 2000 {
			n := names[r.IntN(len(names))]
			if utf8.RuneCountInString(n.Text) < 6 {
				continue
			}
			typed := r.edit(n.Text)
			if len(typo)%2 == 1 {
				typed = r.edit(typed)
			}
			if _, taken := x.exact[foldedLetters(typed)]; taken {
				continue
			}
			exact, typo, meant = append(exact, n.Text), append(typo, typed), append(meant, n)
		}
		for kind, queries := range map[string][]string{"exact": exact, "typo": typo} { // each stands alone: the order is of no account
			b.Run(fmt.Sprintf("%s/%s", kind, size), func(b *testing.B) {
				b.ReportAllocs()
				times := make([]time.Duration, 0, 1<<16)
				sameName, sameSpecies, asked := 0, 0, 0
				for b.Loop() {
					q := asked % len(queries)
					begun := time.Now()
					_, found := x.Find(queries[q], 10)
					if took := time.Since(begun); len(times) < cap(times) {
						times = append(times, took)
					}
					if len(found) > 0 && found[0].HeldName == meant[q] {
						sameName++
					}
					if len(found) > 0 && species[found[0].Bearer] == species[meant[q].Bearer] {
						sameSpecies++
					}
					asked++
				}
				slices.Sort(times)
				b.ReportMetric(float64(times[len(times)/2].Nanoseconds())/1e3, "median-µs")
				b.ReportMetric(float64(times[len(times)*99/100].Nanoseconds())/1e3, "p99-µs")
				b.ReportMetric(100*float64(sameName)/float64(asked), "%name-first")
				b.ReportMetric(100*float64(sameSpecies)/float64(asked), "%species-first")
			})
		}
	}
}

func BenchmarkNewNameIndex(b *testing.B) {
	c := embeddedCatalogue(b)
	b.ReportAllocs()
	for b.Loop() {
		newNameIndex(c.species)
	}
}
