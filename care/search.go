package care

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"math/bits"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// The kinds of name, in the order in which equal scores are ranked.
const (
	AcceptedName = "accepted"
	SynonymName  = "synonym"
	CommonName   = "common"
	ShortName    = "short"
)

// The outcomes of a look-up.
const (
	// FoundOne: exactly one species bears this name.
	FoundOne = "one"
	// FoundSeveral: several species bear it, or it is a part that several species' names share. None is chosen.
	FoundSeveral = "several"
	// FoundNear: no species bears it; the candidates have names like it. None is chosen.
	FoundNear = "near"
	// FoundNone: nothing held is near it.
	FoundNone = "none"
)

// Found is the answer to a look-up.
type Found struct {
	// Query is the name asked for, made valid UTF-8 and cut to 256 bytes.
	Query string
	// Outcome is FoundOne, FoundSeveral, FoundNear or FoundNone. Only FoundOne
	// settles the species, and then it is the first candidate's.
	Outcome string
	// Candidates are ranked by score, then kind of name, then scientific name;
	// each species stands once, with its best name.
	Candidates []Candidate
}

// Candidate is a species that the query may mean.
type Candidate struct {
	Species  *Species
	Name     string  // the held name that matched, as written
	Language string  // of Name: ISO 639-1, "la" for scientific names, "short" for trade aliases
	Kind     string  // AcceptedName, SynonymName, CommonName or ShortName
	Score    float64 // 1: borne as written; 0: nothing in common
	Distance int     // edits between the query and Name, or the part of Name that it matches
	Warning  string  // why the name may mean another species; empty where nothing is known to
}

// Find looks a name up: scientific, synonym, common in any language held, or
// short. The limit is clamped to 1 … 100; 0 or less means 10.
//
// Case, accents, punctuation, hyphens, possessives, plurals, word order and the
// gap between words do not matter to whether a species bears a name. An accepted
// name always means its own species, with a warning where it is another's synonym
// too. Any other name that two species bear means neither. A common name that one
// species bears exactly but that is also the head of another's longer name, as
// "bearded dragon" is of "pygmy bearded dragon", means neither: the bearer
// comes first and the keeper chooses. In Spanish and French the head comes first
// in a name, in the others last (in German also as the end of a compound).
// A genus initial with an epithet means the species if only one fits, with a
// warning. A misspelt or partial name never means a species.
func (c *Catalogue) Find(query string, limit int) Found {
	out := Found{Query: cut(query)}
	x := c.names.index
	s := x.scratch.Get().(*scratch)
	defer x.scratch.Put(s)
	out.Outcome = x.search(s, out.Query, limit)
	if out.Outcome == FoundNone {
		return out
	}
	out.Candidates = make([]Candidate, len(s.top))
	for i, h := range s.top {
		e := &x.entries[h.entry]
		n := &x.names[e.name]
		out.Candidates[i] = Candidate{Species: c.names.species[n.Bearer], Name: n.Text, Language: n.Language, Kind: n.Kind, Score: h.score, Distance: int(h.distance)}
	}
	warn(&out, s.abbreviated)
	return out
}

// warn says on the candidates of a settled look-up why the name may mean another species.
func warn(out *Found, abbreviated bool) {
	if out.Outcome != FoundOne {
		return
	}
	first := &out.Candidates[0]
	switch {
	case abbreviated:
		first.Warning = fmt.Sprintf("read as %s, the only species held that the initial and epithet fit", first.Name)
	case first.Kind == SynonymName:
		first.Warning = fmt.Sprintf("%s is held as a synonym of %s", first.Name, first.Species.Scientific)
	}
	for i := range out.Candidates[1:] {
		other := &out.Candidates[i+1]
		other.Warning = fmt.Sprintf("%s is the accepted name of another species", first.Name)
		also := fmt.Sprintf("%s is also held as a %s name of %s", first.Name, other.Kind, other.Species.Scientific)
		if other.Kind == SynonymName {
			also = fmt.Sprintf("%s is also held as a synonym of %s", first.Name, other.Species.Scientific)
		}
		if first.Warning != "" {
			also = first.Warning + "; " + also
		}
		first.Warning = also
	}
}

// nameIndex is the index over the names of the species of a catalogue.
type nameIndex struct {
	species []*Species
	index   *NameIndex
}

func newNameIndex(species []*Species) *nameIndex {
	var names []HeldName
	for i, s := range species {
		names = append(names, HeldName{s.Scientific, latin, AcceptedName, i})
		for _, n := range s.Names.Synonyms {
			names = append(names, HeldName{n, latin, SynonymName, i})
		}
		for _, language := range slices.Sorted(maps.Keys(s.Names.Common)) {
			kind := CommonName
			if language == ShortName {
				kind = ShortName
			}
			for _, n := range s.Names.Common[language] {
				names = append(names, HeldName{n, language, kind, i})
			}
		}
	}
	return &nameIndex{species, NewNameIndex(names)}
}

// HeldName is a name to be found and who bears it.
type HeldName struct {
	Text     string // a remark in round brackets is not part of the name
	Language string // ISO 639-1; "la" for scientific names; "short" for trade aliases
	Kind     string // AcceptedName, SynonymName, CommonName or ShortName
	Bearer   int    // at least 0; equal scores and kinds rank by it
}

// NameMatch is a name found.
type NameMatch struct {
	HeldName
	Score    float64 // as in Candidate
	Distance int     // as in Candidate
}

// NameIndex finds names in a fixed list. It is safe for use by many goroutines.
type NameIndex struct {
	names   []HeldName
	entries []entry
	bearers int
	longest int // words in a name

	spellings  spellings // distinct names, words run together
	ofSpelling []int32   // spelling → its first entry; entry.next goes on
	exact      map[string]int32
	bearersOf  []node // exact leads to the first node of a list
	words      []string
	wordIDs    map[string]int32
	wordSpell  spellings // words by likeness; ids are those of words
	postings   []int32   // entries by word: postings[postingAt[w]:postingAt[w+1]]
	postingAt  []int32
	entryWords []int32 // words by entry: entryWords[e.from:e.to]
	backwards  []tail  // common names, last letter first, sorted
	scratch    sync.Pool
}

