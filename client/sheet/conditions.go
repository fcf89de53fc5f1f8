package sheet

import (
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// labelColumns is the room for the labels of lines such as "Wind".
const labelColumns = 12

// windOverDeck says what wind an answer used, its direction off the bow of a ship or,
// ashore, true.
func (p *page) windOverDeck(wind *bowrollv1.WindUsed, ashore bool) {
	if wind == nil {
		return
	}
	if wind.SpeedMps != nil && wind.RelativeFromDeg != nil {
		text := " over deck, from " + bearing(wind.GetRelativeFromDeg()) + " off the bow"
		if ashore {
			text = " from " + bearing(wind.GetRelativeFromDeg()) + " true"
		}
		p.labelled(tonePlain, "Wind", tonePlain, p.measured(speed, wind.GetSpeedMps())+text, labelColumns)
	}
	text := p.along(wind.GetHeadwindMps()) + ", crosswind " + p.side(wind.GetCrosswindMps())
	if credited := p.along(wind.GetCreditedHeadwindMps()); credited != p.along(wind.GetHeadwindMps()) {
		text += "; credited: " + credited
	}
	switch wind.GetPlannedOn() {
	case "lull", "mean", "gust":
		text = "on the " + wind.GetPlannedOn() + ": " + text
	}
	p.labelled(tonePlain, "Planned", tonePlain, text, labelColumns)
}

// airState says what air an answer used.
func (p *page) airState(air *bowrollv1.AirState) {
	if air == nil {
		return
	}
	p.labelled(tonePlain, "Air", tonePlain, p.measured(temperature, air.GetTemperatureC())+", "+
		p.measured(pressure, air.GetPressurePa())+", density altitude "+p.measured(height, air.GetDensityAltitudeM())+
		" ("+fixed(air.GetDensityKgM3(), 3)+" kg/m3)", labelColumns)
}
