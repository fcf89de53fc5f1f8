package sheet

import (
	"fmt"
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Log draws entries of the log of a site, one line each.
func Log(w io.Writer, style Style, site string, a *bowrollv1.ListMovementsResponse) error {
	p := newPage(style)
	p.heading("LOG OF "+strings.ToUpper(short(site)), "times in UTC, as the site's clock had them")
	if len(a.GetMovements()) == 0 {
		p.paragraph(tonePlain, "No entries.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Entry", right: true}, {head: "Time", rank: 2}, {head: "What", least: 7}, {head: "Of", least: 9},
		{head: "State", rank: 3}, {head: "Who", least: 6}, {head: "Where", least: 6, rank: 1}, {head: "Why", least: 10},
	}}
	stated := false
	for _, m := range a.GetMovements() {
		stated = stated || !m.GetActorProven()
		why := clean(m.GetReason())
		if m.GetAuthority() != "" {
			why += ", by authority of " + clean(m.GetAuthority())
		}
		t.row(plain(digits(int(m.GetSequence())), instant(m.GetTime()), words(m.GetEvent()), subject(m), states(m),
			orNone(m.GetActor()), orNone(m.GetPlace()), orNone(strings.TrimPrefix(why, ", ")))...)
	}
	p.table(t)
	last := a.GetMovements()[len(a.GetMovements())-1]
	p.gap()
	if !a.GetComplete() {
		p.paragraph(toneCare, fmt.Sprintf("More entries follow: --since %d shows them.", last.GetSequence()), 0)
	}
	if stated {
		p.paragraph(toneQuiet, "Who acted is as it was stated, but for those marked proven, whom the service knew.", 0)
	}
	p.paragraph(toneQuiet, fmt.Sprintf("Hash of entry %d: %s", last.GetSequence(), last.GetHash()), 0)
	return p.write(w)
}

// words draws a name of the ledger in words.
func words(name string) string { return strings.ReplaceAll(clean(name), "_", " ") }

// subject is what an entry is about.
func subject(m *bowrollv1.Movement) string {
	var parts []string
	switch {
	case m.GetUnit() != "":
		parts = append(parts, m.GetUnit())
	case m.GetLot() != "":
		parts = append(parts, m.GetLot())
	}
	if m.GetPlan() != "" {
		parts = append(parts, strings.TrimSuffix(m.GetPlan()+" "+m.GetSortie(), " "))
	}
	if caution := waivedIn(m); caution != "" {
		parts = append(parts, caution)
	}
	if m.GetIgniter() != "" {
		parts = append(parts, "igniter "+m.GetIgniter())
	}
	return clean(strings.Join(parts, ", "))
}

// states draws the states of a unit before and after an entry.
func states(m *bowrollv1.Movement) string {
	switch {
	case m.GetToState() == "":
		return none
	case m.GetFromState() == m.GetToState() || m.GetFromState() == "":
		return words(m.GetToState())
	}
	return words(m.GetFromState()) + " to " + words(m.GetToState())
}

// LogCheck says whether the log of a site is whole.
func LogCheck(w io.Writer, style Style, site string, a *bowrollv1.VerifyLogResponse) error {
	p := newPage(style)
	if a.GetHolds() {
		p.paragraph(toneGood, fmt.Sprintf("The log of %s HOLDS: %s, each hash right, and the stock is what they say.", short(site), plural(int(a.GetEntryCount()), "entry", "entries")), 0)
	} else {
		p.paragraph(toneBad, fmt.Sprintf("The log of %s FAILS after entry %d: %s.", short(site), a.GetEntryCount(), clean(a.GetFault())), 0)
	}
	p.paragraph(toneQuiet, "Hash: "+a.GetHash(), 0)
	return p.write(w)
}
