package chain_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/limit"
	"example.com/steelyard/service/store"
)

var now = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// keys is a store that holds keys and nothing else.
type keys map[string]store.Key

func (k keys) Key(_ context.Context, id string) (store.Key, error) {
	if found, ok := k[id]; ok {
		return found, nil
	}
	return store.Key{}, store.ErrNotFound
}

// chained is a chain under test with its log.
type chained struct {
	chain.Chain
	t   *testing.T
	log *bytes.Buffer
}

func newChain(t *testing.T) *chained {
	t.Helper()
	log := &bytes.Buffer{}
	return &chained{
		Chain: chain.Chain{
			Log: slog.New(slog.NewJSONHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug})), RequestTimeout: time.Minute,
			Authenticator: access.Authenticator{Keys: keys{}, Pepper: []byte("p"), Now: func() time.Time { return now }},
			Limiter:       limit.New(limit.Options{}), Count: func(context.Context, limit.Outcome) {},
		},
		t: t, log: log,
	}
}

// as returns the context of an incoming call with a key of these scopes; no
// scopes mean no key. More pairs are more metadata.
func (c *chained) as(scopes []string, pairs ...string) context.Context {
	c.t.Helper()
	md := metadata.Pairs(pairs...)
	if scopes != nil {
		token, k, err := access.Issue(c.Authenticator.Pepper, "gym-1", "test", scopes, now, time.Time{})
		if err != nil {
			c.t.Fatal(err)
		}
		c.Authenticator.Keys.(keys)[k.ID] = k
		md.Set("authorization", "Bearer "+token)
	}
	return metadata.NewIncomingContext(c.t.Context(), md)
}

// unary calls a method through the whole chain.
func (c *chained) unary(ctx context.Context, method string, req any, handler grpc.UnaryHandler) (any, error) {
	return chain.JoinUnary(c.Unary())(ctx, req, &grpc.UnaryServerInfo{FullMethod: method}, handler)
}

// stream opens a stream through the whole chain; it receives the messages.
func (c *chained) stream(ctx context.Context, method string, in []proto.Message, handler grpc.StreamHandler) error {
	return c.streamOn(&incoming{ctx: ctx, in: in}, method, handler)
}

// streamOn is stream with a server's side that the test keeps.
func (c *chained) streamOn(in *incoming, method string, handler grpc.StreamHandler) error {
	return chain.JoinStream(c.Stream())(nil, in, &grpc.StreamServerInfo{FullMethod: method}, handler)
}

// lines are the log lines so far.
func (c *chained) lines() []map[string]any {
	c.t.Helper()
	var out []map[string]any
	for text := range strings.Lines(c.log.String()) {
		var line map[string]any
		if err := json.Unmarshal([]byte(text), &line); err != nil {
			c.t.Fatalf("log line %q: %v", text, err)
		}
		out = append(out, line)
	}
	return out
}

// incoming is the server's side of a stream.
type incoming struct {
	grpc.ServerStream
	ctx context.Context
	in  []proto.Message

	header, trailer metadata.MD
}

func (s *incoming) Context() context.Context { return s.ctx }

func (s *incoming) SendMsg(any) error         { return nil }
func (s *incoming) SetTrailer(md metadata.MD) { s.trailer = metadata.Join(s.trailer, md) }
func (s *incoming) SetHeader(md metadata.MD) error {
	s.header = metadata.Join(s.header, md)
	return nil
}

func (s *incoming) RecvMsg(m any) error {
	if len(s.in) == 0 {
		return io.EOF
	}
	proto.Merge(m.(proto.Message), s.in[0])
	s.in = s.in[1:]
	return nil
}
