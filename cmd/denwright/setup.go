package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"denwright/api/saved"
	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
	"denwright/sizing"
	"denwright/sizing/score"
)

const setupUsage = `denwright setup ACTION [flags]

Keeps an organisation's setups, each with its versions and its assessments. FILE is an
assessment question as denwright assess takes it; - reads standard input. An
organisation's key must be given, in DENWRIGHT_KEY or with --key-file.

  denwright setup save --name "Tank 7" FILE         prints the setup's id
  denwright setup list [--species ID]
  denwright setup show ID                           as it stands
  denwright setup update --version N FILE ID        N as it was read, so that nobody's
                                                    change is lost
  denwright setup delete --version N ID             its history stays
  denwright setup history ID                        versions and assessments
  denwright setup assess ID                         by the records in force; the answer is kept
  denwright setup reassess [--species ID]           all whose last answer rests on other
                                                    records; lists what changed
`

func (p *program) setup(ctx context.Context, args []string) error {
	return p.dispatch(ctx, "setup", setupUsage, args, map[string]action{
		"save": (*program).saveSetup, "list": (*program).listSetups, "show": (*program).showSetup, "update": (*program).updateSetup,
		"delete": (*program).deleteSetup, "history": (*program).setupHistory, "assess": (*program).assessSetup, "reassess": (*program).reassess,
	})
}

// owned is kept for a command that needs an organisation's key.
func (p *program) owned(ctx context.Context, f *flag.FlagSet, args []string, words int, do func(k *kept, rest []string) error) error {
	return p.kept(ctx, f, args, words, words, func(k *kept, rest []string) error {
		if k.who.Organisation == "" {
			return usageError{"setups belong to an organisation: give its key in " + envKey + " or --key-file (see denwright key)"}
		}
		return do(k, rest)
	})
}

// input makes what is saved out of a file, once it was checked against the records in force.
func (p *program) input(ctx context.Context, k *kept, name, file string) (in store.SetupInput, err error) {
	raw, err := p.read(file)
	if err != nil {
		return in, err
	}
	if raw, err = withoutNulls(raw); err != nil {
		return in, err
	}
	c, err := k.Snapshot(ctx)
	if err != nil {
		return in, err
	}
	in, err = saved.Input(c, name, raw)
	var invalid sizing.Invalid
	if err != nil && !errors.As(err, &invalid) {
		return in, usageError{fmt.Sprintf("%s: %v", file, err)}
	}
	return in, err
}

func (p *program) saveSetup(ctx context.Context, f *flag.FlagSet, args []string) error {
	name := f.String("name", "", "what the setup is called (default: the file's name)")
	token := f.String("token", "", "a `word` of your own that is the same when you repeat this after a failure: the setup is saved once")
	return p.owned(ctx, f, args, 1, func(k *kept, rest []string) error {
		if *name == "" && rest[0] == "-" {
			return usageError{"give --name: standard input has none"}
		}
		if *name == "" {
			*name = strings.TrimSuffix(filepath.Base(rest[0]), filepath.Ext(rest[0]))
		}
		in, err := p.input(ctx, k, *name, rest[0])
		if err != nil {
			return err
		}
		s, err := k.CreateSetup(ctx, k.who, *token, in)
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, s, quantity.Metric)
		}
		_, err = fmt.Fprintln(p.out, s.ID)
		return err
	})
}

func (p *program) listSetups(ctx context.Context, f *flag.FlagSet, args []string) error {
	var filter store.SetupFilter
	f.StringVar(&filter.Species, "species", "", "only of this species, by its `id`")
	return p.owned(ctx, f, args, 0, func(k *kept, _ []string) error {
		all, err := atMost(0, func(page store.Page) (store.List[store.Setup], error) { return k.Setups(ctx, k.who, filter, page) })
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, all, quantity.Metric)
		}
		rows := [][]string{{"id", "name", "species", "version", "changed"}}
		for _, s := range all {
			rows = append(rows, []string{s.ID, s.Name, s.Species, fmt.Sprint(s.Version), when(s.UpdatedAt)})
		}
		return p.rows(rows, "no setups yet")
	})
}

