// Thawline audits a hospital's use of plasma from its own exports: ingest
// normalises them, mark judges each episode by SQL rules, report draws the pack
// that a transfusion committee reads.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"
	_ "time/tzdata" // The zone data is in the binary: a bare machine has none.
	"unicode"

	"github.com/alecthomas/kong"
	"github.com/mattn/go-isatty"

	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// version is set by the Makefile.
var version = "unversioned"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// Files that hold patients' data are for their owner and group alone.
	syscall.Umask(0o027)
	// The engine and the readers keep memory outside Go's heap: leave room.
	debug.SetGCPercent(75)
	os.Exit(int(run(ctx, os.Args[1:], os.Stdout, os.Stderr)))
}

// command is the command line. Each verb is one file of this folder.
type command struct {
	Demo     demoCommand      `cmd:"" help:"Invent a hospital's exports, audit its last month, and say where the pack is."`
	Inspect  inspectCommand   `cmd:"" help:"Say what exports are, and propose a site.yaml for them."`
	Ingest   ingestCommand    `cmd:"" help:"Read the exports that site.yaml names into the store."`
	Mark     markCommand      `cmd:"" help:"Build episodes from the store and mark each."`
	Report   reportCommand    `cmd:"" help:"Draw the pack for a period."`
	Audit    auditCommand     `cmd:"" help:"Ingest, mark and report, in a row."`
	Status   statusCommand    `cmd:"" help:"Tell what stands in the store: exports, months and their gaps, sums, problems, what is behind."`
	Problems problemsCommand  `cmd:"" help:"List what is wrong with the rows of the exports, where, and what to do about it."`
	Withdraw withdrawCommand  `cmd:"" help:"Take an export back whole; current is made as if it had never come."`
	Rules    rulesCommand     `cmd:"" help:"List the rules: what each notices, its source, and how often it fired."`
	Check    checkCommand     `cmd:"" help:"Check site.yaml, policy.yaml, the decision table and the site's panels; write nothing."`
	Explain  explainCommand   `cmd:"" help:"Tell how an episode came by its mark, fact by fact, with the source rows."`
	Compare  compareCommand   `cmd:"" help:"Tell which episodes change their mark under another policy or decision table."`
	Describe describeCommand  `cmd:"" help:"Describe the tables: columns, units, codes."`
	Query    queryCommand     `cmd:"" help:"Run one read-only SQL query over the store."`
	Version  kong.VersionFlag `help:"Print the version."`
}

// where is the part of a verb that says which site it works for.
type where struct {
	Site string `default:"site.yaml" type:"path" placeholder:"FILE" help:"The hospital's site.yaml."`
}

// streams is where a verb writes: results to out, everything else to err.
type streams struct {
	out, err io.Writer
}

// say writes a line of progress or result to standard error.
func (s *streams) say(format string, args ...any) {
	fmt.Fprint(s.err, printable(fmt.Sprintf(format+"\n", args...)))
}

// printable takes out what a terminal would obey: a file's name may hold it.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return unicode.ReplacementChar
		}
		return r
	}, text)
}

// terminal writes results for a person to look at.
type terminal struct{ io.Writer }

func (t terminal) Write(text []byte) (int, error) {
	_, err := io.WriteString(t.Writer, printable(string(text)))
	return len(text), err
}

// json writes a value for a program to read.
func (s *streams) json(value any) error {
	encoder := json.NewEncoder(s.out)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// open reads the site, its policy and its store, which must be whole.
func (w where) open(write bool) (*site.Site, *policy.Policy, *store.Store, error) {
	return w.openBy(store.Open, write, nil)
}

// openDamaged is open for the verbs that tell and mend what a store lacks.
func (w where) openDamaged(write bool) (*site.Site, *policy.Policy, *store.Store, error) {
	return w.openBy(store.OpenDamaged, write, nil)
}

// openWhole is open for the verbs that make layers: with rebuild, those named
// are taken out first, damaged or not.
func (w where) openWhole(rebuild bool, layers ...string) (*site.Site, *policy.Policy, *store.Store, error) {
	if !rebuild {
		return w.open(true)
	}
	s, p, st, err := w.openDamaged(true)
	if err != nil {
		return nil, nil, nil, err
	}
	err = st.DropLayers(layers...)
	if damages := st.Damages(); err == nil && len(damages) > 0 {
		err = &store.DamageError{Dir: st.Dir(), Damages: damages}
	}
	if err != nil {
		st.Close()
		return nil, nil, nil, err
	}
	return s, p, st, nil
}

// openBy opens site, policy and store; begin is called as soon as the site is known.
func (w where) openBy(open func(string, bool) (*store.Store, error), write bool, begin func(*site.Site)) (*site.Site, *policy.Policy, *store.Store, error) {
	s, err := site.Load(w.Site)
	if err != nil {
		return nil, nil, nil, err
	}
	if begin != nil {
		begin(s)
	}
	p, err := policy.Load(s.Policy)
	if err != nil {
		return nil, nil, nil, err
	}
	st, err := open(s.Store, write)
	if err != nil {
		return nil, nil, nil, err
	}
	return s, p, st, nil
}

const cautions = `A mark is a prompt for review by the transfusion committee, not a judgement of a clinician, and no
advice on any patient. Values follow local policy and the licensed professionals who own it. Urgent
safety findings go through the hospital's own haemovigilance route.`

func description() string {
	var b strings.Builder
	b.WriteString("Thawline audits plasma transfusion from a hospital's own exports.\n\n")
	b.WriteString(cautions)
	b.WriteString("\n\nExit codes:")
	for _, e := range exitCodes {
		fmt.Fprintf(&b, "\n  %3d  %s", e.Code, e.Means)
	}
	return b.String()
}

// run is the program without its process: tests call it with buffers.
func run(ctx context.Context, args []string, out, errOut io.Writer) exitCode {
	if file, ok := out.(*os.File); ok && isatty.IsTerminal(file.Fd()) {
		out = terminal{out}
	}
	s := &streams{out: out, err: errOut}
	var c command
	exited := -1
	parser, err := kong.New(&c,
		kong.Name("thawline"),
		kong.Description(description()),
		kong.Writers(out, errOut),
		kong.Exit(func(code int) { exited = code }),
		kong.Vars{"version": version},
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 110}),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(s),
	)
	if err != nil {
		s.say("thawline: %v", err)
		return exitFailed
	}
	parsed, err := parser.Parse(args)
	if exited >= 0 {
		return exitCode(exited) // --help or --version has answered.
	}
	if err != nil {
		s.say("thawline: %v\nNext: thawline --help", err)
		return exitWrong
	}
	began := time.Now()
	err = parsed.Run()
	if err != nil && ctx.Err() != nil && !errors.Is(err, context.Canceled) {
		err = errors.Join(context.Canceled, err)
	}
	code := codeOf(err)
	switch code {
	case exitDone:
	case exitInterrupted:
		s.say("thawline: interrupted after %s; the store is as before or as after, never between", time.Since(began).Round(time.Second))
	default:
		s.say("thawline: %v", err)
		if next := advice(err); next != "" {
			s.say("Next: %s", next)
		}
	}
	return code
}
