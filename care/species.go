// Package care holds what is known: species, claims, sources, published rules
// and names, the catalogue that binds them into one immutable snapshot, and the
// one documented rule by which a working range is computed from claims.
package care

import "denwright/care/quantity"

// Group is one of the four groups of animals covered.
type Group string

// The groups covered.
const (
	Lizard    Group = "lizard"
	Snake     Group = "snake"
	Chelonian Group = "chelonian"
	Amphibian Group = "amphibian"
)

// Groups lists the groups in the order they are shown.
var Groups = []Group{Lizard, Snake, Chelonian, Amphibian}

// Stage is a life stage. AnyStage marks a claim that does not say which it means.
type Stage string

// Life stages, youngest first. See Stage.FractionOfAdult for how they are told apart.
const (
	AnyStage  Stage = "any"
	Hatchling Stage = "hatchling"
	Juvenile  Stage = "juvenile"
	Subadult  Stage = "subadult"
	Adult     Stage = "adult"
)

// Stages lists the life stages an animal can be in, youngest first.
var Stages = []Stage{Hatchling, Juvenile, Subadult, Adult}

// Access says how a figure was obtained. It grades a figure; it never outranks authority.
type Access string

// Read: in the publication or a true copy. ReadThrough: in a page that quotes or
// summarises it. Recalled: from memory, believed to agree with the publication.
const (
	Read        Access = "read"
	ReadThrough Access = "read-through"
	Recalled    Access = "recalled"
)

// About says how directly a claim or rule speaks of the species it is filed under.
type About string

// From most to least direct. General is a rule of thumb for a habit or climate.
const (
	AboutSpecies About = "species"
	AboutGenus   About = "genus"
	AboutFamily  About = "family"
	AboutGroup   About = "group"
	AboutGeneral About = "general"
)

// abouts lists directness from most to least direct; the index is the rank.
var abouts = []About{AboutSpecies, AboutGenus, AboutFamily, AboutGroup, AboutGeneral}

// Confidence is the compiler's own trust in a recalled figure.
type Confidence string

// Habit is where the animal lives.
type Habit string

// Habits, as judged by the compiler (recalled).
const (
	Terrestrial  Habit = "terrestrial"
	Arboreal     Habit = "arboreal"
	SemiArboreal Habit = "semi-arboreal"
	Fossorial    Habit = "fossorial"
	Saxicolous   Habit = "saxicolous"
	SemiAquatic  Habit = "semi-aquatic"
	Aquatic      Habit = "aquatic"
)

// Habits lists every habit.
var Habits = []Habit{Terrestrial, Arboreal, SemiArboreal, Fossorial, Saxicolous, SemiAquatic, Aquatic}

// Species is one curated record: care/data/species/<id>.yaml.
type Species struct {
	ID         string `yaml:"id"`              // lower-case scientific name with hyphens
	Scientific string `yaml:"scientific_name"` // accepted name
	Authority  string `yaml:"authority,omitempty"`
	Group      Group  `yaml:"group"`
	Order      string `yaml:"order"`
	Family     string `yaml:"family"`
	Names      Names  `yaml:"names"`
	Nature     Nature `yaml:"nature"`
	Cautions   `yaml:"cautions"`
	// Claims are all claims, in the order of the parameter registry.
	Claims []Claim `yaml:"-"`
	// Filed are the claims as the record holds them, under their parameter; nil once
	// they are in Claims.
	Filed     map[Code][]Claim `yaml:"claims"`
	Growth    []Growth         `yaml:"growth,omitempty"`
	Explained []Explained      `yaml:"explained,omitempty"`
}

// Names are the names a species is known by. Common names are keyed by ISO 639-1
// language; "short" holds trade aliases and short forms.
type Names struct {
	Synonyms []string            `yaml:"synonyms,omitempty"`
	Common   map[string][]string `yaml:"common"`
	Access   Access              `yaml:"access"`
	Sources  []string            `yaml:"sources"`
}

// Nature is the animal's way of life. Climbs, digs, swims and basks run from 0
// (never) to 3 (lives by it) and are the compiler's judgements.
type Nature struct {
	Activity  string   `yaml:"activity"` // diurnal, nocturnal, crepuscular, cathemeral
	Habit     Habit    `yaml:"habit"`
	Climbs    int      `yaml:"climbs"`
	Digs      int      `yaml:"digs"`
	Swims     int      `yaml:"swims"`
	Basks     int      `yaml:"basks"`
	Burrow    string   `yaml:"burrow,omitempty"`
	Sociality string   `yaml:"sociality"`
	Latitude  *float64 `yaml:"latitude,omitempty"` // degrees, mean of the native range, south negative
	Biome     string   `yaml:"biome,omitempty"`
	Dormancy  string   `yaml:"dormancy"` // none, optional, expected
	Access    Access   `yaml:"access"`
	Sources   []string `yaml:"sources"`
	Note      string   `yaml:"note,omitempty"`
}

// Cautions are what can hurt the keeper, or bring the law in. Trade listings are
// recalled and change; the competent authority decides.
type Cautions struct {
	Venomous bool     `yaml:"venomous"`
	Hazards  []string `yaml:"hazards,omitempty"` // bite, claws, constriction, skin toxin …
	Trade    string   `yaml:"trade"`             // CITES appendix as recalled, or "none"
}

