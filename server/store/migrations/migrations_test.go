package migrations

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"strings"
	"testing"
)

// released are the first digits of the sums of migrations that databases were
// made with. They are never changed: what they lack is the next one's to do.
var released = map[string]string{
	"sqlite/00001_ledger.sql":     "3f5b999c453a7745",
	"postgres/00001_ledger.sql":   "c91200b0da87f7de",
	"sqlite/00003_observed.sql":   "136bcaab1c631bdf",
	"postgres/00003_observed.sql": "25297e2b1ece148c",
	"sqlite/00004_lapsing.sql":    "394d318fa6e51439",
	"postgres/00004_lapsing.sql":  "394d318fa6e51439",
	"sqlite/00005_sweeps.sql":     "9fbecdac0cf35905",
	"postgres/00005_sweeps.sql":   "817edd5d39005634",
	"sqlite/00006_waivers.sql":    "e950fe2134038ed8",
	"postgres/00006_waivers.sql":  "b86a8acbbb912a3c",
}

func TestReleasedMigrationsStay(t *testing.T) {
	found := 0
	err := fs.WalkDir(files, ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".sql") {
			return err
		}
		text, err := fs.ReadFile(files, path)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(text)
		if want, ok := released[path]; ok {
			found++
			if got := hex.EncodeToString(sum[:8]); got != want {
				t.Errorf("%s was changed (%s, it was %s): write another migration instead", path, got, want)
			}
		}
		return nil
	})
	if err != nil || found != len(released) {
		t.Errorf("%d of %d released migrations are there: %v", found, len(released), err)
	}
}
