package notify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"echotally/internal/disk"
)

// memory is what was told last about each thing: by it the same is told once only, and
// what has changed is told as an update.
type memory struct {
	lines *disk.Lines
	last  map[string]told
	least int // lines there were when it was last put in order
}

// told is what was told last about something.
type told struct {
	state, id string
	day       string // as 2026-11-30
}

// Remembered is how long it is known what was told about something (site choice): what
// comes later of a study is told as if it were the first.
const Remembered = 400 * 24 * time.Hour

// slack is how many lines may come before the file is put in order.
const slack = 1000

// recall opens a memory, which need not be there.
func recall(name string) (*memory, error) {
	m := &memory{last: map[string]told{}}
	lines, err := disk.OpenLines(name, func(line string) {
		if f := strings.Fields(line); len(f) == 4 {
			m.last[f[0]] = told{f[1], f[2], f[3]}
		}
	})
	if err != nil {
		return nil, err
	}
	m.lines = lines
	return m, m.tidy()
}

// note notes what was told about something, on the disk.
func (m *memory) note(about string, is told) error {
	if err := m.lines.Add(m.line(about, is)); err != nil {
		return err
	}
	m.last[about] = is
	if m.lines.Count() > 2*m.least+slack {
		return m.tidy()
	}
	return nil
}

func (*memory) line(about string, is told) string {
	return fmt.Sprint(about, " ", is.state, " ", is.id, " ", is.day)
}

// tidy forgets what is old, counted from the day of what was told last, and leaves a line
// for each of what is left.
func (m *memory) tidy() error {
	newest := ""
	for _, is := range m.last {
		newest = max(newest, is.day)
	}
	oldest := ""
	if day, err := time.Parse(time.DateOnly, newest); err == nil {
		oldest = day.Add(-Remembered).Format(time.DateOnly)
	}
	var lines []string
	for about, is := range m.last {
		if is.day < oldest {
			delete(m.last, about)
			continue
		}
		lines = append(lines, m.line(about, is))
	}
	m.least = len(lines)
	if len(lines) == m.lines.Count() {
		return nil
	}
	slices.Sort(lines)
	return m.lines.Replace(lines)
}
