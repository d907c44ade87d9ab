package logbook

import (
	"context"
	"fmt"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// BatchCreateEntries writes many entries, all or none.
func (s *Server) BatchCreateEntries(ctx context.Context, req *pb.BatchCreateEntriesRequest) (*pb.BatchCreateEntriesResponse, error) {
	trainee := convert.TraineeFrom(req.GetParent())
	once := call.Once(pb.LogbookService_BatchCreateEntries_FullMethodName, req)
	return call.Update(ctx, s.Store, call.Scope(ctx, trainee), once, &pb.BatchCreateEntriesResponse{},
		func(tx store.Tx) (func(store.Head) *pb.BatchCreateEntriesResponse, error) {
			last, err := s.lastDay(tx)
			if err != nil {
				return nil, err
			}
			entries, err := entriesFromProto(req.GetEntries(), last)
			if err != nil {
				return nil, err
			}
			if err := tx.PutEntries(entries); err != nil {
				return nil, err
			}
			return func(h store.Head) *pb.BatchCreateEntriesResponse {
				out := &pb.BatchCreateEntriesResponse{Revision: convert.Revision(h)}
				for _, e := range entries {
					out.Entries = append(out.Entries, convert.EntryToProto(trainee, e))
				}
				return out
			}, nil
		})
}

// entriesFromProto reads a batch. Two entries of one natural key are refused:
// in one request the caller cannot have meant both.
func entriesFromProto(in []*pb.Entry, last engine.Day) ([]engine.Entry, error) {
	out := make([]engine.Entry, len(in))
	seen := make(map[engine.ID]int, len(in))
	for i, e := range in {
		entry, err := convert.EntryFromProto(e, last)
		if err != nil {
			return nil, fault.Under(fmt.Sprintf("entries[%d]", i), err)
		}
		if first, ok := seen[entry.ID()]; ok {
			return nil, fault.InvalidField(fmt.Sprintf("entries[%d].key", i), "is the same day, kind and key as entries[%d]", first)
		}
		seen[entry.ID()] = i
		out[i] = entry
	}
	return out, nil
}
