// Package logbook serves LogbookService: one file an RPC.
package logbook

import (
	"time"

	pb "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/engine"
	"example.com/steelyard/service/call"
	"example.com/steelyard/service/convert"
	"example.com/steelyard/service/store"
)

// Server implements LogbookService.
type Server struct {
	pb.UnimplementedLogbookServiceServer
	Store store.Store
	Now   func() time.Time
	Pages call.Pager
	// BatchTimeout bounds one batch of a backfill; the stream itself has no end.
	BatchTimeout time.Duration
	// Draining is closed when the server is about to stop: streams end after
	// their present batch, and callers continue elsewhere.
	Draining <-chan struct{}
}

// lastDay returns the last day that a trainee may log: tomorrow, since a
// caller's clock may run ahead of ours.
func (s *Server) lastDay(of store.View) (engine.Day, error) {
	today, err := convert.Today(s.Now(), of.TimeZone())
	return today + 1, err
}
