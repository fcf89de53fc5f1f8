// Command bowrolld serves bowroll: gRPC and JSON, on loopback unless told
// otherwise. Every flag may also come from the environment or from a file; the
// flag wins over the environment, the environment over the file.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"github.com/alecthomas/kong"
)

// collectAt is how far the heap may grow between collections, in per cent of what
// is in use. That is a few megabytes, so that the default of 100 collects many
// times a second under load and empties the libraries' pools each time. The
// environment's GOGC wins.
const collectAt = 400

func main() {
	if _, set := os.LookupEnv("GOGC"); !set {
		debug.SetGCPercent(collectAt)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.LookupEnv, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the program: it returns 0 after a shutdown that was asked for, 1 where
// serving failed, 2 where flags, environment or file are wrong.
func run(ctx context.Context, args []string, environment func(string) (string, bool), stdout, stderr io.Writer) int {
	return runWith(ctx, args, environment, streams{out: stdout, err: stderr})
}

// runWith is run with all that the program touches.
func runWith(ctx context.Context, args []string, environment func(string) (string, bool), to streams) int {
	var flags commands
	ended := -1
	var parser *kong.Kong
	parser, err := kong.New(&flags,
		kong.Name("bowrolld"),
		kong.Description("Serves booster-assisted take-off and launch planning over gRPC and JSON. Results advise: the approved flight manual, the ordnance instructions and the officers responsible decide."),
		kong.Writers(to.out, to.err),
		kong.Exit(func(code int) { ended = code }),
		kong.Configuration(fileLoader(environment, func() []*kong.Flag { return settable(parser.Model) })),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(to),
	)
	if err != nil {
		fmt.Fprintln(to.err, "bowrolld:", err)
		return 2
	}
	command, err := parser.Parse(args)
	if ended >= 0 { // help was asked for
		return ended
	}
	if err != nil {
		fmt.Fprintln(to.err, "bowrolld:", err)
		return 2
	}
	if err := command.Run(); err != nil {
		fmt.Fprintln(to.err, "bowrolld:", err)
		return 1
	}
	return 0
}

// streams are where the program writes. at, where a test gives it, is called at
// the named points of the store.
type streams struct {
	out, err io.Writer
	at       func(point string)
}
