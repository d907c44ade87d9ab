package sqlite

import (
	"context"
	"errors"
	"testing"
	"time"

	"example.com/steelyard/service/store"
)

// A read waits for a connection as long as its context allows, and what panics
// while it reads gives its connection back, with no transaction in it.
func TestReadsWaitForAConnection(t *testing.T) {
	s, _ := newStore(t)
	func() {
		defer func() { _ = recover() }()
		_ = s.View(t.Context(), ada, func(store.View) error { panic("wrong") })
	}()
	mustPut(t, s, ada, store.Once{}, nil)
	wantRevision(t, s, 2)

	var taken []*handle
	for range cap(s.reader.used) {
		h, err := s.reader.take(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		taken = append(taken, h)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		_, err := s.Head(ctx, ada)
		done <- err
	}()
	select {
	case err := <-done:
		t.Fatalf("did not wait: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	go func() {
		_, err := s.Head(t.Context(), ada)
		done <- err
	}()
	for _, h := range taken {
		s.reader.put(h)
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// What is in use when the store closes is closed by whoever has it.
func TestCloseWhileSomebodyReads(t *testing.T) {
	s, _ := newStore(t)
	h, err := s.reader.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.reader.close(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Head(t.Context(), ada); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("a read of a closed store: %v", err)
	}
	s.reader.put(h)
	if h.Close() == nil {
		t.Error("it was left open")
	}
}
