package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"echotally/internal/bench"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/dimse/requestor"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

var objectsSent = flag.Int("objects", 48, "how many objects TestEveryAcknowledgedObjectIsRecordedOnce sends")

// TestEveryAcknowledgedObjectIsRecordedOnce: DCMTK sends reports in each of their
// transfer syntaxes and compressed images, in four associations at a time; each object
// that was acknowledged is in the ledger, once.
func TestEveryAcknowledgedObjectIsRecordedOnce(t *testing.T) {
	for _, program := range []string{"storescu", "dcmcrle", "dcmcjpeg"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skip("DCMTK is not installed: nothing was sent by another program")
		}
	}
	dir := t.TempDir()
	ledger, spool, config := filepath.Join(dir, "lab.db"), filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte("quietSeconds: 0.3\nspool: "+spool+"\ndicom: {listen: \"127.0.0.1:0\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := begin(t, "serve", "--config", config, "--store", ledger, "--key", filepath.Join(dir, "key"))
	host, port, _ := net.SplitHostPort(p.listening(t, "DICOM")["DICOM"])
	ways := []struct{ option, syntax, compress string }{
		{"-xi", dcm.ImplicitVRLittleEndian, ""}, {"-xe", dcm.ExplicitVRLittleEndian, ""}, {"-xb", dcm.ExplicitVRBigEndian, ""}, {"-xd", dcm.DeflatedExplicitVRLittleEndian, ""},
		{"-xr", "", "dcmcrle"}, {"-xs", "", "dcmcjpeg"},
	}
	queue := make(chan int, len(ways))
	var wait sync.WaitGroup
	acknowledged := make([]bool, *objectsSent)
	for range 4 {
		wait.Go(func() {
			for way := range queue {
				sent := filepath.Join(dir, fmt.Sprint("way", way))
				out, err := exec.Command("storescu", "-v", "-R", ways[way].option, "+sd", host, port, sent).CombinedOutput()
				if err != nil {
					t.Errorf("%s: %v", ways[way].option, err)
				}
				for _, m := range regexp.MustCompile(`Sending file: \S*?(\d+)\.dcm\s(?:.*\n){1,8}?.*Received Store Response \(Success\)`).FindAllSubmatch(out, -1) {
					n, _ := strconv.Atoi(string(m[1]))
					acknowledged[n] = true
				}
			}
		})
	}
	compressed := map[string][]byte{}
	const firstStudy, firstInstance = "2.25.88000000", "2.25.77000000"
	for n := range *objectsSent {
		way := ways[n%len(ways)]
		name := filepath.Join(dir, fmt.Sprint("way", n%len(ways)), fmt.Sprint(n, ".dcm"))
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			t.Fatal(err)
		}
		study, instance := fmt.Sprintf("2.25.88%06d", n/12), fmt.Sprintf("2.25.77%06d", n)
		if way.compress != "" {
			// Compressed once by DCMTK; the identifiers are of one length.
			if compressed[way.compress] == nil {
				compressed[way.compress] = compressedImage(t, way.compress, firstStudy, firstInstance)
			}
			image := bytes.ReplaceAll(bytes.ReplaceAll(compressed[way.compress], []byte(firstStudy), []byte(study)), []byte(firstInstance), []byte(instance))
			if err := os.WriteFile(name, image, 0o600); err != nil {
				t.Fatal(err)
			}
		} else if err := os.WriteFile(name, dcmtest.Encode(srtest.Report(t, servedText(study, instance, 40+n%60)), dcmtest.Encoding{TransferSyntax: way.syntax}), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for way := range ways {
		queue <- way
	}
	close(queue)
	wait.Wait()
	if i := slices.Index(acknowledged, false); i >= 0 {
		t.Errorf("object %d was not acknowledged", i)
	}
	p.emptied(t, spool)
	p.end(t)
	reports, images := 0, 0
	for n := range *objectsSent {
		if ways[n%len(ways)].compress == "" {
			reports++
		} else {
			images++
		}
	}
	out, code := perform("ledger", "stats", "--store", ledger)
	if want := fmt.Sprintf("objects       %d read\n", reports+images); code != 0 || !strings.Contains(out, want) || !strings.Contains(out, fmt.Sprintf("studies       %d,", (*objectsSent+11)/12)) || strings.Contains(out, "refused") {
		t.Errorf("%d: %s\nwant %s", code, out, want)
	}
	cpu := p.ProcessState.UserTime() + p.ProcessState.SystemTime()
	t.Logf("%d reports and %d images in 4 associations: %v of processor time", reports, images, cpu.Round(time.Millisecond))
}

// compressedImage is an image as a program of DCMTK compresses it.
func compressedImage(t *testing.T, program, study, instance string) []byte {
	t.Helper()
	raw, out := filepath.Join(t.TempDir(), "raw.dcm"), filepath.Join(t.TempDir(), "compressed.dcm")
	if err := os.WriteFile(raw, servedImage(t, study, instance, 64), 0o600); err != nil {
		t.Fatal(err)
	}
	if said, err := exec.Command(program, raw, out).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", program, err, said)
	}
	image, err := os.ReadFile(out)
	if err != nil || !bytes.Contains(image, []byte(instance)) || !bytes.Contains(image, []byte(study)) {
		t.Fatalf("%s: no image with its identifiers: %v", program, err)
	}
	return image
}