// entry is one spelling of one name.
type entry struct {
	name     int32
	bearer   int32
	next     int32 // next entry with the same spelling, or -1
	from, to int32 // its words
	length   int32 // bytes, words run together
	rank     uint8 // of its kind
	order    headOrder
}

type node struct{ entry, next int32 }

// tail is a name written backwards, for finding what names end with.
type tail struct {
	text   string
	starts uint64 // bit i: a word starts at byte i of the name written forwards
	entry  int32
}

type headOrder uint8

const (
	headLast     headOrder = iota // leopard gecko
	headCompound                  // Leopardgecko
	headFirst                     // gecko leopardo
	headGenus                     // an accepted name: the genus
	headNone                      // a synonym
)

const (
	latin = "la"
	// longestQuery is the length in bytes beyond which a query is cut: no name held comes near it.
	longestQuery = 256
	// longestTypo is the length in letters beyond which a query or name is found only exactly:
	// the width of the word in which distances are computed.
	longestTypo = 64
)

var kindRank = map[string]uint8{AcceptedName: 0, SynonymName: 1, CommonName: 2, ShortName: 3}

func orderOf(n *HeldName) headOrder {
	switch {
	case n.Kind == AcceptedName:
		return headGenus
	case n.Kind == SynonymName || n.Language == latin:
		return headNone
	case n.Language == "de":
		return headCompound
	case n.Language == "es" || n.Language == "fr" || n.Language == "it" || n.Language == "pt":
		return headFirst
	}
	return headLast
}

// NewNameIndex builds an index over the names, which are kept. A name without a
// letter or digit is left out.
func NewNameIndex(names []HeldName) *NameIndex {
	x := &NameIndex{
		names:   names,
		exact:   make(map[string]int32, 2*len(names)),
		wordIDs: make(map[string]int32, len(names)),
	}
	spellingIDs := make(map[string]int32, len(names))
	var spelt []string
	var p phrase
	var key []byte
	for i := range names {
		n := &names[i]
		x.bearers = max(x.bearers, n.Bearer+1)
		text := withoutRemark(n.Text)
		for spelling := range 2 {
			if spelling == 1 {
				// German names are also found with ae, oe, ue for ä, ö, ü (the usual rule where umlauts can't be typed).
				expanded := text
				if n.Language == "de" {
					expanded = umlauts.Replace(text)
				}
				if expanded == text {
					break
				}
				text = expanded
			}
			p.fold(text)
			if len(p.letters) == 0 {
				break
			}
			id, held := spellingIDs[string(p.letters)]
			if !held {
				id = int32(len(spelt))
				spelt = append(spelt, string(p.letters))
				spellingIDs[spelt[id]] = id
				x.ofSpelling = append(x.ofSpelling, -1)
			}
			e := entry{name: int32(i), bearer: int32(n.Bearer), next: x.ofSpelling[id], length: int32(len(p.letters)), rank: kindRank[n.Kind], order: orderOf(n)}
			at := int32(len(x.entries))
			x.ofSpelling[id] = at
			common := n.Language != latin
			e.from = int32(len(x.entryWords))
			for w := range p.count() {
				word := p.word(w)
				if common {
					key = appendStem(key[:0], word)
					word = key
				}
				wordID, held := x.wordIDs[string(word)]
				if !held {
					wordID = int32(len(x.words))
					x.words = append(x.words, string(word))
					x.wordIDs[x.words[wordID]] = wordID
				}
				x.entryWords = append(x.entryWords, wordID)
			}
			e.to = int32(len(x.entryWords))
			x.longest = max(x.longest, p.count())
			x.entries = append(x.entries, e)

			x.bear(p.letters, at)
			if common {
				key = p.appendHeadStem(key[:0])
				x.bear(key, at)
				slices.Reverse(key)
				x.backwards = append(x.backwards, tail{string(key), p.startBits(), at})
			}
			if p.count() > 1 {
				key = p.appendSorted(key[:0], common)
				x.bear(key, at)
			}
		}
	}
	slices.SortFunc(x.backwards, func(a, b tail) int {
		return cmp.Or(strings.Compare(a.text, b.text), cmp.Compare(a.entry, b.entry))
	})
	x.sortWords()
	x.spellings.build(spelt)
	x.wordSpell.build(x.words)
	x.scratch.New = func() any {
		return &scratch{mark: make([]uint32, x.bearers), slot: make([]int32, x.bearers)}
	}
	return x
}

// bear records that the entry bears the key.
func (x *NameIndex) bear(key []byte, at int32) {
	first, held := x.exact[string(key)]
	if !held {
		first = -1
	} else if x.bearersOf[first].entry == at {
		return
	}
	id := int32(len(x.bearersOf))
	x.bearersOf = append(x.bearersOf, node{at, first})
	if held {
		// The map is written only once per key: later bearers go in behind the first.
		x.bearersOf[id].next = x.bearersOf[first].next
		x.bearersOf[first].next = id
		return
	}
	x.exact[string(key)] = id
}

// sortWords puts the words in order, so that a prefix is a range, and lists the entries of each.
func (x *NameIndex) sortWords() {
	order := make([]int32, len(x.words))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return strings.Compare(x.words[a], x.words[b]) })
	sorted := make([]string, len(order))
	renamed := make([]int32, len(order))
	for i, old := range order {
		sorted[i], renamed[old] = x.words[old], int32(i)
		x.wordIDs[sorted[i]] = int32(i)
	}
	x.words = sorted
	x.postingAt = make([]int32, len(sorted)+1)
	for i, w := range x.entryWords {
		x.entryWords[i] = renamed[w]
		x.postingAt[renamed[w]+1]++
	}
	for i := range sorted {
		x.postingAt[i+1] += x.postingAt[i]
	}
	x.postings = make([]int32, len(x.entryWords))
	filled := slices.Clone(x.postingAt)
	for at := range x.entries {
		for _, w := range x.wordsOf(int32(at)) {
			x.postings[filled[w]] = int32(at)
			filled[w]++
		}
	}
}

