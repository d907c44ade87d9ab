package service_test

import (
	"bytes"
	"fmt"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
)

// about is what the answers that are held have in common.
type about interface {
	proto.Message
	GetRevision() string
	GetSource() pb.WindowSource
}

// held are the two methods whose answers are held, each by both ways in.
func (r *running) held() map[string]func(trainee string, asOf int) (about, error) {
	name := func(trainee string) string { return "trainees/" + trainee + "/plans/cut" }
	return map[string]func(string, int) (about, error){
		"recommend": func(trainee string, asOf int) (about, error) {
			return r.phases().Recommend(r.ctx(), &pb.RecommendRequest{Name: name(trainee), AsOfDate: day(asOf)})
		},
		"forecast": func(trainee string, asOf int) (about, error) {
			return r.phases().Forecast(r.ctx(), &pb.ForecastRequest{Name: name(trainee), AsOfDate: day(asOf)})
		},
	}
}

// got asks for one of them as JSON. The body has to be what the marshaller makes
// of what it says.
func (r *running) got(t *testing.T, verb, trainee string, asOf int) (about, []byte) {
	t.Helper()
	a := r.http(r.token, "GET", "/v1/trainees/"+trainee+"/plans/cut:"+verb+"?asOfDate="+iso(asOf), "")
	var out about = &pb.Recommendation{}
	if verb == "forecast" {
		out = &pb.ForecastResponse{}
	}
	if err := protojson.Unmarshal(a.body, out); err != nil || a.status != 200 {
		t.Errorf("%s of %s as of %d: %d, %v\n%s", verb, trainee, asOf, a.status, err, a.body)
		return out, a.body
	}
	if want := written(t, out); !bytes.Equal(a.body, want) {
		t.Errorf("%s of %s as of %d: the body is not what the marshaller makes of it\n%s\n%s", verb, trainee, asOf, a.body, want)
	}
	if got := a.header.Values("Steelyard-Revision"); len(got) != 1 || got[0] != out.GetRevision() {
		t.Errorf("%s of %s as of %d: the revision is %q, its header %q", verb, trainee, asOf, out.GetRevision(), got)
	}
	if h := a.header; h.Get("Content-Type") != "application/json" || len(h.Values("X-Request-Id")) != 1 {
		t.Errorf("headers %v", h)
	}
	return out, a.body
}

func written(t *testing.T, m proto.Message) []byte {
	t.Helper()
	b, err := call.JSON.Marshal(m)
	if err != nil {
		t.Error(err)
	}
	return b
}

// TestMemo_HeldFormsAreTheMarshallersOwn: whichever way asks first, an answer that
// goes out in a form that was made before is to the byte the one that is computed
// and marshalled, but for where its window came from.
func TestMemo_HeldFormsAreTheMarshallersOwn(t *testing.T) {
	r := start(t)
	if _, err := r.trainees().CreateTrainee(r.ctx(), &pb.CreateTraineeRequest{TraineeId: "bare", Trainee: &pb.Trainee{}}); err != nil {
		t.Fatal(err)
	}
	r.trainee("new")
	for _, trainee := range []string{"bare", "new"} {
		if _, err := r.phases().CreatePlan(r.ctx(), &pb.CreatePlanRequest{Parent: "trainees/" + trainee, PlanId: "cut", Plan: &pb.Plan{StartDate: day(0)}}); err != nil {
			t.Fatal(err)
		}
	}
	r.cutting(t, "cut", nil)
	r.cutting(t, "odd", map[int]float64{4: 30, 15: 2, 16: 2.5}) // some readings are refused
	seen, unheld := map[string]bool{}, 0
	for n := range 12 {
		asOf := 3 * n
		for verb, ask := range r.held() {
			for _, trainee := range []string{"bare", "new", "cut", "odd"} {
				if n > 6 {
					for range 3 { // of the last two of which nobody asks in between: the next one is computed of the store
						r.put(trainee, weighIn(asOf, 86), intake(asOf, 2000))
					}
				}
				computed, _ := r.got(t, verb, trainee, asOf)
				if computed.GetSource() == pb.WindowSource_WINDOW_SOURCE_STORE {
					unheld++
				}
				var bodies [][]byte
				var answers []about
				for i := range 4 {
					if (i+n)%2 == 0 {
						_, body := r.got(t, verb, trainee, asOf)
						bodies = append(bodies, body)
						continue
					}
					a, err := ask(trainee, asOf)
					if err != nil {
						t.Fatal(err)
					}
					answers = append(answers, a)
				}
				want := answers[0]
				if want.GetSource() != pb.WindowSource_WINDOW_SOURCE_SNAPSHOT || !proto.Equal(answers[1], want) {
					t.Errorf("%s of %s as of %d: %v, then %v", verb, trainee, asOf, want, answers[1])
				}
				for _, body := range bodies {
					if !bytes.Equal(body, written(t, want)) {
						t.Errorf("%s of %s as of %d:\ngRPC %v\nJSON %s", verb, trainee, asOf, want, body)
					}
				}
				f := computed.ProtoReflect().Descriptor().Fields().ByName("source")
				computed.ProtoReflect().Set(f, want.ProtoReflect().Get(f))
				if !proto.Equal(computed, want) {
					t.Errorf("%s of %s as of %d:\ncomputed %v\nheld     %v", verb, trainee, asOf, computed, want)
				}
				if rec, ok := want.(*pb.Recommendation); ok && rec.GetPlan() != "trainees/"+trainee+"/plans/cut" {
					t.Errorf("%s is given what is about %s", trainee, rec.GetPlan())
				}
				seen[string(bodies[0])] = true
			}
		}
	}
	if len(seen) < 80 || unheld < 40 {
		t.Errorf("%d different answers, %d of them computed of the store: the test proves little", len(seen), unheld)
	}
}

// TestMemo_HeldFormsUnderWrites: while logs are written to, every answer in a held
// form is about the trainee that was asked about, and shows the last write before.
func TestMemo_HeldFormsUnderWrites(t *testing.T) {
	r := start(t)
	var wg sync.WaitGroup
	for n := range 4 {
		trainee := fmt.Sprintf("t%d", n)
		r.cutting(t, trainee, nil)
		wg.Go(func() {
			var header metadata.MD
			for i := range 30 {
				if _, err := r.logbook().CreateEntry(r.ctx(), &pb.CreateEntryRequest{Parent: "trainees/" + trainee, Entry: weighIn(20, 80+float64(i)/10)}, grpc.Header(&header)); err != nil {
					t.Error(err)
					return
				}
				var readers sync.WaitGroup
				for range 3 {
					readers.Go(func() {
						for verb, ask := range r.held() {
							byGRPC, err := ask(trainee, 21)
							if err != nil {
								t.Error(err)
								return
							}
							byJSON, _ := r.got(t, verb, trainee, 21)
							for _, a := range []about{byGRPC, byJSON} {
								if want := header.Get(call.RevisionHeader)[0]; a.GetRevision() != want {
									t.Errorf("%s of %s is at %s after the write that made it %s", verb, trainee, a.GetRevision(), want)
								}
								if rec, ok := a.(*pb.Recommendation); ok && rec.GetPlan() != "trainees/"+trainee+"/plans/cut" {
									t.Errorf("%s is given what is about %s", trainee, rec.GetPlan())
								}
							}
						}
					})
				}
				readers.Wait()
			}
		})
	}
	wg.Wait()
}
