package gateway

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/anypb"

	"example.com/steelyard/service/fault"
)

// problem is an RFC 9457 body with the google.rpc code and details beside.
type problem struct {
	Type    string            `json:"type"`
	Title   string            `json:"title"`
	Status  int               `json:"status"`
	Detail  string            `json:"detail"`
	Code    string            `json:"code"`
	Details []json.RawMessage `json:"details"`
}

var codeNames = map[codes.Code]string{
	codes.Canceled: "CANCELLED", codes.Unknown: "UNKNOWN", codes.InvalidArgument: "INVALID_ARGUMENT",
	codes.DeadlineExceeded: "DEADLINE_EXCEEDED", codes.NotFound: "NOT_FOUND", codes.AlreadyExists: "ALREADY_EXISTS",
	codes.PermissionDenied: "PERMISSION_DENIED", codes.ResourceExhausted: "RESOURCE_EXHAUSTED",
	codes.FailedPrecondition: "FAILED_PRECONDITION", codes.Aborted: "ABORTED", codes.OutOfRange: "OUT_OF_RANGE",
	codes.Unimplemented: "UNIMPLEMENTED", codes.Internal: "INTERNAL", codes.Unavailable: "UNAVAILABLE",
	codes.DataLoss: "DATA_LOSS", codes.Unauthenticated: "UNAUTHENTICATED",
}

// writeError writes the error of a call, or of decoding its request.
func writeError(ctx context.Context, mux *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	httpStatus := 0
	var withStatus *runtime.HTTPStatusError
	if errors.As(err, &withStatus) {
		httpStatus, err = withStatus.HTTPStatus, withStatus.Err
	}
	if md, ok := runtime.ServerMetadataFromContext(ctx); ok {
		for _, key := range append(md.HeaderMD.Get("x-request-id"), md.TrailerMD.Get("x-request-id")...) {
			w.Header().Set("X-Request-Id", key)
		}
	}
	s := status.Convert(err)
	if s.Code() == codes.InvalidArgument && len(s.Details()) == 0 {
		s, httpStatus = undecodable(s)
	}
	writeProblem(w, s, httpStatus)
}

// writeRoutingError answers what no binding matches: 404, and 405 for a known
// path with another verb.
func writeRoutingError(ctx context.Context, mux *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter, r *http.Request, httpStatus int) {
	sentence := "there is no such path"
	code := codes.NotFound
	switch httpStatus {
	case http.StatusMethodNotAllowed:
		sentence, code = "this path does not take "+r.Method, codes.Unimplemented
	case http.StatusBadRequest:
		sentence, code = "the path is not valid", codes.InvalidArgument
	}
	writeProblem(w, status.New(code, sentence), httpStatus)
}

func writeProblem(w http.ResponseWriter, s *status.Status, httpStatus int) {
	if httpStatus == 0 {
		httpStatus = runtime.HTTPStatusFromCode(s.Code())
	}
	p := problem{Type: "about:blank", Title: http.StatusText(httpStatus), Status: httpStatus, Detail: s.Message(), Code: codeNames[s.Code()], Details: []json.RawMessage{}}
	for _, d := range s.Proto().GetDetails() {
		p.Details = append(p.Details, detail(d))
	}
	w.Header().Set("Content-Type", "application/problem+json")
	if s.Code() == codes.Unauthenticated {
		w.Header().Set("WWW-Authenticate", "Bearer")
	}
	if after, ok := fault.RetryAfter(s); ok || s.Code() == codes.Unavailable {
		w.Header().Set("Retry-After", strconv.Itoa(max(1, int(math.Ceil(after.Seconds())))))
	}
	w.WriteHeader(httpStatus)
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	_ = e.Encode(p) // it fails only when nobody listens any more
}

func detail(d *anypb.Any) json.RawMessage {
	b, err := protojson.Marshal(d)
	if err != nil {
		return json.RawMessage(`{}`)
	}
	return b
}

var badParameter = regexp.MustCompile(`query parameter "((?:[^"\\]|\\.)*)" (.*)$`)

var quoted = regexp.MustCompile(`(?:field|value for \S+ field) "?([A-Za-z0-9_.@]+)"?`)

// undecodable turns the text of a JSON decoder into an error of ours that names
// the field, where the text does.
func undecodable(s *status.Status) (*status.Status, int) {
	text := s.Message()
	if strings.Contains(text, "request body too large") {
		return tooLarge(), http.StatusRequestEntityTooLarge
	}
	var mapped *status.Status
	if m := badParameter.FindStringSubmatch(text); m != nil {
		mapped, _ = fault.Status(fault.InvalidField(m[1], "%s", m[2]))
	} else if m := quoted.FindStringSubmatch(text); m != nil {
		problem := "does not have the form that this field takes"
		if strings.Contains(text, "unknown field") {
			problem = "is not a field of this request"
		}
		mapped, _ = fault.Status(fault.InvalidField(m[1], "%s", problem))
	} else {
		mapped, _ = fault.Status(fault.InvalidField("(body)", "is not valid JSON for this request"))
	}
	return mapped, 0
}