func (x *NameIndex) wordsOf(at int32) []int32 {
	e := &x.entries[at]
	return x.entryWords[e.from:e.to]
}

func (x *NameIndex) postingsOf(word int32) []int32 {
	return x.postings[x.postingAt[word]:x.postingAt[word+1]]
}

// Find looks a name up among those held; see Catalogue.Find for what the outcome
// means and for the limit. Each bearer stands once, with its best name.
func (x *NameIndex) Find(query string, limit int) (outcome string, matches []NameMatch) {
	s := x.scratch.Get().(*scratch)
	defer x.scratch.Put(s)
	outcome = x.search(s, cut(query), limit)
	if outcome == FoundNone {
		return outcome, nil
	}
	matches = make([]NameMatch, len(s.top))
	for i, h := range s.top {
		matches[i] = NameMatch{x.names[x.entries[h.entry].name], h.score, int(h.distance)}
	}
	return outcome, matches
}

// scratch is the working memory of one look-up.
type scratch struct {
	query   phrase
	key     []byte
	swapped []byte
	pattern pattern
	found   []spellingMatch
	words   []queryWord
	hits    []hit    // the best of each bearer
	mark    []uint32 // bearer → turn in which slot is valid
	slot    []int32  // bearer → its hit
	turn    uint32
	top     []hit
	other   phrase
	gaps    []gapHit

	abbreviated bool // the match is of a genus initial and epithet
	whole       bool // the query is the head of a name held, or made of words of one
}

// hit is a name that matched.
type hit struct {
	score    float64
	entry    int32
	bearer   int32
	distance int32
	rank     uint8
}

func (h *hit) compare(o *hit) int {
	return cmp.Or(cmp.Compare(o.score, h.score), cmp.Compare(h.rank, o.rank), cmp.Compare(h.bearer, o.bearer), cmp.Compare(h.entry, o.entry))
}

func (s *scratch) reset() {
	s.hits, s.top, s.abbreviated, s.whole = s.hits[:0], s.top[:0], false, false
	s.turn++
	if s.turn == 0 {
		clear(s.mark)
		s.turn = 1
	}
}

func (s *scratch) add(x *NameIndex, at int32, score float64, distance int32) {
	e := &x.entries[at]
	h := hit{score, at, e.bearer, distance, e.rank}
	if s.mark[e.bearer] != s.turn {
		s.mark[e.bearer] = s.turn
		s.slot[e.bearer] = int32(len(s.hits))
		s.hits = append(s.hits, h)
		return
	}
	if held := &s.hits[s.slot[e.bearer]]; h.compare(held) < 0 {
		*held = h
	}
}

// best is the hit that ranks first; there must be one.
func (s *scratch) best() hit {
	best := &s.hits[0]
	for i := range s.hits {
		if s.hits[i].compare(best) < 0 {
			best = &s.hits[i]
		}
	}
	return *best
}

// rank keeps the best hits, in order.
func (s *scratch) rank(limit int) {
	for i := range s.hits {
		h := &s.hits[i]
		if len(s.top) == limit {
			if h.compare(&s.top[limit-1]) > 0 {
				continue
			}
			s.top = s.top[:limit-1]
		}
		at, _ := slices.BinarySearchFunc(s.top, h, func(a hit, b *hit) int { return a.compare(b) })
		s.top = slices.Insert(s.top, at, *h)
	}
}

// Scores. Own choices: they order the candidates, and nothing is decided by their size.
const (
	scoreSame      = 1.0  // the letters are the same
	scoreInflected = 0.98 // the same but for plural or word order
	scoreInitial   = 0.97 // genus initial and epithet
	scoreGenus     = 0.9  // the query is the genus
	scoreHead      = 0.5  // the query is the head of the name
	scoreWords     = 0.45 // its words are in the name
	scorePrefix    = 0.35 // its words begin words of the name
	scoreLike      = 0.25 // its words are like words of the name
	scoreShare     = 0.4  // added in proportion to the share of the name that the query covers
)

// share is the part of a score earned by covering more of the name.
func share(query int, e *entry) float64 {
	return scoreShare * min(1, float64(query)/float64(e.length))
}

// search leaves the ranked hits in s.top.
func (x *NameIndex) search(s *scratch, query string, limit int) string {
	if limit < 1 {
		limit = 10
	}
	limit = min(limit, 100)
	s.reset()
	q := &s.query
	q.fold(query)
	if len(q.letters) == 0 || len(x.entries) == 0 {
		return FoundNone
	}
	outcome := x.borne(s)
	if outcome == FoundNone {
		outcome = x.initialled(s)
	}
	if outcome == FoundNone && len(q.letters) <= longestTypo {
		outcome = x.like(s)
	}
	if outcome != FoundNone {
		s.rank(limit)
		x.spaced(s)
	}
	return outcome
}

// spaced puts first, of misspelt names with the same score, those whose words are
// parted as in the query: the scores leave the gaps out of account.
func (x *NameIndex) spaced(s *scratch) {
	alike := 1
	for alike < len(s.top) && s.top[alike].score == s.top[0].score {
		alike++
	}
	s.key = s.query.appendSpaced(s.key[:0])
	if alike < 2 || s.top[0].distance == 0 || len(s.key) > longestTypo {
		return
	}
	s.pattern.set(s.key)
	s.gaps = s.gaps[:0]
	for _, h := range s.top[:alike] {
		s.other.fold(withoutRemark(x.names[x.entries[h.entry].name].Text))
		s.swapped = s.other.appendSpaced(s.swapped[:0])
		s.gaps = append(s.gaps, gapHit{h, s.pattern.distance(string(s.swapped), 2*longestTypo)})
	}
	slices.SortStableFunc(s.gaps, func(a, b gapHit) int { return cmp.Compare(a.edits, b.edits) })
	for i := range s.gaps {
		s.top[i] = s.gaps[i].hit
	}
}

