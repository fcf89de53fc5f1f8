package sheet

import (
	"fmt"
	"strings"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// moment draws a time after the start as the time of day, to the minute.
func (s *planSheet) moment(after *float64) string {
	if after == nil {
		return none
	}
	return clock(s.start, *after)
}

// minutes draws a duration in minutes and seconds.
func minutes(s float64) string {
	d := time.Duration(s * float64(time.Second)).Round(time.Second)
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	return fmt.Sprintf("%s%d:%02d", sign, int(d.Minutes()), int(d.Seconds())%60)
}

// timeline draws the work on deck, and what it hangs on.
func (s *planSheet) timeline() {
	t := s.plan.GetTimeline()
	if len(t.GetTasks()) == 0 {
		return
	}
	aside := "times of day in UTC, slack in minutes"
	if s.start.IsZero() {
		aside = "times after the start, slack in minutes"
	}
	s.heading("DECK", aside)
	table := table{columns: []column{
		{head: "Sortie", least: 10},
		{head: "Units", right: true},
		{head: "Team", rank: 3},
		{head: "Bay", right: true, rank: 4},
		{head: "Fit", under: "from", right: true},
		{head: "Latest", under: "start", right: true, rank: 1},
		{head: "Slack", right: true},
		{head: "Test", under: "from", right: true, rank: 5},
		{head: "Ready", right: true},
		{head: "Igniters", under: "in", right: true},
		{head: "Launch", right: true},
		{head: "Late", under: "by", right: true},
		{head: "Waits", under: "for"},
	}}
	for _, task := range t.GetTasks() {
		table.row(s.task(task)...)
	}
	s.table(table)
	s.paragraph(tonePlain, s.hangsOn(t), 0)
}

func (s *planSheet) task(t *bowrollv1.DeckTask) []cell {
	var teams []string
	for _, team := range t.GetTeams() {
		teams = append(teams, digits(int(team)))
	}
	slack := given(t.SlackS, minutes)
	launch, late := cell{text: clock(s.start, t.GetLaunchS())}, cell{text: none}
	switch {
	case t.GetHeld():
		launch = cell{"shut", toneBad}
	case t.GetMisfired():
		launch = cell{"misfire", toneBad}
	}
	if t.GetDelayS() > 0 {
		late = cell{minutes(t.GetDelayS()), toneCare}
	}
	waits := word(t.GetWaitedFor())
	if t.GetWaitedFor() == bowrollv1.Hindrance_HINDRANCE_PLAN {
		waits = none
	}
	bay := none
	if t.Bay != nil {
		bay = digits(int(t.GetBay()))
	}
	units := "none"
	if t.GetUnitCount() > 0 {
		units = digits(int(t.GetUnitCount()))
	}
	return []cell{
		{text: clean(t.GetSortie()), tone: toneTitle}, {text: units}, {text: orNone(strings.Join(teams, "+"))}, {text: bay},
		{text: s.moment(t.FitStartS)}, {text: s.moment(t.LatestFitStartS)}, {text: slack}, {text: s.moment(t.TestStartS)},
		{text: s.moment(t.ReadyS)}, {text: s.moment(t.IgniterStartS)}, launch, late, {text: waits},
	}
}

// hangsOn says what stands in the way of an earlier end, and what the ship needs.
func (s *planSheet) hangsOn(t *bowrollv1.Timeline) string {
	text := fmt.Sprintf("First launch to last %s", minutes(t.GetSpanS()))
	if t.GetCritical() == bowrollv1.Hindrance_HINDRANCE_PLAN {
		text += ", as planned"
	} else {
		text += fmt.Sprintf("; what holds it up: the %s", word(t.GetCritical()))
	}
	text += fmt.Sprintf(" (the deck alone %s, the crews alone %s).", minutes(t.GetDeckSpanS()), minutes(t.GetCrewsSpanS()))
	if t.GetLeastTeamCount() > 0 {
		text += fmt.Sprintf(" %s would keep up with the deck", upperFirst(plural(int(t.GetLeastTeamCount()), "team", "teams")))
		if t.GetOneMoreTeamS() > 0 {
			text += fmt.Sprintf("; one team more ends it %s sooner", minutes(t.GetOneMoreTeamS()))
		}
		text += "."
	}
	if t.TurnStartS != nil {
		text += fmt.Sprintf(" Turn into wind by %s at the latest.", s.moment(t.TurnStartS))
	}
	if t.SeaUsedM != nil && t.GetSeaUsedM() > 0 {
		text += " Sea used " + nauticalMiles(t.GetSeaUsedM())
		if t.SeaRoomM != nil {
			text += " of " + nauticalMiles(t.GetSeaRoomM())
		}
		text += "."
	}
	return text
}

// nauticalMiles draws a distance at sea. A nautical mile is 1852 m exactly.
func nauticalMiles(m float64) string { return fixed(m/1852, 1) + " nmi" }
