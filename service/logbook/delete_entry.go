package logbook

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// DeleteEntry deletes one entry.
func (s *Server) DeleteEntry(ctx context.Context, req *pb.DeleteEntryRequest) (*emptypb.Empty, error) {
	id, err := convert.EntryIDFrom(req.GetName(), "name")
	if err != nil {
		return nil, err
	}
	once := call.Once(pb.LogbookService_DeleteEntry_FullMethodName, req)
	return call.Update(ctx, s.Store, call.Scope(ctx, convert.TraineeFrom(req.GetName())), once, &emptypb.Empty{},
		func(tx store.Tx) (func(store.Head) *emptypb.Empty, error) {
			return func(store.Head) *emptypb.Empty { return &emptypb.Empty{} }, tx.DeleteEntry(id)
		})
}
