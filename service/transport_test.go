package service

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "example.com/steelyard/api/steelyard/v1"
)

// TestBounds_AreSet: a zero would be no bound in most of these places.
func TestBounds_AreSet(t *testing.T) {
	b := bounds
	for what, set := range map[string]bool{
		"headers": b.headerBytes > 0, "streams": b.streams > 0, "time for headers": b.header > 0, "idle": b.idle > 0 && b.idleHTTP > 0,
		"age": b.age > 0, "grace": b.grace > 0, "ping": b.ping > 0 && b.pong > 0, "pings of clients": b.minPing > 0 && b.minPing < b.ping,
	} {
		if !set {
			t.Errorf("%s: %+v", what, b)
		}
	}
	x := newTarget(t, Config{MaxInFlight: 1})
	for name, s := range map[string]*http.Server{"json": x.app.json, "admin": x.app.admin} {
		if s.ReadHeaderTimeout != b.header || s.IdleTimeout != b.idleHTTP || s.MaxHeaderBytes != b.headerBytes {
			t.Errorf("%s: %+v", name, s)
		}
	}
	if x.app.admin.ReadTimeout != b.admin || x.app.admin.WriteTimeout != b.admin {
		t.Error("the admin listener waits for ever")
	}
}

// TestBounds_SizesAreTheSameOnBothSides: of a message and of the headers.
func TestBounds_SizesAreTheSameOnBothSides(t *testing.T) {
	x := newTarget(t, Config{MaxInFlight: 1})
	most := x.app.cfg.MaxBodyBytes
	trainees := pb.NewTraineeServiceClient(x.conns[0])
	token, _, err := x.app.Keyring().Issue(t.Context(), "gym", "test", []string{"plan.write"}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
	post := func(body string, headers ...string) int {
		req, err := http.NewRequestWithContext(t.Context(), "POST", "http://"+x.app.HTTPAddress()+"/v1/trainees", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+token)
		for i := 0; i+1 < len(headers); i += 2 {
			req.Header.Set(headers[i], headers[i+1])
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		return resp.StatusCode
	}
	for _, c := range []struct {
		bytes int
		grpc  codes.Code
		http  int
	}{
		{most - 100, codes.InvalidArgument, http.StatusBadRequest}, // read, and found to be nonsense
		{most + 100, codes.ResourceExhausted, http.StatusRequestEntityTooLarge},
	} {
		name := strings.Repeat("x", c.bytes)
		_, err := trainees.CreateTrainee(ctx, &pb.CreateTraineeRequest{Trainee: &pb.Trainee{DisplayName: name}})
		if status.Code(err) != c.grpc {
			t.Errorf("a message of %d: %v, want %v", c.bytes, status.Code(err), c.grpc)
		}
		if got := post(`{"displayName":"` + name + `"}`); got != c.http {
			t.Errorf("a body of %d: %d, want %d", c.bytes, got, c.http)
		}
	}

	for _, c := range []struct {
		bytes int
		ok    bool
	}{{bounds.headerBytes - 2<<10, true}, {bounds.headerBytes + 5<<10, false}} { // net/http lets 4 KiB more through
		long := strings.Repeat("x", c.bytes)
		_, err := trainees.CreateTrainee(metadata.AppendToOutgoingContext(ctx, "long", long), &pb.CreateTraineeRequest{})
		if read := status.Code(err) == codes.InvalidArgument; read != c.ok {
			t.Errorf("headers of %d by gRPC: %v", c.bytes, err)
		}
		if got := post("{}", "Long", long); (got == http.StatusBadRequest) != c.ok || (got == http.StatusRequestHeaderFieldsTooLarge) == c.ok {
			t.Errorf("headers of %d by HTTP: %d", c.bytes, got)
		}
	}
}

// TestBounds_IdleStreams: a connection may have so many streams and no more, and
// as long as they ask for nothing they take nobody's place.
func TestBounds_IdleStreams(t *testing.T) {
	x := newTarget(t, Config{MaxInFlight: 1})
	call := x.reader("gym")
	token, _, err := x.app.Keyring().Issue(t.Context(), "gym", "test", []string{"log.write"}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token))
	defer cancel()
	conn, err := grpc.NewClient(x.app.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	opening := &pb.BackfillEntriesRequest{Step: &pb.BackfillEntriesRequest_Opening{Opening: &pb.BackfillOpening{
		Parent: "trainees/t1", UploadId: "0d5a6fe5-6c8a-4a4c-b3f4-2f3c1e0a9b11", ContentSha256: strings.Repeat("a", 64),
	}}}
	for i := range bounds.streams {
		s, err := pb.NewLogbookServiceClient(conn).BackfillEntries(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if i%50 != 0 { // a few have begun, the others have not said a word
			continue
		}
		if err := s.Send(opening); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Recv(); err != nil {
			t.Fatal(err)
		}
	}
	soon, stop := context.WithTimeout(ctx, 300*time.Millisecond)
	defer stop()
	if _, err := pb.NewLogbookServiceClient(conn).BackfillEntries(soon); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("one more stream: %v", err)
	}
	if err := call(t.Context(), 0); err != nil {
		t.Errorf("another connection's call: %v", err)
	}
}

// frame is an HTTP/2 frame (RFC 9113, section 4.1).
type frame struct {
	kind, flags byte
	payload     []byte
}

const (
	settingsFrame = 4
	pingFrame     = 6
	goAwayFrame   = 7
)

func writeFrame(w io.Writer, kind byte, payload []byte) error {
	head := binary.BigEndian.AppendUint32(nil, uint32(len(payload)))[1:]
	_, err := w.Write(append(append(head, kind, 0, 0, 0, 0, 0), payload...))
	return err
}

func readFrame(r io.Reader) (frame, error) {
	var head [9]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return frame{}, err
	}
	payload := make([]byte, binary.BigEndian.Uint32(append([]byte{0}, head[:3]...)))
	_, err := io.ReadFull(r, payload)
	return frame{head[3], head[4], payload}, err
}

// until reads frames up to one of a kind.
func until(t *testing.T, r io.Reader, kind byte) frame {
	t.Helper()
	for range 100 {
		f, err := readFrame(r)
		if err != nil {
			t.Fatalf("waiting for a frame of kind %d: %v", kind, err)
		}
		if f.kind == kind {
			return f
		}
	}
	t.Fatalf("no frame of kind %d among 100", kind)
	return frame{}
}

// bare serves health checks alone with a transport.
func bare(t *testing.T, b transport) (address string) {
	t.Helper()
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer(b.grpc(1 << 20)...)
	healthpb.RegisterHealthServer(server, health.NewServer())
	go func() { _ = server.Serve(l) }()
	t.Cleanup(server.Stop)
	return l.Addr().String()
}

// dialled opens a connection to a transport; spoken says whether it has been
// opened as HTTP/2 does.
func dialled(t *testing.T, b transport, spoken bool) net.Conn {
	t.Helper()
	var d net.Dialer
	conn, err := d.DialContext(t.Context(), "tcp", bare(t, b))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	_ = conn.SetDeadline(time.Now().Add(20 * time.Second))
	if spoken {
		if _, err := io.WriteString(conn, "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		if err := writeFrame(conn, settingsFrame, nil); err != nil {
			t.Fatal(err)
		}
		until(t, conn, settingsFrame)
	}
	return conn
}

// ended reads to the end and fails when the server does not end it.
func ended(t *testing.T, r io.Reader) {
	t.Helper()
	var late net.Error
	if _, err := io.Copy(io.Discard, r); errors.As(err, &late) && late.Timeout() {
		t.Error("the server keeps the connection")
	}
}

func TestBounds_GRPCConnections(t *testing.T) {
	const soon = 50 * time.Millisecond
	t.Run("one that says nothing", func(t *testing.T) {
		t.Parallel()
		b := bounds
		b.header = soon
		ended(t, dialled(t, b, false))
	})
	t.Run("one that pings too often", func(t *testing.T) {
		t.Parallel()
		conn := dialled(t, bounds, true)
		for range 5 {
			if err := writeFrame(conn, pingFrame, make([]byte, 8)); err != nil {
				break // sent away already
			}
		}
		f := until(t, conn, goAwayFrame)
		if code := binary.BigEndian.Uint32(f.payload[4:8]); code != 11 || string(f.payload[8:]) != "too_many_pings" { // ENHANCE_YOUR_CALM, RFC 9113 section 7
			t.Errorf("sent away with %d %q", code, f.payload[8:])
		}
		ended(t, conn)
	})
	t.Run("an idle one", func(t *testing.T) {
		t.Parallel()
		b := bounds
		b.idle = soon
		conn := dialled(t, b, true)
		until(t, conn, goAwayFrame)
		ended(t, conn)
	})
	t.Run("an old one", func(t *testing.T) {
		t.Parallel()
		b := bounds
		b.age, b.grace = soon, soon
		conn := dialled(t, b, true)
		if f := until(t, conn, goAwayFrame); string(f.payload[8:]) != "max_age" {
			t.Errorf("sent away for %q", f.payload[8:])
		}
		ended(t, conn)
	})
	t.Run("an old one with a call that does not end", func(t *testing.T) {
		t.Parallel()
		b := bounds
		b.age, b.grace = soon, soon
		conn, err := grpc.NewClient(bare(t, b), grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = conn.Close() }()
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		watch, err := healthpb.NewHealthClient(conn).Watch(ctx, &healthpb.HealthCheckRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := watch.Recv(); err != nil {
			t.Fatal(err)
		}
		if _, err := watch.Recv(); status.Code(err) != codes.Unavailable {
			t.Errorf("the call ends with %v", err)
		}
	})
	t.Run("one that does not answer pings", func(t *testing.T) {
		t.Parallel()
		b := bounds
		b.ping, b.pong = time.Second, soon // grpc takes no less than a second
		conn := dialled(t, b, true)
		until(t, conn, pingFrame)
		ended(t, conn)
	})
}

func TestBounds_HTTPConnections(t *testing.T) {
	b := bounds
	b.header, b.idleHTTP = 50*time.Millisecond, 50*time.Millisecond
	server := httptest.NewUnstartedServer(nil)
	server.Config = b.http(http.NotFoundHandler())
	server.Start()
	defer server.Close()
	for what, said := range map[string]string{
		"says nothing": "", "sends headers for ever": "GET / HTTP/1.1\r\nHost: x\r\nLong: ", "asks once": "GET / HTTP/1.1\r\nHost: x\r\n\r\n",
	} {
		var d net.Dialer
		conn, err := d.DialContext(t.Context(), "tcp", server.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		_ = conn.SetDeadline(time.Now().Add(20 * time.Second))
		if _, err := io.WriteString(conn, said); err != nil {
			t.Error(err)
		}
		t.Run("one that "+what, func(t *testing.T) { ended(t, conn) })
		_ = conn.Close()
	}
}
