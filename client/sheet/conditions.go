package sheet

import (
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// labelColumns is the room for the labels of lines such as "Wind".
const labelColumns = 12

// windOverDeck says what wind an answer used.
func (p *page) windOverDeck(wind *bowrollv1.WindUsed) {
	if wind == nil {
		return
	}
	text := p.along(wind.GetHeadwindMps()) + ", crosswind " + p.side(wind.GetCrosswindMps())
	if wind.SpeedMps != nil && wind.RelativeFromDeg != nil {
		text = p.measured(speed, wind.GetSpeedMps()) + " over deck from " + bearing(wind.GetRelativeFromDeg()) + " relative: " + text
	}
	p.labelled(tonePlain, "Wind", tonePlain, text, labelColumns)
	text = p.along(wind.GetCreditedHeadwindMps())
	switch wind.GetPlannedOn() {
	case "lull", "mean", "gust":
		text += ", planned on the " + wind.GetPlannedOn()
	}
	p.labelled(tonePlain, "Credited", tonePlain, text, labelColumns)
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
