// Command denwright tells what enclosure an animal needs and how good an
// enclosure at hand is, with the source of each figure. It holds flags, wiring
// and the printing of answers; no logic.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
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
	exitStale        = 4 // changed by someone else since it was read
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
  denwright setup ACTION               keep setups with their history and assessments
  denwright records ACTION             check, correct and publish the care records
  denwright organisation ACTION        whose setups are kept, and who corrects records
  denwright key ACTION                 who may do what
  denwright audit                      what was done, by whom
  denwright migrate ACTION             the database's schema
  denwright ready                      is a running service ready
  denwright version                    engine version and catalogue revision

Each command takes -h. A name is a species id, a scientific name, a synonym or a
common name; a name borne by several species is answered with the candidates.

Exit codes: 0 answered (assess: suitable), 1 failed, 2 bad input,
3 no single species by that name, 4 changed by someone else since it was read,
10 suitable after changes, 11 unsuitable, 12 cannot tell.
`

func main() {
	runtime.MemProfileRate = 0 // nobody reads it; see serve, where somebody may
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
	if args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		fmt.Fprint(io.out, usage)
		return exitAnswered
	}
	do, ok := commands[args[0]]
	if !ok {
		fmt.Fprintf(io.err, "denwright: no command %q\n\n%s", args[0], usage)
		return exitBadInput
	}
	p := &program{streams: io}
	if !do.bare {
		c, err := loadEmbedded()
		if err != nil {
			return p.exitCode(err)
		}
		p.catalogue = c
	}
	return p.exitCode(do.run(p, ctx, args[1:]))
}

// task is what the program can be told to do.
type task struct {
	run  func(*program, context.Context, []string) error
	bare bool // does not need the embedded catalogue, or loads it when it does
}

var commands = map[string]task{
	"species": {run: (*program).species}, "size": {run: (*program).size}, "assess": {run: (*program).assess}, "climate": {run: (*program).climate},
	"plan":  {run: (*program).plan},
	"match": {run: (*program).match}, "changes": {run: (*program).changes}, "company": {run: (*program).company}, "outgrow": {run: (*program).outgrow},
	"compare": {run: (*program).compare}, "handover": {run: (*program).handover}, "intake": {run: (*program).intake}, "version": {run: (*program).version},
	"serve": {run: (*program).serve, bare: true}, "ready": {run: (*program).ready, bare: true}, "migrate": {run: (*program).migrate, bare: true},
	"organisation": {run: (*program).organisation, bare: true}, "key": {run: (*program).key, bare: true}, "audit": {run: (*program).audit, bare: true},
	"records": {run: (*program).records, bare: true}, "setup": {run: (*program).setup, bare: true},
}

// loadingGC is the pace of the garbage collector while a catalogue is loaded at the
// start. That makes some 40 MB of short-lived nodes; collecting them less often
// takes a third off the start.
const loadingGC = 200

// loadEmbedded builds the catalogue that the program carries.
func loadEmbedded() (*care.Catalogue, error) {
	defer debug.SetGCPercent(debug.SetGCPercent(loadingGC))
	return care.Embedded()
}

// dispatch runs the action that the first argument names.
func (p *program) dispatch(ctx context.Context, name, usage string, args []string, actions map[string]action) error {
	if len(args) > 0 {
		if act, ok := actions[args[0]]; ok {
			whole := name + " " + args[0]
			return act(p, ctx, p.flags(whole, usage+"\nFlags of denwright "+whole+":\n"), args[1:])
		}
	}
	fmt.Fprint(p.err, usage)
	return usageError{"say what to do with " + name + ": " + strings.Join(slices.Sorted(maps.Keys(actions)), ", ")}
}

// action is one of the things that a command can do; it adds its flags and parses them.
type action func(*program, context.Context, *flag.FlagSet, []string) error

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
	code, remedy := storeFault(err)
	fmt.Fprintln(p.err, "denwright:", err)
	if remedy != "" {
		fmt.Fprintln(p.err, "          ", remedy)
	}
	return code
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
