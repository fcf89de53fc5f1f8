// Command bowroll asks the bowroll service from a terminal: it plans launch
// cycles, answers single take-offs and wind limits, checks the model against
// published values and shows the catalog.
//
// With no service named it starts one inside this program and talks to it over
// an in-memory connection, through the same checks as one far away.
//
// It exits with 0 when it was answered; 1 when it was answered and nothing may
// launch, or a check fails; 2 when the input is bad; 3 when the service or the
// network is; and 130 when it was stopped.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	p := &program{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		getenv: os.Getenv, start: startHere,
	}
	code := p.run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}
