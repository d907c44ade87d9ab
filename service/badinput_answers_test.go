package service_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "example.com/steelyard/api/steelyard/v1"
)

// messagesOf are the answers of a call, decoded; lines of a stream without their wrapping.
func messagesOf(t testing.TB, m protoreflect.MethodDescriptor, h heard) []proto.Message {
	t.Helper()
	var out []proto.Message
	for _, b := range h.answers {
		answer := dynamicpb.NewMessage(m.Output())
		var err error
		switch {
		case h.status == 0:
			err = proto.Unmarshal(b, answer)
		case m.IsStreamingServer():
			err = protojson.Unmarshal(unwrapped(t, b), answer)
		default:
			err = protojson.Unmarshal(b, answer)
		}
		if err != nil {
			t.Fatalf("an answer of %s: %v\n%q", m.Name(), err, b)
		}
		out = append(out, answer)
	}
	return out
}

// problemOf is the status of an error.
func problemOf(t testing.TB, h heard) *rpcstatus.Status {
	t.Helper()
	if h.status != 0 && !strings.HasPrefix(string(h.problems), `{"error":`) {
		return decodeProblem(t, h.problems)
	}
	out := &rpcstatus.Status{}
	err := proto.Unmarshal(h.problems, out)
	if h.status != 0 {
		err = protojson.Unmarshal(unwrapped(t, h.problems), out)
	}
	if err != nil {
		t.Fatalf("%v\n%q", err, h.problems)
	}
	return out
}

// plausible checks what holds for every answer: it is a message of its type, its
// numbers are finite and no zero has a sign, its texts are UTF-8.
func plausible(t testing.TB, what string, m protoreflect.MethodDescriptor, h heard) {
	t.Helper()
	if h.status != 0 && !utf8.ValidString(h.text) {
		t.Errorf("%s: not UTF-8: %q", what, h.text)
	}
	for _, answer := range messagesOf(t, m, h) {
		eachScalar(answer.ProtoReflect(), func(f protoreflect.FieldDescriptor, v protoreflect.Value) {
			switch x := v.Interface().(type) {
			case float64:
				if math.IsNaN(x) || math.IsInf(x, 0) || (x == 0 && math.Signbit(x)) {
					t.Errorf("%s: %s is %v in an answer", what, f.FullName(), x)
				}
			case string:
				if !utf8.ValidString(x) {
					t.Errorf("%s: %s is not UTF-8 in an answer", what, f.FullName())
				}
			}
		})
	}
}

func eachScalar(m protoreflect.Message, visit func(protoreflect.FieldDescriptor, protoreflect.Value)) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsList():
			for i := range v.List().Len() {
				if f.Message() != nil {
					eachScalar(v.List().Get(i).Message(), visit)
				} else {
					visit(f, v.List().Get(i))
				}
			}
		case f.Message() != nil:
			eachScalar(v.Message(), visit)
		default:
			visit(f, v)
		}
		return true
	})
}

// wireOf spells a message although its texts may not be UTF-8.
func wireOf(m proto.Message) []byte {
	var out []byte
	r := m.ProtoReflect()
	one := func(f protoreflect.FieldDescriptor, v protoreflect.Value) {
		switch {
		case f.Message() != nil:
			out = protowire.AppendTag(out, f.Number(), protowire.BytesType)
			out = protowire.AppendBytes(out, wireOf(v.Message().Interface()))
		case f.Kind() == protoreflect.StringKind:
			out = protowire.AppendTag(out, f.Number(), protowire.BytesType)
			out = protowire.AppendString(out, v.String())
		default:
			alone := r.New()
			if f.IsList() {
				alone.Mutable(f).List().Append(v)
			} else {
				alone.Set(f, v)
			}
			b, err := proto.Marshal(alone.Interface())
			if err != nil {
				panic(err)
			}
			out = append(out, b...)
		}
	}
	r.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if !f.IsList() {
			one(f, v)
			return true
		}
		for i := range v.List().Len() {
			one(f, v.List().Get(i))
		}
		return true
	})
	return append(out, r.GetUnknown()...)
}

// backfillRefused tells an entry of a batch that was refused alone: the rest of the
// batch is stored, and so the call succeeds.
func backfillRefused(t testing.TB, what string, m protoreflect.MethodDescriptor, p place, got heard) bool {
	t.Helper()
	if !m.IsStreamingClient() {
		return false
	}
	for _, answer := range messagesOf(t, m, got) {
		for _, r := range typed(t, answer, &pb.BackfillEntriesResponse{}).GetRefusedEntries() {
			field := "batch.entries[0]." + strings.TrimPrefix(r.GetField(), "Entry") // as a whole
			if !strings.HasPrefix(field, p.String()) && !strings.HasPrefix(p.String(), strings.TrimSuffix(field, ".")) {
				t.Errorf("%s: the refusal names %q", what, r.GetField())
			}
			return true
		}
	}
	return false
}

var refusing = []codes.Code{
	codes.InvalidArgument, codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.Aborted, codes.ResourceExhausted, codes.Unimplemented,
}

// blamesCaller reports whether a code says that the request was at fault, or none was.
func blamesCaller(c codes.Code) bool { return c == codes.OK || slices.Contains(refusing, c) }