// gapHit is a hit with its distance, gaps between words counted as letters.
type gapHit struct {
	hit
	edits int
}

// borne finds who bears the query as a name.
func (x *NameIndex) borne(s *scratch) string {
	q := &s.query
	x.addBearers(s, q.letters, scoreSame)
	s.key = q.appendHeadStem(s.key[:0])
	x.addBearers(s, s.key, scoreInflected)
	if q.count() > 1 {
		s.key = q.appendSorted(s.key[:0], true)
		x.addBearers(s, s.key, scoreInflected)
		s.key = q.appendSorted(s.key[:0], false)
		x.addBearers(s, s.key, scoreInflected)
	}
	if len(s.hits) == 0 {
		return FoundNone
	}
	best, accepted, onlySynonyms := s.best(), 0, true
	for i := range s.hits {
		switch s.hits[i].rank {
		case kindRankAccepted:
			accepted++
		case kindRankSynonym:
		default:
			onlySynonyms = false
		}
	}
	if accepted == 1 && best.rank == kindRankAccepted {
		return FoundOne
	}
	if accepted == 0 && !onlySynonyms {
		if best.score < scoreSame {
			// Heads are sought in the name as held, whatever the order of words asked for.
			q.fold(withoutRemark(x.names[x.entries[best.entry].name].Text))
		}
		x.resolve(s)
		x.addHeaded(s)
	}
	if len(s.hits) > 1 {
		return FoundSeveral
	}
	return FoundOne
}

const (
	kindRankAccepted = 0
	kindRankSynonym  = 1
)

func (x *NameIndex) addBearers(s *scratch, key []byte, score float64) {
	id, held := x.exact[string(key)]
	if !held {
		return
	}
	for id >= 0 {
		n := x.bearersOf[id]
		s.add(x, n.entry, score, 0)
		id = n.next
	}
}

// queryWord is a word of the query as it stands among the words held.
type queryWord struct {
	as, stem int32 // the word as typed, and its stem; -1 where not held
	from, to int32 // words that begin with it
}

func (w *queryWord) whole(word int32) bool { return word == w.as || word == w.stem }
func (w *queryWord) fits(word int32) bool  { return w.whole(word) || w.from <= word && word < w.to }

// resolve finds each word of the query among the words held. A lone word of fewer
// than three letters is not taken for the beginning of others.
func (x *NameIndex) resolve(s *scratch) {
	q := &s.query
	s.words = s.words[:0]
	for i := range q.count() {
		word := q.word(i)
		w := queryWord{as: -1, stem: -1}
		if id, held := x.wordIDs[string(word)]; held {
			w.as = id
		}
		s.key = appendStem(s.key[:0], word)
		if id, held := x.wordIDs[string(s.key)]; held {
			w.stem = id
		}
		if len(word) >= 3 || q.count() > 1 {
			w.from, w.to = x.beginning(word)
		}
		s.words = append(s.words, w)
	}
}

// beginning is the range of words that begin with the prefix.
func (x *NameIndex) beginning(prefix []byte) (from, to int32) {
	a, _ := slices.BinarySearchFunc(x.words, prefix, compareText)
	b, _ := slices.BinarySearchFunc(x.words[a:], prefix, func(w string, p []byte) int {
		if len(w) > len(p) {
			w = w[:len(p)]
		}
		if compareText(w, p) <= 0 {
			return -1
		}
		return 1
	})
	return int32(a), int32(a + b)
}

// compareText compares without the copy that a conversion would cost.
func compareText(a string, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return cmp.Compare(a[i], b[i])
		}
	}
	return cmp.Compare(len(a), len(b))
}

// addHeaded adds the names of which the query is the head but not the whole. The words must be resolved.
func (x *NameIndex) addHeaded(s *scratch) {
	q := &s.query
	n := len(q.letters)
	s.key = q.appendHeadStem(s.key[:0])
	stem := len(s.key)
	slices.Reverse(s.key)
	at, _ := slices.BinarySearchFunc(x.backwards, s.key, func(t tail, k []byte) int { return compareText(t.text, k) })
	for ; at < len(x.backwards) && hasPrefix(x.backwards[at].text, s.key); at++ {
		t := &x.backwards[at]
		e := &x.entries[t.entry]
		start := len(t.text) - stem
		if start == 0 || e.order == headFirst {
			continue
		}
		// In a German compound the head needs no gap before it, but a few letters each side.
		if start < 64 && t.starts>>start&1 == 1 || e.order == headCompound && stem >= 4 && start >= 3 {
			s.add(x, t.entry, scoreHead+share(n, e), 0)
			s.whole = true
		}
	}
	first := &s.words[0]
	x.addLed(s, first.as)
	if first.stem != first.as {
		x.addLed(s, first.stem)
	}
}

// addLed adds the names that begin with the query's words and whose head stands first.
func (x *NameIndex) addLed(s *scratch, first int32) {
	if first < 0 {
		return
	}
	for _, at := range x.postingsOf(first) {
		e := &x.entries[at]
		if e.order != headFirst && e.order != headGenus {
			continue
		}
		words := x.wordsOf(at)
		if len(words) <= len(s.words) || words[0] != first {
			continue
		}
		led := true
		for i := range s.words {
			led = led && s.words[i].whole(words[i])
		}
		if !led {
			continue
		}
		s.whole = true
		if e.order == headGenus && len(s.words) == 1 {
			s.add(x, at, scoreGenus, 0)
		} else {
			s.add(x, at, scoreHead+share(len(s.query.letters), e), 0)
		}
	}
}

func hasPrefix(s string, prefix []byte) bool {
	return len(s) >= len(prefix) && s[:len(prefix)] == string(prefix)
}

