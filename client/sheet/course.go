package sheet

import (
	"io"
	"math"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Course draws the courses on which every load may go: the one recommended, what
// more speed would buy, what binds, and where the ship may steer at all. about
// says what the course is for; it may be empty.
func Course(w io.Writer, style Style, about string, answer *bowrollv1.WindLimitsFindCourseResponse) error {
	p := newPage(style)
	p.warnings(alone(answer.GetCautions()))
	p.heading("LAUNCH COURSE", clean(about))
	p.courseVerdict(answer)
	p.windRead(answer.GetWindReading())
	if answer.GetRecommended() != nil || answer.GetShortfall().GetBest() != nil || answer.GetShortfall().GetForTheOthers() != nil {
		p.courseOptions(answer)
	}
	p.margins(answer)
	p.trades(answer)
	p.arcs(answer)
	p.courseLoads(answer)
	p.cautions("CAUTIONS", without(alone(answer.GetCautions()), bowrollv1.Severity_SEVERITY_WARNING))
	p.provenance(answer.GetProvenance())
	return p.write(w)
}

// courseVerdict says the answer in a sentence.
func (p *page) courseVerdict(answer *bowrollv1.WindLimitsFindCourseResponse) {
	o, short := answer.GetRecommended(), answer.GetShortfall()
	switch {
	case o != nil:
		text := "Steer " + bearing(o.GetCourseDeg()) + " at " + p.measured(speed, o.GetSpeedMps()) + ": " + changeOfCourse(o.GetChangeDeg()) + "."
		if answer.GetBindingLoad() != "" {
			text += " The " + clean(answer.GetBindingLimit()) + " of " + clean(answer.GetBindingLoad()) + " binds."
		}
		p.paragraph(toneGood, text, 0)
	case len(short.GetNoWindFor()) > 0:
		p.paragraph(toneBad, "No course does: no wind does for "+clean(strings.Join(short.GetNoWindFor(), ", "))+".", 0)
		if short.GetForTheOthers() != nil {
			other := short.GetForTheOthers()
			p.paragraph(toneCare, "Held back, the others may go on "+bearing(other.GetCourseDeg())+" at "+p.measured(speed, other.GetSpeedMps())+".", 0)
		}
	case short.GetBest() != nil:
		text := "No course does. The nearest is " + bearing(short.GetBest().GetCourseDeg()) + " at " + p.measured(speed, short.GetBest().GetSpeedMps())
		if len(short.GetMissed()) > 0 {
			m := short.GetMissed()[0]
			text += ", " + p.measured(speed, -m.GetMarginMps()) + " short of the " + clean(m.GetLimit()) + " of " + clean(m.GetLoad())
		}
		p.paragraph(toneBad, text+".", 0)
		if len(short.GetOpenWithout()) > 0 {
			p.paragraph(toneCare, "A course opens with any one of these held: "+clean(strings.Join(short.GetOpenWithout(), ", "))+".", 0)
		}
	default:
		p.paragraph(toneBad, clean(answer.GetText()), 0)
	}
	if needs := answer.PresentCourseNeedsMps; needs != nil {
		text := "The present course would do at " + p.atLeast(speed, *needs) + "."
		if most, known := greatestSpeed(answer); known && *needs > most {
			text = "The present course would need " + p.atLeast(speed, *needs) + ", more than she can do."
		}
		p.paragraph(tonePlain, text, 0)
	}
}

// greatestSpeed is the greatest of the speeds tried that the ship can do, where any
// was.
func greatestSpeed(answer *bowrollv1.WindLimitsFindCourseResponse) (mps float64, known bool) {
	for _, t := range answer.GetTrades() {
		if !t.GetBeyondShip() {
			mps, known = max(mps, t.GetHeldToMps()), true
		}
	}
	return mps, known
}

func changeOfCourse(deg float64) string {
	switch whole := math.Round(math.Abs(deg)); {
	case whole == 0:
		return "no change of course"
	case deg > 0:
		return fixed(whole, 0) + " deg to starboard"
	default:
		return fixed(whole, 0) + " deg to port"
	}
}

// windRead draws what became of readings.
func (p *page) windRead(r *bowrollv1.WindReading) {
	if r == nil {
		return
	}
	p.heading("WIND AS READ", "speeds in "+p.unit(speed))
	t := table{columns: []column{{head: "Anemometer"}, {head: "From, off the bow", right: true}, {head: "Speed", right: true}, {head: "Used"}, {head: "Why not", least: 12}}}
	for _, s := range r.GetSensors() {
		used := "yes"
		if !s.GetUsed() {
			used = "no"
		}
		from := none
		if s.RelativeFromDeg != nil {
			from = bearing(s.GetRelativeFromDeg())
		}
		t.row(plain(clean(s.GetAnemometer()), from, p.givenNumber(speed, s.SpeedMps), used, orNone(s.GetNote()))...)
	}
	p.table(t)
	if n := r.GetNaturalWind(); n != nil {
		text := "Natural wind from " + bearing(n.GetFromDeg()) + " at " + p.measured(speed, n.GetSpeedMps())
		if n.LullMps != nil {
			text += ", lull " + p.measured(speed, n.GetLullMps())
		}
		if n.GustMps != nil {
			text += ", gust " + p.measured(speed, n.GetGustMps())
		}
		p.paragraph(tonePlain, text+".", 0)
	}
}

// courseOptions draws the courses worth comparing.
func (p *page) courseOptions(answer *bowrollv1.WindLimitsFindCourseResponse) {
	p.heading("COURSES", "speeds in "+p.unit(speed))
	t := table{columns: []column{
		{head: ""}, {head: "Course", right: true}, {head: "Speed", right: true}, {head: "Change", right: true},
		{head: "Headwind", under: "credited", right: true}, {head: "Cross-", under: "wind", right: true},
		{head: "Over", under: "deck", right: true, rank: 1}, {head: "Time", under: "min", right: true, rank: 2}, {head: "Run", under: p.unit(length), right: true, rank: 3},
	}}
	add := func(name string, o *bowrollv1.CourseOption) {
		if o == nil {
			return
		}
		time, run := none, none
		if r := o.GetSeaRoom(); r != nil {
			time, run = fixed(r.GetTotalS()/60, 1), p.number(length, r.GetLaunchDistanceM())
		}
		t.row(plain(name, bearing(o.GetCourseDeg()), p.number(speed, o.GetSpeedMps()), fixed(o.GetChangeDeg(), 0)+" deg",
			p.number(speed, o.GetWind().GetCreditedHeadwindMps()), p.number(speed, o.GetWind().GetCrosswindMps()),
			p.number(speed, o.GetGreatestWindMps()), time, run)...)
	}
	add("Recommended", answer.GetRecommended())
	add("Least speed", answer.GetLeastSpeed())
	add("Faster there", answer.GetFaster())
	add("Nearest", answer.GetShortfall().GetBest())
	add("For the others", answer.GetShortfall().GetForTheOthers())
	p.table(t)
	p.paragraph(toneQuiet, "Change: positive to starboard. Headwind in the worst of lull, mean and gust; crosswind positive from starboard; over deck the greatest. Time is turn and launch.", 0)
}

// margins draws what is in hand on each limit.
func (p *page) margins(answer *bowrollv1.WindLimitsFindCourseResponse) {
	o := answer.GetRecommended()
	if o == nil {
		o = answer.GetShortfall().GetBest()
	}
	if len(o.GetMargins()) == 0 {
		return
	}
	p.heading("IN HAND", "speeds in "+p.unit(speed))
	t := table{columns: []column{{head: "Limit"}, {head: "Of"}, {head: "Allowed", right: true}, {head: "There is", right: true}, {head: "In hand", right: true}}}
	for _, m := range o.GetMargins() {
		in := tonePlain
		if m.GetMarginMps() < -1e-6 {
			in = toneBad
		}
		t.row(cell{text: clean(m.GetLimit())}, cell{text: clean(m.GetLoad())}, cell{text: p.number(speed, m.GetAllowedMps())},
			cell{text: p.number(speed, m.GetValueMps())}, cell{text: p.number(speed, m.GetMarginMps()), tone: in})
	}
	p.table(t)
}

// trades draws what more or less speed would buy.
func (p *page) trades(answer *bowrollv1.WindLimitsFindCourseResponse) {
	if len(answer.GetTrades()) == 0 {
		return
	}
	p.heading("WHAT SPEED BUYS", "speeds in "+p.unit(speed))
	t := table{columns: []column{{head: "Held to", right: true}, {head: "Course", right: true}, {head: "Speed", right: true}, {head: "Change", right: true}, {head: ""}}}
	for _, trade := range answer.GetTrades() {
		note := ""
		if trade.GetBeyondShip() {
			note = "more than she can do"
		}
		o := trade.GetOption()
		if o == nil {
			t.row(plain(p.number(speed, trade.GetHeldToMps()), "none open", none, none, note)...)
			continue
		}
		t.row(plain(p.number(speed, trade.GetHeldToMps()), bearing(o.GetCourseDeg()), p.number(speed, o.GetSpeedMps()), fixed(o.GetChangeDeg(), 0)+" deg", note)...)
	}
	p.table(t)
}

// arcs draws the open courses.
func (p *page) arcs(answer *bowrollv1.WindLimitsFindCourseResponse) {
	if len(answer.GetOpen()) == 0 {
		return
	}
	p.heading("OPEN COURSES", "speeds in "+p.unit(speed))
	t := table{columns: []column{{head: "From"}, {head: "To"}, {head: "Width", right: true}, {head: "Least speed", right: true}, {head: "Greatest", right: true}}}
	for _, a := range answer.GetOpen() {
		low, high := math.Inf(1), 0.0
		for i := range a.GetLeastSpeedMps() {
			low, high = min(low, a.GetLeastSpeedMps()[i]), max(high, a.GetGreatestSpeedMps()[i])
		}
		t.row(plain(bearing(a.GetFromDeg()), bearing(a.GetFromDeg()+a.GetWidthDeg()), fixed(a.GetWidthDeg(), 0)+" deg", p.number(speed, low), p.number(speed, high))...)
	}
	p.table(t)
}

// courseLoads draws the limits of the loads.
func (p *page) courseLoads(answer *bowrollv1.WindLimitsFindCourseResponse) {
	if len(answer.GetLoads()) == 0 {
		return
	}
	p.heading("LOADS", "speeds in "+p.unit(speed))
	t := table{columns: []column{
		{head: "Load"}, {head: "Units", right: true}, {head: "Least", under: "headwind", right: true}, {head: "Greatest", under: "crosswind", right: true},
		{head: "Greatest", under: "tailwind", right: true}, {head: "Greatest", under: "over deck", right: true}, {head: "In less wind", least: 12, rank: 1},
	}}
	for _, l := range answer.GetLoads() {
		limits := l.GetLimits()
		if limits == nil {
			limits = new(bowrollv1.WindBounds)
		}
		units, least, why := none, p.givenNumber(speed, limits.LeastHeadwindMps), none
		if l.UnitCount != nil {
			units = digits(int(l.GetUnitCount()))
		}
		switch l.GetState() {
		case bowrollv1.LimitState_LIMIT_STATE_NONE:
			least = "no wind"
		case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
			least = "any"
		}
		if l.Binds != nil {
			why = word(l.GetBinds())
		}
		t.row(plain(clean(l.GetId()), units, least, p.givenNumber(speed, limits.CrosswindLimitMps), p.givenNumber(speed, limits.TailwindLimitMps),
			p.givenNumber(speed, limits.WindCeilingMps), why)...)
	}
	p.table(t)
	if len(answer.GetHeld()) > 0 {
		p.paragraph(toneCare, "Held by the plan, whatever the course: "+clean(strings.Join(answer.GetHeld(), ", "))+".", 0)
	}
}
