package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strings"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/care/store"
)

const whyText = "why, for the record: a `text` that the reviewer and the next curator can follow"

// because refuses a step without a reason.
func because(why string) error {
	if strings.TrimSpace(why) == "" {
		return usageError{"say why with --why: it is kept with the revision"}
	}
	return nil
}

func (p *program) exportRecords(ctx context.Context, f *flag.FlagSet, args []string) error {
	name := f.String("catalogue", "", "the files of an earlier `catalogue`, named as in an answer (default: in force now)")
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		files, err := k.CatalogueFiles(ctx, *name)
		if err != nil {
			return err
		}
		err = os.CopyFS(rest[0], files)
		if errors.Is(err, fs.ErrExist) {
			return usageError{fmt.Sprintf("%v: export into a new folder", err)}
		}
		return err
	})
}

func (p *program) draftRecord(ctx context.Context, f *flag.FlagSet, args []string) error {
	why := f.String("why", "", whyText)
	parent := f.String("parent", "", "`id` of the revision that was edited, or "+embeddedParent+"; refused when another is in force by now (default: not checked)")
	return p.kept(ctx, f, args, 2, 2, func(k *kept, rest []string) error {
		if err := because(*why); err != nil {
			return err
		}
		body, err := p.read(rest[1])
		if err != nil {
			return err
		}
		in := store.DraftInput{Path: rest[0], Body: string(body), Why: *why, Parent: *parent}
		switch *parent {
		case embeddedParent:
			in.Parent = ""
		case "":
			now, err := k.InForce(ctx, k.who, in.Path)
			if err != nil && !errors.Is(err, store.ErrNotFound) { // a new file has none
				return err
			}
			in.Parent = now.ID
		}
		r, err := k.DraftRevision(ctx, k.who, "", in)
		if err != nil {
			return err
		}
		return p.drafted(ctx, k, []store.Revision{r})
	})
}

// embeddedParent names the text that the program carries.
const embeddedParent = "embedded"

// drafted says what was drafted, and whether it could be published as things stand.
func (p *program) drafted(ctx context.Context, k *kept, drafts []store.Revision) error {
	ids := make([]string, len(drafts))
	for i, r := range drafts {
		ids[i] = r.ID
	}
	if err := k.CheckRevisions(ctx, k.who, ids...); errors.Is(err, store.ErrInvalid) {
		fmt.Fprintf(p.err, "drafted, but not yet fit to be published: %v\n", err)
	} else if err != nil {
		return err
	}
	return p.revisions(k, drafts)
}

func (p *program) importRecords(ctx context.Context, f *flag.FlagSet, args []string) error {
	why := f.String("why", "", whyText)
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		if err := because(*why); err != nil {
			return err
		}
		if info, err := os.Stat(rest[0]); err != nil || !info.IsDir() {
			return usageError{fmt.Sprintf("no folder %q", rest[0])}
		}
		drafts, err := k.ImportRecords(ctx, k.who, os.DirFS(rest[0]), *why)
		if err != nil {
			return err
		}
		return p.revisions(k, drafts)
	})
}

func (p *program) listRevisions(ctx context.Context, f *flag.FlagSet, args []string) error {
	var filter store.RevisionFilter
	f.StringVar(&filter.Path, "path", "", "only of this file, such as species/testudo-hermanni.yaml")
	f.Func("state", "only draft, reviewed, published or withdrawn", func(s string) error {
		return among(&filter.State, s, store.Draft, store.Reviewed, store.Published, store.Withdrawn)
	})
	most := f.Int("most", 50, "how many; 0 for all")
	return p.kept(ctx, f, args, 0, 0, func(k *kept, _ []string) error {
		all, err := atMost(*most, func(page store.Page) (store.List[store.Revision], error) {
			return k.Revisions(ctx, k.who, filter, page)
		})
		if err != nil {
			return err
		}
		return p.revisions(k, all)
	})
}

