package main

import (
	"bytes"
	"compress/gzip"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"bowroll/client"
	"bowroll/client/sitelog"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
)

type stockKeyCommand struct {
	File string `arg:"" help:"File to write the key to; its public half goes to FILE.pub."`
}

func (*stockKeyCommand) Help() string {
	return `Makes the Ed25519 key that a site signs its log with. The key stays at the site; the
public half goes to those who import the log, by a way that they trust.`
}

func (c *stockKeyCommand) Run(p *program) error {
	private, public, err := sitelog.NewKey(p.random)
	if err != nil {
		return err
	}
	file, err := os.OpenFile(c.File, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return badInput{err} // a key that is there is never written over
	}
	if _, err = file.Write(private); err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return err
	}
	if err := writeFile(c.File+".pub", func(w io.Writer) error { _, err := w.Write(public); return err }); err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s holds the key: keep it here; %s.pub goes to those who import the log\n", c.File, c.File)
	return err
}

type stockExportCommand struct {
	Site  string `arg:"" help:"Site whose log is exported."`
	File  string `arg:"" help:"File to write, compressed where its name ends in .gz; - writes to standard output."`
	Since int32  `help:"Entries after this number: what the other side has already." placeholder:"N"`
	Key   string `help:"Key of the site, as \"stock key\" makes it." placeholder:"FILE" required:""`
}

func (*stockExportCommand) Help() string {
	return `Writes the site's log in parts, each signed, with the readings and plans that belong to
it. A file that is cut on the way is good up to its last whole part. Examples:

  bowroll --store varrow.db stock export varrow log.gz --since 120 --key varrow.key
  bowroll --store shore.db stock import log.gz --trust varrow.key.pub --actor quill`
}

func (c *stockExportCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	key, err := siteKey(c.Key)
	if err != nil {
		return err
	}
	report := newReportOfSeveral("reading the log")
	done := p.waiting(report)
	defer done()
	to, err := p.connect()
	if err != nil {
		return err
	}
	defer func() { _ = to.Close() }()
	last := c.Since
	var out bytes.Buffer
	for complete := false; !complete; {
		page, err := to.Stock.ListMovements(p.ctx, &bowrollv1.ListMovementsRequest{
			Parent: siteName(c.Site), AfterSequence: last, PageSize: sitelog.MostEntries, WithContent: true,
		})
		if err != nil {
			return err
		}
		if complete = page.GetComplete(); len(page.GetMovements()) == 0 {
			break
		}
		if err := sitelog.Write(&out, strings.TrimPrefix(c.Site, "sites/"), page.GetMovements(), key); err != nil {
			return err
		}
		last = page.GetMovements()[len(page.GetMovements())-1].GetSequence()
	}
	done()
	draw := func(w io.Writer) error { _, err := w.Write(out.Bytes()); return err }
	if c.File == "-" {
		return draw(p.stdout)
	}
	if strings.HasSuffix(c.File, ".gz") {
		draw = func(w io.Writer) error {
			zip := gzip.NewWriter(w)
			_, err := zip.Write(out.Bytes())
			return errors.Join(err, zip.Close())
		}
	}
	if err := writeFile(c.File, draw); err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s written to %s; it ends at entry %d\n", entriesText(int(last-c.Since)), c.File, last)
	return err
}

