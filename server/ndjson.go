package server

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"bowroll/proto/wirejson"
	"bowroll/server/refusal"
)

// ndjsonType is the media type of streams: one JSON object a line.
const ndjsonType = "application/x-ndjson"

// streams serves every streaming method that has an HTTP binding as
// newline-delimited JSON, in place of what the library makes of streams, which
// ends alike whether all was sent or not.
func (g *gateway) streams(server *grpc.Server) error {
	served := server.GetServiceInfo()
	for _, r := range g.routes {
		if _, ok := served[string(r.method.Parent().FullName())]; !ok || !r.method.IsStreamingServer() {
			continue
		}
		request, err := protoregistry.GlobalTypes.FindMessageByName(r.method.Input().FullName())
		if err != nil {
			return err
		}
		answer, err := protoregistry.GlobalTypes.FindMessageByName(r.method.Output().FullName())
		if err != nil {
			return err
		}
		s := &streaming{conn: g.conn, mux: g.mux, route: r, request: request, answer: answer, lineTime: g.lineTime}
		if err := g.mux.HandlePath(r.verb, r.template, s.serve); err != nil {
			return err
		}
	}
	return nil
}

// streaming serves one streaming method.
type streaming struct {
	conn            *grpc.ClientConn
	mux             *runtime.ServeMux
	route           *route
	request, answer protoreflect.MessageType
	lineTime        time.Duration
}