// servedImage is an ultrasound image with so many rows of 64 grey pixels.
func servedImage(t testing.TB, study, instance string, rows int) []byte {
	t.Helper()
	var b bytes.Buffer
	err := dcm.Write(&b, dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.6.1"), dcm.Strings(dcm.T(0x00080018), instance), dcm.Strings(dcm.T(0x00080020), "20261003"), dcm.Strings(dcm.T(0x00080060), "US"),
		dcm.Strings(dcm.T(0x0020000D), study), dcm.Strings(dcm.T(0x0020000E), study+".1"), dcm.Ints(dcm.T(0x00280002), 1), dcm.Strings(dcm.T(0x00280004), "MONOCHROME2"),
		dcm.Ints(dcm.T(0x00280010), rows), dcm.Ints(dcm.T(0x00280011), 64), dcm.Ints(dcm.T(0x00280100), 8), dcm.Ints(dcm.T(0x00280101), 8), dcm.Ints(dcm.T(0x00280102), 7), dcm.Ints(dcm.T(0x00280103), 0),
		dcm.Private(dcm.T(0x7FE00010), "OB", bytes.Repeat([]byte{7}, rows*64))))
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestServeStandsHostilePeers: idle, half-open, slow and lying peers of both receivers,
// more than there are places for, take little memory, and who sends an object after
// them is served.
func TestServeStandsHostilePeers(t *testing.T) {
	dir := t.TempDir()
	spool, config := filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml")
	text := "quietSeconds: 0\nspool: " + spool + "\ndicom: {listen: \"127.0.0.1:0\", title: LAB, idleSeconds: 1}\nstow: {listen: \"127.0.0.1:0\", idleSeconds: 1}\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := begin(t, "serve", "--config", config, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
	at := p.listening(t, "DICOM", "STOW-RS")
	if !storeOverWeb(at["STOW-RS"], servedReport(t, "2.25.88", "2.25.770", 60)) {
		t.Fatal("not stored")
	}
	p.emptied(t, spool)
	before := p.peakMemory(t)
	head := "POST /dicomweb/studies HTTP/1.1\r\nHost: x\r\nContent-Type: multipart/related; type=\"application/dicom\"; boundary=b\r\nContent-Length: 100000000\r\n\r\n--b\r\nContent-Type: application/dicom\r\n\r\n"
	says := []string{"", "\x01\x00\x00\x00\xFF", "\x01\x00\xFF\xFF\xFF\xFF", strings.Repeat("\xEE", 1<<20), head, head + strings.Repeat("x", 1<<20)}
	var open []net.Conn
	for n := range 1000 {
		c, err := net.Dial("tcp", at[[]string{"DICOM", "STOW-RS"}[n%2]])
		if err != nil {
			continue // its queue is full
		}
		open = append(open, c)
		_ = c.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
		_, _ = c.Write([]byte(says[n/2%len(says)])) // it may have hung up
	}
	served := func(what string, store func() bool) {
		for try := 0; !store(); try++ {
			if try == 200 {
				t.Fatalf("%s: nobody is served any more\n%s", what, p.stderr.String())
			}
			time.Sleep(100 * time.Millisecond)
		}
	}
	served("STOW-RS", func() bool { return storeOverWeb(at["STOW-RS"], servedReport(t, "2.25.88", "2.25.771", 61)) })
	served("DICOM", func() bool {
		r, err := requestor.Call(context.Background(), requestor.Peer{Address: at["DICOM"], Called: "LAB", Calling: "A", Connect: 5 * time.Second, Idle: 5 * time.Second}, requestor.Verify())
		if err != nil {
			return false
		}
		defer r.Close()
		return r.Echo() == nil
	})
	if _, err := requestor.Call(context.Background(), requestor.Peer{Address: at["DICOM"], Called: "OTHER", Calling: "A", Connect: 5 * time.Second, Idle: 5 * time.Second}, requestor.Verify()); err == nil {
		t.Error("another title was answered to")
	}
	after := p.peakMemory(t)
	for _, c := range open {
		c.Close()
	}
	p.emptied(t, spool)
	p.end(t)
	t.Logf("peak memory %d MB before, %d MB after %d hostile peers", before>>20, after>>20, len(open))
	if after-before > 128<<20 {
		t.Errorf("%d MB more", (after-before)>>20)
	}
}

// peakMemory is what the process has held at most, in bytes.
func (p *atWork) peakMemory(t *testing.T) int64 {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		t.Skip("no /proc here: memory was not looked at")
	}
	m := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(status)
	kB, err := strconv.ParseInt(string(m[1]), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return kB << 10
}

