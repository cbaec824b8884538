// Package trail owns the access log: who saw or changed what, and when, in the words
// of DICOM PS3.15 annex A.5, one line of JSON per event in a file that is only added
// to.
//
// Each line carries a hash over the line before, so that a line taken out or changed
// shows. It names staff and studies (by Study Instance UID), never a patient.
package trail

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"sync"
	"time"

	"echotally/internal/layout"
)

// EventID is what kind of event it is (PS3.16 CID 400).
type EventID string

// Kinds of events, by their code meanings.
const (
	ApplicationActivity EventID = "Application Activity"
	AuditLogUsed        EventID = "Audit Log Used"
	Export              EventID = "Export"
	Import              EventID = "Import"
	PatientRecord       EventID = "Patient Record"   // a page that shows who a study is of
	ProcedureRecord     EventID = "Procedure Record" // a page about a study without its patient
	Query               EventID = "Query"
	SecurityAlert       EventID = "Security Alert"
	UserAuthentication  EventID = "User Authentication"
)

// Action is what was done (EventActionCode).
type Action string

// Actions.
const (
	Create  Action = "C"
	Read    Action = "R"
	Update  Action = "U"
	Delete  Action = "D"
	Execute Action = "E"
)

// Outcome is how it ended (EventOutcomeIndicator).
type Outcome int

// Outcomes.
const (
	Success      Outcome = 0
	MinorFailure Outcome = 4 // refused
	MajorFailure Outcome = 12
)

// Event is one line of the log.
type Event struct {
	Number                int       `json:"number"`
	EventDateTime         time.Time `json:"eventDateTime"`
	EventID               EventID   `json:"eventID"`
	EventActionCode       Action    `json:"eventActionCode"`
	EventOutcomeIndicator Outcome   `json:"eventOutcomeIndicator"`
	EventTypeCode         string    `json:"eventTypeCode,omitempty"`       // Login, Logout, or what was asked for
	UserID                string    `json:"userID,omitempty"`              // the account
	RoleIDCode            string    `json:"roleIDCode,omitempty"`          // its roles
	NetworkAccessPointID  string    `json:"networkAccessPointID"`          // address of the machine it was asked from
	ParticipantObjectID   string    `json:"participantObjectID,omitempty"` // Study Instance UID, or what else it is about
	Hash                  string    `json:"hash"`                          // SHA-256 over the hash before and this line
}

// Log is an open access log. It may be used from several goroutines.
type Log struct {
	name string
	now  func() time.Time

	lock   sync.Mutex
	file   *os.File
	number int
	hash   string

	proving sync.Mutex
	proved  proved
}

// proved is how far the log was read through, and what that came to.
type proved struct {
	Proof
	upTo  int64     // bytes
	whole time.Time // on the wall clock, when it was read from its beginning
}

// longestLine bounds a line, in bytes.
const longestLine = 64 << 10

// Open opens the log, makes it when it is not there, and goes on from its last line.
// Half a line that a crash left is ended.
func Open(name string, now func() time.Time) (*Log, error) {
	l := &Log{name: name, now: now}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open access log: %w", reasonOf(err))
	}
	l.file = f
	proof, err := check(f)
	if err == nil && proof.torn {
		_, err = f.WriteString("\n")
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("open access log: %w", reasonOf(err))
	}
	l.number, l.hash = proof.Events, proof.Head
	return l, nil
}

func reasonOf(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err
	}
	return err
}

// Close closes the log.
func (l *Log) Close() error { return l.file.Close() }

// Add writes an event; number, time and hash are given to it here. What is logged
// must be in the log before it is shown, so an error keeps it from being shown.
func (l *Log) Add(e Event) error {
	l.lock.Lock()
	defer l.lock.Unlock()
	e.Number, e.EventDateTime = l.number+1, l.now().UTC()
	e.Hash = hashOf(l.hash, e)
	line, err := json.Marshal(e)
	if err == nil {
		_, err = l.file.Write(append(line, '\n'))
	}
	if err != nil {
		return fmt.Errorf("write access log: %w", reasonOf(err))
	}
	l.number, l.hash = e.Number, e.Hash
	return nil
}

func hashOf(before string, e Event) string {
	e.Hash = ""
	line, _ := json.Marshal(e) // of plain values
	sum := sha256.Sum256(append([]byte(before+"\n"), line...))
	return hex.EncodeToString(sum[:])
}

// Proof is what reading the log through came to.
type Proof struct {
	Events int
	Head   string   // hash of the last line
	Faults []string // lines that do not follow from the one before

	torn  bool // the last line has no end
	lines int
}

// Check reads the log through.
func (l *Log) Check() (*Proof, error) {
	f, err := os.Open(l.name)
	if err != nil {
		return nil, fmt.Errorf("read access log: %w", reasonOf(err))
	}
	defer f.Close()
	return check(f)
}

// aWhile is how long a look at the log need not read again what was read through
// before (site choice).
const aWhile = 5 * time.Minute