// serve answers one stream. Each line has a type: item, progress, error or
// summary. A stream that came to its end closes with a summary that says
// complete; one that broke off has an error as its last line, or none.
func (s *streaming) serve(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	ctx, err := runtime.AnnotateContext(r.Context(), s.mux, r, s.route.fullMethod())
	if err != nil {
		refuse(w, httpStatus(err), err)
		return
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	control := http.NewResponseController(w)
	// A body that was not read to its end, or a deadline that passed, leaves
	// the connection of no use to the next request.
	w.Header().Set("Connection", "close")
	if s.route.method.IsStreamingClient() {
		// Answers go out while requests still come in.
		if err := control.EnableFullDuplex(); err != nil {
			refuse(w, http.StatusInternalServerError, refusal.Internal(""))
			return
		}
	}
	desc := &grpc.StreamDesc{ServerStreams: true, ClientStreams: s.route.method.IsStreamingClient()}
	stream, err := s.conn.NewStream(ctx, desc, s.route.fullMethod())
	if err != nil {
		refuse(w, httpStatus(err), err)
		return
	}
	out := &lines{w: w, control: control, lineTime: s.lineTime, media: ndjsonType}
	sent := make(chan error, 1)
	go func() {
		err := s.send(stream, r.Body, control)
		if err != nil {
			// What was read before is still answered.
			_ = stream.CloseSend()
		}
		sent <- err
	}()
	received := s.receive(stream, out)
	if received != nil {
		cancel()
		// A body that is still coming is not waited for.
		_ = control.SetReadDeadline(time.Now())
	}
	unreadable := <-sent
	// A connection of which no more can be read also cancels the call: the cause
	// is told, not what followed from it.
	if received == nil && !errors.Is(unreadable, io.EOF) || status.Code(received) == codes.Canceled && refusal.Reason(unreadable) != "" {
		received = unreadable
	}
	out.end(received)
	if unreadable != nil {
		drain(r.Body, control)
	}
}

// drain reads on for a while after a body was refused: a connection that closes
// on a sender still sending is reset, and the reason with it.
func drain(body io.Reader, control *http.ResponseController) {
	const (
		most    = 4 * MaxBodyBytes
		longest = 2 * time.Second
	)
	if control.SetReadDeadline(time.Now().Add(longest)) == nil {
		_, _ = io.CopyN(io.Discard, body, most)
	}
}

// send passes the requests of the body on and closes the stream: one a line
// where the method takes a stream, else the whole body.
func (s *streaming) send(stream grpc.ClientStream, in io.Reader, control *http.ResponseController) error {
	if !s.route.method.IsStreamingClient() {
		m := s.request.New().Interface()
		if err := (jsonForm{}).NewDecoder(in).Decode(m); err != nil && !errors.Is(err, io.EOF) {
			return readingError(err)
		}
		return errors.Join(stream.SendMsg(m), stream.CloseSend())
	}
	scanner := bufio.NewScanner(in)
	scanner.Buffer(make([]byte, 0, 64<<10), MaxBodyBytes)
	for number := 1; ; number++ {
		// Not every connection has deadlines; where it has none, the server's
		// own limits hold.
		_ = control.SetReadDeadline(time.Now().Add(s.lineTime))
		if !scanner.Scan() {
			if errors.Is(scanner.Err(), bufio.ErrTooLong) {
				return refusal.TooLarge(0, MaxBodyBytes, "line "+strconv.Itoa(number)+" of the stream is too long")
			}
			if errors.Is(scanner.Err(), os.ErrDeadlineExceeded) {
				return refusal.Late(fmt.Sprintf("line %d of the stream did not come within %v", number, s.lineTime),
					"end the stream, and begin another when there is more to ask")
			}
			if err := scanner.Err(); err != nil {
				return readingError(err)
			}
			return stream.CloseSend()
		}
		text := bytes.TrimSpace(scanner.Bytes())
		if len(text) == 0 {
			continue
		}
		m := s.request.New().Interface()
		if err := decode(text, m, attachInside); err != nil {
			return refusal.Unreadable(fmt.Sprintf("line %d of the stream: %v", number, err))
		}
		if err := stream.SendMsg(m); err != nil {
			return err
		}
	}
}

// receive writes the answers as they come. It returns nil at the stream's end.
func (s *streaming) receive(stream grpc.ClientStream, out *lines) error {
	for {
		m := s.answer.New().Interface()
		if err := stream.RecvMsg(m); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if err := out.message(m); err != nil {
			return err
		}
	}
}

// lines writes one JSON object a line.
type lines struct {
	w       http.ResponseWriter
	control *http.ResponseController
	// lineTime is how long a line may take to be taken.
	lineTime time.Duration
	begun    bool
	items    int
	media    string
	raw      bool          // a file is written as it is, and says itself where it ends
	summary  proto.Message // the service's own, kept for the last line
	buffer   []byte
}

// message writes an answer: the one of its fields that is set, its members
// after a type that is the field's name.
func (l *lines) message(m proto.Message) error {
	var set protoreflect.FieldDescriptor
	r := m.ProtoReflect()
	r.Range(func(fd protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		set = fd
		return false
	})
	if set != nil && set.Kind() == protoreflect.BytesKind {
		return l.file(r.Get(set).Bytes())
	}
	if set == nil || set.Message() == nil || set.IsList() {
		return fmt.Errorf("%s: an answer of a stream is one message in a field of its own", r.Descriptor().FullName())
	}
	inner := r.Get(set).Message().Interface()
	switch set.Name() {
	case "item":
		l.items++
	case "summary":
		l.summary = inner
		return nil
	}
	return l.line(`{"type":"`+string(set.Name())+`"`, inner)
}

// file writes a piece of a file as it is.
func (l *lines) file(piece []byte) error {
	if !l.raw {
		l.raw, l.media = true, mediaOf(piece)
	}
	return l.write(append(l.buffer[:0], piece...))
}

// mediaOf is the type of a file by how it begins.
func mediaOf(piece []byte) string {
	switch {
	case bytes.HasPrefix(piece, []byte("PAR1")):
		return "application/vnd.apache.parquet"
	case bytes.HasPrefix(piece, []byte("{")):
		return ndjsonType
	}
	return "text/csv; charset=utf-8"
}

// line writes an object that begins with start and goes on with m's members.
func (l *lines) line(start string, m proto.Message) error {
	b, err := wirejson.AppendFields(append(l.buffer[:0], start...), m)
	if err != nil {
		return err
	}
	return l.write(append(b, '}', '\n'))
}

func (l *lines) write(b []byte) error {
	l.buffer = b
	if !l.begun {
		l.begun = true
		l.w.Header().Set("Content-Type", l.media)
	}
	_ = l.control.SetWriteDeadline(time.Now().Add(l.lineTime))
	if _, err := l.w.Write(b); err != nil {
		return err
	}
	return l.control.Flush()
}

// end closes the stream: with a summary where all went well, else with the
// error, as the whole answer where nothing was written yet. A caller that has
// gone away is not an error of ours.
func (l *lines) end(err error) {
	const complete = `{"type":"summary","complete":true`
	switch {
	case l.raw && err == nil:
	case l.raw && l.media != ndjsonType:
		// No byte may follow that could pass for the file's: the connection breaks,
		// which a client takes for what it is.
		panic(http.ErrAbortHandler)
	case err == nil && l.summary != nil:
		_ = l.line(complete, l.summary)
	case err == nil:
		_ = l.write(fmt.Appendf(nil, complete+`,"item_count":%d}`+"\n", l.items))
	case !l.begun:
		refuse(l.w, httpStatus(err), err)
	default:
		_ = l.line(`{"type":"error"`, refusal.Status(err))
	}
}
