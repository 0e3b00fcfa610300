package care

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"go.yaml.in/yaml/v3" // maintained continuation of the usual YAML library; strict decoding with line numbers
)

//go:embed data
var embedded embed.FS

// EmbeddedFiles are the records that the program carries, as Load reads them.
func EmbeddedFiles() (fs.FS, error) { return fs.Sub(embedded, "data") }

// Embedded loads the catalogue that the program carries: revision zero.
func Embedded() (*Catalogue, error) {
	data, err := EmbeddedFiles()
	if err != nil {
		return nil, err
	}
	return Load(data)
}

// RecordError names the file, the field and the reason for which a record is refused.
type RecordError struct {
	File, Field, Reason string
}

func (e *RecordError) Error() string {
	if e.Field == "" {
		return fmt.Sprintf("%s: %s", e.File, e.Reason)
	}
	return fmt.Sprintf("%s: %s: %s", e.File, e.Field, e.Reason)
}

// Load reads species/*.yaml, sources/*.yaml, rules/*.yaml and, where there is
// one, allometry.yaml, and builds a catalogue. It refuses the whole set if any
// record is bad; the error joins one *RecordError for each fault.
func Load(data fs.FS) (*Catalogue, error) {
	c := &Catalogue{byID: map[string]*Species{}, sources: map[string]*Source{}, rulesByID: map[string]*Rule{}}
	var files reading
	sourceFiles, sourceLists := toRead[[]*Source](&files, data, "sources/*.yaml")
	speciesFiles, species := toRead[*Species](&files, data, "species/*.yaml")
	ruleFiles, ruleLists := toRead[[]*Rule](&files, data, "rules/*.yaml")
	relationFiles, relations := toRead[[]*Relation](&files, data, "allometry.yaml") // a catalogue may do without
	revision, err := files.decode()
	if err != nil {
		return nil, err
	}
	var faults []error
	for _, kind := range []struct {
		dir   string
		files int
	}{{"sources", len(sourceFiles)}, {"species", len(speciesFiles)}, {"rules", len(ruleFiles)}} {
		if kind.files == 0 {
			faults = append(faults, &RecordError{kind.dir, "", "no records found"})
		}
	}
	for i, list := range sourceLists {
		for j, s := range list {
			f := faultList{file: sourceFiles[i], prefix: fmt.Sprintf("[%d]", j), out: &faults}
			if s == nil {
				f.add("key", "is missing: the entry is empty")
				continue
			}
			f.prefix += " " + s.Key
			s.check(&f)
			if c.sources[s.Key] != nil {
				f.add("key", "is used twice")
			}
			c.sources[s.Key] = s
		}
	}
	for i, s := range species {
		f := faultList{file: speciesFiles[i], out: &faults}
		if s == nil {
			f.add("id", "is missing: the record is empty")
			continue
		}
		s.file(&f)
		s.check(&f, strings.TrimSuffix(path.Base(speciesFiles[i]), ".yaml"), c.sources)
		s.Filed = nil // all of it is in Claims now
		if c.byID[s.ID] != nil {
			f.add("id", "is used twice")
		}
		c.byID[s.ID] = s
		c.species = append(c.species, s)
	}
	for i, list := range ruleLists {
		for j, r := range list {
			f := faultList{file: ruleFiles[i], prefix: fmt.Sprintf("[%d]", j), out: &faults}
			if r == nil {
				f.add("id", "is missing: the entry is empty")
				continue
			}
			f.prefix += " " + r.ID
			r.check(&f, c)
			if c.rulesByID[r.ID] != nil {
				f.add("id", "is used twice")
			}
			c.rulesByID[r.ID] = r
			c.rules = append(c.rules, r)
		}
	}
	for i, list := range relations {
		for j, r := range list {
			f := faultList{file: relationFiles[i], prefix: fmt.Sprintf("[%d]", j), out: &faults}
			if r == nil {
				f.add("clade", "is missing: the entry is empty")
				continue
			}
			f.prefix += " " + r.Clade
			r.check(&f, c.sources)
		}
		c.relations = list
	}
	for _, r := range c.rules {
		if r.VariantOf != "" && c.rulesByID[r.VariantOf] == nil {
			faults = append(faults, &RecordError{"rules", r.ID + ".variant_of", fmt.Sprintf("no rule %q", r.VariantOf)})
		}
	}
	if len(faults) > 0 {
		return nil, fmt.Errorf("catalogue refused: %w", errors.Join(faults...))
	}
	c.Revision = "0-" + revision
	c.build()
	return c, nil
}

