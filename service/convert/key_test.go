package convert_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

var keyMade = time.Date(2026, 3, 2, 12, 0, 0, 999, time.UTC)

func TestKeyToProto_ShowsAllButTheHash(t *testing.T) {
	at := func(hours int) time.Time { return keyMade.Truncate(time.Second).Add(time.Duration(hours) * time.Hour) }
	full := store.Key{
		ID: "k", Tenant: "gym", Trainee: "t1", Name: "scale", Hash: []byte("hash"), Scopes: access.ScopeNames()[:2],
		Created: at(0), Expires: at(3), Revoked: at(2), Used: at(1),
	}
	want := &pb.ApiKey{
		Name: "apiKeys/k", DisplayName: "scale", Scopes: []pb.Scope{1, 2}, Trainee: "trainees/t1", CreateTime: timestamppb.New(at(0)),
		ExpireTime: timestamppb.New(at(3)), RevokeTime: timestamppb.New(at(2)), LastUseTime: timestamppb.New(at(1)),
	}
	if got := convert.KeyToProto(full); !proto.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	bare := convert.KeyToProto(store.Key{ID: "k", Created: at(0)})
	if want := (&pb.ApiKey{Name: "apiKeys/k", CreateTime: timestamppb.New(at(0))}); !proto.Equal(bare, want) {
		t.Errorf("%v, want %v", bare, want)
	}
	if got := convert.KeyFrom(convert.KeyName("abc")); got != "abc" {
		t.Errorf("id %q", got)
	}
}

// What a caller may not choose is not taken from it.
func TestKeyFromProto_TakesWhatMayBeChosen(t *testing.T) {
	end := timestamppb.New(keyMade.Add(time.Hour))
	got, err := convert.KeyFromProto(&pb.ApiKey{
		Name: "apiKeys/mine", DisplayName: "scale", Scopes: []pb.Scope{pb.Scope_SCOPE_LOG_WRITE, pb.Scope_SCOPE_EXPORT}, Trainee: "trainees/t1",
		ExpireTime: end, CreateTime: end, RevokeTime: end, LastUseTime: end,
	}, keyMade)
	want := store.Key{
		Trainee: "t1", Name: "scale", Scopes: []string{"log.write", "export"},
		Created: keyMade.Truncate(time.Second), Expires: keyMade.Add(time.Hour).Truncate(time.Second),
	}
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("%v %s", err, diff)
	}
}

func TestKeyFromProto_NamesWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		name, field string
		key         *pb.ApiKey
	}{
		{"past", "expire_time", &pb.ApiKey{ExpireTime: timestamppb.New(keyMade.Add(-time.Second))}},
		{"now", "expire_time", &pb.ApiKey{ExpireTime: timestamppb.New(keyMade)}},
		{"no time", "expire_time", &pb.ApiKey{ExpireTime: &timestamppb.Timestamp{Seconds: math.MaxInt64}}},
		{"negative nanoseconds", "expire_time", &pb.ApiKey{ExpireTime: &timestamppb.Timestamp{Seconds: keyMade.Unix() + 9, Nanos: -1}}},
		{"bound administrator", "scopes", &pb.ApiKey{Trainee: "trainees/t1", Scopes: []pb.Scope{pb.Scope_SCOPE_ADMIN}}},
	} {
		_, err := convert.KeyFromProto(c.key, keyMade)
		var invalid *fault.Invalid
		if !errors.As(err, &invalid) || invalid.Fields[0].Path != c.field {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
