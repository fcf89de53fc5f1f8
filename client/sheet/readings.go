package sheet

import (
	"fmt"
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Readings draws the readings of a lot and what they add up to.
func Readings(w io.Writer, style Style, lot string, list []*bowrollv1.Reading, e *bowrollv1.Exposure) error {
	p := newPage(style)
	const at = 12
	p.heading("READINGS OF "+strings.ToUpper(short(lot)), "times in UTC")
	if e.GetReadingCount() == 0 {
		p.paragraph(toneCare, "None: how the lot was kept is not known.", 0)
		return p.write(w)
	}
	span := func(seconds float64) string { return fmt.Sprintf("%.1f h", seconds/3600) }
	p.labelled(toneQuiet, "Lowest", tonePlain, p.measured(temperature, e.GetLeastC()), at)
	p.labelled(toneQuiet, "Highest", tonePlain, p.measured(temperature, e.GetGreatestC()), at)
	p.labelled(toneQuiet, "Watched", tonePlain, span(e.GetWatchedS()), at)
	outside := tonePlain
	if e.GetOutsideS() > 0 {
		outside = toneBad
	}
	p.labelled(toneQuiet, "Outside", outside, span(e.GetOutsideS())+" with a reading outside the limits at either end", at)
	unknown := tonePlain
	if e.GetUnknownS() > 0 {
		unknown = toneCare
	}
	p.labelled(toneQuiet, "Unknown", unknown, span(e.GetUnknownS())+" in gaps longer than the lot permits", at)
	for _, missing := range []struct {
		judged bool
		what   string
	}{{e.GetTemperatureJudged(), "temperature limits are not both known"}, {e.GetHumidityJudged(), "humidity limit is not known"}} {
		if !missing.judged {
			p.labelled(toneQuiet, "Not judged", toneCare, "the "+missing.what, at)
		}
	}
	t := table{columns: []column{
		{head: "Time"}, {head: "Temperature", right: true}, {head: "Humidity", right: true}, {head: "Where", least: 6, rank: 1}, {head: "Read by", least: 6, rank: 2},
	}}
	p.heading("EACH READING", "")
	for _, r := range list {
		humidity := none
		if r.RelativeHumidity != nil {
			humidity = fmt.Sprintf("%.0f"+hold+"%%", 100*r.GetRelativeHumidity())
		}
		t.row(plain(r.GetTime().AsTime().UTC().Format("2006-01-02 15:04"), p.measured(temperature, r.GetTemperatureC()), humidity,
			orNone(clean(r.GetPlace())), orNone(clean(r.GetSource())))...)
	}
	p.table(t)
	return p.write(w)
}

// Recorded says what readings led to.
func Recorded(w io.Writer, style Style, lot string, sent int, a *bowrollv1.RecordReadingsResponse) error {
	p := newPage(style)
	p.paragraph(tonePlain, fmt.Sprintf("%s: %s recorded, %d were there already.", short(lot), plural(int(a.GetAddedCount()), "reading", "readings"), sent-int(a.GetAddedCount())), 0)
	if n := len(a.GetQuarantined()); n > 0 {
		p.paragraph(toneBad, fmt.Sprintf("QUARANTINED: %s outside the limits of the lot: %s. Only a named authority returns them to use.",
			plural(n, "unit was", "units were"), strings.Join(a.GetQuarantined(), ", ")), 0)
	}
	return p.write(w)
}

// Picks draws the units to take next, and why.
func Picks(w io.Writer, style Style, a *bowrollv1.PickUnitsResponse) error {
	p := newPage(style)
	p.heading("TAKE NEXT", "first to expire first")
	t := table{columns: []column{{head: "Unit", least: 8}, {head: "Lot", least: 6}, {head: "Where", least: 6}, {head: "Usable until", least: 8}, {head: "Why", least: 12}}}
	for _, pick := range a.GetPicks() {
		u := pick.GetUnit()
		t.row(plain(short(u.GetName()), short(u.GetLot()), orNone(u.GetPlace()), instant(u.GetUsableUntilTime()), clean(pick.GetReason()))...)
	}
	p.table(t)
	return p.write(w)
}

// ExpiredPlans names the plans whose reservations ran out.
func ExpiredPlans(w io.Writer, style Style, site string, a *bowrollv1.ExpirePlansResponse) error {
	p := newPage(style)
	if len(a.GetPlans()) == 0 {
		p.paragraph(tonePlain, short(site)+": nothing ran out.", 0)
		return p.write(w)
	}
	p.paragraph(toneCare, short(site)+": reservations ran out and went back to stock: "+strings.Join(a.GetPlans(), ", "), 0)
	return p.write(w)
}
