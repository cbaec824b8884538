package store

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/run"
	"echotally/internal/store/keyfile"
)

var kills = flag.Int("kills", 20, "how often TestKilledAtAnyMoment kills the process that records ten times as many studies")

// childFolder names the folder in which this binary, run again, records until
// it is killed.
const childFolder = "ECHOTALLY_LEDGER_TEST_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childFolder); dir != "" {
		if err := recordForEver(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// recordForEver records studies and tells of each when it is on disk.
func recordForEver(dir string) error {
	key, err := keyfile.Make(filepath.Join(dir, "key"))
	if err != nil {
		return err
	}
	s, err := Open(context.Background(), filepath.Join(dir, "ledger.db"), Options{Key: key})
	if err != nil {
		return err
	}
	var first, end int
	if _, err := fmt.Sscan(os.Getenv(childFolder+"_SPAN"), &first, &end); err != nil {
		return err
	}
	for n := first; n < end; n++ {
		r, err := s.Record(context.Background(), invented(n), plainAuditor())
		if err != nil {
			return err
		}
		fmt.Printf("%d %s\n", n, r.Objects[0].SHA256)
	}
	return s.Close()
}

// invented is the n-th of many small studies.
func invented(n int) *run.Study {
	uid := fmt.Sprintf("2.25.9.%d", n)
	digest := sha256.Sum256([]byte(uid))
	report := &echo.Study{
		StudyInstanceUID: uid, StudyDate: "20261031", Identity: echo.Identity{PatientID: echo.Protected("P" + uid)},
		Documents: []echo.Document{{SOPInstanceUID: uid + ".1", CompletionFlag: "COMPLETE", ContentTime: "20261031100000"}},
		Measurements: []echo.Measurement{{
			Measurand: "heart-rate", ConceptName: coding.CodedConcept{CodeValue: "8867-4", CodingSchemeDesignator: "LN", CodeMeaning: "Heart rate"},
			ValueText: strconv.Itoa(50 + n%50), Role: echo.Result, Source: echo.Source{SOPInstanceUID: uid + ".1", Item: "1.1"},
		}},
	}
	return &run.Study{
		StudyInstanceUID: uid,
		Reports:          map[string]*echo.Study{"in.dcm": report},
		Objects:          []run.Object{{Path: "in.dcm", SHA256: hex.EncodeToString(digest[:]), SOPInstanceUID: uid + ".1", StudyInstanceUID: uid, State: run.Read}},
	}
}

// plainAuditor judges by two rules of its own.
func plainAuditor() Auditor {
	return Auditor{
		Program: "test", RuleSet: judgement.Library{Version: "1", Digest: "0123456789ab", Rules: 2},
		Compose: func(reports []*echo.Study, _ []*echo.Image) *echo.Study {
			if len(reports) == 0 {
				return nil
			}
			return extract.Merge(reports)
		},
		Judge: func(s *echo.Study) (*Judged, error) {
			return JudgedOf(&judgement.Judgement{
				StudyInstanceUID: s.StudyInstanceUID, Library: judgement.Library{Version: "1", Digest: "0123456789ab"},
				Protocols: finding.Protocols{Base: finding.Chosen{Identifier: "adult", Reason: "test"}},
				Results: []finding.Result{
					{Rule: "a/present", About: &finding.About{Identifier: "a/present", Version: "1.0.0", Title: "Present", Kind: finding.Completeness}, Outcome: finding.Pass, Severity: finding.Warning},
					{Rule: "b/fits", About: &finding.About{Identifier: "b/fits", Version: "1.0.0", Title: "Fits", Kind: finding.Consistency}, Outcome: finding.Fail, Severity: finding.Error, Message: "50 is not 60"},
				},
			}), nil
		},
	}
}

// TestKilledAtAnyMoment kills the recording process again and again, by a
// signal that it cannot hear, and looks whether all it told of is there once.
func TestKilledAtAnyMoment(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	const seed = 7
	random := rand.New(rand.NewPCG(seed, uint64(*kills)))
	studies := 10 * *kills
	told, next, killed := map[int]string{}, 0, 0
	for killed < *kills {
		// Each life begins a little before where the last one ended, and lasts for
		// about its share of the studies. Some end while the ledger is being opened.
		life := random.IntN(21)
		if life == 0 {
			life = -1
		}
		cmd := exec.Command(self)
		cmd.Env = append(os.Environ(), childFolder+"="+dir, fmt.Sprintf("%s_SPAN=%d %d", childFolder, max(0, next-3), studies))
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if life < 0 {
			time.AfterFunc(time.Duration(random.IntN(60_000))*time.Microsecond, func() { _ = cmd.Process.Kill() })
		}
		ended := read(out, told, &next, studies, life, func() {
			time.Sleep(time.Duration(random.IntN(4000)) * time.Microsecond)
			_ = cmd.Process.Kill() // it may have come to its end by itself
		})
		if err := cmd.Wait(); err == nil && !ended {
			t.Fatal("the child ended early")
		}
		killed++
		if ended {
			next = random.IntN(studies) // all is recorded: the rest is killed among known ones
		}
	}
	b := &bench{T: t, dir: dir}
	b.store = b.open()
	b.holds()
	for n := range studies {
		r, err := b.store.Record(context.Background(), invented(n), plainAuditor())
		if err != nil {
			t.Fatal(err)
		}
		if sum, ok := told[n]; ok && (r.New || r.Objects[0].New || r.Judged || r.Objects[0].SHA256 != sum) {
			t.Errorf("study %d was told of and is not there: %+v", n, r)
		}
	}
	for table, want := range map[string]int{"study": studies, "object": studies, "reading": studies, "judgement": studies} {
		if got := b.count(table); got != want {
			t.Errorf("%s: %d rows, want %d", table, got, want)
		}
	}
	b.holds()
	t.Logf("killed %d times (seed %d), %d of %d studies told of before the last", killed, seed, len(told), studies)
}

// read takes note of whole lines until the child is gone; after life of them it
// has the child killed. It tells whether the child came to the last study.
func read(out interface{ Read([]byte) (int, error) }, told map[int]string, next *int, studies, life int, kill func()) (ended bool) {
	lines := bufio.NewReader(out)
	for n := 0; ; n++ {
		if n == life {
			go kill()
		}
		line, err := lines.ReadString('\n')
		if err != nil {
			return ended // a line without its end was not told
		}
		number, sum, ok := strings.Cut(strings.TrimSpace(line), " ")
		study, err := strconv.Atoi(number)
		if !ok || err != nil {
			continue
		}
		told[study], *next = sum, study+1
		ended = study == studies-1
	}
}