func (p *program) showSetup(ctx context.Context, f *flag.FlagSet, args []string) error {
	question := f.Bool("question", false, "write the question alone, to change it and update the setup with")
	return p.owned(ctx, f, args, 1, func(k *kept, rest []string) error {
		s, err := k.Setup(ctx, k.who, rest[0])
		if err != nil {
			return err
		}
		switch {
		case *question:
			return writeJSON(p.out, s.Payload, quantity.Metric)
		case k.asJSON:
			return writeJSON(p.out, s, quantity.Metric)
		}
		g := &page{w: p.out}
		g.printf("%s\n", s.Name)
		g.table([][]string{{"id", s.ID}, {"species", s.Species}, {"version", fmt.Sprint(s.Version)}, {"made", when(s.CreatedAt)}, {"changed", when(s.UpdatedAt)}})
		g.printf("\n")
		if g.err != nil {
			return g.err
		}
		return writeJSON(p.out, s.Payload, quantity.Metric)
	})
}

const versionText = "the `version` that was read, as setup show or setup list says"

// stale says which version a setup has by now.
func stale(err error, given int64, now store.Setup) error {
	if errors.Is(err, store.ErrStale) && now.Version != given && now.Version > 0 {
		return fmt.Errorf("setup %s is at version %d, not %d: %w", now.ID, now.Version, given, err)
	}
	return err
}

func (p *program) updateSetup(ctx context.Context, f *flag.FlagSet, args []string) error {
	version := f.Int64("version", 0, versionText)
	name := f.String("name", "", "a new name (default: as it is)")
	return p.owned(ctx, f, args, 2, func(k *kept, rest []string) error {
		if *version < 1 {
			return usageError{"give --version, " + strings.ReplaceAll(versionText, "`", "")}
		}
		file, id := rest[0], rest[1]
		now, err := k.Setup(ctx, k.who, id)
		if err != nil {
			return err
		}
		if *name == "" {
			*name = now.Name
		}
		in, err := p.input(ctx, k, *name, file)
		if err != nil {
			return err
		}
		s, err := k.UpdateSetup(ctx, k.who, id, *version, in)
		if err != nil {
			return stale(err, *version, s)
		}
		if k.asJSON {
			return writeJSON(p.out, s, quantity.Metric)
		}
		_, err = fmt.Fprintf(p.out, "%s is at version %d\n", s.ID, s.Version)
		return err
	})
}

func (p *program) deleteSetup(ctx context.Context, f *flag.FlagSet, args []string) error {
	version := f.Int64("version", 0, versionText)
	return p.owned(ctx, f, args, 1, func(k *kept, rest []string) error {
		if *version < 1 {
			return usageError{"give --version, " + strings.ReplaceAll(versionText, "`", "")}
		}
		err := k.DeleteSetup(ctx, k.who, rest[0], *version)
		if errors.Is(err, store.ErrStale) {
			if now, reading := k.Setup(ctx, k.who, rest[0]); reading == nil {
				return stale(err, *version, now)
			}
		}
		return err
	})
}

// setupStory is a setup's versions and the answers given about it, newest first.
type setupStory struct {
	Versions    []store.Setup      `json:"versions"`
	Assessments []store.Assessment `json:"assessments"`
}

func (p *program) setupHistory(ctx context.Context, f *flag.FlagSet, args []string) error {
	return p.owned(ctx, f, args, 1, func(k *kept, rest []string) error {
		var h setupStory
		var err error
		if h.Versions, err = atMost(0, func(page store.Page) (store.List[store.Setup], error) {
			return k.SetupHistory(ctx, k.who, rest[0], page)
		}); err != nil {
			return err
		}
		filter := store.AssessmentFilter{Setup: rest[0]}
		if h.Assessments, err = atMost(0, func(page store.Page) (store.List[store.Assessment], error) {
			return k.Assessments(ctx, k.who, filter, page)
		}); err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, h, quantity.Metric)
		}
		g := &page{w: p.out}
		g.heading("Versions")
		rows := [][]string{{"version", "changed", "key", "name", "species", ""}}
		for i, s := range h.Versions {
			note := ""
			if i == 0 && s.Deleted {
				note = "deleted"
			}
			rows = append(rows, []string{fmt.Sprint(s.Version), when(s.UpdatedAt), s.UpdatedBy, s.Name, s.Species, note})
		}
		g.table(rows)
		g.heading("Assessments")
		if len(h.Assessments) == 0 {
			g.printf("  none yet\n")
			return g.err
		}
		rows = [][]string{{"id", "when", "of version", "verdict", "score", "catalogue"}}
		for _, a := range h.Assessments {
			rows = append(rows, []string{a.ID, when(a.At), fmt.Sprint(a.SetupVersion), a.Verdict, scoreOf(a), a.CatalogueRevision})
		}
		g.table(rows)
		return g.err
	})
}

