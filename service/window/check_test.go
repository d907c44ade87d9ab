package window_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.com/steelyard/engine"
	"example.com/steelyard/service/store"
	"example.com/steelyard/service/window"
)

// checked is a source that checks one in every so many hits, with alice's true
// snapshot in the bag.
func checked(every uint) (u *under, mismatches *int) {
	u, mismatches = newSource(), new(int)
	u.Source = window.NewSource(u.store, u.bag, u.served.count, window.Checked(every, func(context.Context) { *mismatches++ }))
	u.bag.held[alice] = u.store.logs[alice].snapshot(alice, 5) // longer than what is asked for
	return u, mismatches
}

func TestChecked_WhatIsTruePasses(t *testing.T) {
	u, mismatches := checked(1)
	for range 5 {
		u.mustServe(t, alice, 8, window.FromBag)
	}
	held := u.bag.held[alice]
	held.Trainee.Created = held.Trainee.Created.In(time.FixedZone("x", 3600)) // the same instant
	held.Window.Tapes = append([]engine.TapeReading{}, held.Window.Tapes...)
	held.Plan = nil
	u.bag.held[alice] = held
	if _, origin, err := u.Snapshot(t.Context(), alice, 8); err != nil || origin != window.FromBag {
		t.Errorf("%v, %v", origin, err)
	}
	if *mismatches != 0 || u.store.loads != 6 {
		t.Errorf("%d mismatches, %d checks", *mismatches, u.store.loads)
	}
}

func TestChecked_WhatIsFalseIsToldAndNotServed(t *testing.T) {
	for name, spoil := range map[string]func(*store.Snapshot){
		"a weight":      func(s *store.Snapshot) { s.Window.Days[5].WeightKg = engine.Some(1) },
		"the last day":  func(s *store.Snapshot) { s.Window.Days = s.Window.Days[:len(s.Window.Days)-1] },
		"a lift":        func(s *store.Snapshot) { s.Window.Lifts[0].Sets++ },
		"a plan":        func(s *store.Snapshot) { s.Plan = &store.Plan{} },
		"the profile":   func(s *store.Snapshot) { s.Trainee.Profile.Conditions = engine.Pregnant },
		"another one's": func(s *store.Snapshot) { s.Trainee.ID = "t2" },
	} {
		t.Run(name, func(t *testing.T) {
			u, mismatches := checked(1)
			held := u.bag.held[alice]
			spoil(&held)
			u.bag.held[alice] = held
			u.mustServe(t, alice, 8, window.FromStore)
			u.mustServe(t, alice, 8, window.FromBag) // the truth took its place
			if *mismatches != 1 {
				t.Errorf("%d mismatches", *mismatches)
			}
		})
	}
}

func TestChecked_OneInSoMany(t *testing.T) {
	for every, want := range map[uint]int{0: 0, 1: 12, 3: 4, 5: 2} {
		u, mismatches := checked(every)
		spoilt := u.bag.held[alice]
		spoilt.Window.Days = nil
		for range 12 {
			u.bag.held[alice] = spoilt
			_, _, _ = u.Snapshot(t.Context(), alice, 8)
		}
		if *mismatches != want {
			t.Errorf("one in %d of 12: %d mismatches, want %d", every, *mismatches, want)
		}
	}
}

// TestChecked_NoVerdict: the head has moved meanwhile, or the store is away.
func TestChecked_NoVerdict(t *testing.T) {
	for name, meanwhile := range map[string]func(*under){
		"moved":  func(u *under) { u.store.logs[alice] = &log{head: head("aa", 6)} },
		"erased": func(u *under) { delete(u.store.logs, alice) },
	} {
		u, mismatches := checked(1)
		want := u.bag.held[alice].Window.Between(8, 99)
		u.store.beforeLoad = func() { meanwhile(u) }
		got, origin, err := u.Snapshot(t.Context(), alice, 8)
		if err != nil || origin != window.FromBag || *mismatches != 0 || !cmp.Equal(got.Window, want, cmpopts.EquateEmpty()) {
			t.Errorf("%s: %v from %v, %v, %d mismatches", name, got, origin, err, *mismatches)
		}
	}
}
