package demo

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/reflection/grpc_reflection_v1"

	"example.com/steelyard/testdata"
)

// The requests that the demo shows work against it.
func TestRequestsWork(t *testing.T) {
	scenarios, err := Load(testdata.Demo())
	if err != nil {
		t.Fatal(err)
	}
	server := startServer(t)
	p, ctx := NewPlayer(server.Conn), context.Background()
	over, sc := scenarios[0], scenarios[1]
	for _, err := range []error{
		p.Enter(ctx, over), p.Backfill(ctx, over), p.Walk(ctx, over, nil, func(Visit) error { return nil }),
		p.Enter(ctx, sc), p.Backfill(ctx, sc), p.Walk(ctx, sc, nil, func(Visit) error { return nil }),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	wants := []string{`"headline":`, `"points":`, `"weightKg":`, `"summary":`}
	for i, r := range Requests(over, sc) {
		req, err := http.NewRequest(r.Method, "http://"+server.HTTPAddress+r.Path, strings.NewReader(r.Body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+server.Key)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK || !json.Valid(body) || !strings.Contains(string(body), wants[i]) {
			t.Errorf("%s: %s %v %s", r.Path, resp.Status, err, body)
		}
		if r.Method == "GET" && !strings.Contains(string(body), `"cautions":[{`) {
			t.Errorf("%s: no cautions", r.Path)
		}
		command := r.Command(server.HTTPAddress)
		if (r.Method == "POST") != strings.Contains(command, " -d '") || !strings.Contains(command, server.HTTPAddress+r.Path) {
			t.Errorf("the command is another request: %s", command)
		}
	}

	// What a gRPC client that reads the reflection asks for first.
	stream, err := grpc_reflection_v1.NewServerReflectionClient(server.Conn).ServerReflectionInfo(ctx)
	if err != nil {
		t.Fatal(err)
	}
	err = stream.Send(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}})
	if err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(answer.GetListServicesResponse().GetService(), func(s *grpc_reflection_v1.ServiceResponse) bool {
		return strings.HasSuffix(GRPCCommand(sc, server.GRPCAddress), " "+s.GetName()+"/Recommend")
	}) {
		t.Errorf("the reflection does not list the service of %s", GRPCCommand(sc, server.GRPCAddress))
	}
}