// reading is a set of files to decode, all at once, since decoding YAML is most of
// what loading costs.
type reading struct {
	names    []string
	decoders []func() (raw []byte, err error)
}

// toRead adds the files that match, in name order, each decoded strictly into one
// element of the slice returned.
func toRead[T any](r *reading, data fs.FS, pattern string) (names []string, into []T) {
	names, err := fs.Glob(data, pattern)
	if err != nil { // the patterns are ours and sound
		panic(err)
	}
	into = make([]T, len(names))
	for i, name := range names {
		r.names = append(r.names, name)
		r.decoders = append(r.decoders, func() ([]byte, error) {
			raw, err := fs.ReadFile(data, name)
			if err != nil {
				return nil, &RecordError{name, "", err.Error()}
			}
			d := yaml.NewDecoder(bytes.NewReader(raw))
			d.KnownFields(true)
			if err := d.Decode(&into[i]); err != nil {
				return nil, &RecordError{name, "", strings.TrimPrefix(err.Error(), "yaml: ")}
			}
			return raw, nil
		})
	}
	return names, into
}

// decode reads every file on all processors and gives a short hash of the content.
func (r *reading) decode() (revision string, err error) {
	faults := make([]error, len(r.names))
	contents := make([][]byte, len(r.names))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(r.names); i = int(next.Add(1)) - 1 {
				contents[i], faults[i] = r.decoders[i]()
			}
		})
	}
	wg.Wait()
	if err := errors.Join(faults...); err != nil {
		return "", fmt.Errorf("catalogue refused: %w", err)
	}
	digest := sha256.New()
	for i, raw := range contents {
		fmt.Fprintf(digest, "%s %d\n", r.names[i], len(raw)) // a hash never fails to write
		digest.Write(raw)
	}
	return hex.EncodeToString(digest.Sum(nil))[:12], nil
}

// faultList collects what is wrong with one record.
type faultList struct {
	file, prefix string
	out          *[]error
}

func (f *faultList) add(field, reason string, args ...any) {
	if f.prefix != "" {
		field = f.prefix + "." + field
	}
	*f.out = append(*f.out, &RecordError{f.file, field, fmt.Sprintf(reason, args...)})
}

// oneOf adds a fault unless the value is among those allowed.
func oneOf[T ~string](f *faultList, field string, value T, allowed ...T) {
	if !slices.Contains(allowed, value) {
		f.add(field, "is %q; use one of %v", value, allowed)
	}
}

func known(f *faultList, field string, keys []string, sources map[string]*Source) {
	if len(keys) == 0 {
		f.add(field, "is empty; name at least one source")
	}
	for _, k := range keys {
		if sources[k] == nil {
			f.add(field, "no source %q", k)
		}
	}
}

func (s *Source) check(f *faultList) {
	if s.Key == "" || s.Key != strings.ToLower(s.Key) || strings.ContainsAny(s.Key, " /?") {
		f.add("key", "must be lower case without spaces")
	}
	if s.Title == "" {
		f.add("title", "is missing")
	}
	if s.Kind.Tier() == 0 {
		f.add("kind", "is %q, which is not a kind of source", s.Kind)
	}
	oneOf(f, "read_how", s.ReadHow, "whole", "part", "abstract", "secondary copy", "catalogue entry", "not read")
}

