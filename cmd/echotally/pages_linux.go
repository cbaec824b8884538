package main

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"

	"golang.org/x/sys/unix"
)

// youngHeap is how much a heap holds in which nothing was loaded yet, in bytes.
const youngHeap = 8 << 20

// inLargePages has the system back so many bytes that a young heap will grow into with large
// pages, where it gives them to who asks: a cold start does little else than touch new
// memory, and on virtual machines each of thousands of small pages costs more than what is
// done in it. A system without large pages ignores it.
func inLargePages(size int) {
	held := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	if metrics.Read(held); held[0].Value.Uint64() > youngHeap {
		return
	}
	percent := debug.SetGCPercent(-1) // one collection, not a second for the size of the room
	defer debug.SetGCPercent(percent)
	room := make([]byte, size)
	if unix.Madvise(room, unix.MADV_HUGEPAGE) == nil {
		runtime.GC() // gives the room back to the heap, as it is
	}
}