// initialled finds "P. vitticeps": a single letter, then the rest of a scientific name.
func (x *NameIndex) initialled(s *scratch) string {
	q := &s.query
	if q.count() < 2 || len(q.word(0)) != 1 {
		return FoundNone
	}
	x.resolve(s)
	last := s.words[q.count()-1].as
	if last < 0 {
		return FoundNone
	}
	x.addInitialled(s, last, q.word(0)[0])
	switch len(s.hits) {
	case 0:
		// Another genus with the same epithet is near, and no more.
		x.addInitialled(s, last, 0)
		if len(s.hits) == 0 {
			return FoundNone
		}
		return FoundNear
	case 1:
		s.abbreviated = true
		return FoundOne
	}
	return FoundSeveral
}

// addInitialled adds the scientific names with the query's words after the first,
// of which the last is given, and the initial; any initial if it is 0.
func (x *NameIndex) addInitialled(s *scratch, last int32, initial byte) {
	score, distance := scoreInitial, int32(0)
	if initial == 0 {
		score, distance = scoreHead, 1
	}
	for _, at := range x.postingsOf(last) {
		e := &x.entries[at]
		words := x.wordsOf(at)
		if e.rank > kindRankSynonym || len(words) != len(s.words) || initial != 0 && x.words[words[0]][0] != initial {
			continue
		}
		same := true
		for i := 1; i < len(words); i++ {
			same = same && words[i] == s.words[i].as
		}
		if same {
			s.add(x, at, score, distance)
		}
	}
}

// like finds names of which the query is a part or a misspelling. What is spelt
// as parts of names held are is not taken for a misspelling, and the beginnings
// of words only where one edit makes a whole name of them.
func (x *NameIndex) like(s *scratch) string {
	q := &s.query
	x.resolve(s)
	x.addHeaded(s)
	x.addWorded(s)
	parts, closest := len(s.hits), mostEdits+1
	if !s.whole {
		allowed := tolerance(len(q.letters))
		closest = x.addSpelt(s, q.letters, allowed, 0)
		if closest > 1 && parts == 0 && q.count() > 1 {
			x.addSwapped(s, allowed)
		}
	}
	switch {
	case parts > 1 && closest > 1:
		return FoundSeveral
	case len(s.hits) == 0 && q.count() <= x.longest:
		x.addAlike(s)
	}
	if len(s.hits) == 0 {
		return FoundNone
	}
	return FoundNear
}

// addWorded adds the names that hold every word of the query, whole or begun.
func (x *NameIndex) addWorded(s *scratch) {
	rarest, fewest := -1, int32(0)
	for i := range s.words {
		w := &s.words[i]
		n := x.postingAt[w.to] - x.postingAt[w.from]
		if w.as >= 0 {
			n += x.postingAt[w.as+1] - x.postingAt[w.as]
		}
		if w.stem >= 0 {
			n += x.postingAt[w.stem+1] - x.postingAt[w.stem]
		}
		if n == 0 {
			return
		}
		if rarest < 0 || n < fewest {
			rarest, fewest = i, n
		}
	}
	w := &s.words[rarest]
	for word := w.from; word < w.to; word++ {
		x.addHolding(s, word, rarest)
	}
	if w.as >= 0 && (w.as < w.from || w.as >= w.to) {
		x.addHolding(s, w.as, rarest)
	}
	if w.stem >= 0 && w.stem != w.as && (w.stem < w.from || w.stem >= w.to) {
		x.addHolding(s, w.stem, rarest)
	}
}

// addHolding adds the names that hold the word, standing for one word of the query, and fit the others.
func (x *NameIndex) addHolding(s *scratch, word int32, standing int) {
	for _, at := range x.postingsOf(word) {
		words := x.wordsOf(at)
		if len(words) < len(s.words) {
			continue
		}
		whole, used := s.words[standing].whole(word), uint64(0)
		for i, held := range words {
			if held == word && i < 64 {
				used |= 1 << i
				break
			}
		}
		fit := true
		for i := 0; i < len(s.words) && fit; i++ {
			if i == standing {
				continue
			}
			w, found, foundWhole := &s.words[i], -1, false
			for j, held := range words {
				if j < 64 && used>>j&1 == 0 && w.fits(held) && (found < 0 || !foundWhole && w.whole(held)) {
					found, foundWhole = j, w.whole(held)
				}
			}
			if fit = found >= 0; fit {
				used |= 1 << found
				whole = whole && foundWhole
			}
		}
		if !fit {
			continue
		}
		base := scorePrefix
		if whole {
			base = scoreWords
			s.whole = true
		}
		s.add(x, at, base+share(len(s.query.letters), &x.entries[at]), 0)
	}
}

// tolerance is how many edits are looked for in a query of so many letters. Own
// choice: more would join names of different animals.
func tolerance(letters int) int {
	switch {
	case letters < 4:
		return 0
	case letters < 5:
		return 1
	case letters < 12:
		return 2
	}
	return mostEdits
}

// addSpelt adds the names nearest to the letters, up to one edit further than the
// nearest, and returns that nearest distance, or more than mostEdits if there is
// none. The penalty, in edits, lowers the score.
func (x *NameIndex) addSpelt(s *scratch, letters []byte, allowed int, penalty float64) int {
	s.pattern.set(letters)
	s.found = x.spellings.near(&s.pattern, allowed, s.found[:0])
	closest := mostEdits + 1
	for _, m := range s.found {
		closest = min(closest, int(m.distance))
	}
	for _, m := range s.found {
		if int(m.distance) > closest+1 {
			continue
		}
		text := x.spellings.text(m.id)
		cost := float64(m.distance) + penalty
		if text[0] != letters[0] {
			cost += 0.25 // the first letter is seldom the wrong one
		}
		for at := x.ofSpelling[m.id]; at >= 0; at = x.entries[at].next {
			e, cost := &x.entries[at], cost
			if int(e.to-e.from) != s.query.count() {
				cost += 0.1
			}
			s.add(x, at, max(0, 1-cost/float64(1+max(len(text), len(letters)))), m.distance)
		}
	}
	return closest
}

