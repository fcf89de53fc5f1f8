// Command bowroll asks the bowroll service from a terminal: it plans launch
// cycles, answers single take-offs and wind limits, keeps stock, plans, observed
// runs and sweeps, checks the model against published values and shows the catalog.
//
// With no service named it starts one inside this program and talks to it over
// an in-memory connection, through the same checks as one far away. This is the
// one place where the client side knows the server's code.
//
// It exits with 0 when it was answered; 1 when it was answered and nothing may
// launch, or a check fails; 2 when the input is bad; 3 when the service or the
// network is; and 130 when it was stopped.
package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"os"
	"os/signal"
	"syscall"
	"time"

	"bowroll/client"
	"bowroll/server/assembly"
)

func main() { os.Exit(start()) }

// start runs the program on this process's own arguments and streams.
func start() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	p := &program{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		getenv: os.Getenv, start: assembly.InProcess,
		over: func(address string, trust []ed25519.PublicKey) client.Starter {
			return assembly.InProcessOver(address, time.Now, assembly.WithSiteKeys(map[string][]ed25519.PublicKey{"": trust}))
		},
		sweeping: func(address string, workers int) client.Starter {
			return assembly.InProcessSweeping(address, time.Now, workers)
		},
		random: rand.Reader, now: time.Now,
	}
	return p.run(ctx, os.Args[1:])
}
