package call

import (
	"encoding/base64"
	"encoding/json"

	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/fault"
)

const (
	defaultPage = 100
	largestPage = 1000
)

// pager is a request for a page.
type pager interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// token is what a page token holds: where to go on, and a hash of the other
// arguments, so that a token of one listing is refused by another.
type token struct {
	Args  string `json:"a"`
	After string `json:"c"`
}

// Page returns how many things to return and after which one to start; empty
// means from the start.
func Page(req pager) (limit int, after string, err error) {
	limit = int(req.GetPageSize())
	switch {
	case limit == 0:
		limit = defaultPage
	case limit > largestPage:
		limit = largestPage
	}
	if req.GetPageToken() == "" {
		return limit, "", nil
	}
	var t token
	b, err := base64.RawURLEncoding.DecodeString(req.GetPageToken())
	if err != nil || json.Unmarshal(b, &t) != nil || t.After == "" || t.Args != argsHash(req) {
		return 0, "", fault.InvalidField("page_token", "does not come from a listing with the same arguments")
	}
	return limit, t.After, nil
}

// NextPage returns the token that goes on after a thing.
func NextPage(req pager, after string) string {
	b, _ := json.Marshal(token{Args: argsHash(req), After: after}) // two strings always marshal
	return base64.RawURLEncoding.EncodeToString(b)
}

func argsHash(req pager) string {
	return string(req.ProtoReflect().Descriptor().Name()) + Hash(req, "page_size", "page_token")[:16]
}