// addSwapped tries the words of the query in other orders: every order of up to
// three words, every exchange of two and every rotation of four or five.
func (x *NameIndex) addSwapped(s *scratch, allowed int) {
	n := s.query.count()
	if n > 5 {
		return
	}
	try := func() { x.addSpelt(s, s.swapped, allowed, 0.5) }
	arrange := func(order func(i int) int) {
		s.swapped = s.swapped[:0]
		for i := range n {
			s.swapped = append(s.swapped, s.query.word(order(i))...)
		}
		try()
	}
	for by := 1; by < n; by++ {
		arrange(func(i int) int { return (i + by) % n })
	}
	if n == 2 {
		return
	}
	for a := range n {
		for b := a + 1; b < n; b++ {
			arrange(func(i int) int {
				switch i {
				case a:
					return b
				case b:
					return a
				}
				return i
			})
		}
	}
}

// addAlike adds the names that hold, for every word of the query, one that is
// like it: the last resort for a misspelt part of a name.
func (x *NameIndex) addAlike(s *scratch) {
	q := &s.query
	alike := make([][]spellingMatch, q.count())
	rarest, fewest := 0, int32(-1)
	for i := range alike {
		word, w := q.word(i), &s.words[i]
		s.pattern.set(word)
		alike[i] = x.wordSpell.near(&s.pattern, min(2, tolerance(len(word))), nil)
		for id := w.from; id < w.to; id++ {
			alike[i] = append(alike[i], spellingMatch{id, 0})
		}
		if w.stem >= 0 {
			alike[i] = append(alike[i], spellingMatch{w.stem, 0})
		}
		slices.SortFunc(alike[i], func(a, b spellingMatch) int {
			return cmp.Or(cmp.Compare(a.id, b.id), cmp.Compare(a.distance, b.distance))
		})
		alike[i] = slices.CompactFunc(alike[i], func(a, b spellingMatch) bool { return a.id == b.id })
		count := int32(0)
		for _, m := range alike[i] {
			count += int32(len(x.postingsOf(m.id)))
		}
		if fewest < 0 || count < fewest {
			rarest, fewest = i, count
		}
	}
	for _, m := range alike[rarest] {
		for _, at := range x.postingsOf(m.id) {
			words := x.wordsOf(at)
			edits, fit := m.distance, len(words) >= len(alike)
			for i := 0; i < len(alike) && fit; i++ {
				if i == rarest {
					continue
				}
				least := int32(-1)
				for _, held := range words {
					k, ok := slices.BinarySearchFunc(alike[i], held, func(m spellingMatch, id int32) int { return cmp.Compare(m.id, id) })
					if ok && held != m.id && (least < 0 || alike[i][k].distance < least) {
						least = alike[i][k].distance
					}
				}
				fit = least >= 0
				edits += least
			}
			if fit {
				score := scoreLike + share(len(q.letters), &x.entries[at]) - 0.05*float64(edits)
				s.add(x, at, max(0, score), edits)
			}
		}
	}
}

// phrase is a folded text: its words, run together.
type phrase struct {
	letters []byte
	starts  []int // of the words
	work    []int
}

func (p *phrase) count() int { return len(p.starts) }

func (p *phrase) word(i int) []byte {
	if i+1 < len(p.starts) {
		return p.letters[p.starts[i]:p.starts[i+1]]
	}
	return p.letters[p.starts[i]:]
}

// startBits marks the bytes at which words start, as far as 64 go.
func (p *phrase) startBits() uint64 {
	out := uint64(0)
	for _, at := range p.starts {
		if at < 64 {
			out |= 1 << at
		}
	}
	return out
}

// appendSpaced appends the words with gaps between them.
func (p *phrase) appendSpaced(dst []byte) []byte {
	for i := range p.starts {
		if i > 0 {
			dst = append(dst, ' ')
		}
		dst = append(dst, p.word(i)...)
	}
	return dst
}

// umlauts writes German umlauts as letter pairs.
var umlauts = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue")

// letterFolds are letters that decomposition leaves whole.
var letterFolds = map[rune]string{'ß': "ss", 'æ': "ae", 'œ': "oe", 'ø': "o", 'đ': "d", 'ð': "d", 'ł': "l", 'þ': "th", 'ı': "i"}

// fold takes a text apart into lower-case words without marks or punctuation. It
// drops a possessive 's. Compatibility forms (ligatures, full-width letters) become
// plain ones; bytes that are not UTF-8 part words.
func (p *phrase) fold(text string) {
	p.letters, p.starts = p.letters[:0], p.starts[:0]
	open, afterApostrophe, possessive := false, false, false
	end := func() {
		if !open {
			return
		}
		open = false
		last := p.starts[len(p.starts)-1]
		if possessive && len(p.starts) > 1 && len(p.letters) == last+1 && p.letters[last] == 's' {
			p.letters, p.starts = p.letters[:last], p.starts[:len(p.starts)-1]
		}
	}
	begin := func() {
		if !open {
			p.starts = append(p.starts, len(p.letters))
			open, possessive = true, afterApostrophe
		}
		afterApostrophe = false
	}
	for i := 0; i < len(text); i++ {
		c := text[i]
		if c >= utf8.RuneSelf {
			p.foldUnicode(text, i, begin, end, &afterApostrophe)
			return
		}
		p.foldASCII(c, begin, end, &afterApostrophe)
	}
	end()
}

func (p *phrase) foldASCII(c byte, begin, end func(), afterApostrophe *bool) {
	switch {
	case 'a' <= c && c <= 'z' || '0' <= c && c <= '9':
		begin()
		p.letters = append(p.letters, c)
	case 'A' <= c && c <= 'Z':
		begin()
		p.letters = append(p.letters, c+'a'-'A')
	default:
		end()
		*afterApostrophe = c == '\''
	}
}

// apostrophes are the signs typed for one. They are replaced before
// decomposition, which would take the spacing accents among them apart.
var apostrophes = strings.NewReplacer("’", "'", "‘", "'", "ʼ", "'", "′", "'", "´", "'", "`", "'")

