package service_test

import (
	"errors"
	"io"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/testing/protocmp"

	pb "example.com/steelyard/api/steelyard/v1"
)

// An export is everything, of one head, and its manifest counts it.
func TestExportIsEverything(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	for from := 0; from < 1500; from += 500 { // more than a page of entries
		batch := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
		for i := from; i < from+500; i++ {
			batch.Entries = append(batch.Entries, weighIn(i-1400, 90+float64(i%7)/10))
		}
		if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/t1", PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.phases().CreateDecision(r.ctx(), &pb.CreateDecisionRequest{Parent: "trainees/t1/plans/cut", Decision: &pb.Decision{
		FromDate: day(1), Action: pb.Action_ACTION_KEEP_LOGGING, Target: &pb.Target{IntakeKcal: 2700}, AnswersRecommendation: true,
	}}); err != nil {
		t.Fatal(err)
	}
	stream, err := r.trainees().ExportTrainee(r.ctx(), &pb.ExportTraineeRequest{Name: "trainees/t1"})
	if err != nil {
		t.Fatal(err)
	}
	var entries []*pb.Entry
	var plans, decisions int32
	var trainee *pb.Trainee
	var manifest *pb.ExportManifest
	for {
		got, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if manifest != nil {
			t.Fatal("something comes after the manifest")
		}
		switch x := got.GetRecord().(type) {
		case *pb.ExportTraineeResponse_Trainee:
			trainee = x.Trainee
		case *pb.ExportTraineeResponse_Plan:
			plans++
		case *pb.ExportTraineeResponse_Decision:
			decisions++
		case *pb.ExportTraineeResponse_Entry:
			entries = append(entries, x.Entry)
		case *pb.ExportTraineeResponse_Manifest:
			manifest = x.Manifest
		}
	}
	if manifest == nil || trainee.GetName() != "trainees/t1" || int(manifest.GetEntryCount()) != len(entries) || manifest.GetPlanCount() != plans || manifest.GetDecisionCount() != decisions || plans != 1 || decisions != 1 {
		t.Fatalf("manifest %v of %d entries, %d plans, %d decisions", manifest, len(entries), plans, decisions)
	}
	var listed []*pb.Entry
	for token := ""; ; {
		page, err := r.logbook().ListEntries(r.ctx(), &pb.ListEntriesRequest{Parent: "trainees/t1", PageSize: 700, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		listed = append(listed, page.GetEntries()...)
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if diff := cmp.Diff(listed, entries, protocmp.Transform()); diff != "" {
		t.Errorf("the export differs from the list: %.500s", diff)
	}
	if trainee.GetRevision() != manifest.GetRevision() {
		t.Errorf("trainee of %s, manifest of %s", trainee.GetRevision(), manifest.GetRevision())
	}
}

// What is written during an export ends it: two halves of different states would
// look like one.
func TestExportEndsWhenSomethingIsWritten(t *testing.T) {
	r := start(t)
	r.trainee("t1")
	for from := 0; from < 12_000; from += 1000 {
		batch := &pb.BatchCreateEntriesRequest{Parent: "trainees/t1"}
		for i := from; i < from+1000; i++ {
			e := weighIn(-i/10, 90)
			e.Key = "k" + strconv.Itoa(i%10)
			e.Note = strings.Repeat("n", 400) // more than the transport holds ahead of a reader
			batch.Entries = append(batch.Entries, e)
		}
		if _, err := r.logbook().BatchCreateEntries(r.ctx(), batch); err != nil {
			t.Fatal(err)
		}
	}
	stream, err := r.trainees().ExportTrainee(r.ctx(), &pb.ExportTraineeRequest{Name: "trainees/t1"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/t1", Entry: weighIn(1, 90)}); err != nil {
		t.Fatal(err)
	}
	for {
		got, err := stream.Recv()
		if status.Code(err) == codes.Aborted {
			return
		}
		if err != nil || got.GetManifest() != nil {
			t.Fatalf("%v, %v", got.GetManifest(), err)
		}
	}
}