// CheckNew is Check for a page that is asked for often: what was read through less than
// five minutes ago is not read again, only what was added since.
func (l *Log) CheckNew() (*Proof, error) {
	l.proving.Lock()
	defer l.proving.Unlock()
	f, err := os.Open(l.name)
	if err != nil {
		return nil, fmt.Errorf("read access log: %w", reasonOf(err))
	}
	defer f.Close()
	l.lock.Lock() // so that it ends with a whole line
	info, err := f.Stat()
	l.lock.Unlock()
	if err != nil {
		return nil, fmt.Errorf("read access log: %w", reasonOf(err))
	}
	from := l.proved
	if time.Since(from.whole) > aWhile || info.Size() < from.upTo {
		from = proved{whole: time.Now()}
	}
	p := from.Proof
	p.Faults = slices.Clone(p.Faults)
	if err := p.check(io.NewSectionReader(f, from.upTo, info.Size()-from.upTo)); err != nil {
		return nil, err
	}
	l.proved = proved{p, info.Size(), from.whole}
	return &p, nil
}

func check(r io.Reader) (*Proof, error) {
	p := &Proof{}
	return p, p.check(r)
}

// check goes on with the lines that r has.
func (p *Proof) check(r io.Reader) error {
	line := p.lines
	torn, err := lines(r, func(text []byte) error {
		line++
		var e Event
		switch err := json.Unmarshal(text, &e); {
		case err != nil:
			p.fault("line %d is damaged", line)
			return nil
		case e.Number != p.Events+1, e.Hash != hashOf(p.Head, e):
			p.fault("line %d does not follow from the line before", line)
		}
		p.Events, p.Head = e.Number, e.Hash
		return nil
	})
	p.torn, p.lines = torn, line
	return err
}

// mostFaults bounds what is told of a log that is damaged all over.
const mostFaults = 20

func (p *Proof) fault(format string, args ...any) {
	if len(p.Faults) < mostFaults {
		p.Faults = append(p.Faults, fmt.Sprintf(format, args...))
	}
}

// lines hands on each line; torn says that the last has no end.
func lines(r io.Reader, each func([]byte) error) (torn bool, err error) {
	in := bufio.NewReaderSize(r, longestLine)
	for {
		text, err := in.ReadSlice('\n')
		switch {
		case len(text) == 0 && errors.Is(err, io.EOF):
			return torn, nil
		case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull):
			return torn, err
		}
		torn = !bytes.HasSuffix(text, []byte("\n"))
		if text = bytes.TrimSpace(text); len(text) > 0 {
			if err := each(text); err != nil {
				return torn, err
			}
		}
	}
}

// Last gives the last events, the newest first, at most so many.
func (l *Log) Last(most int) ([]Event, error) {
	f, err := os.Open(l.name)
	if err != nil {
		return nil, fmt.Errorf("read access log: %w", reasonOf(err))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("read access log: %w", reasonOf(err))
	}
	var out []Event
	for reach := int64(most) << 9; ; reach *= 4 { // from the end, until there are enough
		from := max(0, info.Size()-reach)
		out = out[:0]
		part := bufio.NewReader(io.NewSectionReader(f, from, info.Size()-from))
		if from > 0 {
			if _, err = part.ReadString('\n'); err != nil && !errors.Is(err, io.EOF) { // of a line only its end
				break
			}
		}
		err = events(part, func(e Event) error { out = append(out, e); return nil })
		if err != nil || from == 0 || len(out) >= most {
			break
		}
	}
	out = out[max(0, len(out)-most):]
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out, err
}

func (l *Log) each(to func(Event) error) error {
	f, err := os.Open(l.name)
	if err != nil {
		return fmt.Errorf("read access log: %w", reasonOf(err))
	}
	defer f.Close()
	return events(f, to)
}

func events(r io.Reader, to func(Event) error) error {
	_, err := lines(r, func(text []byte) error {
		var e Event
		if json.Unmarshal(text, &e) != nil {
			return nil // Check tells of it
		}
		return to(e)
	})
	return err
}

// CSV writes the log as a table, oldest first.
func (l *Log) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	err := layout.Row(out, "Number", "EventDateTime", "EventID", "EventActionCode", "EventOutcomeIndicator", "EventTypeCode",
		"UserID", "RoleIDCode", "NetworkAccessPointID", "ParticipantObjectID", "Hash")
	if err == nil {
		err = l.each(func(e Event) error {
			return layout.Row(out, strconv.Itoa(e.Number), e.EventDateTime.Format(time.RFC3339), string(e.EventID), string(e.EventActionCode),
				strconv.Itoa(int(e.EventOutcomeIndicator)), e.EventTypeCode, e.UserID, e.RoleIDCode, e.NetworkAccessPointID, e.ParticipantObjectID, e.Hash)
		})
	}
	out.Flush()
	return errors.Join(err, out.Error())
}
