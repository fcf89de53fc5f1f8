package store

import "context"

// verifyPage is how many rows are verified at once.
const verifyPage = 2000

// Verify reads the whole log of a site and checks that its chain holds, that it
// ends where it should, and that lots and units are its fold. It returns the
// end of the log as far as it could be followed; a fault is [Corrupt].
func Verify(ctx context.Context, r Reader) (Head, error) {
	var fold Fold
	for {
		page, err := r.Movements(ctx, MovementFilter{}, fold.Head.Seq, verifyPage)
		if err != nil {
			return fold.Head, err
		}
		for _, m := range page {
			if m.Site != r.Site() {
				return fold.Head, Errorf(Corrupt, "LOG_OTHER_SITE", "entry %d of the log of %s is of site %s", m.Seq, r.Site(), m.Site)
			}
			if err := fold.Apply(m); err != nil {
				return fold.Head, err
			}
		}
		if len(page) < verifyPage {
			break
		}
	}
	head, err := r.Head(ctx)
	if err != nil {
		return fold.Head, err
	}
	if head != fold.Head {
		return fold.Head, Errorf(Corrupt, "LOG_CUT", "the log of %s ends at entry %d and should end at %d", r.Site(), fold.Head.Seq, head.Seq)
	}
	if err := verifyUnits(ctx, r, &fold); err != nil {
		return fold.Head, err
	}
	return fold.Head, verifyLots(ctx, r, &fold)
}

func verifyUnits(ctx context.Context, r Reader, fold *Fold) error {
	units := 0
	for after := ""; ; {
		page, err := r.ListUnits(ctx, UnitFilter{}, after, verifyPage)
		if err != nil {
			return err
		}
		for _, unit := range page {
			if unit != fold.Units[unit.ID] {
				return Errorf(Corrupt, "UNIT_DIFFERS", "unit %s of %s is not what the log says", unit.ID, r.Site())
			}
			after = unit.ID
		}
		if units += len(page); len(page) < verifyPage {
			break
		}
	}
	if units != len(fold.Units) {
		return Errorf(Corrupt, "STOCK_DIFFERS", "%s has %d units and its log says %d", r.Site(), units, len(fold.Units))
	}
	return nil
}

func verifyLots(ctx context.Context, r Reader, fold *Fold) error {
	lots := 0
	for after := ""; ; {
		page, err := r.Lots(ctx, after, verifyPage)
		if err != nil {
			return err
		}
		for _, lot := range page {
			logged := fold.Lots[lot.ID]
			if lot.Seq != logged.Seq || lot.Suspended != logged.Suspended || lot.ReceivedCount != logged.ReceivedCount {
				return Errorf(Corrupt, "LOT_DIFFERS", "lot %s of %s is not what the log says", lot.ID, r.Site())
			}
			after = lot.ID
		}
		if lots += len(page); len(page) < verifyPage {
			break
		}
	}
	if lots != len(fold.Lots) {
		return Errorf(Corrupt, "STOCK_DIFFERS", "%s has %d lots and its log says %d", r.Site(), lots, len(fold.Lots))
	}
	return nil
}
