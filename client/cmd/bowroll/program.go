package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"time"

	"github.com/alecthomas/kong"
	"golang.org/x/term"

	"bowroll/client"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
)

// Exit codes.
const (
	exitAnswered = 0
	exitNothing  = 1
	exitBadInput = 2
	exitService  = 3
	exitStopped  = 130
)

// errNothing says that the question was answered and nothing may launch, or
// that a check fails: the answer is on the screen, there is nothing to add.
var errNothing = errors.New("answered, with nothing that may launch")

// A program is one run of the command line with everything it touches.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	getenv         func(string) string
	start          client.Starter
	// over starts a service over the store that an address names, which takes the
	// logs of sites under these keys.
	over func(address string, trust []ed25519.PublicKey) client.Starter
	// sweeping starts one that computes the sweeps of the store too, so many parts
	// at once.
	sweeping func(address string, workers int) client.Starter

	random io.Reader // request ids
	now    func() time.Time

	ctx  context.Context
	line commandLine
	// again are flags that stand for what was read or taken from the clock.
	again []string
	// trust are the keys that logs of sites are taken under, where the service is
	// inside this program.
	trust []ed25519.PublicKey
	// workers is how many parts of sweeps this program computes at once.
	workers int
	// changing says that the command would change what is kept.
	changing bool
}

// commandLine is every command and flag.
type commandLine struct {
	Server string `help:"Service to ask. Without it one is started inside this program." placeholder:"HOST:PORT" env:"BOWROLL_SERVER" group:"Of every command"`
	CA     string `name:"ca" help:"Certificates (PEM) that the service's own is checked with; this machine's otherwise. A loopback address needs none." placeholder:"FILE" type:"path" env:"BOWROLL_CA" group:"Of every command"`

	ClientCertificate string `name:"client-certificate" help:"Certificate (PEM) that tells the service who calls; needs --client-key." placeholder:"FILE" type:"path" env:"BOWROLL_CLIENT_CERTIFICATE" group:"Of every command"`
	ClientKey         string `name:"client-key" help:"Key of the certificate (PEM, not readable by others)." placeholder:"FILE" type:"path" env:"BOWROLL_CLIENT_KEY" group:"Of every command"`
	TokenFile         string `name:"token-file" help:"Bearer token that tells the service who calls, alone in a file that others cannot read; read again for each call." placeholder:"FILE" type:"path" env:"BOWROLL_TOKEN_FILE" group:"Of every command"`

	Store   string        `help:"Keep stock, plans, catalog changes, observed runs and sweeps in this file, made where there is none, or in a PostgreSQL database, with the service inside this program. A file that a service has open is not shared: name the service with --server." placeholder:"FILE|postgres://…" env:"BOWROLL_STORE" group:"What is kept"`
	Units   string        `help:"Units of tables: ${enum} (trade: kt, ft, lb, inHg)." enum:"trade,si" default:"trade" group:"Of every command"`
	Format  string        `help:"Form of the answer: ${enum}. JSON is SI, with the contract's own names." enum:"table,json" default:"table" group:"Of every command"`
	Timeout time.Duration `help:"Longest to wait for an answer." default:"30s" group:"Of every command"`

	Plan    planCommand    `cmd:"" help:"Plan a launch cycle: who goes, with which units, fired when, on which course."`
	Fleet   fleetCommand   `cmd:"" help:"Plan the cycles of several decks that share stock."`
	Compare compareCommand `cmd:"" help:"Plan variants of a cycle side by side; say what wind over deck buys."`
	Roll    rollCommand    `cmd:"" help:"Answer one take-off: does it get off in the run it has, and what if a unit fails."`
	Firing  firingCommand  `cmd:"" help:"Plan when to fire the units of one take-off, and show the run for other moments."`
	Wind    windCommand    `cmd:"" help:"Say in which winds a load may go, for each number of units."`
	Course  courseCommand  `cmd:"" help:"Find the course and speed that make a wind every load may go in."`
	Model   modelCommand   `cmd:"" help:"Show the model's version, or check it against published values."`
	Stock   stockCommand   `cmd:"" help:"Keep the ledger of a site's units: receive, move, count, quarantine, and what happened."`
	Plans   plansCommand   `cmd:"" help:"Keep plans: save, confirm (reserves units), cancel, issue cards, record launches."`
	Observe observeCommand `cmd:"" help:"Record what launches did, hold it against the model, fit and decide on corrections."`
	Sweep   sweepCommand   `cmd:"" help:"Compute a grid or a sample over the inputs of a take-off, thousands to millions of rows, as a job that is kept."`
	Cards   cardsCommand   `cmd:"" help:"Issue and print the launch cards of a kept plan, as they are kept; void ones print as void."`
	Pack    packCommand    `cmd:"" help:"Put everything kept of a plan into one file that can be checked without a service."`
	Catalog catalogCommand `cmd:"" help:"Show the aircraft types, booster types, sites and decks that may be named."`

	Completion completionCommand `cmd:"" help:"Print a script that makes a shell complete commands, flags and values."`
	Man        manualCommand     `cmd:"" help:"Print the manual page."`
	Complete   completeCommand   `cmd:"" hidden:""`
}

