package chain_test

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

const (
	create   = pb.LogbookService_CreateEntry_FullMethodName
	backfill = pb.LogbookService_BackfillEntries_FullMethodName
)

func good() *pb.CreateEntryRequest {
	return &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: &pb.Entry{
		Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Fact: &pb.Entry_PhotoSet{PhotoSet: &pb.PhotoSet{Reference: "album/1"}},
	}}
}

func bad() *pb.CreateEntryRequest { return &pb.CreateEntryRequest{Parent: "trainees/t1"} }

func ok(context.Context, any) (any, error) { return &pb.Entry{}, nil }

// mustNotRun fails the test when a call gets through to the handler.
func mustNotRun(t *testing.T) grpc.UnaryHandler {
	return func(context.Context, any) (any, error) {
		t.Error("the handler ran")
		return &pb.Entry{}, nil
	}
}

func TestChain_LetsAGoodCallThrough(t *testing.T) {
	c := newChain(t)
	answer := &pb.Entry{Note: "stored"}
	got, err := c.unary(c.as([]string{"log.write"}), create, good(), func(ctx context.Context, req any) (any, error) {
		if p := access.From(ctx); p.Tenant != "gym-1" {
			t.Errorf("the handler sees the tenant %q", p.Tenant)
		}
		if !proto.Equal(req.(proto.Message), good()) {
			t.Errorf("the handler sees %v", req)
		}
		return answer, nil
	})
	if err != nil || got != answer {
		t.Errorf("%v, %v", got, err)
	}
}

func TestChain_ErrorGivesNoAnswer(t *testing.T) {
	c := newChain(t)
	got, err := c.unary(c.as([]string{"log.write"}), create, good(), func(context.Context, any) (any, error) {
		return &pb.Entry{Note: "half done"}, store.ErrNotFound
	})
	if got != nil || status.Code(err) != codes.NotFound {
		t.Errorf("%v, %v", got, err)
	}
}

// TestChain_OrderOfRefusals: first who is calling, then what they may do, and
// only then what they ask for, so that a refusal tells nothing of the request.
func TestChain_OrderOfRefusals(t *testing.T) {
	for _, c := range []struct {
		name   string
		scopes []string
		method string
		req    proto.Message
		want   codes.Code
	}{
		{"stranger, bad request", nil, create, bad(), codes.Unauthenticated},
		{"stranger, good request", nil, create, good(), codes.Unauthenticated},
		{"stranger, no such method", nil, "/steelyard.v1.LogbookService/Nope", bad(), codes.Unauthenticated},
		{"without the scope, bad request", []string{"log.read"}, create, bad(), codes.PermissionDenied},
		{"without the scope, good request", []string{"log.read"}, create, good(), codes.PermissionDenied},
		{"every scope, method that declares none", access.ScopeNames(), "/steelyard.v1.LogbookService/Nope", good(), codes.PermissionDenied},
		{"every scope, another service", access.ScopeNames(), "/other.Service/CreateEntry", good(), codes.PermissionDenied},
		{"every scope, no method", access.ScopeNames(), "", good(), codes.PermissionDenied},
		{"every scope, almost health", access.ScopeNames(), "/grpc.health.v1.HealthOfOthers/Check", good(), codes.PermissionDenied},
		{"stranger, almost health", nil, "/x/grpc.health.v1.Health/Check", good(), codes.Unauthenticated},
		{"with the scope, bad request", []string{"log.write"}, create, bad(), codes.InvalidArgument},
	} {
		t.Run(c.name, func(t *testing.T) {
			ch := newChain(t)
			if _, err := ch.unary(ch.as(c.scopes), c.method, c.req, mustNotRun(t)); status.Code(err) != c.want {
				t.Errorf("unary: %v, want %v", err, c.want)
			}
			err := ch.stream(ch.as(c.scopes), c.method, []proto.Message{c.req}, func(_ any, ss grpc.ServerStream) error {
				err := ss.RecvMsg(&pb.CreateEntryRequest{})
				if err == nil {
					t.Error("the stream's handler got the message")
				}
				return err
			})
			if status.Code(err) != c.want {
				t.Errorf("stream: %v, want %v", err, c.want)
			}
		})
	}
}