func (p *phrase) foldUnicode(text string, from int, begin, end func(), afterApostrophe *bool) {
	for _, r := range norm.NFKD.String(apostrophes.Replace(text[from:])) {
		if r < utf8.RuneSelf {
			p.foldASCII(byte(r), begin, end, afterApostrophe)
			continue
		}
		if unicode.Is(unicode.M, r) {
			continue
		}
		r = unicode.ToLower(r)
		switch plain, ok := letterFolds[r]; {
		case ok:
			begin()
			p.letters = append(p.letters, plain...)
		case unicode.IsLetter(r) || unicode.IsNumber(r):
			begin()
			p.letters = utf8.AppendRune(p.letters, r)
		default:
			end()
			*afterApostrophe = false
		}
	}
	end()
}

// appendStem appends a word without the endings by which plurals differ from
// singulars in the languages held. It need not be a word: both sides are stemmed.
func appendStem(dst, word []byte) []byte {
	w := word
	ends := func(suffix string) bool { return bytes.HasSuffix(w, []byte(suffix)) }
	if len(w) >= 4 && ends("s") && !ends("ss") {
		w = w[:len(w)-1]
	}
	switch {
	case len(w) >= 7 && ends("en"): // Schlangen
		w = w[:len(w)-2]
	case len(w) >= 7 && ends("ern"): // Nattern
		w = w[:len(w)-1]
	case len(w) >= 5 && ends("e"), len(w) >= 4 && (ends("xe") || ends("che") || ends("she") || ends("sse")): // snake(s), dragon(es), box(es)
		w = w[:len(w)-1]
	}
	dst = append(dst, w...)
	if len(w) >= 4 && ends("y") { // beardy, beardie(s)
		dst[len(dst)-1] = 'i'
	}
	return dst
}

// appendHeadStem appends the words run together, the last as a stem.
func (p *phrase) appendHeadStem(dst []byte) []byte {
	last := p.starts[len(p.starts)-1]
	return appendStem(append(dst, p.letters[:last]...), p.letters[last:])
}

// appendSorted appends the words in order of the alphabet, with gaps, as stems if asked.
func (p *phrase) appendSorted(dst []byte, stems bool) []byte {
	p.work = p.work[:0]
	for i := range p.starts {
		p.work = append(p.work, i)
	}
	slices.SortFunc(p.work, func(a, b int) int { return bytes.Compare(p.word(a), p.word(b)) })
	for i, w := range p.work {
		if i > 0 {
			dst = append(dst, ' ')
		}
		if stems {
			dst = appendStem(dst, p.word(w))
		} else {
			dst = append(dst, p.word(w)...)
		}
	}
	return dst
}

// withoutRemark drops "(older use)" and the like.
func withoutRemark(name string) string {
	for {
		before, rest, found := strings.Cut(name, "(")
		if !found {
			return name
		}
		_, after, _ := strings.Cut(rest, ")")
		name = before + after
	}
}

func cut(query string) string {
	query = strings.ToValidUTF8(query, "\uFFFD")
	if len(query) <= longestQuery {
		return query
	}
	query = query[:longestQuery]
	for !utf8.ValidString(query) {
		query = query[:len(query)-1]
	}
	return query
}

// mostEdits is the largest distance that spellings finds.
const mostEdits = 3

// indexedLength is the length from which a spelling is found by its pieces; the
// shorter are few and their pieces would tell nothing apart, so they are all looked at.
const indexedLength = 13

// spellings finds, among many short strings, those within a few edits of a
// pattern: insertions, deletions, substitutions and exchanges of neighbours
// (optimal string alignment).
//
// A string of indexedLength or more is cut into mostEdits+1 pieces with one
// letter left out between each two. No edit touches two pieces, so at least one
// stands unharmed in any pattern that is near, shifted by no more than the
// insertions or deletions allow: only strings that share a piece are compared.
// What is compared is first held against the letters of the pattern: k edits
// change at most k of them on either side.
type spellings struct {
	all     string
	at      []int32  // string i is all[at[i]:at[i+1]]
	letters []uint64 // letter sets, by string
	byLen   []int32  // the strings by length
	lenAt   []int32  // those of length n are byLen[lenAt[n]:lenAt[n+1]]
	short   []uint64 // letter sets of the strings below indexedLength, in the order of byLen
	pieces  []piece  // by the top bits of their hash
	pieceAt []int32
	shift   uint
}

type piece struct {
	hash uint32
	id   int32
}

type spellingMatch struct{ id, distance int32 }

func (x *spellings) text(id int32) string { return x.all[x.at[id]:x.at[id+1]] }

func (x *spellings) build(list []string) {
	total, longest := 0, 0
	for _, s := range list {
		total += len(s)
		longest = max(longest, len(s))
	}
	var all strings.Builder
	all.Grow(total)
	x.at = make([]int32, 1, len(list)+1)
	x.letters = make([]uint64, len(list))
	x.lenAt = make([]int32, longest+2)
	indexed := 0
	for i, s := range list {
		all.WriteString(s)
		x.at = append(x.at, int32(all.Len()))
		x.letters[i] = letterSet(s)
		x.lenAt[len(s)+1]++
		if piecewise(len(s)) {
			indexed++
		}
	}
	x.all = all.String()
	for n := range longest + 1 {
		x.lenAt[n+1] += x.lenAt[n]
	}
	x.byLen = make([]int32, len(list))
	filled := slices.Clone(x.lenAt)
	for i, s := range list {
		x.byLen[filled[len(s)]] = int32(i)
		filled[len(s)]++
	}
	for _, id := range x.byLen[:x.lenAt[min(indexedLength, longest+1)]] {
		x.short = append(x.short, x.letters[id])
	}

	// A table with about one slot for each piece.
	width := max(1, bits.Len(uint(indexed*(mostEdits+1))))
	x.shift = uint(32 - min(width, 24))
	x.pieceAt = make([]int32, 1<<(32-x.shift)+1)
	hashes := make([]piece, 0, indexed*(mostEdits+1))
	for i, s := range list {
		if !piecewise(len(s)) {
			continue
		}
		for k := range mostEdits + 1 {
			from, to := pieceOf(len(s), k)
			h := pieceHash(uint64Of(s[from:to]), len(s), k)
			hashes = append(hashes, piece{h, int32(i)})
			x.pieceAt[h>>x.shift+1]++
		}
	}
	for i := range len(x.pieceAt) - 1 {
		x.pieceAt[i+1] += x.pieceAt[i]
	}
	x.pieces = make([]piece, len(hashes))
	next := slices.Clone(x.pieceAt)
	for _, p := range hashes {
		x.pieces[next[p.hash>>x.shift]] = p
		next[p.hash>>x.shift]++
	}
}