// BenchmarkServe sends fifty objects a second, of five scanners, each study a report of
// 20 kB and nine images of 200 kB. It reports how long after the last object of a study
// was acknowledged, and the quiet time was over, its findings are in the ledger: half
// of the studies and 99 of 100 are there so soon.
func BenchmarkServe(b *testing.B) {
	const (
		scanners, perStudy = 5, 10
		quiet              = 500 * time.Millisecond
	)
	dir := b.TempDir()
	config := filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, fmt.Appendf(nil, "quietSeconds: %g\nspool: %s/spool\ndicom: {listen: \"127.0.0.1:0\"}\nweb: {listen: \"\"}\n", quiet.Seconds(), dir), 0o600); err != nil {
		b.Fatal(err)
	}
	const studies = 150
	reports := bench.Reports(20_000, studies)
	for n := range reports { // every study is of another person
		reports[n].Set(dcm.Strings(dcm.T(0x00100020), fmt.Sprint("P", n)))
	}
	p := begin(b, "serve", "--config", config, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
	address, told := p.told(b)
	for b.Loop() {
		var (
			wait sync.WaitGroup
			lock sync.Mutex
			last = map[string]time.Time{}
		)
		begun := time.Now()
		for s := range scanners {
			wait.Go(func() {
				for n := s; n < studies; n += scanners {
					r, err := requestor.Call(context.Background(), requestor.Peer{Address: address, Called: "LAB", Calling: "SCANNER", Connect: time.Minute, Idle: time.Minute},
						requestor.Offer{Class: "1.2.840.10008.5.1.4.1.1.6.1", Transfer: []string{dcm.ExplicitVRLittleEndian}}, requestor.Offer{Class: reports[n].UID(dcm.T(0x00080016)), Transfer: []string{dcm.ExplicitVRLittleEndian}})
					if err != nil {
						b.Error(err)
						return
					}
					study := reports[n].UID(dcm.T(0x0020000D))
					for k := range perStudy {
						time.Sleep(time.Until(begun.Add(time.Duration((n/scanners)*perStudy+k) * time.Second / (50 / scanners))))
						o := requestor.Outgoing{Class: "1.2.840.10008.5.1.4.1.1.6.1", Instance: fmt.Sprint(study, ".", k)}
						content := reports[n]
						if k == perStudy/2 {
							o.Class, o.Instance = content.UID(dcm.T(0x00080016)), content.UID(dcm.T(0x00080018))
						} else {
							content = dcm.New(dcm.Strings(dcm.T(0x00080016), o.Class), dcm.Strings(dcm.T(0x00080018), o.Instance), dcm.Strings(dcm.T(0x00080020), "20261003"), dcm.Strings(dcm.T(0x00080060), "US"),
								dcm.Strings(dcm.T(0x00100020), fmt.Sprint("P", n)), dcm.Strings(dcm.T(0x0020000D), study), dcm.Ints(dcm.T(0x00280010), 400), dcm.Ints(dcm.T(0x00280011), 500), dcm.Private(dcm.T(0x7FE00010), "OB", make([]byte, 200_000)))
						}
						o.Encoded = func(string) ([]byte, error) { return dcmtest.Encode(content, dcmtest.Encoding{NoMeta: true}), nil }
						if status, err := r.Store(o); err != nil || status != spool.Success {
							b.Error(status, err)
							return
						}
					}
					lock.Lock()
					last[study] = time.Now()
					lock.Unlock()
					r.Close()
				}
			})
		}
		wait.Wait()
		b.ReportMetric(studies*perStudy/time.Since(begun).Seconds(), "objects/s")
		p.emptied(b, filepath.Join(dir, "spool"))
		time.Sleep(quiet)
		var late []float64
		for study, at := range last {
			late = append(late, float64((told(study).Sub(at)-quiet).Microseconds())/1000)
		}
		slices.Sort(late)
		b.ReportMetric(late[len(late)/2], "ms-median")
		b.ReportMetric(late[len(late)*99/100], "ms-99th")
		b.ReportMetric(late[len(late)-1], "ms-last")
	}
	p.end(b)
	cpu := p.ProcessState.UserTime() + p.ProcessState.SystemTime()
	b.ReportMetric(float64(cpu.Milliseconds())/float64(b.N*studies*perStudy), "cpu-ms/object")
	if load, err := os.ReadFile("/proc/loadavg"); err == nil {
		n, _ := strconv.ParseFloat(strings.Fields(string(load))[0], 64)
		b.ReportMetric(n, "load")
	}
}

// told reads where the program serves, and then when it told last of each study.
func (p *atWork) told(t testing.TB) (address string, when func(study string) time.Time) {
	t.Helper()
	line, err := p.output.ReadString('\n')
	if err != nil {
		t.Fatal(err, p.stderr.String())
	}
	var lock sync.Mutex
	at := map[string]time.Time{}
	go func() {
		for {
			line, err := p.output.ReadString('\n')
			if err != nil {
				return
			}
			if fields := strings.Fields(line); fields[0] == "study" {
				lock.Lock()
				at[fields[2]] = time.Now()
				lock.Unlock()
			}
		}
	}()
	return strings.Fields(line)[2], func(study string) time.Time {
		lock.Lock()
		defer lock.Unlock()
		return at[study]
	}
}