// TestChain_EachMethodAsksForItsOwnScope: with every scope but the declared one
// a method is denied, with it alone it is not.
func TestChain_EachMethodAsksForItsOwnScope(t *testing.T) {
	for _, s := range []grpc.ServiceDesc{pb.LogbookService_ServiceDesc, pb.TrendService_ServiceDesc, pb.PhaseService_ServiceDesc, pb.TraineeService_ServiceDesc} {
		for _, m := range s.Methods {
			method := "/" + s.ServiceName + "/" + m.MethodName
			policy, _ := access.PolicyOf(method)
			scope := policy.Scope
			others := slices.DeleteFunc(access.ScopeNames(), func(n string) bool { return n == scope })
			ch := newChain(t)
			if _, err := ch.unary(ch.as(others), method, good(), mustNotRun(t)); status.Code(err) != codes.PermissionDenied {
				t.Errorf("%s without %s: %v", method, scope, err)
			}
			if _, err := ch.unary(ch.as([]string{scope}), method, good(), ok); err != nil {
				t.Errorf("%s with %s: %v", method, scope, err)
			}
		}
	}
}

func TestChain_HealthAndReflectionAreOpen(t *testing.T) {
	for _, method := range []string{healthpb.Health_Check_FullMethodName, healthpb.Health_Watch_FullMethodName, "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo"} {
		c := newChain(t)
		ran := 0
		_, err := c.unary(c.as(nil), method, &healthpb.HealthCheckRequest{}, func(ctx context.Context, _ any) (any, error) {
			ran++
			if p := access.From(ctx); p.Tenant != "" {
				t.Errorf("%s runs as the tenant %q", method, p.Tenant)
			}
			return &healthpb.HealthCheckResponse{}, nil
		})
		streamErr := c.stream(c.as(nil), method, nil, func(any, grpc.ServerStream) error { ran++; return nil })
		if err != nil || streamErr != nil || ran != 2 {
			t.Errorf("%s: %v, %v, ran %d times", method, err, streamErr, ran)
		}
	}
}

// TestChain_PanicBecomesInternal: the caller hears one fixed sentence, the log
// has the cause.
func TestChain_PanicBecomesInternal(t *testing.T) {
	for way, call := range map[string]func(c *chained, ctx context.Context, v any) error{
		"unary": func(c *chained, ctx context.Context, v any) error {
			_, err := c.unary(ctx, create, good(), func(context.Context, any) (any, error) { panic(v) })
			return err
		},
		"stream": func(c *chained, ctx context.Context, v any) error {
			return c.stream(ctx, backfill, nil, func(any, grpc.ServerStream) error { panic(v) })
		},
	} {
		for _, v := range []any{"the roof fell in", errors.New("the roof fell in"), store.ErrNotFound} {
			c := newChain(t)
			err := call(c, c.as([]string{"log.write"}, "x-request-id", "call-7"), v)
			s := status.Convert(err)
			if s.Code() != codes.Internal || s.Message() != "something went wrong on our side; it has been logged" {
				t.Errorf("%s: %v", way, err)
			}
			if strings.Contains(s.String(), "roof") || strings.Contains(s.String(), "goroutine") {
				t.Errorf("%s: the caller is told %v", way, s)
			}
			lines := c.lines()
			if len(lines) != 2 {
				t.Fatalf("%s: %d log lines\n%s", way, len(lines), c.log)
			}
			cause, _ := lines[0]["cause"].(string)
			if lines[0]["level"] != "ERROR" || lines[0]["call_id"] != "call-7" || !strings.Contains(cause, "panic: ") || !strings.Contains(cause, "chain_test.go") {
				t.Errorf("%s: logged %v", way, lines[0])
			}
			if lines[1]["code"] != "Internal" {
				t.Errorf("%s: logged %v", way, lines[1])
			}
		}
	}
}