func piecewise(length int) bool {
	return length >= indexedLength && length <= longestTypo+mostEdits
}

// pieceOf is where the k-th piece of a string of n letters lies. Of a long piece
// the first eight letters serve.
func pieceOf(n, k int) (from, to int) {
	letters := n - mostEdits // one left out between each two pieces
	base, longer := letters/(mostEdits+1), letters%(mostEdits+1)
	from = k*(base+1) + min(k, longer)
	to = from + base
	if k < longer {
		to++
	}
	return from, min(to, from+8)
}

func uint64Of[T string | []byte](s T) uint64 {
	out := uint64(0)
	for i := range len(s) {
		out = out<<8 | uint64(s[i])
	}
	return out
}

func pieceHash(letters uint64, n, k int) uint32 {
	h := (letters ^ uint64(n)<<56 ^ uint64(k)<<62) * 0x9E3779B97F4A7C15 // odd multiplier from the golden ratio (Knuth's multiplicative hashing)
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9 // second mixing constant of splitmix64
	return uint32(h >> 32)
}

// letterSet has a bit for the first and the second of each letter a to z, and for
// the third of the twelve that are commonest in names. One insertion or
// deletion changes at most one bit; a substitution at most one each way.
func letterSet[T string | []byte](s T) uint64 {
	var seen [26]uint8
	out := uint64(0)
	for i := range len(s) {
		c := s[i] - 'a'
		if c >= 26 {
			continue
		}
		seen[c]++
		switch seen[c] {
		case 1:
			out |= 1 << c
		case 2:
			out |= 1 << (26 + c)
		case 3:
			if k := strings.IndexByte("aeiorstnlcdu", s[i]); k >= 0 {
				out |= 1 << (52 + k)
			}
		}
	}
	return out
}

// pattern is what spellings are held against, at most longestTypo bytes.
type pattern struct {
	text    []byte
	letters uint64
	places  [256]uint64 // byte → where it stands in the pattern
}

func (p *pattern) set(text []byte) {
	clear(p.places[:])
	p.text = text
	p.letters = letterSet(text)
	for i, c := range text {
		p.places[c] |= 1 << i
	}
}

// distance is the number of edits (insert, delete, substitute, exchange
// neighbours) from the pattern to s, or more than most where it is more than most.
// Bit-parallel: G. Myers, "A fast bit-vector algorithm for approximate string
// matching based on dynamic programming", Journal of the ACM, 1999, with the
// exchange of H. Hyyrö, "A bit-vector algorithm for computing Levenshtein and
// Damerau edit distances", Nordic Journal of Computing, 2003 (both recalled).
func (p *pattern) distance(s string, most int) int {
	n := len(p.text)
	if n == 0 {
		return len(s)
	}
	last := uint64(1) << (n - 1)
	up, down, diagonal, before := ^uint64(0), uint64(0), uint64(0), uint64(0)
	d := n
	for i := range len(s) {
		here := p.places[s[i]]
		exchanged := (^diagonal & here) << 1 & before
		diagonal = (((here & up) + up) ^ up) | here | down | exchanged
		right, left := down|^(diagonal|up), diagonal&up
		if right&last != 0 {
			d++
		}
		if left&last != 0 {
			d--
		}
		if d-(len(s)-1-i) > most {
			return most + 1
		}
		carried := right<<1 | 1
		down = carried & diagonal
		up = left<<1 | ^(carried | diagonal)
		before = here
	}
	return d
}

// near appends the spellings within most edits of the pattern, each once. It may
// leave out those more than one edit further than the nearest.
func (x *spellings) near(p *pattern, most int, out []spellingMatch) []spellingMatch {
	most = min(most, mostEdits)
	n := len(p.text)
	if n > longestTypo || n == 0 {
		return out
	}
	begun := len(out)
	limit := most // tightens to one more than the nearest
	compare := func(id int32, letters uint64) {
		if bits.OnesCount64(letters&^p.letters) > limit || bits.OnesCount64(p.letters&^letters) > limit {
			return
		}
		d := p.distance(x.text(id), limit)
		if d > limit {
			return
		}
		for _, m := range out[begun:] {
			if m.id == id {
				return
			}
		}
		out = append(out, spellingMatch{id, int32(d)})
		limit = min(limit, d+1)
	}
	// The lengths nearest to the pattern's come first, so that the limit tightens early.
	for step := range 2*most + 1 {
		gap := (step + 1) / 2
		length := n + gap
		if step%2 == 1 {
			length = n - gap
		}
		if gap > limit || length < 1 || length+1 >= len(x.lenAt) {
			continue
		}
		if length < indexedLength {
			for i := x.lenAt[length]; i < x.lenAt[length+1]; i++ {
				compare(x.byLen[i], x.short[i])
			}
			continue
		}
		if x.lenAt[length] == x.lenAt[length+1] {
			continue
		}
		for k := range mostEdits + 1 {
			from, to := pieceOf(length, k)
			for shift := -limit; shift <= limit; shift++ {
				// Shifting the piece and then the end back into place must not cost more edits than allowed.
				if abs(shift)+abs(n-length-shift) > limit || from+shift < 0 || to+shift > n {
					continue
				}
				h := pieceHash(uint64Of(p.text[from+shift:to+shift]), length, k)
				for _, held := range x.pieces[x.pieceAt[h>>x.shift]:x.pieceAt[h>>x.shift+1]] {
					if held.hash == h {
						compare(held.id, x.letters[held.id])
					}
				}
			}
		}
	}
	return out
}

func abs(n int) int { return max(n, -n) }
