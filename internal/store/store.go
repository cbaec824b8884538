package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"echotally/internal/packed"
	"echotally/internal/store/fault"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/ledgerfile"

	sqlite "modernc.org/sqlite" // the driver, and its errors
	sqlite3 "modernc.org/sqlite/lib"
)

// DefaultFile is the ledger when none is named: in the working folder.
const DefaultFile = "echotally.db"

// applicationID marks a SQLite file as a ledger: "eTly".
const applicationID = 0x65546C79

// busyTimeout is how long a writer waits for another one.
const busyTimeout = 10 * time.Second

// mostIdle is how many connections for reading stay open: each has read the schema and
// prepared its statements. Beside it holds at most a megabyte of the file.
const mostIdle = 32

//go:embed schema/*.sql
var schema embed.FS

// Store is an open ledger. It may be used from several goroutines and by several
// processes; what is written at one time is brought to the disk together.
type Store struct {
	file string
	db   *sql.DB      // for writing; nil when opened read-only
	conn *sql.Conn    // its one connection
	view *sql.DB      // for reading, also while something is written
	key  *keyfile.Key // nil when opened without: identity stays sealed
	now  func() time.Time

	turn     sync.Mutex // whose turn it is to write
	lock     sync.Mutex // for what waits
	waiting  []*work
	written  statements // of db, for who has the turn
	viewed   statements // of view
	parts    *packed.Parts
	ruleSets map[string]*ruleList // by digest, for who has the turn
	held     map[string]bool      // parts seen in the ledger, for who has the turn
	sets     ruleSets             // for who reads
	lastForm atomic.Pointer[ruleForm]
	swept    int // length of the chain of no study by then
}

// Options say how a ledger is opened.
type Options struct {
	Key      *keyfile.Key // needed to record, to give a note and to read an identity
	ReadOnly bool
	Now      func() time.Time // the wall clock when nil
}

func (o Options) now() func() time.Time {
	if o.Now == nil {
		return time.Now
	}
	return o.Now
}

