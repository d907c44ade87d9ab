package service

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/store"
)

// boundStore says of each key whose name is "bound" that it is for t1 alone.
type boundStore struct{ store.Store }

// Key implements store.Keys.
func (s boundStore) Key(ctx context.Context, id string) (store.Key, error) {
	k, err := s.Store.Key(ctx, id)
	if k.Name == "bound" {
		k.Trainee = "t1"
	}
	return k, err
}

// TestBound_ForeignIsAbsent: to a credential that is bound to one trainee another
// one is what a trainee that does not exist is to everybody, byte by byte, by
// gRPC, by JSON and in streams.
func TestBound_ForeignIsAbsent(t *testing.T) {
	x := newTargetOn(t, Config{}, func(s store.Store) store.Store { return boundStore{s} })
	whole, bound := x.issue("gym", "whole"), x.issue("gym", "bound")
	as := func(token string) context.Context {
		return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
	}
	trainees, phases, log := pb.NewTraineeServiceClient(x.conns[0]), pb.NewPhaseServiceClient(x.conns[0]), pb.NewLogbookServiceClient(x.conns[0])
	for _, id := range []string{"t1", "t2"} {
		if _, err := trainees.CreateTrainee(as(whole), &pb.CreateTraineeRequest{TraineeId: id, Trainee: &pb.Trainee{}}); err != nil {
			t.Fatal(err)
		}
	}
	for name, call := range map[string]func(ctx context.Context, trainee string) error{
		"get": func(ctx context.Context, trainee string) error {
			_, err := trainees.GetTrainee(ctx, &pb.GetTraineeRequest{Name: "trainees/" + trainee})
			return err
		},
		"entries": func(ctx context.Context, trainee string) error {
			_, err := log.ListEntries(ctx, &pb.ListEntriesRequest{Parent: "trainees/" + trainee})
			return err
		},
		"recommend": func(ctx context.Context, trainee string) error {
			_, err := phases.Recommend(ctx, &pb.RecommendRequest{Name: "trainees/" + trainee + "/plans/p"})
			return err
		},
		"erase": func(ctx context.Context, trainee string) error {
			if trainee == "t1" {
				return nil // it is still needed
			}
			_, err := trainees.EraseTrainee(ctx, &pb.EraseTraineeRequest{Name: "trainees/" + trainee})
			return err
		},
		"export": func(ctx context.Context, trainee string) error {
			s, err := trainees.ExportTrainee(ctx, &pb.ExportTraineeRequest{Name: "trainees/" + trainee})
			for err == nil {
				_, err = s.Recv()
			}
			return err
		},
		"backfill": func(ctx context.Context, trainee string) error {
			s, err := log.BackfillEntries(ctx)
			if err != nil {
				return err
			}
			err = s.Send(&pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
				Parent: "trainees/" + trainee, UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64),
			}}})
			if err == nil {
				_, err = s.Recv()
			}
			return err
		},
	} {
		absent, foreign, missing := call(as(whole), "t9"), call(as(bound), "t2"), call(as(bound), "t9")
		for what, err := range map[string]error{"foreign": foreign, "foreign and absent": missing} {
			if status.Code(err) != codes.NotFound || !proto.Equal(status.Convert(err).Proto(), status.Convert(absent).Proto()) {
				t.Errorf("%s: %s %v, absent %v", name, what, err, absent)
			}
		}
		if err := call(as(bound), "t1"); err != nil && err != io.EOF && !(name == "recommend" && status.Code(err) == codes.NotFound) { // it has no plan
			t.Errorf("%s: own: %v", name, err)
		}
	}
	if _, err := trainees.GetTrainee(as(whole), &pb.GetTraineeRequest{Name: "trainees/t2"}); err != nil {
		t.Errorf("after the attempts: %v", err)
	}

	byJSON := func(token, path string) (int, string) {
		got := get(t, x.app.HTTPAddress(), path, token)
		return got.code, string(got.body)
	}
	for _, path := range []string{"/v1/trainees/X", "/v1/trainees/X/entries", "/v1/trainees/X/weightTrend", "/v1/trainees/X/plans/p:recommend"} {
		for _, trainee := range []string{"t2", "t9", "T1", "t1x"} {
			code, body := byJSON(bound, strings.Replace(path, "X", trainee, 1))
			absentCode, absentBody := byJSON(whole, strings.Replace(path, "X", "t9", 1))
			if code != http.StatusNotFound || code != absentCode || body != absentBody {
				t.Errorf("%s of %s: %d %s, absent %d %s", path, trainee, code, body, absentCode, absentBody)
			}
		}
	}
	if code, body := byJSON(bound, "/v1/trainees/t1"); code != http.StatusOK {
		t.Errorf("own: %d %s", code, body)
	}
	// What is about the whole tenant is forbidden.
	if code, body := byJSON(bound, "/v1/dueReviews"); code != http.StatusForbidden || !strings.Contains(body, "TRAINEE_BOUND") {
		t.Errorf("due reviews: %d %s", code, body)
	}
	if code, body := byJSON(whole, "/v1/dueReviews"); code != http.StatusOK {
		t.Errorf("due reviews with an unbound key: %d %s", code, body)
	}
}