const description = `Gets a queue of aircraft off a short deck with a limited stock of booster units.

Values are written with their units: "14,200 lb", "24 kt", "29.92 inHg", "95 degF".
Results advise; the approved flight manual, the ordnance instructions, local codes
and the officers and licensed people responsible decide.

Exit status: 0 answered; 1 answered, and nothing may launch or a check fails;
2 bad input; 3 service or network; 130 stopped.`

// run carries out one command line and returns the exit code.
func (p *program) run(ctx context.Context, args []string) (code int) {
	p.ctx = ctx
	parser, err := kong.New(&p.line, kong.Name("bowroll"), kong.Description(description),
		kong.Writers(p.stdout, p.stderr), kong.Bind(p), kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Help(ownFlagsFirst),
		kong.WithHyphenPrefixedParameters(true), // a tailwind is written "-4 kt"
		kong.Exit(func(code int) { panic(exit(code)) }))
	if err != nil {
		fmt.Fprintln(p.stderr, "bowroll:", err)
		return exitService
	}
	// Help leaves through kong's exit, which must not return.
	defer func() {
		switch e := recover().(type) {
		case nil:
		case exit:
			code = int(e)
		default:
			panic(e)
		}
	}()
	parsed, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(p.stderr, "bowroll: %v\n  help: %s --help\n", err, commandOf(err))
		return exitBadInput
	}
	return p.finish(parsed.Run())
}

// ownFlagsFirst prints the help of a command with its own flags before those of every
// command, which kong would put first.
func ownFlagsFirst(options kong.HelpOptions, ctx *kong.Context) error {
	if command := ctx.Selected(); command != nil && command != ctx.Model.Node {
		shared := ctx.Model.Flags
		isHelp := func(f *kong.Flag) bool { return f == ctx.Model.HelpFlag }
		ctx.Model.Flags = slices.DeleteFunc(slices.Clone(shared), func(f *kong.Flag) bool { return !isHelp(f) })
		command.Flags = append(command.Flags, slices.DeleteFunc(slices.Clone(shared), isHelp)...)
	}
	return kong.DefaultHelpPrinter(options, ctx)
}

// commandOf names the command that a command line which does not read was for, as
// far as it was understood.
func commandOf(err error) string {
	var unread *kong.ParseError
	if errors.As(err, &unread) && unread.Context != nil {
		if node := unread.Context.Selected(); node != nil {
			return node.FullPath()
		}
	}
	return "bowroll"
}

// exit is the code that kong leaves with.
type exit int

// style is how tables are drawn for the reader of stdout.
func (p *program) style() sheet.Style {
	style := sheet.Style{Width: 80, Units: quantity.Trade}
	if p.line.Units == "si" {
		style.Units = quantity.SI
	}
	if width, ok := terminal(p.stdout); ok {
		style.Width = width
		style.Colour = p.getenv("NO_COLOR") == "" && p.getenv("TERM") != "dumb"
	}
	if width, err := strconv.Atoi(p.getenv("COLUMNS")); err == nil && width > 0 {
		style.Width = width
	}
	return style
}

// terminal returns the width of a terminal, and whether it is one.
func terminal(w io.Writer) (width int, ok bool) {
	file, isFile := w.(*os.File)
	if !isFile || !term.IsTerminal(int(file.Fd())) {
		return 0, false
	}
	width, _, err := term.GetSize(int(file.Fd()))
	if err != nil || width <= 0 {
		width = 80
	}
	return width, true
}
