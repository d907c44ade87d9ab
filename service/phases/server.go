// Package phases serves PhaseService: one file an RPC.
package phases

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// Server implements PhaseService.
type Server struct {
	pb.UnimplementedPhaseServiceServer
	Store   store.Store
	Windows *window.Source
	Memo    *Memo
	Now     func() time.Time
	Pages   call.Pager
}
