package sheet

// stock draws what the plan takes from each lot, and the sums over those that
// may be used.
func (s *planSheet) stock() {
	if len(s.plan.GetLots()) == 0 {
		return
	}
	s.heading("STOCK", "")
	t := table{columns: []column{
		{head: "Lot", least: 6},
		{head: "Type", least: 8},
		{head: "Expires", rank: 1},
		{head: "Grain", right: true, rank: 2},
		{head: "Before", right: true},
		{head: "Used", right: true},
		{head: "After", right: true},
		{head: "Not for use", least: 12},
	}}
	before, used, after := 0, 0, 0
	for _, l := range s.plan.GetLots() {
		expires, grain := none, none
		if lot := s.lots[l.GetLot()]; lot != nil {
			if lot.GetExpireTime() != nil {
				expires = lot.GetExpireTime().AsTime().Format("2 Jan 2006")
			}
			grain = s.givenMeasured(temperature, lot.GrainTemperatureC)
		}
		t.row(
			cell{text: clean(l.GetLot()), tone: toneTitle},
			cell{text: short(clean(l.GetBoosterType()))},
			cell{text: expires}, cell{text: grain},
			cell{text: digits(int(l.GetBeforeCount()))},
			cell{text: digits(int(l.GetUsedCount()))},
			cell{text: digits(int(l.GetAfterCount()))},
			cell{text: clean(l.GetBarred()), tone: toneCare},
		)
		if l.GetBarred() != "" {
			continue
		}
		before, used, after = before+int(l.GetBeforeCount()), used+int(l.GetUsedCount()), after+int(l.GetAfterCount())
	}
	if len(s.plan.GetLots()) > 1 {
		t.row(plain("usable", "", "", "", digits(before), digits(used), digits(after), "")...)
	}
	s.table(t)
}