func (s *Species) check(f *faultList, fileID string, sources map[string]*Source) {
	if s.ID != fileID || s.ID != Slug(s.Scientific) {
		f.add("id", "is %q; it must be the file's name and the scientific name in lower case with hyphens", s.ID)
	}
	oneOf(f, "group", s.Group, Groups...)
	for field, v := range map[string]string{"order": s.Order, "family": s.Family, "nature.sociality": s.Nature.Sociality, "cautions.trade": s.Trade} {
		if v == "" {
			f.add(field, "is missing")
		}
	}
	if len(s.Names.Common) == 0 {
		f.add("names.common", "is empty")
	}
	oneOf(f, "names.access", s.Names.Access, Read, ReadThrough, Recalled)
	known(f, "names.sources", s.Names.Sources, sources)
	n := &s.Nature
	oneOf(f, "nature.activity", n.Activity, "diurnal", "nocturnal", "crepuscular", "cathemeral")
	oneOf(f, "nature.habit", n.Habit, Habits...)
	oneOf(f, "nature.dormancy", n.Dormancy, "none", "optional", "expected")
	oneOf(f, "nature.access", n.Access, Read, ReadThrough, Recalled)
	known(f, "nature.sources", n.Sources, sources)
	for field, v := range map[string]int{"climbs": n.Climbs, "digs": n.Digs, "swims": n.Swims, "basks": n.Basks} {
		if v < 0 || v > 3 {
			f.add("nature."+field, "is %d; it runs from 0 to 3", v)
		}
	}
	if n.Latitude != nil && !(math.Abs(*n.Latitude) <= 90) {
		f.add("nature.latitude", "is %g; it runs from -90 to 90", *n.Latitude)
	}
	for _, p := range Parameters {
		for i := range s.Filed[p.Code] {
			s.Filed[p.Code][i].check(f, &p, fmt.Sprintf("claims.%s[%d]", p.Code, i), sources)
		}
	}
	for i, g := range s.Growth {
		field := fmt.Sprintf("growth[%d]", i)
		oneOf(f, field+".kind", g.Kind, "size-at-age", "mass-at-age", "age-at-maturity", "size-at-maturity", "increment", "curve")
		oneOf(f, field+".access", g.Access, Read, ReadThrough, Recalled)
		known(f, field+".source", []string{g.Source}, sources)
		f.sane(field, g.Age, g.Length, g.Mass, g.PerYear, math.Abs(g.Start), g.Asymptote)
	}
	for i, e := range s.Explained {
		if ParameterOf(e.Parameter) == nil {
			f.add(fmt.Sprintf("explained[%d].parameter", i), "no parameter %q", e.Parameter)
		}
		if e.Reason == "" || e.Check == "" {
			f.add(fmt.Sprintf("explained[%d]", i), "check or reason is missing")
		}
	}
}

// file lists the claims of a record by the order of the registry.
func (s *Species) file(f *faultList) {
	for code := range s.Filed {
		if ParameterOf(code) == nil {
			f.add("claims."+string(code), "no such parameter; see care/parameter.go")
		}
	}
	claims := 0
	for _, filed := range s.Filed {
		claims += len(filed)
	}
	s.Claims = make([]Claim, 0, claims)
	for _, p := range Parameters {
		for i := range s.Filed[p.Code] {
			c := &s.Filed[p.Code][i]
			c.Parameter = p.Code
			if c.Stage == "" {
				c.Stage = Adult
			}
			s.Claims = append(s.Claims, *c)
		}
	}
}

func (c *Claim) check(f *faultList, p *Parameter, at string, sources map[string]*Source) {
	oneOf(f, at+".stage", c.Stage, append([]Stage{AnyStage}, Stages...)...)
	oneOf(f, at+".access", c.Access, Read, ReadThrough, Recalled)
	oneOf(f, at+".about", c.about(), abouts...)
	if c.Confidence != "" {
		oneOf(f, at+".confidence", c.Confidence, "high", "medium", "low")
	}
	known(f, at+".source", []string{c.Source}, sources)
	if c.Low == nil && c.High == nil {
		f.add(at, "has neither low nor high")
	}
	for field, v := range map[string]*float64{"low": c.Low, "high": c.High} {
		if v != nil && !(math.Abs(*v) <= math.MaxFloat32) { // whatever the reason: it could not be written again
			f.add(at+"."+field, "is %g, which is no figure", *v)
		} else if v != nil && c.Implausible == "" && (*v < p.Least || *v > p.Most) {
			f.add(at+"."+field, "is %g %s, outside %g to %g; if the source says so, give the reason in implausible", *v, p.Unit, p.Least, p.Most)
		}
	}
	if c.Low != nil && c.High != nil && *c.Low > *c.High {
		f.add(at, "low %g is above high %g", *c.Low, *c.High)
	}
	if c.Access == Recalled && c.Locator != "" {
		f.add(at+".locator", "a recalled claim has no page or place")
	}
	if c.Access == Recalled && strings.ContainsAny(c.Note, "“”«»") {
		f.add(at+".note", "a recalled claim is never a quotation")
	}
}

