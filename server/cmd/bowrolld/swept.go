package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"go.uber.org/zap"

	"bowroll/server/assembly"
)

// swept are the flags of sweeps.
type swept struct {
	SweepWorkers int           `name:"sweep-workers" default:"-1" env:"BOWROLLD_SWEEP_WORKERS" help:"Parts of sweeps to compute at once, 0 for none; -1 is one for each computation (--cores)."`
	SweepRescue  time.Duration `name:"sweep-rescue" default:"3m" env:"BOWROLLD_SWEEP_RESCUE" help:"After how long a part whose service went silent is given to another. A part may take two thirds of it."`
	SweepKeep    time.Duration `name:"sweep-keep" default:"0s" env:"BOWROLLD_SWEEP_KEEP" help:"How long sweeps are kept after they ended, e.g. 720h; 0s keeps them until they are deleted."`
}

func (s *swept) check() error {
	var faults []error
	if s.SweepWorkers < -1 || s.SweepWorkers > 1024 {
		faults = append(faults, fmt.Errorf("--sweep-workers is %d: must be from -1 to 1024", s.SweepWorkers))
	}
	if s.SweepRescue < 3*time.Second || s.SweepRescue > time.Hour {
		faults = append(faults, fmt.Errorf("--sweep-rescue is %v: must be from 3s to 1h", s.SweepRescue))
	}
	if s.SweepKeep < 0 || s.SweepKeep > 0 && s.SweepKeep < time.Minute {
		faults = append(faults, fmt.Errorf("--sweep-keep is %v: must be 0s or at least 1m", s.SweepKeep))
	}
	return errors.Join(faults...)
}

func (s *swept) print(out io.Writer) {
	fmt.Fprintf(out, "sweep-workers: %d\nsweep-rescue: %v\nsweep-keep: %v\n", s.SweepWorkers, s.SweepRescue, s.SweepKeep)
}

// sweeping are the workers that the flags ask for.
func (s *settings) sweeping(log *zap.Logger) *assembly.SweepWorkers {
	count := s.SweepWorkers
	if count < 0 {
		count = s.cores()
	}
	return &assembly.SweepWorkers{Count: count, Rescue: s.SweepRescue, Keep: s.SweepKeep, Log: log}
}
