package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service"
	"example.com/steelyard/service/validate"
)

// FuzzRPC sends bytes to any method by any way in, in one process: a message, or
// several with their lengths for a stream, by gRPC; a path, a line break and a body
// by JSON. Whatever comes, nobody panics, the answer is well formed and blames the
// caller or nobody, and what is stored stays within the contract.
func FuzzRPC(f *testing.F) {
	w := newWorld(f, func(*service.Config) {})
	w.conn, w.adminConn = inProcess(f, w.app.GRPC()), inProcess(f, w.app.AdminGRPC())
	all := contract()
	for i, m := range all {
		for j, by := range ways(m) {
			requests := valid[fullName(m)](f, w.mine, 10*i+j)
			if by.rule == nil {
				f.Add(uint8(i), uint8(j), framed(f, m, requests))
				continue
			}
			req, _ := spellAll(f, by.rule, requests)
			f.Add(uint8(i), uint8(j), []byte(req.path+"\n"+req.body))
			f.Add(uint8(i), uint8(j), []byte(strings.Replace(req.path, traineeOfMine, "%ff", 1)+"\n"+strings.Replace(req.body, "1", "1e999", 1)))
		}
	}
	ran := 0
	f.Fuzz(func(t *testing.T, method, transport uint8, payload []byte) {
		w := w.in(t)
		m := all[int(method)%len(all)]
		in := ways(m)
		by := in[int(transport)%len(in)]
		got, ok := w.feed(t, by, m, payload)
		if !ok {
			t.Skip("no request")
		}
		sound(t, m, got)
		if ran++; ran%500 == 0 {
			w.keepGoing(t)
		}
	})
}

// inProcess reaches a gRPC server of the service without a socket.
func inProcess(t testing.TB, server *grpc.Server) *grpc.ClientConn {
	t.Helper()
	listener := bufconn.Listen(1 << 20)
	go func() { _ = server.Serve(listener) }()
	conn, err := grpc.NewClient("passthrough:///inside", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// feed makes a call of bytes; false when they are no request that a client could send.
func (w *world) feed(t *testing.T, by way, m protoreflect.MethodDescriptor, payload []byte) (heard, bool) {
	t.Helper()
	if by.rule == nil {
		messages := [][]byte{payload}
		if m.IsStreamingClient() {
			messages = nil
			for len(payload) > 0 && len(messages) < 20 {
				message, n := protowire.ConsumeBytes(payload)
				if n < 0 {
					return heard{}, false
				}
				messages, payload = append(messages, message), payload[n:]
			}
		}
		return w.callRaw(t, "Bearer "+w.token, m, messages), true
	}
	path, body, _ := bytes.Cut(payload, []byte("\n"))
	u, err := url.ParseRequestURI(string(path))
	if err != nil || !strings.HasPrefix(u.Path, "/") || isAdmin(m) && !strings.HasPrefix(u.Path, "/v1/") { // another handler's
		return heard{}, false
	}
	req := httptest.NewRequestWithContext(t.Context(), spell(t, by.rule, dynamicpb.NewMessage(m.Input())).verb, "/", bytes.NewReader(body))
	req.URL, req.RequestURI = u, string(path)
	req.Header.Set("Authorization", "Bearer "+w.token)
	out := httptest.NewRecorder()
	handler := w.app.JSON()
	if isAdmin(m) {
		handler = w.app.AdminJSON()
	}
	handler.ServeHTTP(out, req)
	resp := out.Result()
	return heardHTTP(t, resp, out.Body.Bytes()), true
}

// sound checks what holds for whatever was sent. Over HTTP the path may be another
// method's, so its answer is only looked at as JSON.
func sound(t *testing.T, m protoreflect.MethodDescriptor, got heard) {
	t.Helper()
	if !blamesCaller(got.code) && (got.status != http.StatusMethodNotAllowed) {
		t.Errorf("%s: %q", m.Name(), got.text)
	}
	if leaks.Match(got.problems) {
		t.Errorf("%s: leaks: %q", m.Name(), got.text)
	}
	if got.status != 0 {
		wellFormed(t, got)
		return
	}
	if got.code != codes.OK {
		return
	}
	plausible(t, string(m.Name()), m, got)
	for _, answer := range messagesOf(t, m, got) {
		for _, thing := range resources(answer.ProtoReflect()) {
			if err := validate.Message(thing.Interface()); err != nil {
				t.Errorf("%s: answers what it would refuse: %v", m.Name(), err)
			}
		}
	}
}

// framed are messages as feed takes them.
func framed(t testing.TB, m protoreflect.MethodDescriptor, requests []proto.Message) []byte {
	t.Helper()
	if !m.IsStreamingClient() {
		return wire(t, requests[0])
	}
	var out []byte
	for _, r := range requests {
		out = protowire.AppendBytes(out, wire(t, r))
	}
	return out
}

func wellFormed(t *testing.T, got heard) {
	t.Helper()
	if !utf8.ValidString(got.text) {
		t.Errorf("not UTF-8: %q", got.text)
	}
	for _, text := range append(got.answers, got.problems) {
		if len(text) > 0 && !json.Valid(text) {
			t.Errorf("not JSON: %q", text)
		}
	}
}

// in is the world as one run of the target sees it, which may not use what is of all.
func (w *world) in(t *testing.T) *world {
	r := *w.running
	r.t = t
	return &world{running: &r, mine: caller{&r, w.mine.tenant, w.mine.trainee}, theirs: w.theirs, db: w.db}
}

// keepGoing looks at what is stored and brings back what was erased.
func (w *world) keepGoing(t *testing.T) {
	t.Helper()
	for _, table := range w.column(t, `SELECT name FROM sqlite_schema WHERE type = 'table'`) {
		for _, c := range w.column(t, `SELECT name FROM pragma_table_info(?) WHERE type = 'REAL'`, table) {
			if bad := w.column(t, "SELECT "+c+" FROM "+table+" WHERE abs("+c+") > 1e6 LIMIT 1"); len(bad) > 0 {
				t.Errorf("%s.%s is %s", table, c, bad[0])
			}
		}
	}
	scan(t, "the log", w.log.String()+strings.Repeat(" ", 100))
	w.log.Reset()
	_, err := w.trainees().GetTrainee(w.ctx(), &pb.GetTraineeRequest{Name: w.mine.name()})
	if err != nil {
		w.mine.settle(t, secrets.words[1], secrets.words[2], secrets.words[3], secrets.numbers)
	}
}