func TestChain_UnknownErrorIsLoggedAndNotTold(t *testing.T) {
	c := newChain(t)
	_, err := c.unary(c.as([]string{"log.write"}), create, good(), func(context.Context, any) (any, error) {
		return nil, errors.New("disk 7 is gone")
	})
	if s := status.Convert(err); s.Code() != codes.Internal || strings.Contains(s.String(), "disk") {
		t.Errorf("the caller is told %v", s)
	}
	if lines := c.lines(); len(lines) != 2 || lines[0]["cause"] != "disk 7 is gone" || lines[0]["method"] != create {
		t.Errorf("logged %v", lines)
	}
}

func TestChain_EveryCallHasADeadline(t *testing.T) {
	c := newChain(t)
	deadline := func(ctx context.Context) time.Duration {
		t.Helper()
		var left time.Duration
		if _, err := c.unary(ctx, create, good(), func(ctx context.Context, _ any) (any, error) {
			at, has := ctx.Deadline()
			if !has {
				t.Error("no deadline")
			}
			left = time.Until(at)
			return &pb.Entry{}, nil
		}); err != nil {
			t.Error(err)
		}
		return left
	}
	if left := deadline(c.as([]string{"log.write"})); left > c.RequestTimeout {
		t.Errorf("a call may take %v, want at most %v", left, c.RequestTimeout)
	}
	hour, cancel := context.WithTimeout(c.as([]string{"log.write"}), time.Hour)
	defer cancel()
	if left := deadline(hour); left > c.RequestTimeout {
		t.Errorf("a caller's longer deadline gives %v, want at most %v", left, c.RequestTimeout)
	}
	c.RequestTimeout = time.Hour
	minute, cancel := context.WithTimeout(c.as([]string{"log.write"}), time.Minute)
	defer cancel()
	if left := deadline(minute); left > time.Minute {
		t.Errorf("a caller's shorter deadline gives %v", left)
	}
	c.RequestTimeout = time.Nanosecond
	_, err := c.unary(c.as([]string{"log.write"}), create, good(), func(ctx context.Context, _ any) (any, error) {
		if _, has := ctx.Deadline(); has {
			<-ctx.Done()
		}
		return nil, ctx.Err()
	})
	if status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("past the deadline: %v", err)
	}
}

// TestChain_StreamHasNoDeadlineOfOurs: an upload of years has no end to speak of.
func TestChain_StreamHasNoDeadlineOfOurs(t *testing.T) {
	c := newChain(t)
	c.RequestTimeout = time.Nanosecond
	if err := c.stream(c.as([]string{"log.write"}), backfill, nil, func(_ any, ss grpc.ServerStream) error {
		if _, has := ss.Context().Deadline(); has {
			t.Error("the stream has a deadline")
		}
		return ss.Context().Err()
	}); err != nil {
		t.Error(err)
	}
}

func TestChain_StreamValidatesEachMessage(t *testing.T) {
	opening := &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
		Parent: "trainees/t1", UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64),
	}}}
	batch := func(seq int32) *pb.BackfillEntriesRequest {
		return &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Batch{Batch: &pb.BackfillBatch{Seq: seq, Entries: []*pb.Entry{{}}}}}
	}
	c := newChain(t)
	got := 0
	err := c.stream(c.as([]string{"log.write"}), backfill, []proto.Message{opening, batch(0), batch(-1), batch(1)}, func(_ any, ss grpc.ServerStream) error {
		if p := access.From(ss.Context()); p.Tenant != "gym-1" {
			t.Errorf("the stream runs as the tenant %q", p.Tenant)
		}
		for {
			if err := ss.RecvMsg(&pb.BackfillEntriesRequest{}); err != nil {
				return err
			}
			got++
		}
	})
	if got != 2 || status.Code(err) != codes.InvalidArgument || !strings.Contains(status.Convert(err).Message(), "batch.seq") {
		t.Errorf("%d messages, then %v", got, err)
	}
}

func TestChain_StreamsEndIsNotAnError(t *testing.T) {
	c := newChain(t)
	if err := c.stream(c.as([]string{"log.write"}), backfill, nil, func(_ any, ss grpc.ServerStream) error {
		if err := ss.RecvMsg(&pb.BackfillEntriesRequest{}); !errors.Is(err, io.EOF) {
			t.Errorf("at the end: %v", err)
		}
		return nil
	}); err != nil {
		t.Error(err)
	}
}

