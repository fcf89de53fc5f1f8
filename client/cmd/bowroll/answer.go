package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet"
)

// ask connects, calls and shows what came back, as JSON or drawn; with no draw it
// shows nothing.
func ask[T proto.Message](p *program, what string, call func(*client.Client) (T, error), draw func(io.Writer, sheet.Style, T) error) (answer T, err error) {
	return askTelling(p, newReport(what), call, draw)
}

// askTelling is ask for what reports how far it is.
func askTelling[T proto.Message](p *program, report *report, call func(*client.Client) (T, error), draw func(io.Writer, sheet.Style, T) error) (answer T, err error) {
	done := p.waiting(report)
	answer, err = func() (T, error) {
		c, err := p.connect()
		if err != nil {
			var none T
			return none, err
		}
		defer func() { _ = c.Close() }() // the answer is here; how the connection ends changes nothing
		return call(c)
	}()
	done()
	if err != nil || draw == nil {
		return answer, err
	}
	if p.line.Format == "json" {
		return answer, writeJSON(p.stdout, answer)
	}
	return answer, draw(p.stdout, p.style(), answer)
}

// writeJSON writes a message with the contract's names, zeros and empty lists
// shown. It is indented anew, because protojson varies its white space.
func writeJSON(w io.Writer, m proto.Message) error {
	compact, err := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}.Marshal(m)
	if err != nil {
		return err
	}
	return indent(w, compact)
}

func indent(w io.Writer, compact []byte) error {
	var text bytes.Buffer
	if err := json.Indent(&text, compact, "", "  "); err != nil {
		return err
	}
	text.WriteByte('\n')
	_, err := w.Write(text.Bytes())
	return err
}

// longest is the longest file that is read: what the service takes at most of a
// cycle. An earlier plan is read here and sent in part, so it may be longer.
const (
	longest     = 4 << 20
	longestPlan = 64 << 20
)

// read reads a file, or stdin for "-".
func (p *program) read(name string) ([]byte, error) { return p.readUpTo(name, longest) }

func (p *program) readUpTo(name string, longest int64) ([]byte, error) {
	in := p.stdin
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, badInput{err}
		}
		defer func() { _ = file.Close() }()
		in = file
	}
	source, err := io.ReadAll(io.LimitReader(in, longest+1))
	switch {
	case err != nil:
		return nil, badInput{err}
	case int64(len(source)) > longest:
		return nil, badInput{fmt.Errorf("%s is longer than %d MiB, the longest that is read", name, longest>>20)}
	}
	return source, nil
}
