package ledger

import (
	"context"
	"fmt"

	"bowroll/server/store"
)

// Merged says what merging a part of a log did.
type Merged struct {
	// Added is how many entries were new, Known how many were there already.
	Added int
	Known int
	// Content is how many readings and plans the copy had not.
	Content int
	// Head is the end of the log now; the next part begins after it.
	Head store.Head
}

// Merge brings a part of the log of a site, in its order, into a store that
// keeps a copy of it. Logs merge as sets: what is there already is left, what
// follows is added, and lots and units are folded on. It may be cut off and
// begun again anywhere. What an entry holds a digest of is taken in with it or
// with the same entry sent again; until it has come, the copy lacks it.
//
// Where an entry differs from the one that is there, the site has two
// histories: that is [store.Refused], names the entry, and changes nothing. No
// clock decides between them.
func Merge(ctx context.Context, tx store.Tx, entries []store.Movement, contents []store.Content) (Merged, error) {
	head, err := tx.Head(ctx)
	if err != nil {
		return Merged{}, err
	}
	known, err := alreadyThere(ctx, tx, head, entries)
	if err != nil {
		return Merged{}, err
	}
	fresh := entries[known:]
	result := Merged{Known: known, Head: head}
	if len(fresh) == 0 {
		result.Content, err = takeContent(ctx, tx, entries, nil, contents)
		return result, err
	}
	if fresh[0].Seq != head.Seq+1 {
		return Merged{}, store.Errorf(store.Refused, "LOG_GAP", "entry %d does not follow entry %d, the last there is: send the log from entry %d",
			fresh[0].Seq, head.Seq, head.Seq+1).With("next", fmt.Sprint(head.Seq+1))
	}
	if err := tx.MakeReplica(ctx); err != nil {
		return Merged{}, err
	}
	end, err := store.VerifyChain(tx.Site(), head, fresh)
	if err != nil {
		// What was sent is damaged, not what is kept.
		return Merged{}, store.Errorf(store.Invalid, "LOG_DAMAGED", "%v: send it again", err).At("movements")
	}
	if err := foldOn(ctx, tx, fresh); err != nil {
		return Merged{}, err
	}
	result.Added, result.Head = len(fresh), end
	result.Content, err = takeContent(ctx, tx, entries, fresh, contents)
	return result, err
}

// alreadyThere counts the entries at the beginning that are there already, and
// refuses one that is there with another content.
func alreadyThere(ctx context.Context, tx store.Tx, head store.Head, entries []store.Movement) (int, error) {
	known := 0
	for known < len(entries) && entries[known].Seq <= head.Seq {
		known++
	}
	if known == 0 {
		return 0, nil
	}
	kept, err := tx.Movements(ctx, store.MovementFilter{}, entries[0].Seq-1, known)
	if err != nil {
		return 0, err
	}
	for i, m := range kept {
		if sent := &entries[i]; sent.Seq != m.Seq || sent.Hash != m.Hash {
			return 0, store.Errorf(store.Refused, "LOG_CONFLICT",
				"the log of %s has two histories: entry %d is %s by %s here and %s by %s in what was sent; people have to settle which holds",
				tx.Site(), m.Seq, m.Event, m.Actor, sent.Event, sent.Actor).
				With("sequence", fmt.Sprint(m.Seq)).With("hash_here", fmt.Sprintf("%x", m.Hash)).With("hash_sent", fmt.Sprintf("%x", sent.Hash))
		}
	}
	return known, nil
}

// foldOn folds new entries onto lots and units, and writes all of it.
func foldOn(ctx context.Context, tx store.Tx, fresh []store.Movement) error {
	b := &Book{tx: tx, units: map[string]*entry[store.Unit]{}, lots: map[string]*entry[store.Lot]{}, plans: map[string]*entry[store.Plan]{}, entries: fresh}
	var ids []string
	received := map[string]bool{}
	for _, m := range fresh {
		switch {
		case m.Unit == "":
		case m.Event == store.Receive:
			received[m.Unit] = true
		case !received[m.Unit]:
			ids = append(ids, m.Unit)
		}
	}
	if err := b.load(ctx, ids); err != nil {
		return err
	}
	for _, m := range fresh {
		if err := b.foldOne(ctx, m); err != nil {
			return err
		}
	}
	return b.Close(ctx)
}

func (b *Book) foldOne(ctx context.Context, m store.Movement) error {
	if m.Unit == "" && m.Lot != "" {
		if m.Event != store.ReceiveLot {
			if _, err := b.lot(ctx, m.Lot); err != nil {
				return err
			}
		}
		return b.changeLot(m)
	}
	if m.Unit == "" {
		return nil
	}
	e := b.units[m.Unit]
	if e == nil {
		e = &entry[store.Unit]{}
		b.units[m.Unit] = e
	}
	after, err := e.now.After(m)
	if err != nil {
		return err
	}
	e.now, e.dirty = after, true
	if m.Event == store.Receive {
		if _, err := b.lot(ctx, m.Lot); err != nil {
			return err
		}
		lot := b.lots[m.Lot]
		lot.now.ReceivedCount++
		lot.dirty = true
	}
	return nil
}