// TestChain_RefusalHasAReason: every refusal of the chain itself carries the
// contract's ErrorInfo.
func TestChain_RefusalHasAReason(t *testing.T) {
	c := newChain(t)
	for want, call := range map[string]func() error{
		fault.ReasonUnauthenticated: func() error { _, err := c.unary(c.as(nil), create, bad(), ok); return err },
		fault.ReasonForbidden:       func() error { _, err := c.unary(c.as([]string{"erase"}), create, bad(), ok); return err },
		fault.ReasonInvalid:         func() error { _, err := c.unary(c.as([]string{"log.write"}), create, bad(), ok); return err },
	} {
		got := ""
		for _, d := range status.Convert(call()).Details() {
			if i, ok := d.(*errdetails.ErrorInfo); ok {
				got = i.GetReason()
			}
		}
		if got != want {
			t.Errorf("reason %q, want %q", got, want)
		}
	}
}

// TestJoin_RunsFromTheOutsideIn also without a single interceptor.
func TestJoin_RunsFromTheOutsideIn(t *testing.T) {
	var order []string
	note := func(name string) grpc.UnaryServerInterceptor {
		return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
			order = append(order, name)
			defer func() { order = append(order, name+" ends") }()
			return handler(ctx, req)
		}
	}
	noteStream := func(name string) grpc.StreamServerInterceptor {
		return func(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
			order = append(order, name)
			defer func() { order = append(order, name+" ends") }()
			return handler(srv, ss)
		}
	}
	if _, err := chain.JoinUnary([]grpc.UnaryServerInterceptor{note("a"), note("b")})(t.Context(), nil, &grpc.UnaryServerInfo{}, ok); err != nil {
		t.Error(err)
	}
	if err := chain.JoinStream([]grpc.StreamServerInterceptor{noteStream("a"), noteStream("b")})(nil, &incoming{}, &grpc.StreamServerInfo{}, func(any, grpc.ServerStream) error { return nil }); err != nil {
		t.Error(err)
	}
	if got := strings.Join(order, ", "); got != "a, b, b ends, a ends, a, b, b ends, a ends" {
		t.Errorf("order %s", got)
	}
	if _, err := chain.JoinUnary(nil)(t.Context(), nil, &grpc.UnaryServerInfo{}, ok); err != nil {
		t.Error(err)
	}
}

func TestCallID(t *testing.T) {
	for _, c := range []struct {
		name, given string
		kept        bool
	}{
		{"an ordinary one", "call-7.B_2", true},
		{"of 64", strings.Repeat("a", 64), true},
		{"of 65", strings.Repeat("a", 65), false},
		{"none", "", false},
		{"with a space", "a b", false},
		{"with a line", "a\nb", false},
		{"with a line after it", "a\n", false},
		{"with JSON", `","level":"x`, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			ch := newChain(t)
			h := &header{}
			ctx := grpc.NewContextWithServerTransportStream(ch.as([]string{"log.write"}, "x-request-id", c.given), h)
			seen := ""
			if _, err := ch.unary(ctx, create, good(), func(ctx context.Context, _ any) (any, error) {
				seen = chain.CallID(ctx)
				return &pb.Entry{}, nil
			}); err != nil {
				t.Fatal(err)
			}
			if kept := seen == c.given; kept != c.kept || seen == "" || len(seen) > 64 {
				t.Errorf("given %q the call is named %q", c.given, seen)
			}
			if got := h.md.Get("x-request-id"); len(got) != 1 || got[0] != seen {
				t.Errorf("the caller is told %q, want %q", got, seen)
			}
			if lines := ch.lines(); len(lines) != 1 || lines[0]["call_id"] != seen {
				t.Errorf("logged %v", lines)
			}
		})
	}
	if chain.CallID(t.Context()) != "" {
		t.Error("no call has a name")
	}
}

// header is a gRPC call that remembers its answer's header.
type header struct{ md metadata.MD }

func (h *header) Method() string                  { return create }
func (h *header) SetHeader(md metadata.MD) error  { h.md = metadata.Join(h.md, md); return nil }
func (h *header) SendHeader(md metadata.MD) error { return h.SetHeader(md) }
func (h *header) SetTrailer(metadata.MD) error    { return nil }
