package trail

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func filled(t *testing.T) (string, *Log) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "access.log")
	l, err := Open(name, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	for _, id := range []string{"2.25.1", "2.25.2", "2.25.3"} {
		if err := l.Add(Event{EventID: PatientRecord, EventActionCode: Read, UserID: "=Quill", ParticipantObjectID: id}); err != nil {
			t.Fatal(err)
		}
	}
	return name, l
}

// TestWhatIsTakenOutShows: each line follows from the one before, so that none is
// changed, taken out, or put elsewhere without a trace.
func TestWhatIsTakenOutShows(t *testing.T) {
	name, l := filled(t)
	if p, err := l.Check(); err != nil || p.Events != 3 || len(p.Faults) > 0 {
		t.Fatalf("%+v, %v", p, err)
	}
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(whole), "\n")
	for what, text := range map[string]string{
		"changed":     strings.Replace(string(whole), "2.25.2", "2.25.9", 1),
		"taken out":   lines[0] + lines[2],
		"moved":       lines[1] + lines[0] + lines[2],
		"twice":       lines[0] + lines[0] + lines[1] + lines[2],
		"overwritten": lines[0] + "rubbish\n" + lines[2],
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if p, err := l.Check(); err != nil || len(p.Faults) == 0 {
			t.Errorf("%s: %+v, %v", what, p, err)
		}
	}
}

// TestALogGoesOnAfterACrash: half a line at the end costs no later event.
func TestALogGoesOnAfterACrash(t *testing.T) {
	name, l := filled(t)
	f, err := os.OpenFile(name, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(`{"number":4,"eve`); err != nil {
		t.Fatal(err)
	}
	f.Close()
	l.Close()
	if l, err = Open(name, time.Now); err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if err := l.Add(Event{EventID: Query}); err != nil {
		t.Fatal(err)
	}
	p, err := l.Check()
	if err != nil || p.Events != 4 || len(p.Faults) != 1 {
		t.Errorf("%+v, %v", p, err)
	}
	last, err := l.Last(2)
	if err != nil || len(last) != 2 || last[0].EventID != Query || last[1].ParticipantObjectID != "2.25.3" {
		t.Errorf("%+v, %v", last, err)
	}
}

func TestTheTableHasEveryEvent(t *testing.T) {
	_, l := filled(t)
	var b bytes.Buffer
	if err := l.CSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 4 || rows[1][6] != "'=Quill" || rows[3][9] != "2.25.3" {
		t.Errorf("%q, %v", rows, err)
	}
}

// TestWhatWasReadThroughIsNotReadAgain: a page that is asked for often sees what was added
// since, and that it does not follow.
func TestWhatWasReadThroughIsNotReadAgain(t *testing.T) {
	name, l := filled(t)
	for n := range 5 {
		p, err := l.CheckNew()
		if err != nil || p.Events != 3+n || len(p.Faults) > 0 {
			t.Fatalf("%+v, %v", p, err)
		}
		if whole, err := l.Check(); err != nil || whole.Events != p.Events || whole.Head != p.Head {
			t.Fatalf("read through from its beginning it is %+v, %v", whole, err)
		}
		if err := l.Add(Event{EventID: Query, EventActionCode: Read, UserID: "Quill"}); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, append(text, bytes.SplitAfter(text, []byte("\n"))[1]...), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := l.CheckNew(); err != nil || len(p.Faults) != 1 || !strings.Contains(p.Faults[0], "line 9 ") {
		t.Errorf("a line that was put in is not told: %+v, %v", p, err)
	}
	if err := os.WriteFile(name, text[:len(text)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := l.CheckNew(); err != nil || len(p.Faults) != 1 || p.Events != 3 {
		t.Errorf("a log that was cut off: %+v, %v", p, err)
	}
}

// TestTheLastEventsAreReadFromTheEnd of a log of some length.
func TestTheLastEventsAreReadFromTheEnd(t *testing.T) {
	_, l := filled(t)
	for n := range 300 {
		if err := l.Add(Event{EventID: Query, EventActionCode: Read, UserID: strings.Repeat("x", n%50*20)}); err != nil {
			t.Fatal(err)
		}
	}
	for _, most := range []int{1, 7, 200, 303, 1000} {
		all, err := l.Last(most)
		if err != nil || len(all) != min(most, 303) || all[0].Number != 303 || all[len(all)-1].Number != 303-len(all)+1 {
			t.Errorf("of the last %d there are %d, %v", most, len(all), err)
		}
	}
}
