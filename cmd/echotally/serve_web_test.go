package main

import (
	"context"
	"net"
	"net/http"
	"os"
	"runtime"
	"sync/atomic"
	"testing"
)

// TestNoRequestOutlastsThePage: what requests write to is closed when it has ended.
func TestNoRequestOutlastsThePage(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	defer end()
	var going atomic.Bool
	dir := t.TempDir()
	site := http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		going.Store(true)
		end()
		<-r.Context().Done()
		for range 100 { // something to do still
			_, _ = os.ReadFile(dir)
			runtime.Gosched()
		}
		going.Store(false)
	})
	go func() {
		if answer, err := http.Get("http://" + l.Addr().String()); err == nil {
			answer.Body.Close()
		}
	}()
	if err := serveUntil(ctx, l, site); err != nil || going.Load() {
		t.Errorf("a request goes on: %v", err)
	}
}
