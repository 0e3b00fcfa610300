package main

import (
	"context"
	"runtime/debug"
	"testing"
	"time"
)

// TestMayHold: a bound that follows what the service lives on leaves it room, however
// many are connected.
func TestMayHold(t *testing.T) {
	for _, k := range []struct{ lives, may int64 }{{0, 40 << 20}, {10 << 20, 40 << 20}, {40 << 20, 68 << 20}, {1 << 30, 8<<20 + 3<<29}} {
		if got := mayHold(uint64(k.lives)); got != k.may {
			t.Errorf("a service that lives on %d bytes may hold %d, not %d", k.lives, got, k.may)
		}
	}
}

// TestWatchMemory: the bound is set once there are records, and an operator's stands.
func TestWatchMemory(t *testing.T) {
	before := debug.SetMemoryLimit(-1)
	defer debug.SetMemoryLimit(before)
	const own = 3 << 30
	watch := func(loaded chan struct{}) (stop func()) {
		debug.SetMemoryLimit(own)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() { watchMemory(ctx, loaded); close(ended) }()
		return func() { cancel(); <-ended }
	}
	t.Setenv("GOMEMLIMIT", "")
	loaded := make(chan struct{})
	stop := watch(loaded)
	time.Sleep(20 * time.Millisecond)
	if got := debug.SetMemoryLimit(-1); got != own {
		t.Errorf("the bound is %d before there are records", got)
	}
	close(loaded)
	for end := time.Now().Add(10 * time.Second); debug.SetMemoryLimit(-1) == own && time.Now().Before(end); time.Sleep(time.Millisecond) {
	}
	stop()
	if got := debug.SetMemoryLimit(-1); got < memoryLeast || got == own {
		t.Errorf("the bound is %d once there are records", got)
	}
	t.Setenv("GOMEMLIMIT", "3GiB")
	watch(loaded)()
	if got := debug.SetMemoryLimit(-1); got != own {
		t.Errorf("the operator's bound of %d has become %d", own, got)
	}
}