func entriesText(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// siteKey reads the key of a site, which nobody else may read.
func siteKey(name string) (ed25519.PrivateKey, error) {
	text, err := readSecret("--key", name)
	if err != nil {
		return nil, badInput{err}
	}
	key, err := sitelog.ReadPrivate(text)
	if err != nil {
		return nil, badInput{fmt.Errorf("--key %s %w", name, err)}
	}
	return key, nil
}

type stockImportCommand struct {
	File  string   `arg:"" help:"File that \"stock export\" wrote; - reads standard input."`
	Trust []string `help:"Public key of the site (FILE.pub); may be given more than once. A service named with --server knows the keys it trusts, and needs none here." placeholder:"FILE" sep:"none"`
	Actor string   `help:"Who acts. The log keeps it for good." placeholder:"NAME" env:"BOWROLL_ACTOR" required:"" group:"Record"`
}

func (*stockImportCommand) Help() string {
	return `Merges the log of another site into the copy of it kept here: what is there already is
left, what follows is added, with its readings and plans. It may be stopped and begun
again anywhere. Where an entry differs from the one that is here, the site has two
histories: both are named, nothing is changed, and people decide.`
}

func (c *stockImportCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	p.changing = true
	trust, err := publicKeys(c.Trust)
	if err != nil {
		return err
	}
	if len(trust) == 0 && p.line.Server == "" {
		return badInput{errors.New("--trust is missing: name the public key of the site, as \"stock key\" wrote it beside the key (FILE.pub)")}
	}
	p.trust = trust
	text, err := p.readUpTo(c.File, longestLog)
	if err != nil {
		return err
	}
	source, err := unzipped(text)
	if err != nil {
		return badInput{fmt.Errorf("%s: %w", c.File, err)}
	}
	report := newReportOfSeveral("merging the log")
	done := p.waiting(report)
	defer done()
	to, err := p.connect()
	if err != nil {
		return err
	}
	defer func() { _ = to.Close() }()
	return c.merge(p, to, sitelog.NewReader(source, trust...), done)
}

// longestLog is the longest file of a log that is read.
const longestLog = 256 << 20

// merge sends part after part, and says how far it came whatever happens, once it
// waits no longer.
func (c *stockImportCommand) merge(p *program, to *client.Client, parts *sitelog.Reader, done func()) error {
	var added, known, content int
	var site string
	var last *bowrollv1.MergeMovementsResponse
	told := func() error {
		done()
		if last == nil {
			_, err := fmt.Fprintln(p.stdout, "no entries")
			return err
		}
		if p.line.Format == "json" {
			last.AddedCount, last.KnownCount, last.ContentCount = int32(added), int32(known), int32(content)
			return writeJSON(p.stdout, last)
		}
		_, err := fmt.Fprintf(p.stdout, "%s: %s added, %d known; %d readings and plans with them; it ends at entry %d (export more with --since %d)\n  hash %s\n",
			site, entriesText(added), known, content, last.GetLastSequence(), last.GetLastSequence(), last.GetHash())
		return err
	}
	for {
		part, entries, err := parts.Next()
		switch {
		case errors.Is(err, io.EOF):
			return told()
		case errors.Is(err, sitelog.ErrCut):
			return errors.Join(told(), badInput{fmt.Errorf("%s: %w; what came whole is merged, the rest has to be sent again", c.File, err)})
		case err != nil:
			return badInput{fmt.Errorf("%s: %w", c.File, err)}
		}
		id, err := actFlags{}.request(p)
		if err != nil {
			return err
		}
		site = part.Site
		answer, err := to.Stock.MergeMovements(p.ctx, &bowrollv1.MergeMovementsRequest{
			Parent: siteName(part.Site), Movements: entries, Signature: part.Signature, Actor: c.Actor, RequestId: id,
		})
		if err != nil {
			if last != nil {
				err = errors.Join(told(), err)
			}
			return err
		}
		last = answer
		added, known, content = added+int(answer.GetAddedCount()), known+int(answer.GetKnownCount()), content+int(answer.GetContentCount())
	}
}

func publicKeys(names []string) ([]ed25519.PublicKey, error) {
	var keys []ed25519.PublicKey
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, badInput{err}
		}
		key, err := logpart.ReadPublic(text)
		if err != nil {
			return nil, badInput{fmt.Errorf("--trust %s %w", name, err)}
		}
		keys = append(keys, key)
	}
	return keys, nil
}

// unzipped reads what may be compressed; a compressed file that is cut gives what
// came.
func unzipped(text []byte) (io.Reader, error) {
	if !bytes.HasPrefix(text, []byte{0x1f, 0x8b}) {
		return bytes.NewReader(text), nil
	}
	zip, err := gzip.NewReader(bytes.NewReader(text))
	if err != nil {
		return nil, err
	}
	whole, err := io.ReadAll(io.LimitReader(zip, longestLog))
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, err
	}
	return bytes.NewReader(whole), nil
}
