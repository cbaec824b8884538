package requestor

import (
	"bufio"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"
)

// TestClosingWaitsForNobody: a peer that does not answer a release, or does not even read
// it, is hung up on after a short while, however long an answer may take.
func TestClosingWaitsForNobody(t *testing.T) {
	for what, reads := range map[string]bool{"says nothing": true, "reads nothing": false} {
		t.Run(what, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { // its clock is its own
				ours, theirs := net.Pipe()
				r := &Requestor{conn: ours, in: bufio.NewReader(ours), idle: time.Hour, stop: func() bool { return true }}
				if reads {
					go func() { _, _ = io.Copy(io.Discard, theirs) }()
				}
				begun := time.Now()
				r.Close()
				if took := time.Since(begun); took > 2*farewell {
					t.Errorf("closed after %v", took)
				}
				if _, err := ours.Write([]byte{0}); err == nil {
					t.Error("the connection is still there")
				}
				theirs.Close()
			})
		})
	}
}
