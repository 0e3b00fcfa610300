package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"denwright/care/quantity"
	"denwright/care/store"
)

const organisationUsage = `denwright organisation ACTION [flags]

An organisation is a rescue, a society or a person: the owner of setups. The person
at the machine makes them; an admin's key may export and delete its own.

  denwright organisation create "Saltmarsh Lane Rescue"    prints its id
  denwright organisation create --curates "Record keepers" its curators may correct the
                                       care records, which all organisations share
  denwright organisation list
  denwright organisation export --out FILE ID              all that is kept of it, one JSON
                                       object a line; keys without their secrets
  denwright organisation delete --name NAME ID             for good: keys, setups, history,
                                       assessments, audit trail

ID may be the organisation's name. With an admin's key it is left out.
`

func (p *program) organisation(ctx context.Context, args []string) error {
	return p.dispatch(ctx, "organisation", organisationUsage, args, map[string]action{
		"create": (*program).createOrganisation, "list": (*program).listOrganisations,
		"export": (*program).exportOrganisation, "delete": (*program).deleteOrganisation,
	})
}

func (p *program) createOrganisation(ctx context.Context, f *flag.FlagSet, args []string) error {
	curates := f.Bool("curates", false, "its curators may change the shared care records")
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		o, err := k.CreateOrganisation(ctx, k.who, rest[0], *curates)
		if errors.Is(err, store.ErrStale) {
			return usageError{fmt.Sprintf("an organisation is named %q already", rest[0])}
		}
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, o, quantity.Metric)
		}
		_, err = fmt.Fprintln(p.out, o.ID)
		return err
	})
}

func (p *program) listOrganisations(ctx context.Context, f *flag.FlagSet, args []string) error {
	return p.kept(ctx, f, args, 0, 0, func(k *kept, _ []string) error {
		all, err := k.Organisations(ctx, k.who)
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, append([]store.Organisation{}, all...), quantity.Metric)
		}
		rows := [][]string{{"id", "name", "curates", "made"}}
		for _, o := range all {
			rows = append(rows, []string{o.ID, o.Name, yes(o.Curates), when(o.CreatedAt)})
		}
		return p.rows(rows, "no organisations yet")
	})
}

func (p *program) exportOrganisation(ctx context.Context, f *flag.FlagSet, args []string) error {
	out := f.String("out", "", "write to this new `file`, not to standard output")
	return p.kept(ctx, f, args, 0, 1, func(k *kept, rest []string) error {
		id, err := k.organisation(ctx, only(rest))
		if err != nil {
			return err
		}
		to := io.WriteCloser(keepOpen{p.out})
		if *out != "" {
			if to, err = newFile(*out); err != nil {
				return err
			}
		}
		w := bufio.NewWriter(to)
		err = k.Export(ctx, k.who, id, func(line []byte) error {
			_, err := w.Write(line)
			return err
		})
		if err == nil {
			err = w.Flush()
		}
		return errors.Join(err, to.Close())
	})
}

// newFile makes a file that only its owner reads; one that is there is left alone.
func newFile(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return nil, usageError{name + " is there already"}
	}
	return f, err
}

func (p *program) deleteOrganisation(ctx context.Context, f *flag.FlagSet, args []string) error {
	name := f.String("name", "", "the organisation's `name`, to be sure")
	return p.kept(ctx, f, args, 0, 1, func(k *kept, rest []string) error {
		if *name == "" {
			return usageError{"repeat the organisation's name with --name: this can't be undone; export it first"}
		}
		id, err := k.organisation(ctx, only(rest))
		if err != nil {
			return err
		}
		return k.DeleteOrganisation(ctx, k.who, id, *name)
	})
}

const keyUsage = `denwright key ACTION [flags]

A key says who acts, for which organisation, and what may be done: reader (see
setups, assessments and record revisions), keeper (also change setups and assess),
curator (also correct the care records, if the organisation curates), admin (also
keys, audit trail, export and deletion). The secret is shown once and not kept.

  denwright key create --organisation ID --role keeper --holder "Ada" > ada.key
  denwright key list --organisation ID
  denwright key revoke --organisation ID KEY     at once and for good

With an admin's key --organisation is left out.
`

func (p *program) key(ctx context.Context, args []string) error {
	return p.dispatch(ctx, "key", keyUsage, args, map[string]action{
		"create": (*program).createKey, "list": (*program).listKeys, "revoke": (*program).revokeKey,
	})
}

