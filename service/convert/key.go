package convert

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// KeyName returns an API key's resource name.
func KeyName(id string) string { return "apiKeys/" + id }

// KeyFrom takes a key's id out of its name, whose shape has been validated by the
// contract's own rules.
func KeyFrom(name string) string { return segment(name, 1) }

// KeyToProto shows a key, without its hash.
func KeyToProto(k store.Key) *pb.ApiKey {
	out := &pb.ApiKey{
		Name: KeyName(k.ID), DisplayName: k.Name,
		ExpireTime: timeToProto(k.Expires), CreateTime: timeToProto(k.Created), RevokeTime: timeToProto(k.Revoked), LastUseTime: timeToProto(k.Used),
	}
	if k.Trainee != "" {
		out.Trainee = TraineeName(k.Trainee)
	}
	for _, name := range k.Scopes {
		scope, _ := access.ParseScope(name) // one that this program does not know shows as unspecified
		out.Scopes = append(out.Scopes, scope)
	}
	return out
}

// KeyFromProto takes what a caller may choose of a key; of a tenant it knows nothing.
func KeyFromProto(k *pb.ApiKey, now time.Time) (store.Key, error) {
	expires, err := ExpiryFromProto(k.GetExpireTime(), "expire_time", now)
	if err != nil {
		return store.Key{}, err
	}
	out := store.Key{Name: k.GetDisplayName(), Expires: expires, Created: now.UTC().Truncate(time.Second)}
	if k.GetTrainee() != "" {
		out.Trainee = TraineeFrom(k.GetTrainee())
	}
	for _, s := range k.GetScopes() {
		name := access.ScopeName(s)
		if name == access.AdminScope && out.Trainee != "" {
			return store.Key{}, fault.InvalidField("scopes", "a key for one trainee cannot manage the tenant")
		}
		out.Scopes = append(out.Scopes, name)
	}
	return out, nil
}

// ExpiryFromProto reads when a key is to end, cut to whole seconds; zero, for never,
// when t is nil.
func ExpiryFromProto(t *timestamppb.Timestamp, field string, now time.Time) (time.Time, error) {
	if t == nil {
		return time.Time{}, nil
	}
	if err := t.CheckValid(); err != nil {
		return time.Time{}, fault.InvalidField(field, "is not a time")
	}
	at := t.AsTime().Truncate(time.Second)
	if !at.After(now) {
		return time.Time{}, fault.InvalidField(field, "lies in the past")
	}
	return at, nil
}

// AuditToProto shows an audit record.
func AuditToProto(r store.AuditRecord) *pb.AuditRecord {
	return &pb.AuditRecord{Id: r.ID, ActTime: timestamppb.New(r.At), Actor: r.Actor, Method: r.Method, Resource: r.Resource}
}
