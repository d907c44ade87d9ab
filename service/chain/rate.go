package chain

import (
	"context"
	"time"

	"google.golang.org/grpc"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/limit"
)

// Rate bounds how often things with an id happen. Zero is go ahead; otherwise
// the call was not counted and may be made again after so long.
type Rate interface {
	Take(ctx context.Context, id string) (wait time.Duration)
}

func (c Chain) rateUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := c.keyRate(ctx); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

// rateStream counts a stream as one call. What comes through it afterwards is
// held back by admission, which makes a stream wait where a call is refused.
func (c Chain) rateStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if err := c.keyRate(ss.Context()); err != nil {
		return err
	}
	return handler(srv, ss)
}

// keyRate counts a call of an API key. What needs no key is not counted.
func (c Chain) keyRate(ctx context.Context) error {
	key := access.From(ctx).KeyID
	if c.KeyRate == nil || key == "" {
		return nil
	}
	return c.rated(ctx, c.KeyRate, key, limit.KeyRate, "this API key calls too often")
}

// traineeRate counts a call about one trainee, by any key of the tenant. The id
// has not been validated yet: one of no ordinary length is refused later.
func (c Chain) traineeRate(ctx context.Context, trainee string) error {
	if c.TraineeRate == nil || trainee == "" || len(trainee) > longestID {
		return nil
	}
	return c.rated(ctx, c.TraineeRate, access.From(ctx).Tenant+"/"+trainee, limit.TraineeRate, "too many calls are about this trainee")
}

// longestID bounds what is kept of a name.
const longestID = 128

func (c Chain) rated(ctx context.Context, r Rate, id string, refusal limit.Outcome, sentence string) error {
	wait := r.Take(ctx, id)
	if wait == 0 {
		return nil
	}
	c.Count(ctx, refusal)
	return &fault.Exhausted{Reason: fault.ReasonRateLimited, Sentence: sentence, After: wait}
}