// Claim is one source's figure for one parameter. Claims are never merged or overwritten.
// Low and High are in the unit of the parameter; a missing bound is open.
type Claim struct {
	Parameter   Code       `yaml:"-"`               // the heading it is filed under
	Stage       Stage      `yaml:"stage,omitempty"` // adult when left out
	Low         *float64   `yaml:"low,omitempty"`
	High        *float64   `yaml:"high,omitempty"`
	Source      string     `yaml:"source"`
	Locator     string     `yaml:"locator,omitempty"`
	Access      Access     `yaml:"access"`
	About       About      `yaml:"about,omitempty"`       // species when left out
	Indirect    string     `yaml:"indirect,omitempty"`    // why the figure is only indirectly about the parameter
	Confidence  Confidence `yaml:"confidence,omitempty"`  // recalled claims: high, medium, low
	Implausible string     `yaml:"implausible,omitempty"` // why the figure is kept but never used
	Note        string     `yaml:"note,omitempty"`
}

// Growth is one reported point of size against age, one size or age at
// maturity, or one fitted curve. Lengths in cm, mass in g, ages in months.
type Growth struct {
	// Kind: size-at-age, mass-at-age, age-at-maturity, size-at-maturity, increment, curve.
	Kind    string  `yaml:"kind"`
	Sex     string  `yaml:"sex"` // female, male, mixed, unsexed
	Age     float64 `yaml:"age_months,omitempty"`
	Length  float64 `yaml:"length_cm,omitempty"`
	Measure Measure `yaml:"measure,omitempty"` // of Length
	Mass    float64 `yaml:"mass_g,omitempty"`
	// A curve: relative length = 1 − exp(−PerYear·(t − Start)), t in years; Asymptote in cm or g.
	PerYear       float64 `yaml:"per_year,omitempty"`
	Start         float64 `yaml:"start_years,omitempty"`
	Asymptote     float64 `yaml:"asymptote,omitempty"`
	AsymptoteUnit string  `yaml:"asymptote_unit,omitempty"` // cm or g
	Source        string  `yaml:"source"`
	Access        Access  `yaml:"access"`
	Note          string  `yaml:"note,omitempty"`
}

// Explained records why a check that would fail on this record is accepted.
type Explained struct {
	Check     string `yaml:"check"` // adult-size, temperature-order …
	Parameter Code   `yaml:"parameter"`
	Reason    string `yaml:"reason"`
}

// SourceKind ranks a source by what it is. See Tier.
type SourceKind string

// The kinds of source, grouped by tier.
const (
	Statute       SourceKind = "statute"              // law, or a true copy of it
	PeerReviewed  SourceKind = "peer-reviewed"        // paper or monograph under review
	Dataset       SourceKind = "dataset"              // open dataset of measurements
	Official      SourceKind = "official-guidance"    // government, ministry expert report, code of practice
	VetReference  SourceKind = "veterinary-reference" // textbook, manual, association
	ZooManual     SourceKind = "zoo-manual"           // zoo-association care manual
	Handbook      SourceKind = "handbook"             // natural-history or terrarium handbook, checklist
	VetPractice   SourceKind = "veterinary-practice"  // a clinic's advice
	WelfareBody   SourceKind = "welfare-body"         // animal-welfare or rescue body
	Zoo           SourceKind = "zoo"                  // a zoo's own sheet
	Society       SourceKind = "society"              // herpetological society
	University    SourceKind = "university"           // teaching or laboratory page
	Encyclopaedia SourceKind = "encyclopaedia"
	Press         SourceKind = "press"
	Association   SourceKind = "keeper-association" // code of a keepers' association
	Other         SourceKind = "other"
)

var tiers = map[SourceKind]int{
	Statute: 1, PeerReviewed: 1, Dataset: 1,
	Official: 2, VetReference: 2, ZooManual: 2, Handbook: 2,
	VetPractice: 3, WelfareBody: 3, Zoo: 3, Society: 3, University: 3,
	Encyclopaedia: 4, Press: 4, Association: 4, Other: 4,
}

// Tier is the authority of the kind, 1 (law, reviewed measurement) to 4 (retold); 0 for an unknown kind.
func (k SourceKind) Tier() int { return tiers[k] }

// Source is a publication. Two records of one publication (two copies of a
// statute) share Work, so that they count once.
type Source struct {
	Key       string     `yaml:"key" json:"key"`
	Title     string     `yaml:"title" json:"title"`
	Publisher string     `yaml:"publisher,omitempty" json:"publisher,omitempty"`
	Year      string     `yaml:"year,omitempty" json:"year,omitempty"`
	Kind      SourceKind `yaml:"kind" json:"kind"`
	Language  string     `yaml:"language,omitempty" json:"language,omitempty"`
	Address   string     `yaml:"address,omitempty" json:"address,omitempty"` // of the publication itself only
	Work      string     `yaml:"work,omitempty" json:"work,omitempty"`
	ReadHow   string     `yaml:"read_how" json:"read_how"` // how much of it was read: whole, part, abstract, secondary copy, not read
	Note      string     `yaml:"note,omitempty" json:"note,omitempty"`
}

// Publication is the key under which copies of one publication count once.
func (s *Source) Publication() string {
	if s.Work != "" {
		return s.Work
	}
	return s.Key
}

// Band is the claim's figure in the unit of its parameter.
func (c *Claim) Band() *quantity.Band {
	unit := ""
	if p := ParameterOf(c.Parameter); p != nil {
		unit = p.Unit
	}
	return &quantity.Band{Low: c.Low, High: c.High, Unit: unit}
}