func (p *program) revisions(k *kept, all []store.Revision) error {
	if k.asJSON {
		return writeJSON(p.out, append([]store.Revision{}, all...), quantity.Metric)
	}
	rows := [][]string{{"id", "file", "number", "state", "origin", "drafted"}}
	for _, r := range all {
		rows = append(rows, []string{r.ID, r.Path, fmt.Sprint(r.Number), string(r.State), string(r.Origin), when(r.CreatedAt)})
	}
	return p.rows(rows, "no revisions")
}

func (p *program) showRevision(ctx context.Context, f *flag.FlagSet, args []string) error {
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		r, err := k.Revision(ctx, k.who, rest[0])
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, r, quantity.Metric)
		}
		g := &page{w: p.out}
		g.printf("%s, revision %d: %s\n", r.Path, r.Number, r.State)
		rows := [][]string{{"state", "when", "who", "key", "why"}}
		for _, s := range r.Steps {
			rows = append(rows, []string{string(s.State), when(s.At), s.Holder, s.By, s.Why})
		}
		g.table(rows)
		g.printf("\n%s", r.Body)
		return g.err
	})
}

func (p *program) differRevision(ctx context.Context, f *flag.FlagSet, args []string) error {
	against := f.String("against", "", "another revision's `id`, or "+string(store.AgainstEmbedded)+": the program's text from which its line started")
	context := f.Int("context", 3, "unchanged lines shown around each change; -1 for all")
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		lines, err := k.RevisionDifference(ctx, k.who, rest[0], store.Against(*against))
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, append([]store.Line{}, lines...), quantity.Metric)
		}
		g := &page{w: p.out}
		g.difference(lines, *context)
		return g.err
	})
}

// difference prints the lines that changed, and some around them.
func (g *page) difference(lines []store.Line, around int) {
	if around < 0 {
		around = math.MaxInt / 2
	}
	near := func(i int) bool {
		for j := max(0, i-around); j <= min(len(lines)-1, i+around); j++ {
			if lines[j].Op != " " {
				return true
			}
		}
		return false
	}
	shown := true
	for i, l := range lines {
		if !near(i) {
			shown = false
			continue
		}
		if !shown {
			g.printf("...\n")
			shown = true
		}
		g.printf("%s%s\n", l.Op, strings.TrimSuffix(l.Text, "\n"))
	}
}

func (p *program) reviewRevisions(ctx context.Context, f *flag.FlagSet, args []string) error {
	why := f.String("why", "", whyText)
	return p.kept(ctx, f, args, 1, math.MaxInt, func(k *kept, ids []string) error {
		if err := because(*why); err != nil {
			return err
		}
		var done []store.Revision
		for _, id := range ids {
			r, err := k.ReviewRevision(ctx, k.who, id, *why)
			if err != nil {
				return fmt.Errorf("%s: %w", id, err)
			}
			r.Body, r.Steps = "", nil
			done = append(done, r)
		}
		return p.revisions(k, done)
	})
}

func (p *program) publishRevisions(ctx context.Context, f *flag.FlagSet, args []string) error {
	return p.inForce(ctx, f, args, func(k *kept, why string, ids []string) (*care.Catalogue, error) {
		return k.PublishRevisions(ctx, k.who, why, ids...)
	})
}

func (p *program) withdrawRevisions(ctx context.Context, f *flag.FlagSet, args []string) error {
	return p.inForce(ctx, f, args, func(k *kept, why string, ids []string) (*care.Catalogue, error) {
		return k.WithdrawRevisions(ctx, k.who, why, ids...)
	})
}

// inForce changes the records in force, and says which catalogue that made.
func (p *program) inForce(ctx context.Context, f *flag.FlagSet, args []string, change func(k *kept, why string, ids []string) (*care.Catalogue, error)) error {
	why := f.String("why", "", whyText)
	return p.kept(ctx, f, args, 1, math.MaxInt, func(k *kept, ids []string) error {
		if err := because(*why); err != nil {
			return err
		}
		c, err := change(k, *why, ids)
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, struct {
				Catalogue string `json:"catalogue_revision"`
			}{c.Revision}, quantity.Metric)
		}
		_, err = fmt.Fprintf(p.out, "in force: catalogue %s\n", c)
		return err
	})
}
