package call

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"

	"google.golang.org/protobuf/proto"

	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
)

const (
	defaultPage = 100
	largestPage = 1000

	sealBytes = 16 // of the seal that a page token begins with
)

// pageRequest is a request for a page.
type pageRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// Pager makes and opens page tokens. A token says where to go on, under a seal
// over the caller's tenant, the listing and its arguments: it is good for nothing
// else, and nobody without the secret can make one.
type Pager struct {
	Secret []byte // every replica has the same
}

// Page returns how many things to return and after which one to start; empty
// means from the start.
func (p Pager) Page(ctx context.Context, req pageRequest) (limit int, after string, err error) {
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
	b, err := base64.RawURLEncoding.DecodeString(req.GetPageToken())
	if err == nil && len(b) > sealBytes {
		after = string(b[sealBytes:])
	}
	// Compared as it is spelled, since one token has several spellings in base64.
	if after == "" || !hmac.Equal([]byte(p.Next(ctx, req, after)), []byte(req.GetPageToken())) {
		return 0, "", fault.InvalidField("page_token", "does not come from a listing with the same arguments")
	}
	return limit, after, nil
}

// Next returns the token that goes on after a thing.
func (p Pager) Next(ctx context.Context, req pageRequest, after string) string {
	m := hmac.New(sha256.New, p.Secret)
	// A NUL ends each part: none is in a tenant, a message's name or a hash.
	for _, part := range []string{access.From(ctx).Tenant, string(req.ProtoReflect().Descriptor().FullName()), Hash(req, "page_size", "page_token")} {
		m.Write([]byte(part + "\x00"))
	}
	m.Write([]byte(after))
	return base64.RawURLEncoding.EncodeToString(append(m.Sum(nil)[:sealBytes], after...))
}
