// Command denwright tells what enclosure an animal needs and how good an
// enclosure at hand is, with the source of each figure. It holds flags, wiring
// and the printing of answers; no logic.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"denwright/care"
	"denwright/care/quantity"
	"denwright/sizing"
)

// Exit codes, documented in the README.
const (
	exitAnswered     = 0
	exitFailed       = 1 // the program could not do its work
	exitBadInput     = 2 // usage, or a bad field
	exitNotOne       = 3 // no species, or more than one, bears the name
	exitAfterChanges = 10
	exitUnsuitable   = 11
	exitCannotTell   = 12
)

const usage = `denwright: what enclosure an animal needs, and how good one at hand is

  denwright serve                      answer over HTTP on 127.0.0.1:8080
  denwright species [NAME]             find a species, or list all held
  denwright size NAME                  what the animals need
  denwright assess FILE                score an enclosure as it stands
  denwright match FILE                 which species an enclosure could hold
  denwright changes FILE               the smallest set of changes that makes it good enough
  denwright company ...                may these animals share one enclosure
  denwright outgrow FILE               when the animals outgrow it, and the next size
  denwright compare FILE               setups side by side
  denwright handover FILE              one page for the adopter
  denwright intake FILE                a whole list of enclosures, row by row
  denwright climate FILE               how an enclosure behaves in its room
  denwright plan FILE                  where everything goes: drawings, cut list, day program
  denwright records check              check every record and print what is covered
  denwright version                    engine version and catalogue revision

Each command takes -h. A name is a species id, a scientific name, a synonym or a
common name; a name borne by several species is answered with the candidates.

Exit codes: 0 answered (assess: suitable), 1 failed, 2 bad input,
3 no single species by that name, 10 suitable after changes, 11 unsuitable,
12 cannot tell.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

type streams struct {
	in       io.Reader
	out, err io.Writer
}

// program is what every command works with.
type program struct {
	streams
	catalogue *care.Catalogue
}

func run(ctx context.Context, args []string, io streams) int {
	if len(args) == 0 {
		fmt.Fprint(io.err, usage)
		return exitBadInput
	}
	commands := map[string]func(*program, context.Context, []string) error{
		"serve": (*program).serve, "species": (*program).species, "size": (*program).size, "assess": (*program).assess, "climate": (*program).climate, "plan": (*program).plan, "match": (*program).match, "changes": (*program).changes, "company": (*program).company,
		"outgrow": (*program).outgrow, "compare": (*program).compare, "handover": (*program).handover, "intake": (*program).intake, "records": (*program).records, "version": (*program).version,
	}
	if args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		fmt.Fprint(io.out, usage)
		return exitAnswered
	}
	command, ok := commands[args[0]]
	if !ok {
		fmt.Fprintf(io.err, "denwright: no command %q\n\n%s", args[0], usage)
		return exitBadInput
	}
	// Loading makes some 40 MB of short-lived nodes; collecting them less often
	// takes a third off the start.
	collect := debug.SetGCPercent(400)
	catalogue, err := care.Embedded()
	debug.SetGCPercent(collect)
	if err != nil {
		fmt.Fprintln(io.err, "denwright:", err)
		return exitFailed
	}
	p := &program{io, catalogue}
	return p.exitCode(command(p, ctx, args[1:]))
}

// exitError carries an exit code when all that is to be said was written.
type exitError int

func (e exitError) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

// usageError is a wrong flag or argument; its text was or is to be shown.
type usageError struct{ text string }

func (e usageError) Error() string { return e.text }

// exitCode classifies an error once, and prints it.
func (p *program) exitCode(err error) int {
	var (
		coded   exitError
		usage   usageError
		invalid sizing.Invalid
	)
	switch {
	case err == nil:
		return exitAnswered
	case errors.As(err, &coded):
		return int(coded)
	case errors.As(err, &usage):
		if usage.text != "" {
			fmt.Fprintln(p.err, "denwright:", usage.text)
		}
		return exitBadInput
	case errors.As(err, &invalid):
		return p.invalid(invalid)
	}
	fmt.Fprintln(p.err, "denwright:", err)
	return exitFailed
}

// invalid prints every bad field and the candidates for a name.
func (p *program) invalid(bad sizing.Invalid) int {
	code := exitBadInput
	for _, b := range bad {
		fmt.Fprintf(p.err, "denwright: %s: %s\n", b.Field, b.Reason)
		if b.Remedy != "" && len(b.Candidates) == 0 {
			fmt.Fprintf(p.err, "           %s\n", b.Remedy)
		}
		for _, k := range b.Candidates {
			fmt.Fprintf(p.err, "           %-28s %s (%s)\n", k.ID, k.Scientific, k.Common)
		}
		if len(b.Candidates) > 0 {
			fmt.Fprintln(p.err, "           give one of these ids")
		}
		if b.Field == "/species" {
			code = exitNotOne
		}
	}
	return code
}

func (p *program) version(context.Context, []string) error {
	_, err := fmt.Fprintf(p.out, "engine %s\ncatalogue %s\n", sizing.EngineVersion, p.catalogue)
	return err
}

func logger(w io.Writer) *slog.Logger { return slog.New(slog.NewTextHandler(w, nil)) }

// unitsFlag reads --units.
type unitsFlag struct{ quantity.System }

func (u *unitsFlag) Set(s string) (err error) {
	u.System, err = quantity.ParseSystem(s)
	return err
}