// Open opens the ledger, makes it when it is not there, and brings an older one
// to the current schema version. Opened read-only it must be there.
func Open(ctx context.Context, file string, opt Options) (*Store, error) {
	s := &Store{file: file, key: opt.Key, now: opt.now()}
	s.parts, s.ruleSets = packed.NewParts(s.fetchPart), map[string]*ruleList{}
	if opt.ReadOnly {
		return s, s.openReading(ctx)
	}
	if err := ledgerfile.Regular(file); errors.Is(err, fs.ErrNotExist) {
		if err := ledgerfile.Create(file); err != nil {
			return nil, s.wrap("create ledger", err)
		}
	} else if err != nil {
		return nil, s.wrap("open ledger", err)
	}
	if err := ledgerfile.MayWrite(file); err != nil {
		return nil, s.wrap("open ledger", err)
	}
	db, err := sql.Open("sqlite", dsn(file, nil, "journal_mode(WAL)", "synchronous(FULL)", "secure_delete(ON)"))
	if err != nil {
		return nil, s.wrap("open ledger", err)
	}
	s.db = db
	if s.view, err = sql.Open("sqlite", dsn(file, nil, "query_only(ON)", "cache_size(-1000)")); err != nil {
		db.Close()
		return nil, s.wrap("open ledger", err)
	}
	s.view.SetMaxIdleConns(mostIdle)
	if s.conn, err = db.Conn(ctx); err != nil {
		s.Close()
		return nil, s.wrap("open ledger", err)
	}
	if err = s.migrate(ctx); err == nil {
		err = s.checkKey(ctx, true)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func dsn(file string, query url.Values, pragmas ...string) string {
	if query == nil {
		query = url.Values{}
	}
	for _, p := range append(pragmas, fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()), "foreign_keys(ON)") {
		query.Add("_pragma", p)
	}
	return "file:" + (&url.URL{Path: filepath.ToSlash(file)}).EscapedPath() + "?" + query.Encode()
}

// openReading opens without any right to change. A file on a medium that
// cannot be written to, and that no writer left work behind for, is read as
// it lies.
func (s *Store) openReading(ctx context.Context) error {
	err := s.openAsIs(ctx)
	if err != nil {
		return err
	}
	version, err := s.version(ctx, s.view)
	switch {
	case err != nil:
	case version < len(migrations()):
		err = &fault.Error{Doing: "open ledger", Reason: fmt.Sprintf("its schema has version %d, this program reads %d", version, len(migrations())),
			Hint: "a command that writes, such as echotally intake, brings it up to date"}
	default:
		err = s.checkKey(ctx, false)
	}
	if err != nil {
		s.view.Close()
	}
	return err
}

// openAsIs opens for reading, whatever version the ledger has.
func (s *Store) openAsIs(ctx context.Context) error {
	if err := ledgerfile.Regular(s.file); err != nil {
		return s.wrap("open ledger", err)
	}
	query := url.Values{"mode": {"ro"}}
	if _, err := os.Stat(s.file + "-wal"); errors.Is(err, fs.ErrNotExist) && !ledgerfile.MayAdd(filepath.Dir(s.file)) {
		query.Set("immutable", "1")
	}
	db, err := sql.Open("sqlite", dsn(s.file, query))
	if err != nil {
		return s.wrap("open ledger", err)
	}
	s.view = db
	if _, err := s.version(ctx, db); err != nil { // it is a ledger
		db.Close()
		return err
	}
	return nil
}

// Close closes the ledger.
func (s *Store) Close() error {
	s.viewed.close()
	err := s.view.Close()
	if s.db != nil {
		s.written.close()
		if s.conn != nil {
			err = errors.Join(err, s.conn.Close())
		}
		err = errors.Join(err, s.db.Close())
	}
	return err
}

// migrations are the names of the schema files, one per version.
func migrations() []string {
	names, err := fs.Glob(schema, "schema/*.sql")
	if err != nil {
		panic("internal error: " + err.Error()) // the pattern is written above
	}
	sort.Strings(names)
	return names
}

// asked is what answers one question: a database or a connection.
type asked interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// version reads the schema version, 0 for an empty file, and refuses what is no
// ledger or comes from a later program.
func (s *Store) version(ctx context.Context, db asked) (int, error) {
	var version, application, tables int
	for _, q := range []struct {
		query string
		to    *int
	}{{sqlVersion, &version}, {sqlApplication, &application}, {sqlTables, &tables}} {
		if err := db.QueryRowContext(ctx, q.query).Scan(q.to); err != nil {
			return 0, s.wrap("open ledger", err)
		}
	}
	switch known := len(migrations()); {
	case tables > 0 && application != applicationID:
		return 0, &fault.Error{Doing: "open ledger", Reason: "the file is a database, but no echotally ledger", Hint: "give the file that echotally intake made, or a new name"}
	case version > known:
		return 0, &fault.Error{Doing: "open ledger", Reason: fmt.Sprintf("its schema has version %d, this program knows %d", version, known), Hint: "use the newer program that made it"}
	}
	return version, nil
}

// wrap turns an error of the database into words with a hint. Errors of the
// driver may repeat values, so only what they mean is told.
func (s *Store) wrap(doing string, err error) error {
	var (
		known  *fault.Error
		driver *sqlite.Error
	)
	if err == nil {
		return nil
	}
	file := fault.OfFile(doing, err)
	switch {
	case errors.As(err, &known), errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	case file != nil:
		return file
	case !errors.As(err, &driver):
		return &fault.Error{Doing: doing, Reason: err.Error(), Cause: err}
	}
	reason, hint := meaning(driver.Code())
	if reason == "" {
		reason, hint = strings.ReplaceAll(driver.Error(), s.file, "the ledger"), ""
	}
	return &fault.Error{Doing: doing, Reason: reason, Hint: hint, Cause: err}
}

// meaning tells a result code of SQLite in words; the low byte is the primary
// code.
func meaning(code int) (reason, hint string) {
	switch code & 0xFF {
	case sqlite3.SQLITE_FULL:
		return "the disk is full", "make room; what was acknowledged is kept, give the same files again for the rest"
	case sqlite3.SQLITE_IOERR:
		return "the disk could not be written to or read", "check the disk and its room; what was acknowledged is kept"
	case sqlite3.SQLITE_READONLY:
		return "the ledger is read-only", "check the permissions of the file and its folder"
	case sqlite3.SQLITE_CANTOPEN:
		return "the ledger cannot be opened", "check that its folder may be written to: files are made beside the ledger"
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return "another process is writing to the ledger", "wait until it has finished, then do this again"
	case sqlite3.SQLITE_NOTADB:
		return "the file is no database", "give the file that echotally intake made"
	case sqlite3.SQLITE_CORRUPT:
		return "the file is damaged", "restore the last backup: echotally ledger restore FILE"
	}
	return "", ""
}
