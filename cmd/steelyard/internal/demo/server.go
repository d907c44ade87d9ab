package demo

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"google.golang.org/grpc"

	"example.com/steelyard/cmd/steelyard/internal/client"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
)

// Server is a Steelyard of its own on free loopback ports, with a key and a
// folder that goes when it stops.
type Server struct {
	GRPCAddress string
	HTTPAddress string
	Key         string
	Conn        *grpc.ClientConn

	app  *service.App
	dir  string
	stop context.CancelFunc
	done chan error
}

// Start starts a server. Stop ends it.
func Start(ctx context.Context, log *slog.Logger) (_ *Server, err error) {
	s := &Server{}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Stop())
		}
	}()
	if s.dir, err = os.MkdirTemp("", "steelyard-demo-"); err != nil {
		return nil, err
	}
	s.app, err = service.New(ctx, service.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0",
		DataDir: s.dir, Reflection: true,
	}, service.WithLog(log))
	if err != nil {
		return nil, err
	}
	s.GRPCAddress, s.HTTPAddress = s.app.GRPCAddress(), s.app.HTTPAddress()
	s.Key, _, err = s.app.Keyring().Issue(ctx, "demo", "demo", access.ScopeNames(), time.Time{})
	if err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	// The server outlives ctx: what is under way when the demo is interrupted
	// ends in Stop.
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	s.stop, s.done = stop, make(chan error, 1)
	go func() { s.done <- s.app.Run(run) }()
	s.Conn, err = client.Dial(s.GRPCAddress, s.Key, nil)
	return s, err
}

// Stop ends the server and removes its folder.
func (s *Server) Stop() error {
	var errs []error
	if s.Conn != nil {
		errs = append(errs, s.Conn.Close())
	}
	if s.stop != nil {
		s.stop()
		errs = append(errs, <-s.done)
	}
	if s.app != nil {
		errs = append(errs, s.app.Close())
	}
	if s.dir != "" {
		errs = append(errs, os.RemoveAll(s.dir))
	}
	return errors.Join(errs...)
}
