package chain_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/date"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/chain"
	"example.com/steelyard/service/limit"
)

// BenchmarkUnary is a call through all the interceptors to a handler that has
// nothing to do, with no network: what they cost by themselves.
func BenchmarkUnary(b *testing.B) {
	pepper := []byte("p")
	token, k, err := access.Issue(pepper, "gym-1", "bench", access.ScopeNames(), time.Now(), time.Time{})
	if err != nil {
		b.Fatal(err)
	}
	remembered, err := access.NewRemembered(keys{k.ID: k}, time.Now)
	if err != nil {
		b.Fatal(err)
	}
	uses := &access.Uses{}
	c := chain.Chain{
		Log: slog.New(slog.DiscardHandler), RequestTimeout: time.Minute,
		Authenticator: access.Authenticator{Keys: remembered, Pepper: pepper, Now: time.Now, Used: uses.Use},
		Limiter:       limit.New(limit.Options{}), KeyRate: limit.NewRates(1_000_000_000), TraineeRate: limit.NewRates(1_000_000_000),
		Count: func(context.Context, limit.Outcome) {},
	}
	joined := chain.JoinUnary(c.Unary())
	info := &grpc.UnaryServerInfo{FullMethod: pb.PhaseService_Recommend_FullMethodName}
	req := &pb.RecommendRequest{Name: "trainees/t1/plans/p1", AsOfDate: &date.Date{Year: 2026, Month: 3, Day: 1}}
	answer := &pb.Recommendation{}
	handler := func(context.Context, any) (any, error) { return answer, nil }
	connection, cancel := context.WithCancel(b.Context())
	defer cancel()
	incoming := metadata.NewIncomingContext(connection, metadata.Pairs(":authority", "localhost", "content-type", "application/grpc",
		"user-agent", "grpc-go", "authorization", "Bearer "+token))

	b.ReportAllocs()
	for b.Loop() {
		ctx, cancel := context.WithCancel(incoming) // as each call of a connection has it
		if _, err := joined(grpc.NewContextWithServerTransportStream(ctx, &transportStream{}), req, info, handler); err != nil {
			b.Fatal(err)
		}
		cancel()
	}
}

// transportStream takes headers as grpc's own does.
type transportStream struct{ header metadata.MD }

func (s *transportStream) Method() string { return pb.PhaseService_Recommend_FullMethodName }

func (s *transportStream) SetHeader(md metadata.MD) error {
	s.header = metadata.Join(s.header, md)
	return nil
}

func (s *transportStream) SendHeader(md metadata.MD) error {
	if s.header != nil {
		return s.SetHeader(md)
	}
	s.header = md
	return nil
}

func (s *transportStream) SetTrailer(metadata.MD) error { return nil }
