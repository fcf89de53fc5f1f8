package rpc

import (
	"fmt"
	"math"
	"strings"

	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// fillCourse puts what was found into the contract's message.
func fillCourse(out *bowrollv1.WindLimitsFindCourseResponse, found *wind.CourseAnswer) {
	for _, arc := range found.Open {
		a := &bowrollv1.CourseArc{FromDeg: arc.FromDeg, WidthDeg: arc.WidthDeg}
		for _, s := range arc.Speeds {
			a.CourseDeg = append(a.CourseDeg, s.CourseDeg)
			a.LeastSpeedMps = append(a.LeastSpeedMps, s.LeastMPS)
			a.GreatestSpeedMps = append(a.GreatestSpeedMps, s.GreatestMPS)
		}
		out.Open = append(out.Open, a)
	}
	out.Recommended = courseOption(found.Recommended)
	out.LeastSpeed = courseOption(found.LeastSpeed)
	out.Faster = courseOption(found.Faster)
	for _, trade := range found.Trade {
		out.Trades = append(out.Trades, &bowrollv1.SpeedTrade{
			HeldToMps: trade.HeldToMPS, BeyondShip: trade.BeyondShip, Option: courseOption(trade.Option),
		})
	}
	out.PresentCourseNeedsMps = found.PresentNeedsMPS
	if short := found.Shortfall; short != nil {
		out.Shortfall = &bowrollv1.CourseShortfall{
			Best: courseOption(short.Best), OpenWithout: short.OpenWithout,
		}
		if short.Best != nil {
			out.Shortfall.WorstMps = finite(short.WorstMPS)
			out.Shortfall.Missed = marginAnswers(short.Missed)
		}
	}
	best := out.GetRecommended()
	if best == nil {
		best = out.GetShortfall().GetBest()
	}
	least := math.Inf(1)
	for _, m := range best.GetMargins() {
		if m.GetMarginMps() < least {
			least, out.BindingLoad, out.BindingLimit = m.GetMarginMps(), m.GetLoad(), m.GetLimit()
		}
	}
}

func courseOption(o *wind.Option) *bowrollv1.CourseOption {
	if o == nil {
		return nil
	}
	out := &bowrollv1.CourseOption{
		CourseDeg: o.CourseDeg, SpeedMps: o.SpeedMPS, ChangeDeg: o.ChangeDeg,
		LeastSpeedMps: o.LeastMPS, GreatestSpeedMps: o.GreatestMPS,
		Wind: windAnswer(o.Wind), TailwindMps: o.Wind.TailwindMPS, GreatestWindMps: o.Wind.GreatestSpeedMPS,
		Margins: marginAnswers(o.Margins),
	}
	if r := o.SeaRoom; r != nil {
		out.SeaRoom = &bowrollv1.SeaRoomTaken{
			TurnS: r.TurnS, LaunchS: r.LaunchS, TotalS: r.TotalS,
			LaunchDistanceM: r.LaunchDistanceM, AlongTrackM: r.AlongTrackM, OffTrackM: r.OffTrackM,
		}
	}
	return out
}

func marginAnswers(margins []wind.Margin) []*bowrollv1.WindMargin {
	list := make([]*bowrollv1.WindMargin, len(margins))
	for i, m := range margins {
		list[i] = &bowrollv1.WindMargin{
			Limit: m.Limit, Load: m.Load, AllowedMps: m.AllowedMPS, ValueMps: m.ValueMPS, MarginMps: m.MarginMPS,
		}
	}
	return list
}

// courseText says the answer in a sentence or two.
func courseText(out *bowrollv1.WindLimitsFindCourseResponse) string {
	if o := out.GetRecommended(); o != nil {
		text := fmt.Sprintf("Steer %s at %.1f m/s: %s", compass(o.GetCourseDeg()), o.GetSpeedMps(), turnText(o.GetChangeDeg()))
		if out.GetBindingLoad() != "" {
			text += fmt.Sprintf("; the %s of %s binds", out.GetBindingLimit(), out.GetBindingLoad())
		}
		return text + "."
	}
	short := out.GetShortfall()
	if short.GetBest() == nil {
		return "No course is open: every one is closed to the ship."
	}
	text := fmt.Sprintf("No course does. The nearest is %s at %.1f m/s", compass(short.GetBest().GetCourseDeg()), short.GetBest().GetSpeedMps())
	if len(short.GetMissed()) > 0 {
		m := short.GetMissed()[0]
		text += fmt.Sprintf(", %.1f m/s short of the %s of %s", -m.GetMarginMps(), m.GetLimit(), m.GetLoad())
	}
	if len(short.GetOpenWithout()) > 0 {
		text += "; holding " + strings.Join(short.GetOpenWithout(), " or ") + " opens one"
	}
	return text + "."
}

func compass(deg float64) string { return fmt.Sprintf("%03.0f", math.Mod(math.Round(deg), 360)) }

func turnText(deg float64) string {
	switch {
	case math.Abs(deg) < 0.5:
		return "the present course"
	case deg > 0:
		return fmt.Sprintf("%.0f degrees to starboard", deg)
	}
	return fmt.Sprintf("%.0f degrees to port", -deg)
}
