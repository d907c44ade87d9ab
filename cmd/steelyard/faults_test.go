package main

import (
	"context"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
)

// The tests that make faults at random share this: times, and callers that come back at once after a break.

// between is a random time.
func between(rng *rand.Rand, least, most time.Duration) time.Duration {
	return least + time.Duration(rng.Int64N(int64(most-least)))
}

// caller is a client with a key that finds the server again soon after it was killed.
type caller struct {
	conn *grpc.ClientConn
	key  string
}

func dialAgain(t *testing.T, address, key string) caller {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 5 * time.Millisecond, Multiplier: 1.2, MaxDelay: 20 * time.Millisecond},
			MinConnectTimeout: 2 * time.Second,
		}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return caller{conn, key}
}

func (c caller) ctx(ctx context.Context) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+c.key)
}

// create makes a trainee, who may be there.
func (c caller) create(t *testing.T, trainee string) {
	t.Helper()
	eventually(t, func() error {
		_, err := pb.NewTraineeServiceClient(c.conn).CreateTrainee(c.ctx(t.Context()), &pb.CreateTraineeRequest{TraineeId: trainee, Trainee: &pb.Trainee{}})
		if status.Code(err) == codes.AlreadyExists {
			return nil
		}
		return err
	})
}

// log lists a trainee's whole log, and tells how many writes it is of: the number at
// the end of its revision less the trainee's own. All of it is of one revision: a
// database may still finish what a service asked for before it was killed.
func (c caller) log(t *testing.T, trainee string) (entries []*pb.Entry, writes int) {
	t.Helper()
	revision := ""
	for req := (&pb.ListEntriesRequest{Parent: "trainees/" + trainee, PageSize: 1000}); ; {
		var page *pb.ListEntriesResponse
		eventually(t, func() (err error) {
			page, err = pb.NewLogbookServiceClient(c.conn).ListEntries(c.ctx(t.Context()), req)
			return err
		})
		if req.PageToken != "" && page.GetRevision() != revision {
			entries, req.PageToken = nil, "" // from the start
			continue
		}
		entries, revision = append(entries, page.GetEntries()...), page.GetRevision()
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	_, number, _ := strings.Cut(revision, "-")
	n, err := strconv.Atoi(number)
	if err != nil {
		t.Fatalf("revision %q", revision)
	}
	return entries, n - 1
}

// eventually tries until the server is there.
func eventually(t *testing.T, try func() error) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		err := try()
		if err == nil {
			return
		}
		if status.Code(err) != codes.Unavailable || time.Now().After(deadline) {
			t.Fatal(err)
		}
	}
}
