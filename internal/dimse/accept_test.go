package dimse

import (
	ctx "context"
	"net"
	"syscall"
	"testing"

	"github.com/rs/zerolog"
)

// crowded is a listener that finds too many files open, and ends what serves once it is
// asked again.
type crowded struct {
	net.Listener
	asked int
	end   func()
}

func (c *crowded) Accept() (net.Conn, error) {
	if c.asked++; c.asked > 1 {
		c.end()
	}
	return nil, &net.OpError{Op: "accept", Net: "tcp", Err: syscall.EMFILE}
}

// TestTooManyOpenFilesEndNothing: a connection that cannot be taken for now ends no
// provider, for others come after it.
func TestTooManyOpenFilesEndNothing(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	until, end := ctx.WithCancel(t.Context())
	defer end()
	c := &crowded{Listener: l, end: end}
	if err := (&Server{Log: zerolog.Nop(), Associations: 1}).Serve(until, c); err != nil || c.asked < 2 {
		t.Errorf("ended after %d: %v", c.asked, err)
	}
}