func scoreOf(a store.Assessment) string {
	return interval(score.Interval{Worst: a.Worst, Best: a.Best})
}

func (p *program) assessSetup(ctx context.Context, f *flag.FlagSet, args []string) error {
	var units unitsFlag
	f.Var(&units, "units", "metric or imperial")
	token := f.String("token", "", "a `word` of your own that is the same when you repeat this after a failure: the answer is kept once")
	return p.owned(ctx, f, args, 1, func(k *kept, rest []string) error {
		c, err := k.Snapshot(ctx)
		if err != nil {
			return err
		}
		now, err := k.Setup(ctx, k.who, rest[0])
		if err != nil {
			return err
		}
		in, err := saved.Answer(c, now)
		if err != nil {
			return p.notAssessed(err)
		}
		held, err := k.AddAssessment(ctx, k.who, *token, now.ID, in)
		if err != nil {
			return err
		}
		if k.asJSON {
			var answer jsontext.Value
			if answer, err = saved.In(held.Payload, units.System); err == nil {
				held.Payload = []byte(answer)
				err = writeJSON(p.out, held, units.System)
			}
		} else {
			err = p.assessed(c, now, held, units.System)
		}
		if err != nil {
			return err
		}
		return verdictCode(score.Verdict(held.Verdict))
	})
}

// assessed prints an answer as denwright assess does, and under which id it is kept.
func (p *program) assessed(c *care.Catalogue, s store.Setup, held store.Assessment, units quantity.System) error {
	var q sizing.AssessmentQuestion
	if err := json.Unmarshal(s.Payload, &q); err != nil {
		return fmt.Errorf("read the question: %w", err)
	}
	q.Species = s.Species
	a, err := sizing.Assess(c, q)
	if err != nil {
		return err
	}
	g := &page{w: p.out, units: units}
	g.printf("%s, version %d\n", s.Name, s.Version)
	g.assessment(a)
	g.printf("kept as assessment %s\n", held.ID)
	return g.err
}

// notAssessed names what keeps a setup from being assessed.
func (p *program) notAssessed(err error) error {
	var refused *saved.Refused
	if !errors.As(err, &refused) {
		return err
	}
	fmt.Fprintf(p.err, "denwright: setup %s can't be assessed as it was saved; update it\n", refused.Setup)
	return refused.Why
}

func (p *program) reassess(ctx context.Context, f *flag.FlagSet, args []string) error {
	species := f.String("species", "", "only of this species")
	return p.owned(ctx, f, args, 0, func(k *kept, _ []string) error {
		c, err := k.Snapshot(ctx)
		if err != nil {
			return err
		}
		if *species != "" {
			p.catalogue = c
			s, err := p.one(*species)
			if err != nil {
				return err
			}
			*species = s.ID
		}
		r, err := saved.Reassess(ctx, k.Store, k.who, c, *species, func() bool { return ctx.Err() == nil })
		if err != nil {
			return p.notAssessed(err)
		}
		if k.asJSON {
			err = writeJSON(p.out, struct {
				Changed   []store.Change `json:"changed"`
				Assessed  int            `json:"assessed"`
				Complete  bool           `json:"complete"`
				Catalogue string         `json:"catalogue_revision"`
				Engine    string         `json:"engine_version"`
			}{append([]store.Change{}, r.Changed...), r.Assessed, r.Complete, c.Revision, sizing.EngineVersion}, quantity.Metric)
		} else {
			rows := [][]string{{"id", "name", "was", "score", "is", "score"}}
			for _, ch := range r.Changed {
				rows = append(rows, []string{ch.Setup, ch.Name, ch.Previous.Verdict, scoreOf(ch.Previous), ch.Current.Verdict, scoreOf(ch.Current)})
			}
			g := &page{w: p.out}
			g.printf("%d assessed anew, %d of them with another verdict or score; catalogue %s\n", r.Assessed, len(r.Changed), c.Revision)
			if len(r.Changed) > 0 {
				g.table(rows)
			}
			err = g.err
		}
		if err == nil && !r.Complete {
			return errors.New("stopped before the end; a repeat goes on")
		}
		return err
	})
}
