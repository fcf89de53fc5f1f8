package server

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/wirejson"
	"bowroll/server/refusal"
	"bowroll/server/strictjson"
)

// jsonForm is the JSON of the contract as the gateway library wants it.
type jsonForm struct{}

var _ runtime.Marshaler = jsonForm{}

// ContentType is the media type of answers.
func (jsonForm) ContentType(any) string { return "application/json" }

// Marshal writes an answer, one line with its end.
func (jsonForm) Marshal(v any) ([]byte, error) {
	m, ok := v.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("%T is not a message", v)
	}
	text, err := wirejson.Marshal(m)
	return append(text, '\n'), err
}

// Unmarshal is not used by the gateway.
func (jsonForm) Unmarshal([]byte, any) error { return errors.ErrUnsupported }

// NewEncoder writes answers to w.
func (f jsonForm) NewEncoder(w io.Writer) runtime.Encoder {
	return runtime.EncoderFunc(func(v any) error {
		text, err := f.Marshal(v)
		if err == nil {
			_, err = w.Write(text)
		}
		return err
	})
}

// NewDecoder reads one request from r, which is the body that guard made.
func (jsonForm) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		m, ok := v.(proto.Message)
		if !ok {
			return fmt.Errorf("%T is not a message", v)
		}
		text, err := io.ReadAll(r)
		if err == nil && len(text) == 0 {
			return io.EOF // an empty body is an empty request
		}
		if err == nil {
			err = decode(text, m, attach)
		}
		if b, ok := r.(*body); ok && err != nil {
			// The library flattens errors to text; this keeps it whole.
			b.refusal = readingError(err)
		}
		return err
	})
}

// decode reads text into m and sends the faults it finds along, for the service
// to refuse together with its own.
func decode(text []byte, m proto.Message, attach func(proto.Message, []*bowrollv1.Violation) error) error {
	faults, err := strictjson.Unmarshal(text, m)
	if err != nil {
		return err
	}
	return attach(m, faults)
}

// readingError is the refusal of a body that could not be read at all.
func readingError(err error) error {
	var tooLarge *http.MaxBytesError
	var syntax *strictjson.SyntaxError
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return refusal.Late("the body did not come in time", "send the whole of it at once")
	case errors.As(err, &tooLarge):
		return refusal.TooLarge(0, int(tooLarge.Limit), "ask for less at once, or use the stream")
	case errors.As(err, &syntax):
		return refusal.Unreadable(syntax.Error())
	default:
		return refusal.Unreadable("the body could not be read to its end")
	}
}