const organisationText = "`id` or name of the organisation"

func (p *program) createKey(ctx context.Context, f *flag.FlagSet, args []string) error {
	organisation := f.String("organisation", "", organisationText)
	holder := f.String("holder", "", "the `person` who will use it")
	role := f.String("role", "", joined(store.Roles))
	return p.kept(ctx, f, args, 0, 0, func(k *kept, _ []string) error {
		if *holder == "" || *role == "" {
			return usageError{"give --holder, the person who will use the key, and --role: " + joined(store.Roles)}
		}
		id, err := k.organisation(ctx, *organisation)
		if err != nil {
			return err
		}
		key, secret, err := k.CreateKey(ctx, k.who, id, "", *holder, store.Role(*role))
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, struct {
				store.Key
				Secret string `json:"secret"`
			}{key, secret}, quantity.Metric)
		}
		fmt.Fprintf(p.err, "key %s, role %s, for %s. This is its secret; it is not shown again:\n", key.ID, key.Role, key.Holder)
		_, err = fmt.Fprintln(p.out, secret)
		return err
	})
}

func (p *program) listKeys(ctx context.Context, f *flag.FlagSet, args []string) error {
	organisation := f.String("organisation", "", organisationText)
	return p.kept(ctx, f, args, 0, 0, func(k *kept, _ []string) error {
		id, err := k.organisation(ctx, *organisation)
		if err != nil {
			return err
		}
		all, err := atMost(0, func(page store.Page) (store.List[store.Key], error) { return k.Keys(ctx, k.who, id, page) })
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, all, quantity.Metric)
		}
		rows := [][]string{{"id", "role", "holder", "made", "revoked"}}
		for _, key := range all {
			revoked := "-"
			if key.RevokedAt != nil {
				revoked = when(*key.RevokedAt)
			}
			rows = append(rows, []string{key.ID, string(key.Role), key.Holder, when(key.CreatedAt), revoked})
		}
		return p.rows(rows, "no keys yet")
	})
}

func (p *program) revokeKey(ctx context.Context, f *flag.FlagSet, args []string) error {
	organisation := f.String("organisation", "", organisationText)
	return p.kept(ctx, f, args, 1, 1, func(k *kept, rest []string) error {
		id, err := k.organisation(ctx, *organisation)
		if err != nil {
			return err
		}
		key, err := k.RevokeKey(ctx, k.who, id, rest[0])
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, key, quantity.Metric)
		}
		_, err = fmt.Fprintf(p.out, "key %s of %s was revoked %s\n", key.ID, key.Holder, when(*key.RevokedAt))
		return err
	})
}

const auditUsage = `denwright audit [flags]

What was done, by whom, newest first: in an organisation, or without one in the
installation (changes of the shared care records, deleted organisations).

  denwright audit
  denwright audit --organisation ID --most 0

Flags:
`

func (p *program) audit(ctx context.Context, args []string) error {
	f := p.flags("audit", auditUsage)
	organisation := f.String("organisation", "", organisationText+"; with an admin's key it is its own")
	most := f.Int("most", 50, "how many lines; 0 for all")
	return p.kept(ctx, f, args, 0, 0, func(k *kept, _ []string) error {
		id, err := k.organisation(ctx, *organisation)
		if err != nil {
			return err
		}
		all, err := atMost(*most, func(page store.Page) (store.List[store.Entry], error) { return k.AuditTrail(ctx, k.who, id, page) })
		if err != nil {
			return err
		}
		if k.asJSON {
			return writeJSON(p.out, all, quantity.Metric)
		}
		rows := [][]string{{"when", "who", "key", "action", "subject", "detail"}}
		for _, e := range all {
			rows = append(rows, []string{when(e.At), e.Holder, e.Actor, e.Action, e.Subject, string(e.Detail)})
		}
		return p.rows(rows, "nothing was done yet")
	})
}

// rows prints a table, or what to say where it has a head only.
func (p *program) rows(rows [][]string, none string) error {
	g := &page{w: p.out}
	if len(rows) == 1 {
		g.printf("%s\n", none)
	} else {
		g.table(rows)
	}
	return g.err
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func only(words []string) string {
	if len(words) == 0 {
		return ""
	}
	return words[0]
}
