package main

import (
	"errors"
	"fmt"
	"io"

	"bowroll/server/intercept"
)

// bounded are the flags of what one caller may ask. A caller is an identity, or
// where nobody is asked who calls, a machine.
type bounded struct {
	Rate  float64 `name:"rate" default:"0" env:"BOWROLLD_RATE" help:"Calls a second that one caller may make on average; 0 is as many as it likes."`
	Burst int     `name:"burst" default:"0" env:"BOWROLLD_BURST" help:"Calls that one caller may make at once after a rest; 0 is as many as --rate in two seconds."`
	Calls int     `name:"calls" default:"0" env:"BOWROLLD_CALLS" help:"Calls of one caller in hand at once; 0 is as many as it likes."`
}

func (b *bounded) check() error {
	var faults []error
	if !(b.Rate >= 0 && b.Rate <= 1e6) {
		faults = append(faults, fmt.Errorf("--rate is %v: must be from 0 to 1000000", b.Rate))
	}
	if b.Burst < 0 || b.Burst > 1e6 {
		faults = append(faults, fmt.Errorf("--burst is %d: must be from 0 to 1000000", b.Burst))
	}
	if b.Calls < 0 || b.Calls > 1e6 {
		faults = append(faults, fmt.Errorf("--calls is %d: must be from 0 to 1000000", b.Calls))
	}
	if b.Burst > 0 && b.Rate == 0 {
		faults = append(faults, errors.New("--burst is given: so must be --rate"))
	}
	return errors.Join(faults...)
}

func (b *bounded) print(out io.Writer) {
	fmt.Fprintf(out, "rate: %v\nburst: %d\ncalls: %d\n", b.Rate, b.quota().Burst, b.Calls)
}

// quota is what the flags come to.
func (b *bounded) quota() intercept.Quota {
	burst := b.Burst
	if burst == 0 {
		burst = int(2 * b.Rate)
	}
	return intercept.Quota{PerSecond: b.Rate, Burst: burst, Calls: b.Calls}
}
