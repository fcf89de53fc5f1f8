package table

import (
	"context"

	"bowroll/server/store"
)

// checkPage is how many entries of a log are checked at once.
const checkPage = 2000

// CheckLogs verifies the log of every site, and that its stock is what the log
// says.
func (t *Tx) CheckLogs(ctx context.Context) error {
	sites, err := t.Sites(ctx)
	if err != nil {
		return err
	}
	for _, site := range sites {
		if err := NewTx(t.q, site).checkLog(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (t *Tx) checkLog(ctx context.Context) error {
	var fold store.Fold
	for {
		page, err := t.Movements(ctx, store.MovementFilter{}, fold.Head.Seq, checkPage)
		if err != nil {
			return err
		}
		for _, m := range page {
			if err := fold.Apply(m); err != nil {
				return err
			}
		}
		if len(page) < checkPage {
			break
		}
	}
	head, err := t.Head(ctx)
	if err != nil {
		return err
	}
	if head != fold.Head {
		return store.Errorf(store.Corrupt, "LOG_CUT", "the log of %s ends at entry %d and should end at %d", t.site, fold.Head.Seq, head.Seq)
	}
	return t.checkFold(ctx, &fold)
}

// checkFold compares the tables with the fold of the log.
func (t *Tx) checkFold(ctx context.Context, fold *store.Fold) error {
	units, lots, after := 0, 0, ""
	for {
		page, err := t.ListUnits(ctx, store.UnitFilter{}, after, checkPage)
		if err != nil {
			return err
		}
		for _, unit := range page {
			if unit != fold.Units[unit.ID] {
				return store.Errorf(store.Corrupt, "UNIT_DIFFERS", "unit %s of %s is not what the log says", unit.ID, t.site)
			}
			after = unit.ID
		}
		if units += len(page); len(page) < checkPage {
			break
		}
	}
	for after = ""; ; {
		page, err := t.Lots(ctx, after, checkPage)
		if err != nil {
			return err
		}
		for _, lot := range page {
			logged := fold.Lots[lot.ID]
			if lot.Seq != logged.Seq || lot.Suspended != logged.Suspended || lot.ReceivedCount != logged.ReceivedCount {
				return store.Errorf(store.Corrupt, "LOT_DIFFERS", "lot %s of %s is not what the log says", lot.ID, t.site)
			}
			after = lot.ID
		}
		if lots += len(page); len(page) < checkPage {
			break
		}
	}
	if units != len(fold.Units) || lots != len(fold.Lots) {
		return store.Errorf(store.Corrupt, "STOCK_DIFFERS", "%s has %d units in %d lots and its log says %d in %d",
			t.site, units, lots, len(fold.Units), len(fold.Lots))
	}
	return nil
}
