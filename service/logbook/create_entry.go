package logbook

import (
	"context"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/fault"
	"example.com/steelyard/service/store"
)

// CreateEntry writes one entry, replacing one of the same natural key.
func (s *Server) CreateEntry(ctx context.Context, req *pb.CreateEntryRequest) (*pb.Entry, error) {
	trainee := convert.TraineeFrom(req.GetParent())
	once := call.Once(pb.LogbookService_CreateEntry_FullMethodName, req)
	return call.Update(ctx, s.Store, call.Scope(ctx, trainee), once, &pb.Entry{},
		func(tx store.Tx) (func(store.Head) *pb.Entry, error) {
			last, err := s.lastDay(tx)
			if err != nil {
				return nil, err
			}
			entry, err := convert.EntryFromProto(req.GetEntry(), last)
			if err != nil {
				return nil, fault.Under("entry", err)
			}
			return func(store.Head) *pb.Entry { return convert.EntryToProto(trainee, entry) },
				tx.PutEntries([]engine.Entry{entry})
		})
}
