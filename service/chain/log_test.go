package chain_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.opentelemetry.io/otel/trace"
	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// canaries stand where health values, names and secrets may stand in a request.
var canaries = []string{"canary-trainee", "83.9517", "canary note", "canary-key", "canary/album"}

func canaryRequest() *pb.CreateEntryRequest {
	return &pb.CreateEntryRequest{Parent: "trainees/canary-trainee", Entry: &pb.Entry{
		Date: &date.Date{Year: 2026, Month: 3, Day: 1}, Key: "canary-key", Note: "canary note",
		Fact: &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{Weight: &pb.Mass{Value: 83.9517, Unit: pb.MassUnit_MASS_UNIT_KILOGRAM}}},
	}}
}

// TestLog_OneLineACallAndNothingOfTheRequest: whatever happens to a call, the
// log has its method, code, duration and id, and no value of it.
func TestLog_OneLineACallAndNothingOfTheRequest(t *testing.T) {
	invalid := canaryRequest()
	invalid.Entry.GetWeighIn().Weight.Unit = 99
	broken := canaryRequest()
	broken.Parent = "trainees/canary-trainee/83.9517"
	said := "canary-trainee weighs 83.9517: canary note"
	for _, c := range []struct {
		name   string
		scopes []string
		req    proto.Message
		err    error // of the handler
		code   string
	}{
		{"well", []string{"log.write"}, canaryRequest(), nil, "OK"},
		{"stranger", nil, canaryRequest(), nil, "Unauthenticated"},
		{"forbidden", []string{"log.read"}, canaryRequest(), nil, "PermissionDenied"},
		{"invalid", []string{"log.write"}, invalid, nil, "InvalidArgument"},
		{"broken name", []string{"log.write"}, broken, nil, "InvalidArgument"},
		{"refused by the handler", []string{"log.write"}, canaryRequest(), fault.InvalidField("entry.key", "%s", said), "InvalidArgument"},
		{"not in this state", []string{"log.write"}, canaryRequest(), &fault.Refused{Reason: "X_Y", Sentence: said}, "FailedPrecondition"},
		{"out of step", []string{"log.write"}, canaryRequest(), &fault.Conflict{Reason: "X_Y", Sentence: said}, "Aborted"},
		{"absent", []string{"log.write"}, canaryRequest(), fmt.Errorf("%s: %w", said, store.ErrNotFound), "NotFound"},
		{"reused", []string{"log.write"}, canaryRequest(), fmt.Errorf("%s: %w", said, store.ErrReused), "FailedPrecondition"},
		{"gone away", []string{"log.write"}, canaryRequest(), fmt.Errorf("%s: %w", said, context.Canceled), "Canceled"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, way := range []string{"unary", "stream"} {
				ch := newChain(t)
				ctx := ch.as(c.scopes, "x-request-id", "call-7", "user-agent", "canary-key")
				if way == "unary" {
					_, _ = ch.unary(ctx, create, c.req, func(context.Context, any) (any, error) { return &pb.Entry{Note: "canary note"}, c.err })
				} else {
					_ = ch.stream(ctx, create, []proto.Message{c.req}, func(_ any, ss grpc.ServerStream) error {
						return errors.Join(ss.RecvMsg(&pb.CreateEntryRequest{}), c.err)
					})
				}
				lines := ch.lines()
				if len(lines) != 1 {
					t.Fatalf("%s: %d log lines\n%s", way, len(lines), ch.log)
				}
				line := lines[0]
				var keys []string
				for k := range line {
					keys = append(keys, k)
				}
				slices.Sort(keys)
				if got := strings.Join(keys, " "); got != "call_id code level method msg time took" {
					t.Errorf("%s: the line has %s", way, got)
				}
				level := "INFO"
				if c.code == "OK" {
					level = "DEBUG"
				}
				if line["level"] != level {
					t.Errorf("%s: at the level %v, want %s", way, line["level"], level)
				}
				if took, ok := line["took"].(float64); line["method"] != create || line["code"] != c.code || line["call_id"] != "call-7" || !ok || took < 0 {
					t.Errorf("%s: %v, want code %s", way, line, c.code)
				}
				for _, secret := range canaries {
					if strings.Contains(ch.log.String(), secret) {
						t.Errorf("%s: %q is in the log: %s", way, secret, ch.log)
					}
				}
			}
		})
	}
}

// TestLog_NamesTheTrace when there is one, so that a line leads to its spans.
func TestLog_NamesTheTrace(t *testing.T) {
	c := newChain(t)
	span := trace.NewSpanContext(trace.SpanContextConfig{TraceID: trace.TraceID{1, 2, 3}, SpanID: trace.SpanID{4}})
	ctx := trace.ContextWithSpanContext(c.as([]string{"log.write"}), span)
	if _, err := c.unary(ctx, create, canaryRequest(), ok); err != nil {
		t.Fatal(err)
	}
	if lines := c.lines(); len(lines) != 1 || lines[0]["trace_id"] != span.TraceID().String() {
		t.Errorf("logged %v", lines)
	}
}

// TestLog_SlowCallIsWorthALine although it went well; a quick one is not, unless
// somebody looks for a bug.
func TestLog_SlowCallIsWorthALine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for took, level := range map[time.Duration]string{time.Second - 1: "DEBUG", time.Second: "INFO"} {
			c := newChain(t)
			slowly := func(context.Context, any) (any, error) {
				time.Sleep(took)
				return &pb.Entry{}, nil
			}
			if _, err := c.unary(c.as([]string{"log.write"}), create, good(), slowly); err != nil {
				t.Fatal(err)
			}
			if lines := c.lines(); len(lines) != 1 || lines[0]["level"] != level || lines[0]["took"] != float64(took) {
				t.Errorf("after %v: %v", took, lines)
			}
		}
	})
}
