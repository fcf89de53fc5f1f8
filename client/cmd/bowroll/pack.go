package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"bowroll/client/pack"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type packCommand struct {
	Write packWriteCommand `cmd:"" help:"Write everything kept of a plan into one file: answer, sheet, cards, ledger, catalog, model."`
	Check packCheckCommand `cmd:"" help:"Check such a file, without a service."`
}

func (*packCommand) Help() string {
	return `A pack is a ZIP archive that says by itself whether it is whole: unpacked, sha256sum -c
SHA256SUMS checks it as well. Examples:

  bowroll --store varrow.db pack write varrow dawn-1 dawn-1.zip --key varrow.key
  bowroll pack check dawn-1.zip --trust varrow.key.pub`
}

type packWriteCommand struct {
	planArgs
	File string `arg:"" help:"File to write."`
	Key  string `help:"Key of the site to sign it with, as \"stock key\" makes it." placeholder:"FILE"`
}

func (c *packWriteCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	seal, err := sealKey(c.Key)
	if err != nil {
		return err
	}
	report := newReportOfSeveral("gathering what is kept of the plan")
	done := p.waiting(report)
	whole, err := c.gather(p)
	done()
	if err != nil {
		return err
	}
	if err := writeFile(c.File, func(w io.Writer) error { return whole.Write(w, seal) }); err != nil {
		return err
	}
	signature := pack.Unsigned
	if seal != nil {
		signature = pack.Trusted
	}
	if p.line.Format == "json" {
		return writePlainJSON(p.stdout, packAnswer{Digest: whole.Digest(), FileCount: len(whole.Names()), Signature: signatureWords[signature], Plan: c.name()})
	}
	_, err = fmt.Fprintf(p.stdout, "%s holds %s of %s\n  digest %s\n", c.File, count(len(whole.Names()), "file"), c.name(), whole.Digest())
	return err
}

// packAnswer is what is said of a pack as JSON.
type packAnswer struct {
	Digest    string `json:"digest"`
	FileCount int    `json:"file_count"`
	Signature string `json:"signature"`
	Plan      string `json:"plan"`
}

var signatureWords = map[pack.Signature]string{
	pack.Unsigned: "none", pack.Strange: "not trusted", pack.Trusted: "trusted",
}

type packCheckCommand struct {
	File   string   `arg:"" help:"File that \"pack write\" wrote." type:"existingfile"`
	Digest string   `help:"Digest that the pack must have, as it was said when it was written." placeholder:"SHA256"`
	Trust  []string `help:"Public key of the site (FILE.pub) that must have signed it; may be given more than once." placeholder:"FILE" sep:"none"`
}

func (c *packCheckCommand) Run(p *program) error {
	trust, err := publicKeys(c.Trust)
	if err != nil {
		return err
	}
	file, err := os.Open(c.File)
	if err != nil {
		return badInput{err}
	}
	defer func() { _ = file.Close() }()
	info, err := file.Stat()
	if err != nil {
		return badInput{err}
	}
	whole, signature, err := pack.Read(file, info.Size(), trust...)
	if err != nil {
		return badInput{fmt.Errorf("%s: %w", c.File, err)}
	}
	plan, findings := insight(whole)
	if c.Digest != "" && c.Digest != whole.Digest() {
		findings = append(findings, fmt.Errorf("the digest is %s, and should be %s", whole.Digest(), c.Digest))
	}
	if len(trust) > 0 && signature != pack.Trusted {
		findings = append(findings, errors.New("it is not signed with a key that is trusted"))
	}
	if len(findings) > 0 {
		return badInput{fmt.Errorf("%s: %w", c.File, errors.Join(findings...))}
	}
	answer := packAnswer{Digest: whole.Digest(), FileCount: len(whole.Names()), Signature: signatureWords[signature], Plan: plan.GetName()}
	if p.line.Format == "json" {
		return writePlainJSON(p.stdout, answer)
	}
	return c.draw(p, answer, plan)
}

func (c *packCheckCommand) draw(p *program, answer packAnswer, plan *bowrollv1.Plan) error {
	_, err := fmt.Fprintf(p.stdout, "%s is whole: %s, digest %s, signature %s\n\n", c.File, count(answer.FileCount, "file"), answer.Digest, answer.Signature)
	if err != nil {
		return err
	}
	return sheet.KeptPlan(p.stdout, p.style(), plan)
}
