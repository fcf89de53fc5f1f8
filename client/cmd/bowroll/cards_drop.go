package main

import (
	"errors"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// dropFlag says how spent units are dropped, which a cycle does not.
type dropFlag struct {
	Drop string `help:"How spent units are dropped (YAML: height, above, airspeed, climb_angle, release_sigma, wind_sigma, tumbling_sigma, sigma_factor), for the drop zone on the cards. Left to be written in by hand otherwise." placeholder:"FILE" group:"Paper"`

	drops *bowrollv1.UnitRelease
}

// read reads the file; nil where none was given.
func (f dropFlag) read(p *program) (*bowrollv1.UnitRelease, error) {
	if f.Drop == "" {
		return nil, nil
	}
	source, err := p.read(f.Drop)
	if err != nil {
		return nil, err
	}
	document, err := cycle.Parse(f.Drop, source)
	if err != nil {
		return nil, err
	}
	release := &bowrollv1.UnitRelease{}
	if _, err := document.Decode(release); err != nil {
		return nil, err
	}
	if release.HeightM == nil || release.Above == bowrollv1.Datum_DATUM_UNSPECIFIED {
		return nil, badInput{errors.New("--drop " + f.Drop + `: say the height and what it is above, e.g. "height: 300 ft" and "above: sea"`)}
	}
	return release, nil
}
