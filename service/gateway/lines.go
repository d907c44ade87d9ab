package gateway

import (
	"context"
	"errors"
	"io"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.com/steelyard/service/call"
)

// lines is a streamed body. The gateway reads it from a goroutine of its own,
// which knows no bound, keeps a line that it cannot decode to itself, and may
// outlive its handler; lines makes up for the three.
type lines struct {
	io.ReadCloser
	left, max int // bytes of this line, of any line

	reading sync.Mutex // held during a read
	ended   bool       // its handler has returned

	mu     sync.Mutex
	failed error // why a line could not be decoded
}

type linesKey struct{}

func newLines(body io.ReadCloser, maxBytes int) *lines {
	return &lines{ReadCloser: body, left: maxBytes, max: maxBytes}
}

// Read implements io.Reader.
func (l *lines) Read(p []byte) (int, error) {
	l.reading.Lock()
	defer l.reading.Unlock()
	if l.ended {
		return 0, http.ErrBodyReadAfterClose
	}
	n, err := l.ReadCloser.Read(p)
	for _, b := range p[:n] {
		l.left--
		if b == '\n' {
			l.left = l.max
		}
		if l.left < 0 {
			return 0, &http.MaxBytesError{Limit: int64(l.max)}
		}
	}
	return n, err
}

// lingerTime bounds how long the rest of a body is waited for.
const lingerTime = 5 * time.Second

// serve lets answers be written while the body is still being read. The
// function that it returns ends the reading, for net/http panics on a body that
// is read after its handler has returned. A connection whose read was cut short
// is no good for another call, so it is closed after the answer.
func (l *lines) serve(w http.ResponseWriter) (end func()) {
	rc := http.NewResponseController(w)
	_ = rc.EnableFullDuplex()
	w.Header().Set("Connection", "close")
	return func() {
		_ = rc.SetReadDeadline(time.Unix(1, 0)) // wakes a reader that waits for its caller
		l.reading.Lock()
		defer l.reading.Unlock()
		l.ended = true
		_ = rc.SetReadDeadline(time.Now().Add(lingerTime))
	}
}

func (l *lines) fail(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.failed = err
}

// failure returns what to say of a line that could not be decoded; nil when
// there was none.
func (l *lines) failure() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.failed == nil {
		return nil
	}
	s, _ := undecodable(status.New(codes.InvalidArgument, l.failed.Error()))
	return s.Err()
}

// marshaler takes the JSON that an answer comes with, and remembers in the body
// what it could not decode of it.
type marshaler struct{ *runtime.JSONPb }

// Marshal implements runtime.Marshaler.
func (m marshaler) Marshal(v any) ([]byte, error) {
	if e, ok := v.(*call.Encoded); ok {
		return e.JSON()
	}
	return m.JSONPb.Marshal(v)
}

// NewDecoder implements runtime.Marshaler.
func (m marshaler) NewDecoder(r io.Reader) runtime.Decoder {
	d := m.JSONPb.NewDecoder(r)
	body, ok := r.(*lines)
	if !ok {
		return d
	}
	return runtime.DecoderFunc(func(v any) error {
		err := d.Decode(v)
		if err != nil && !errors.Is(err, io.EOF) {
			body.fail(err)
		}
		return err
	})
}

// streamed are the services as a streamed body reaches them: the end of a
// stream that came from a line that could not be decoded is an error.
type streamed struct{ grpc.ClientConnInterface }

// NewStream implements grpc.ClientConnInterface.
func (c streamed) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := c.ClientConnInterface.NewStream(ctx, desc, method, opts...)
	body, ok := ctx.Value(linesKey{}).(*lines)
	if err != nil || !ok {
		return s, err
	}
	return &lineStream{ClientStream: s, body: body}, nil
}

type lineStream struct {
	grpc.ClientStream
	body *lines
	sent atomic.Bool // a line was decoded
}

// SendMsg implements grpc.ClientStream.
func (s *lineStream) SendMsg(m any) error {
	s.sent.Store(true)
	return s.ClientStream.SendMsg(m)
}

// RecvMsg implements grpc.ClientStream. What was decoded before is answered
// first, and an error that it meets stands.
func (s *lineStream) RecvMsg(m any) error {
	err := s.ClientStream.RecvMsg(m)
	if errors.Is(err, io.EOF) || (err != nil && !s.sent.Load()) {
		if failure := s.body.failure(); failure != nil {
			return failure
		}
	}
	return err
}
