package service_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// heard is everything that a caller is sent: codes, headers, messages, trailers,
// in one text, without the date.
type heard struct {
	code     codes.Code
	status   int // of HTTP; 0 by gRPC
	text     string
	answers  [][]byte // messages, binary by gRPC and JSON by HTTP
	problems []byte   // the status of an error, binary or JSON
}

// way is a way in: gRPC, or one of a method's HTTP bindings.
type way struct {
	name string
	rule *annotations.HttpRule // nil by gRPC
}

// ways are the ways into a method, those of additional bindings too.
func ways(m protoreflect.MethodDescriptor) []way {
	out := []way{{"gRPC", nil}}
	rule := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	for i, r := range append([]*annotations.HttpRule{rule}, rule.GetAdditionalBindings()...) {
		out = append(out, way{fmt.Sprintf("JSON %d", i), r})
	}
	return out
}

// call makes a call whose authorization is the header, none when empty. Its id is
// always the same, so that answers can be compared byte by byte.
func (r *running) call(t testing.TB, by way, header string, m protoreflect.MethodDescriptor, requests []proto.Message) heard {
	t.Helper()
	if by.rule == nil {
		raw := make([][]byte, len(requests))
		for i, req := range requests {
			raw[i] = wire(t, req)
		}
		return r.callRaw(t, header, m, raw)
	}
	req, ok := spellAll(t, by.rule, requests)
	if !ok {
		t.Fatalf("JSON cannot spell %v", requests)
	}
	return r.callHTTP(t, header, m, req)
}

func fullName(m protoreflect.MethodDescriptor) string {
	return fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
}

func wire(t testing.TB, m proto.Message) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

const callID = "0000000000000000"

// callRaw sends messages as bytes, which may be no messages at all.
func (r *running) callRaw(t testing.TB, header string, m protoreflect.MethodDescriptor, requests [][]byte) heard {
	t.Helper()
	ctx := metadata.AppendToOutgoingContext(t.Context(), "x-request-id", callID)
	if header != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", header)
	}
	conn, _ := r.listener(m)
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, fullName(m), grpc.ForceCodec(asBytes{}))
	if err != nil {
		t.Fatal(err)
	}
	for _, req := range requests {
		if err := stream.SendMsg(&req); err != nil && !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
	}
	_ = stream.CloseSend()
	var out heard
	for err == nil {
		var answer []byte
		if err = stream.RecvMsg(&answer); err == nil {
			out.answers = append(out.answers, answer)
		}
	}
	if !errors.Is(err, io.EOF) {
		s := status.Convert(err)
		out.code, out.problems = s.Code(), wire(t, s.Proto())
	}
	head, _ := stream.Header()
	out.text = fmt.Sprintf("%v %v %s %s", sorted(head), sorted(stream.Trailer()), out.answers, out.problems)
	return out
}

// callHTTP sends a request as it is to where the method is served.
func (r *running) callHTTP(t testing.TB, header string, m protoreflect.MethodDescriptor, req httpRequest) heard {
	t.Helper()
	_, address := r.listener(m)
	in, err := http.NewRequestWithContext(t.Context(), req.verb, "http://"+address+req.path, strings.NewReader(req.body))
	if err != nil {
		t.Fatal(err)
	}
	in.Header.Set("X-Request-Id", callID)
	if header != "" {
		in.Header.Set("Authorization", header)
	}
	resp, err := http.DefaultClient.Do(in)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return heardHTTP(t, resp, body)
}

func heardHTTP(t testing.TB, resp *http.Response, body []byte) heard {
	t.Helper()
	resp.Header.Del("Date")
	out := heard{status: resp.StatusCode, text: fmt.Sprintf("%d %v %v %s", resp.StatusCode, sorted(resp.Header), sorted(resp.Trailer), body)}
	if resp.Header.Get("Content-Type") == "application/problem+json" {
		s := decodeProblem(t, body)
		out.code, out.problems = codes.Code(s.GetCode()), body
		return out
	}
	if resp.Header.Get("Content-Type") != "application/json" {
		out.code = codes.Unknown // from net/http itself
		return out
	}
	for line := range strings.Lines(string(body)) {
		var ended struct{ Error *struct{ Code codes.Code } }
		if json.Unmarshal([]byte(line), &ended) == nil && ended.Error != nil { // of a stream
			out.code, out.problems = ended.Error.Code, []byte(line)
			continue
		}
		out.answers = append(out.answers, []byte(line))
	}
	return out
}

func sorted(h map[string][]string) string {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(h)) {
		_, _ = fmt.Fprintf(&b, "%s=%q ", name, h[name])
	}
	return b.String()
}

// asBytes is a codec of which nothing knows messages.
type asBytes struct{}

func (asBytes) Marshal(v any) ([]byte, error)      { return *v.(*[]byte), nil }
func (asBytes) Unmarshal(data []byte, v any) error { *v.(*[]byte) = slices.Clone(data); return nil }
func (asBytes) Name() string                       { return "proto" }
