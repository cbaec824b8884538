package desk

import (
	"sync/atomic"

	"echotally/internal/library"
)

// InForce is the desk at which new work begins, while rules may be renewed at any
// time. Who begins something takes the desk once and keeps to it, so that no study is
// read by one library and judged by another.
type InForce struct{ now atomic.Pointer[Desk] }

// NewInForce begins with a desk.
func NewInForce(d *Desk) *InForce {
	f := &InForce{}
	f.now.Store(d)
	return f
}

// Desk is the desk of now.
func (f *InForce) Desk() *Desk { return f.now.Load() }

// Renew has what is begun from now on read and judged by another library. What was
// judged before stays as it is kept.
func (f *InForce) Renew(lib *library.Library) {
	d := f.now.Load()
	f.now.Store(&Desk{Library: lib, SoftwareVersion: d.SoftwareVersion, Now: d.Now, Stdin: d.Stdin, Log: d.Log, Progress: d.Progress, Workers: d.Workers})
}