func (r *Rule) check(f *faultList, c *Catalogue) {
	if r.ID == "" || r.ID != strings.ToLower(r.ID) || strings.ContainsAny(r.ID, " /?") {
		f.add("id", "must be lower case without spaces")
	}
	known(f, "source", []string{r.Source}, c.sources)
	oneOf(f, "status", r.Status, InForce, Advisory, Laboratory, Superseded)
	oneOf(f, "access", r.Access, Read, ReadThrough, Recalled)
	oneOf(f, "scope.match", r.Scope.Match, Named, ByGenus, Assigned, Wide)
	if r.Measure != "" {
		oneOf(f, "measure", r.Measure, SnoutVent, TotalLength, Shell)
	}
	if r.Topic == "" {
		f.add("topic", "is missing")
	}
	for _, id := range r.Scope.Species {
		if c.byID[id] == nil {
			f.add("scope.species", "no species %q", id)
		}
	}
	for _, g := range r.Scope.Groups {
		oneOf(f, "scope.groups", g, Groups...)
	}
	for _, h := range r.Scope.Habits {
		oneOf(f, "scope.habits", h, Habits...)
	}
	s := r.Scope
	if len(s.Species)+len(s.Genera)+len(s.Families)+len(s.Orders)+len(s.Groups) == 0 {
		f.add("scope", "names no animals")
	}
	figures := !r.Figures.Empty()
	if (r.Clause || r.Unread) && figures {
		f.add("clause", "a clause or unread entry carries no figures")
	}
	if !r.Clause && !r.Unread && !figures && r.Climate == nil {
		f.add("figures", "none; mark a provision without figures as clause")
	}
	if r.Measure == "" && (r.Figures.multiplies() || (r.Class != nil && r.Class.Measure == "")) {
		f.add("measure", "is missing, yet a figure or class depends on a body length")
	}
	if k := r.Class; k != nil {
		if k.UpTo != 0 && k.Over >= k.UpTo {
			f.add("class", "over %g is not below up_to %g", k.Over, k.UpTo)
		}
		f.sane("class", k.Over, k.UpTo)
		if k.Measure != "" {
			oneOf(f, "class.measure", k.Measure, SnoutVent, TotalLength, Shell)
		}
	}
	if a := r.Age; a != nil {
		if a.UpTo != 0 && a.From >= a.UpTo {
			f.add("age", "from %g is not below up_to %g", a.From, a.UpTo)
		}
		f.sane("age", a.From, a.UpTo)
	}
	f.sane("animals", float64(r.Animals))
	f.sane("figures", r.Figures.all()...)
	if x := r.Extra; x != nil {
		f.sane("extra", slices.Concat(x.AreaShares, x.VolumeShares, x.PerimeterShares,
			[]float64{x.Area, x.WaterArea, x.WaterAreaPerLengthSquared, x.WaterVolume, x.AreaPerAnimal})...)
	}
	if k := r.Climate; k != nil {
		for _, x := range []*float64{k.AirLow, k.AirHigh, k.HotSpotLow, k.HotSpotHigh, k.HumidityLow, k.HumidityHigh, k.WaterHigh} {
			if x != nil && !(math.Abs(*x) <= 100) {
				f.add("climate", "holds %g; degrees and percent run from -100 to 100", *x)
			}
		}
	}
}

// mostFigure is above whatever a rule could mean (own choice), in cm, cm², litres or times: a floor
// of 1,000 m². Sums and squares of it can still be written.
const mostFigure = 1e7

// sane adds a fault where a number of a rule or a growth record is negative, absurd or none.
func (f *faultList) sane(field string, figures ...float64) {
	for _, x := range figures {
		if !(x >= 0 && x <= mostFigure) {
			f.add(field, "holds %g; figures run from 0 to %g", x, mostFigure)
		}
	}
}

// multiplies reports whether any figure is a multiple of a body length.
func (f Figures) multiplies() bool {
	w := f.Water
	return f.LengthFactor+f.WidthFactor+f.HeightFactor+f.ShortestSideFactor+f.AreaPerLength+f.AreaPerLengthSquared+f.PerimeterFactor+f.VolumePerLength > 0 ||
		(w != nil && w.AreaPerLengthSquared+w.DepthFactor+w.DepthFactorMax+w.VolumePerLength > 0)
}

func (f Figures) all() []float64 {
	out := []float64{f.LengthFactor, f.WidthFactor, f.HeightFactor, f.Length, f.Width, f.WidthCap, f.Height, f.ShortestSideFactor,
		f.Area, f.AreaPerLength, f.AreaPerLengthSquared, f.PerimeterFactor, f.Volume, f.VolumePerLength, f.HeightLimit, f.SubstrateDepth, f.SubstrateShellHeights}
	if w := f.Water; w != nil {
		out = append(out, w.Area, w.AreaPerLengthSquared, w.Depth, w.DepthFactor, w.DepthFactorMax, w.DepthMax, w.Volume, w.VolumePerLength, w.Share, w.LandShareMin, w.LandShareMax)
	}
	return out
}
