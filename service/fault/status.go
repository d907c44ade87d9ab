package fault

import (
	"context"
	"errors"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// Domain is the ErrorInfo domain of every error of this service.
const Domain = "steelyard"

// Reasons of ErrorInfo that are part of the contract.
const (
	ReasonInvalid         = "INVALID_FIELD"
	ReasonUnauthenticated = "UNAUTHENTICATED"
	ReasonForbidden       = "SCOPE_MISSING"
	ReasonBound           = "TRAINEE_BOUND"
	ReasonNotFound        = "NOT_FOUND"
	ReasonExists          = "ALREADY_EXISTS"
	ReasonReused          = "REQUEST_ID_REUSED"
	ReasonUnavailable     = "STORE_UNAVAILABLE"
	ReasonIssuerAway      = "IDENTITY_PROVIDER_UNAVAILABLE"
	ReasonOverloaded      = "OVERLOADED"
	ReasonRateLimited     = "RATE_LIMITED"
	ReasonInternal        = "INTERNAL"
)

// Status maps an error to what the caller is told, and reports whether the
// error is one that somebody has to look at. It is the only place where that is
// decided. A nil error is OK.
func Status(err error) (s *status.Status, alarming bool) {
	var (
		invalid   *Invalid
		refused   *Refused
		conflict  *Conflict
		exhausted *Exhausted
		panicked  *Panicked
	)
	switch {
	case err == nil:
		return status.New(codes.OK, ""), false
	case errors.As(err, &panicked):
		return internal(), true
	case errors.As(err, &invalid):
		b := &errdetails.BadRequest{}
		for _, f := range invalid.Fields {
			b.FieldViolations = append(b.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Path, Description: f.Problem})
		}
		return build(codes.InvalidArgument, ReasonInvalid, invalid.Error(), b), false
	case errors.As(err, &refused):
		return build(codes.FailedPrecondition, refused.Reason, refused.Sentence), false
	case errors.As(err, &conflict):
		return build(codes.Aborted, conflict.Reason, conflict.Sentence), false
	case errors.As(err, &exhausted):
		return build(codes.ResourceExhausted, exhausted.Reason, exhausted.Sentence, &errdetails.RetryInfo{RetryDelay: durationpb.New(exhausted.After)}), false
	case errors.Is(err, access.ErrUnauthenticated):
		return build(codes.Unauthenticated, ReasonUnauthenticated, "a valid API key is needed, or a token where those are taken: Authorization: Bearer <key>"), false
	case errors.Is(err, access.ErrForbidden):
		return build(codes.PermissionDenied, ReasonForbidden, "the API key lacks the scope that this method needs"), false
	case errors.Is(err, access.ErrBound):
		return build(codes.PermissionDenied, ReasonBound, "the credential is bound to one trainee, and this method is not about one"), false
	case errors.Is(err, store.ErrNotFound):
		return build(codes.NotFound, ReasonNotFound, "there is no such thing, or not for this API key"), false
	case errors.Is(err, store.ErrExists):
		return build(codes.AlreadyExists, ReasonExists, "the id is taken"), false
	case errors.Is(err, store.ErrReused):
		return build(codes.FailedPrecondition, ReasonReused, "request_id was used before with another body"), false
	case errors.Is(err, context.Canceled):
		return status.New(codes.Canceled, "the caller went away"), false
	case errors.Is(err, context.DeadlineExceeded):
		return status.New(codes.DeadlineExceeded, "the call took longer than its deadline"), false
	case errors.Is(err, store.ErrUnavailable):
		return build(codes.Unavailable, ReasonUnavailable, "the store cannot serve now; try again",
			&errdetails.RetryInfo{RetryDelay: durationpb.New(time.Second)}), true
	case errors.Is(err, access.ErrIssuerAway): // told in the log where it is found out, once
		return build(codes.Unavailable, ReasonIssuerAway, "the identity provider does not answer, so the token cannot be checked; try again, or use an API key",
			&errdetails.RetryInfo{RetryDelay: durationpb.New(5 * time.Second)}), false
	}
	// Not status.FromError, which would put the text of what wraps it into the message.
	var transport interface{ GRPCStatus() *status.Status }
	if errors.As(err, &transport) && fromTransport[transport.GRPCStatus().Code()] {
		return transport.GRPCStatus(), false
	}
	return internal(), true
}

// RetryAfter returns when a call that ended with s may be made again; false
// when s does not say.
func RetryAfter(s *status.Status) (time.Duration, bool) {
	for _, d := range s.Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			return r.GetRetryDelay().AsDuration(), true
		}
	}
	return 0, false
}

// fromTransport are codes that grpc itself makes before a handler runs: an
// unknown method, a message that is too large or does not decode.
var fromTransport = map[codes.Code]bool{
	codes.Unimplemented: true, codes.ResourceExhausted: true, codes.InvalidArgument: true,
	codes.Canceled: true, codes.DeadlineExceeded: true,
}

func internal() *status.Status {
	return build(codes.Internal, ReasonInternal, "something went wrong on our side; it has been logged")
}

func build(c codes.Code, reason, sentence string, more ...protoadapt.MessageV1) *status.Status {
	details := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: Domain}}, more...)
	s, err := status.New(c, sentence).WithDetails(details...)
	if err != nil { // cannot happen: the details are our own messages
		return status.New(c, sentence)
	}
	return s
}
