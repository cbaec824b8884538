package bench

import (
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"echotally/internal/dcmtest"
)

// Folder is the environment variable that names a folder of files to read instead
// of made ones.
const Folder = "ECHOTALLY_BENCH_FILES"

// Read measures reading files, once each and one after the other: take gets the
// bytes of one. It reports processor seconds, of the collector as well, and how
// much was read in one of them. Files on disk are read from there within the
// measured time.
func Read(b *testing.B, take func([]byte)) {
	next, count := files(b)
	runtime.GC() // what making the files left behind is not to be measured
	var bytes int64
	b.ReportAllocs()
	start := cpu(b)
	b.ResetTimer()
	for range b.N {
		for i := range count {
			file := next(i)
			bytes += int64(len(file))
			take(file)
		}
	}
	spent := cpu(b) - start
	b.SetBytes(bytes / int64(b.N))
	b.ReportMetric(spent.Seconds()/float64(b.N), "cpu-s/op")
	b.ReportMetric(float64(bytes)/1e6/spent.Seconds(), "MB/cpu-s")
	b.ReportMetric(float64(count*b.N)/spent.Seconds(), "reports/cpu-s")
}

// files gives the files of the folder, or reports of about 140 kB.
func files(b *testing.B) (file func(int) []byte, count int) {
	if dir := os.Getenv(Folder); dir != "" {
		paths, err := filepath.Glob(filepath.Join(dir, "*.dcm"))
		if err != nil || len(paths) == 0 {
			b.Fatalf("%d files in %s, %v", len(paths), dir, err)
		}
		return func(i int) []byte {
			file, err := os.ReadFile(paths[i])
			if err != nil {
				b.Fatal(err)
			}
			return file
		}, len(paths)
	}
	var made [][]byte
	for _, d := range Reports(140_000, 20) {
		made = append(made, dcmtest.Encode(d, dcmtest.Encoding{DefinedLengths: true}))
	}
	return func(i int) []byte { return made[i] }, len(made)
}

// cpu is the processor time of this process so far.
func cpu(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
