package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bowroll/server/assembly"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// morning is when the invented day begins.
var morning = time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)

// TestStoreCommands backs up a store that is in use, damages the copy, restores.
func TestStoreCommands(t *testing.T) {
	dir := t.TempDir()
	path, backup, restored := filepath.Join(dir, "a.db"), filepath.Join(dir, "b.db"), filepath.Join(dir, "c.db")
	kept, err := assembly.OpenStore(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := kept.Update(t.Context(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: "k", Time: morning})
		if err != nil {
			return nil, err
		}
		lot := store.Lot{ID: "lot-a", Kind: store.Booster, Type: "boosterTypes/x", ExpireTime: morning.AddDate(1, 0, 0)}
		if _, err := book.ReceiveLot(ctx, lot, []string{"u-1"}, "mag-1", "delivery"); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	}); err != nil {
		t.Fatal(err)
	}
	try := func(want int, word string, args ...string) {
		t.Helper()
		var out, errs bytes.Buffer
		code := run(context.Background(), args, os.LookupEnv, &out, &errs)
		if text := out.String() + errs.String(); code != want || !strings.Contains(text, word) {
			t.Errorf("%q: code %d, want %d; %q does not say %q", args, code, want, text, word)
		}
	}
	try(0, "read back and checked", "store", "backup", path, backup)
	try(1, "exists already", "store", "backup", path, backup)
	try(1, "pg_dump", "store", "backup", "postgres://u@127.0.0.1/x", backup)
	try(1, "in use", "store", "check", path)
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	try(0, "tern: 2 entries", "store", "check", path)
	try(1, "exists already", "store", "restore", backup, path)
	try(0, "restored", "store", "restore", backup, restored)
	try(0, "tern: 2 entries", "store", "check", restored)
	damaged, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	damaged[len(damaged)/2] ^= 4
	if err := os.WriteFile(backup, damaged, 0o600); err != nil {
		t.Fatal(err)
	}
	try(1, "damaged", "store", "restore", backup, filepath.Join(dir, "d.db"))
	try(1, "damaged", "store", "check", backup)
}
