package pack

import (
	"archive/zip"
	"bytes"
	"crypto/ed25519"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bowroll/testdata/mutate"
)

func sample(t testing.TB) *Pack {
	t.Helper()
	p := New()
	for name, content := range map[string]string{
		"plan.json": "{}", "cards/amber-1.txt": "card", "cards/amber-2.txt": "card", "catalog/decks/varrow.yaml": "decks",
	} {
		if err := p.Add(name, []byte(content)); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

func written(t testing.TB, p *Pack, key ed25519.PrivateKey) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := p.Write(&out, key); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func reread(text []byte, trust ...ed25519.PublicKey) (*Pack, Signature, error) {
	return Read(bytes.NewReader(text), int64(len(text)), trust...)
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	p := sample(t)
	text := written(t, p, nil)
	if !bytes.Equal(text, written(t, sample(t), nil)) {
		t.Error("the same files make other bytes")
	}
	q, signature, err := reread(text)
	if err != nil || signature != Unsigned {
		t.Fatal(signature, err)
	}
	if !slices.Equal(q.Names(), p.Names()) || string(q.File("cards/amber-1.txt")) != "card" || q.Digest() != p.Digest() {
		t.Errorf("read %v with digest %s, wrote %v with %s", q.Names(), q.Digest(), p.Names(), p.Digest())
	}
}

func TestSignatures(t *testing.T) {
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, ed25519.SeedSize))
	other := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{2}, ed25519.SeedSize))
	text := written(t, sample(t), key)
	for _, c := range []struct {
		trust []ed25519.PublicKey
		want  Signature
	}{
		{nil, Strange},
		{[]ed25519.PublicKey{other.Public().(ed25519.PublicKey)}, Strange},
		{[]ed25519.PublicKey{other.Public().(ed25519.PublicKey), key.Public().(ed25519.PublicKey)}, Trusted},
	} {
		if _, got, err := reread(text, c.trust...); err != nil || got != c.want {
			t.Errorf("with %d keys trusted: %v, %v, want %v", len(c.trust), got, err, c.want)
		}
	}
}

// rezip writes an archive of these files as they are.
func rezip(t testing.TB, files map[string][]byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, name := range slices.Sorted(maps.Keys(files)) {
		f, err := w.Create(name)
		if err == nil {
			_, err = f.Write(files[name])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func unzip(t testing.TB, text []byte) map[string][]byte {
	t.Helper()
	r, err := zip.NewReader(bytes.NewReader(text), int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	all, err := unpack(r)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestEveryChangeIsNamed(t *testing.T) {
	whole := unzip(t, written(t, sample(t), nil))
	for name := range whole {
		altered, missing := maps.Clone(whole), maps.Clone(whole)
		altered[name] = append(slices.Clone(altered[name]), 'x')
		delete(missing, name)
		for _, files := range []map[string][]byte{altered, missing} {
			_, _, err := reread(rezip(t, files))
			if err == nil {
				t.Errorf("%s altered or missing, and nothing was said", name)
			} else if filepath.Base(name) != sums && !strings.Contains(err.Error(), name) {
				t.Errorf("%s altered or missing: %v", name, err)
			}
		}
	}
	added := maps.Clone(whole)
	added["cards/amber-3.txt"], added["notes/a.txt"] = []byte("x"), []byte("y")
	_, _, err := reread(rezip(t, added))
	if err == nil || !strings.Contains(err.Error(), "cards/amber-3.txt was put in") || !strings.Contains(err.Error(), "notes") {
		t.Errorf("two files put in: %v", err)
	}
}

func TestPathsThatLeadOut(t *testing.T) {
	for _, name := range []string{"../a", "/a", "a/../b", "a//b", `a\b`, "a\nb", "", ".", "C:a", "SHA256SUMS", "cards/SHA256SUMS", "a/"} {
		if err := New().Add(name, nil); err == nil {
			t.Errorf("%q was put in", name)
		}
		if name == "" || strings.HasSuffix(name, "/") || filepath.Base(name) == sums {
			continue
		}
		if _, _, err := reread(rezip(t, map[string][]byte{name: []byte("x")})); err == nil {
			t.Errorf("%q was read", name)
		}
	}
}

func TestAnyFilesMakeAPack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := New()
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z]{1,3}(/[a-z]{1,3}){0,3}\.t`), 1, 12, rapid.ID[string]).Draw(t, "names")
		for _, name := range names {
			if err := p.Add(name, rapid.SliceOf(rapid.Byte()).Draw(t, "content")); err != nil {
				t.Fatal(err)
			}
		}
		var out bytes.Buffer
		if err := p.Write(&out, nil); err != nil {
			t.Fatal(err)
		}
		q, _, err := reread(out.Bytes())
		if err != nil || q.Digest() != p.Digest() {
			t.Fatalf("%v: %v", names, err)
		}
	})
}

// TestSumsAreThoseOfTheTool reads the lists with sha256sum, where it is.
func TestSumsAreThoseOfTheTool(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("no sha256sum on this machine")
	}
	folder := t.TempDir()
	all := unzip(t, written(t, sample(t), nil))
	for name, content := range all {
		at := filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(at, content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name := range all {
		if filepath.Base(name) != sums {
			continue
		}
		check := exec.Command(tool, "--strict", "-c", sums)
		check.Dir = filepath.Dir(filepath.Join(folder, name))
		if out, err := check.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(written(f, sample(f), nil))
	f.Add([]byte("PK\x05\x06"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		p, _, err := reread(text)
		if err != nil {
			return
		}
		if err := p.Write(io.Discard, nil); err != nil {
			t.Error(err)
		}
	})
}
