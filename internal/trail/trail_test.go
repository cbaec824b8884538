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
