package origin_test

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"echotally/internal/dcmtest"
	"echotally/internal/dicomweb/origin"
)

// TestHostileSenders: garbage, heads and bodies without end, senders that fall silent
// and parts that never close leave nothing behind, and the next sender is served.
func TestHostileSenders(t *testing.T) {
	s, url := storing(t, func(s *origin.Store) { s.Idle = 300 * time.Millisecond })
	address := strings.TrimSuffix(strings.TrimPrefix(url, "http://"), origin.Base)
	head := "POST " + origin.Base + "/studies HTTP/1.1\r\nHost: x\r\nContent-Type: " + multipartDICOM + "\r\n"
	part := "--MESSAGEBOUNDARY\r\nContent-Type: application/dicom\r\n\r\n"
	for name, sent := range map[string]string{
		"garbage":              strings.Repeat("\xEE", 50_000),
		"a head without end":   head + "X: " + strings.Repeat("x", 100_000),
		"falls silent":         head + "Content-Length: 100000\r\n\r\n" + part + "DICM",
		"a chunk of 16 EiB":    head + "Transfer-Encoding: chunked\r\n\r\nFFFFFFFFFFFFFFFF\r\n",
		"two lengths":          head + "Content-Length: 5\r\nContent-Length: 6\r\n\r\nabcdef",
		"a part's head for us": head + "Transfer-Encoding: chunked\r\n\r\n186A0\r\n--MESSAGEBOUNDARY\r\nX: " + strings.Repeat("x", 100_000-24),
		"parts without end":    head + "Content-Length: 150000\r\n\r\n" + strings.Repeat(part+"\r\n", 2500),
	} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		_, _ = io.WriteString(c, sent) // the peer may have hung up
		_ = c.SetReadDeadline(time.Now().Add(30 * time.Second))
		if _, err := io.Copy(io.Discard, c); err != nil && strings.Contains(err.Error(), "timeout") {
			t.Errorf("%s: the connection does not end", name)
		}
		c.Close()
	}
	if waits := dcmtest.Files(t, s.Spool.Waiting()); len(waits) > 0 {
		t.Errorf("waits: %v", waits)
	}
	r, _ := http.NewRequest(http.MethodPost, url+"/studies", bytes.NewReader(related(object(t, srClass, "2.25.11", "2.25.7"))))
	r.Header.Set("Content-Type", multipartDICOM)
	if status, body, _ := ask(t, r); status != http.StatusOK {
		t.Errorf("after all that: status %d: %s", status, body)
	}
}

// TestAStoreTakesLittleMemory: what is stored goes to the disk as it comes; of requests
// with 16 MB each no more than some buffers is held.
func TestAStoreTakesLittleMemory(t *testing.T) {
	_, url := storing(t, func(s *origin.Store) { s.MostBytes, s.MostRequest = 1<<30, 1<<30 })
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	most := uint64(0)
	for range 4 {
		from, to := io.Pipe()
		go func() {
			_, err := io.WriteString(to, "--MESSAGEBOUNDARY\r\nContent-Type: application/dicom\r\n\r\n")
			for n := 0; n < 256 && err == nil; n++ {
				_, err = to.Write(make([]byte, 1<<16))
			}
			to.CloseWithError(io.EOF)
		}()
		r, _ := http.NewRequest(http.MethodPost, url+"/studies", from)
		r.Header.Set("Content-Type", multipartDICOM)
		if status, _, _ := ask(t, r); status != http.StatusBadRequest { // it is cut
			t.Fatalf("status %d", status)
		}
		runtime.ReadMemStats(&now)
		most = max(most, now.TotalAlloc-before.TotalAlloc)
		before.TotalAlloc = now.TotalAlloc
	}
	if most > 64<<20 {
		t.Errorf("%d MB were allocated for a request of 16 MB", most>>20)
	}
	t.Log(fmt.Sprint(most>>10, " kB allocated for a request of 16 MB, the sender's 16 MB among them"))
}

// FuzzRequest puts whatever a sender may send as body: the answer is one of the
// statuses that are offered, and no more waits than is told.
func FuzzRequest(f *testing.F) {
	good := related(object(f, srClass, "2.25.11", "2.25.7"))
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Add([]byte("--MESSAGEBOUNDARY--"))
	s, url := storing(f, nil)
	told := 0
	f.Fuzz(func(t *testing.T, body []byte) {
		r, _ := http.NewRequest(http.MethodPost, url+"/studies", bytes.NewReader(body))
		r.Header.Set("Content-Type", multipartDICOM)
		status, answer, _ := ask(t, r)
		switch status {
		case 200, 202:
			told += len(parseModule(t, answer).Stored)
		case 400, 409, 413:
		default:
			t.Errorf("status %d: %s", status, answer)
		}
		if waits := len(dcmtest.Files(t, s.Spool.Waiting())); waits != told {
			t.Errorf("%d wait, %d were told", waits, told)
		}
	})
}
