package desk

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestAnInboxIsLookedAtWhenAStudyComesToRest: not earlier and not later, whatever else
// waits; where nothing does, in time for what may come, and never less often than it
// should.
func TestAnInboxIsLookedAtWhenAStudyComesToRest(t *testing.T) {
	now := time.Date(2026, 10, 3, 8, 0, 0, 0, time.UTC)
	r := &Recorder{Desk: &Desk{Now: func() time.Time { return now }}}
	type came struct{ folder, file time.Duration } // ago
	for _, tt := range []struct {
		name        string
		quiet, pace time.Duration
		studies     []came
		want        time.Duration
	}{
		{"nothing waits", 30 * time.Second, time.Hour, nil, 30 * time.Second},
		{"nothing waits, recorded at once", 0, time.Hour, nil, hurry},
		{"one waits", 30 * time.Second, time.Hour, []came{{20 * time.Second, 20 * time.Second}}, 10 * time.Second},
		{"a file changed after its folder", 30 * time.Second, time.Hour, []came{{40 * time.Second, 18 * time.Second}}, 12 * time.Second},
		{"two wait", 30 * time.Second, time.Hour, []came{{5 * time.Second, 5 * time.Second}, {29 * time.Second, 29 * time.Second}}, time.Second},
		{"the pace", 30 * time.Second, time.Second, []came{{5 * time.Second, 5 * time.Second}}, time.Second},
		{"a clock that went back", 30 * time.Second, time.Minute, []came{{-time.Hour, -time.Hour}}, 30 * time.Second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := Inbox{Waiting: t.TempDir(), Recorded: t.TempDir(), Quiet: tt.quiet, Pace: tt.pace}
			for n, c := range tt.studies {
				folder := filepath.Join(in.Waiting, string(rune('a'+n)))
				file := filepath.Join(folder, "1.dcm")
				if err := os.Mkdir(folder, 0o700); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, nil, 0o600); err != nil {
					t.Fatal(err)
				}
				for path, ago := range map[string]time.Duration{file: c.file, folder: c.folder} {
					if err := os.Chtimes(path, now.Add(-ago), now.Add(-ago)); err != nil {
						t.Fatal(err)
					}
				}
			}
			if next, err := r.rested(t.Context(), in); err != nil || next != tt.want {
				t.Errorf("looked at again after %v, want %v; %v", next, tt.want, err)
			}
		})
	}
}
