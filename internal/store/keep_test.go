package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"echotally/internal/packed"
	"echotally/internal/run"
	"echotally/internal/store/decision"
	"echotally/internal/store/identity"
	"echotally/internal/store/keyfile"
	"echotally/internal/store/lablist"
	"echotally/internal/store/waiver"
)

func TestTamperingIsFound(t *testing.T) {
	for name, query := range map[string]string{
		"a result changed":           "UPDATE judgement SET outcomes = replace(outcomes, 'fe', 'pe')",
		"a judgement changed":        "UPDATE judgement SET whole = x'00'",
		"what is counted changed":    "UPDATE judgement SET counted = x'00'",
		"a judgement dated back":     "UPDATE judgement SET at = '2020-01-01T00:00:00Z'",
		"a row without a key":        "INSERT INTO staff (pseudonym, role) VALUES ('', 'reader')",
		"a rule set dated back":      "UPDATE ruleset SET at = '2020-01-01T00:00:00Z'",
		"a part changed":             "UPDATE part SET packed = x'00'",
		"a part gone":                "DELETE FROM part",
		"a part made up":             "INSERT INTO part (name, packed) VALUES (x'00', x'00')",
		"a trigger gone":             "DROP TRIGGER event_stands",
		"a trigger added":            "CREATE TRIGGER made_up AFTER INSERT ON stamp BEGIN DELETE FROM waiver; END",
		"a table changed":            "ALTER TABLE staff ADD COLUMN made_up TEXT",
		"a text made a number":       "UPDATE judgement SET digest = CAST(1 AS INTEGER)",
		"an object's state changed":  "UPDATE object SET state = 'ignored'",
		"an object added":            "INSERT INTO object (sha256, state, at) VALUES ('ff', 'read', 'x')",
		"a reading changed":          "UPDATE reading SET packed = x'00'",
		"a study's date changed":     "UPDATE study SET date = '2020-01-01'",
		"an identity changed":        "UPDATE identity SET sealed = x'00'",
		"a waiver made up":           "INSERT INTO waiver (study, rule, reason, effect, role, at, late) VALUES ('1', 'r', 'anatomy', 'exclusion', 'reader', 'x', 0)",
		"a waiver made early":        "UPDATE waiver SET late = 1 - late",
		"a sign-off time changed":    "UPDATE stamp SET signed = '2026-03-14T10:00'",
		"a rule's title changed":     "UPDATE ruleset SET rules = x'00'",
		"an event changed":           "DROP TRIGGER event_stands; UPDATE event SET detail = '{}' WHERE id = 2",
		"an event taken out":         "DROP TRIGGER event_stays; DELETE FROM event WHERE id = 2",
		"the last event cut off":     "DROP TRIGGER event_stays; DELETE FROM event WHERE id = (SELECT max(id) FROM event)",
		"the last seal cut off":      "DROP TRIGGER seal_stays; DELETE FROM seal WHERE id = (SELECT max(id) FROM seal)",
		"a seal changed":             "DROP TRIGGER seal_stands; UPDATE seal SET at = '2020-01-01T00:00:00Z' WHERE id = 1",
		"an event dated differently": "DROP TRIGGER event_stands; UPDATE event SET at = '2020-01-01T00:00:00Z' WHERE id = 1",
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = 2.25.7")})
			b.list(lablist.Signoff, "study,signed\n2.25.7,2026-03-14T18:00\n")
			b.waive("2.25.7")
			b.holds()
			if _, err := b.store.conn.ExecContext(context.Background(), query); err != nil {
				t.Fatal(err)
			}
			p, err := b.store.Verify(context.Background(), "")
			if err != nil || len(p.Faults) == 0 {
				t.Errorf("not found: %+v, %v", p, err)
			}
		})
	}
}

func TestAnEarlierHeadProvesThatNothingWasCutOff(t *testing.T) {
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80")})
	early := b.holds().Head
	b.take(map[string][]byte{"two.dcm": b.report("2.80", "header 00080018 = 2.25.2", "header 0020000D = 2.25.3")})
	for head, good := range map[string]bool{early: true, b.holds().Head: true, strings.Repeat("0", 64): false} {
		p, err := b.store.Verify(context.Background(), head)
		if err != nil || (len(p.Faults) == 0) != good {
			t.Errorf("head %s: %+v, %v", head, p, err)
		}
	}
}

func TestEventsCannotBeChangedByMistake(t *testing.T) {
	b := newBench(t)
	for _, query := range []string{"DELETE FROM event", "UPDATE event SET kind = 'x'"} {
		if _, err := b.store.conn.ExecContext(context.Background(), query); err == nil {
			t.Errorf("%s was done", query)
		}
	}
}

func (b *bench) list(kind lablist.Kind, text string) *ListReceipt {
	b.Helper()
	r, err := b.store.Import(context.Background(), kind, strings.NewReader(text))
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func (b *bench) waive(uid string) waiver.Waiver {
	b.Helper()
	w, err := b.store.Waive(context.Background(), waiver.Waiver{Study: uid, Rule: "tricuspid-valve/any", Reason: "no-signal", Role: "sonographer"}, "")
	if err != nil {
		b.Fatal(err)
	}
	return w
}

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80")})
	head, copied := b.holds().Head, filepath.Join(b.dir, "backup.db")
	if err := b.store.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	if err := b.store.Backup(ctx, copied); err == nil {
		t.Error("a backup was written over")
	}
	b.take(map[string][]byte{"two.dcm": b.report("2.80", "header 00080018 = 2.25.2", "header 0020000D = 2.25.3")})
	b.store.Close()
	aside, err := Restore(ctx, copied, b.file()+".part", b.file(), Options{Now: func() time.Time { return moment }})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(aside); err != nil {
		t.Errorf("the ledger that was there is gone: %v", err)
	}
	b.store = b.open()
	if p := b.holds(); p.Head != head || b.count("study") != 1 {
		t.Errorf("restored: %+v, %d studies", p, b.count("study"))
	}
	// A backup that was changed is not restored, and what is there stays.
	other, err := Open(ctx, copied, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := other.conn.ExecContext(context.Background(), "UPDATE study SET date = '2020-01-01'"); err != nil {
		t.Fatal(err)
	}
	other.Close()
	b.store.Close()
	if _, err := Restore(ctx, copied, b.file()+".part", b.file(), Options{Now: func() time.Time { return moment }}); err == nil || !strings.Contains(err.Error(), "does not hold") {
		t.Errorf("a changed backup: %v", err)
	}
	b.store = b.open()
	b.holds()
}

// While others write, a backup is a moment of the ledger that holds.
func TestABackupWhileOthersWriteHolds(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = 2.25.7")})
	other := b.open()
	stop, wrote := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for {
			select {
			case <-stop:
				wrote <- n
				return
			default:
			}
			if _, err := other.Decide(ctx, "draw", func(before []decision.Decision) (any, error) { return len(before), nil }); err != nil {
				t.Error(err)
			}
			n++
		}
	}()
	var last int
	for i := range 6 {
		copied := filepath.Join(b.dir, fmt.Sprintf("backup-%d.db", i))
		if err := b.store.Backup(ctx, copied); err != nil {
			t.Fatal(err)
		}
		s, err := Open(ctx, copied, Options{ReadOnly: true, Key: b.store.key})
		if err != nil {
			t.Fatal(err)
		}
		p, err := s.Verify(ctx, "")
		decisions, failed := s.Decisions(ctx, "draw")
		if err != nil || failed != nil || len(p.Faults) > 0 || len(decisions) < last {
			t.Errorf("backup %d: %+v, %v, %v, %d decisions after %d", i, p, err, failed, len(decisions), last)
		}
		last = len(decisions)
		s.Close()
	}
	close(stop)
	if n := <-wrote; n == 0 || last > n {
		t.Errorf("%d decisions written, %d in the last backup", n, last)
	}
	b.holds()
}

// Two restores within a second: neither ledger that was there is lost.
func TestRestoreReplacesNoLedgerSetAsideEarlier(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80")})
	copied := filepath.Join(b.dir, "backup.db")
	if err := b.store.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	b.store.Close()
	names := map[string]bool{}
	for range 3 {
		aside, err := Restore(ctx, copied, b.file()+".part", b.file(), Options{Now: func() time.Time { return moment }})
		if err != nil {
			t.Fatal(err)
		}
		names[aside] = true
	}
	for name := range names {
		if _, err := os.Stat(name); err != nil {
			t.Error(err)
		}
	}
	if left, _ := filepath.Glob(b.file() + ".part*"); len(names) != 3 || len(left) > 0 {
		t.Errorf("set aside as %v, left over %v", names, left)
	}
	b.store = b.open()
	b.holds()
}

// Somebody reads the ledger meanwhile: the bytes are still there, and gone after
// the purge that follows the reading.
func TestPurgeSaysWhetherBytesRemain(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"old.dcm": b.report("2.80", "header 00080020 = 20200101")})
	if _, err := b.store.conn.ExecContext(ctx, "PRAGMA busy_timeout = 50"); err != nil {
		t.Fatal(err)
	}
	other, err := Open(ctx, b.file(), Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2021, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, err := range other.Studies(ctx, Period{}, Filter{}, "") {
		if err != nil {
			t.Fatal(err)
		}
		if out, err := b.store.Purge(ctx, day); err != nil || out.Studies != 1 || !out.Remains {
			t.Errorf("while another reads: %+v, %v", out, err)
		}
	}
	other.Close()
	if out, err := b.store.Purge(ctx, day); err != nil || out.Studies != 0 || out.Remains {
		t.Errorf("after it: %+v, %v", out, err)
	}
}

func TestRestoreInPlaceOfADamagedLedger(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80")})
	copied := filepath.Join(b.dir, "backup.db")
	if err := b.store.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	b.store.Close()
	if err := os.WriteFile(b.file(), []byte("this is no database at all, whatever it was"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, b.file(), Options{}); err == nil || !strings.Contains(err.Error(), "no database") {
		t.Errorf("a damaged ledger: %v", err)
	}
	if _, err := Restore(ctx, copied, b.file()+".part", b.file(), Options{Now: func() time.Time { return moment }}); err != nil {
		t.Fatal(err)
	}
	b.store = b.open()
	b.holds()
}

func TestPurge(t *testing.T) {
	const marker = "Zebulonmarker"
	b := newBench(t)
	b.take(map[string][]byte{
		"old.dcm":     b.report("2.80", "header 0020000D = 2.25.1", "header 00080018 = 2.25.11", "header 00080020 = 20200101"),
		"new.dcm":     b.report("2.80", "header 0020000D = 2.25.2", "header 00080018 = 2.25.12", "header 00080020 = 20260101"),
		"undated.dcm": b.report("2.80", "header 0020000D = 2.25.3", "header 00080018 = 2.25.13", "header 00080020 ="),
	})
	b.list(lablist.Signoff, "study,signed\n2.25.1,2020-01-01T18:00\n2.25.2,2026-01-01T18:00\n")
	w := b.waive("2.25.1")
	if err := b.store.Withdraw(context.Background(), w.Number, "reader"); err != nil {
		t.Fatal(err)
	}
	if _, err := b.store.Waive(context.Background(), waiver.Waiver{Study: "2.25.1", Rule: "x/y", Reason: "no-time", Role: "reader"}, marker); err != nil {
		t.Fatal(err)
	}
	out, err := b.store.Purge(context.Background(), time.Date(2021, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil || out != (Purged{Studies: 1, Objects: 1, Undated: 1}) {
		t.Errorf("%+v, %v", out, err)
	}
	for table, want := range map[string]int{"study": 2, "object": 2, "reading": 2, "judgement": 2, "waiver": 0, "stamp": 1} {
		if n := b.count(table); n != want {
			t.Errorf("%s: %d rows, want %d", table, n, want)
		}
	}
	var left int
	if err := b.store.view.QueryRow("SELECT count(*) FROM identity WHERE kind = 'note' OR ref = '2.25.1'").Scan(&left); err != nil || left > 0 {
		t.Errorf("%d identities left, %v", left, err)
	}
	b.holds()
	// What was purged may come again.
	b.take(map[string][]byte{"old.dcm": b.report("2.80", "header 0020000D = 2.25.1", "header 00080018 = 2.25.11", "header 00080020 = 20200101")})
	if n := b.count("study"); n != 3 {
		t.Errorf("%d studies", n)
	}
	b.holds()
}

func TestKey(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = 2.25.1", "header 00100010 = Marker^Mildred")})
	uid := "2.25.1"
	if who, err := b.store.Identity(ctx, uid); err != nil || who.PatientName.Reveal() != "Marker^Mildred" {
		t.Errorf("identity %q, %v", who.PatientName.Reveal(), err)
	}
	file := filepath.Join(b.dir, "key")
	if info, err := os.Stat(file); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("key file: %v, %v", info.Mode(), err)
	}
	wrong, err := keyfile.Make(filepath.Join(b.dir, "other", "key"))
	if err != nil {
		t.Fatal(err)
	}
	for _, readOnly := range []bool{false, true} {
		if _, err := Open(ctx, b.file(), Options{Key: wrong, ReadOnly: readOnly}); err == nil || !strings.Contains(err.Error(), "not the one") {
			t.Errorf("wrong key, read-only %v: %v", readOnly, err)
		}
	}
	without, err := Open(ctx, b.file(), Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer without.Close()
	if _, err := without.Identity(ctx, uid); !errors.Is(err, errNoKey) {
		t.Errorf("identity without key: %v", err)
	}
	// Lab figures do without the key.
	n := 0
	for s, err := range without.Studies(ctx, Period{}, Filter{}, b.set.Digest) {
		if err != nil {
			t.Fatal(err)
		}
		if study, err := s.Rebuild(); err != nil || study == nil || !s.Judged {
			t.Errorf("study without key: %v", err)
		}
		n++
	}
	if n != 1 {
		t.Errorf("%d studies without key", n)
	}
	if has, err := HasKey(ctx, b.file()); err != nil || !has {
		t.Errorf("HasKey %v, %v", has, err)
	}
}

// TestNamesStayInTheIdentityTable puts marker names through everything and
// searches the bytes of the file, of its log and of all that is told.
func TestNamesStayInTheIdentityTable(t *testing.T) {
	markers := []string{"Zanzibarov", "Quillfeather", "PID-7731-X", "ACC-99-44", "19580417", "Operatorius", "Readerstein", "Noteworthyman", "Rosterwoman"}
	b := newBench(t)
	text := b.text("2.80", "header 0020000D = 2.25.1", "header 00100010 = Zanzibarov^Quillfeather", "header 00100020 = PID-7731-X", "header 00080050 = ACC-99-44",
		"header 00100030 = 19580417", "header 00081070 = Operatorius^Olga", "header 00081060 = Readerstein^Rolf") + `
  contains text DCM:121106 "Comment" = "Mrs Zanzibarov (PID-7731-X): no tricuspid regurgitation. Seen by Readerstein with Operatorius."
`
	dir := map[string][]byte{"Zanzibarov Quillfeather.dcm": encode(b, text), "Zanzibarov.txt": []byte("x"), "Zanzibarov-broken.dcm": []byte("ACC-99-44")}
	var told []string
	for range 2 {
		for _, r := range b.take(dir) {
			for _, o := range r.Objects {
				told = append(told, o.SHA256+string(o.State)+o.Reason)
			}
		}
	}
	told = append(told, b.list(lablist.Roster, "name,role\nRosterwoman^Rita,sonographer\nRosterwoman^Rita,Zanzibarov\n").Faults[0].String())
	told = append(told, b.list(lablist.Signoff, "accession,signed\nACC-99-44,2026-03-14T18:00\nACC-99-44,Zanzibarov\n").Faults[0].String())
	if _, err := b.store.Waive(context.Background(), waiver.Waiver{Study: "2.25.1", Rule: "x/y", Reason: "anatomy", Role: "reader"}, "Noteworthyman said so"); err != nil {
		t.Fatal(err)
	}
	s := b.studies()[0]
	if s.Sonographer == "" || s.Reader == "" || s.Times.Signed.IsZero() {
		t.Errorf("sonographer %q, reader %q, signed %v", s.Sonographer, s.Reader, s.Times.Signed)
	}
	if who, err := b.store.Identity(context.Background(), "2.25.1"); err != nil || who.AccessionNumber.Reveal() != "ACC-99-44" {
		t.Errorf("identity: %v", err)
	}
	study, err := s.Rebuild()
	if err != nil || len(study.Statements) == 0 {
		t.Fatalf("no statement was rebuilt: %v", err)
	}
	// The packed values are deflated in the file, so they are looked through as well.
	haystack := map[string][]byte{"what was told": []byte(strings.Join(told, "\n")), "packed study": packed.Pack(study, nil)}
	rows, err := b.store.view.Query("SELECT packed FROM reading")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var squeezed []byte
		if err := rows.Scan(&squeezed); err != nil {
			t.Fatal(err)
		}
		plain, err := packed.Loosen(squeezed)
		if err != nil {
			t.Fatal(err)
		}
		haystack["readings"] = append(haystack["readings"], plain...)
	}
	for _, suffix := range []string{"", "-wal"} {
		if haystack["file"+suffix], err = os.ReadFile(b.file() + suffix); err != nil {
			t.Fatal(err)
		}
	}
	for where, bytesThere := range haystack {
		for _, m := range markers {
			if bytes.Contains(bytes.ToLower(bytesThere), []byte(strings.ToLower(m))) {
				t.Errorf("%s holds %s", where, m)
			}
		}
	}
	if !bytes.Contains(haystack["readings"], []byte(identity.Withheld)) {
		t.Error("no name was taken out of the quoted text: the test shows nothing")
	}
}

func TestReadOnlyLedger(t *testing.T) {
	ctx := context.Background()
	b := newBench(t)
	b.take(map[string][]byte{"one.dcm": b.report("2.80")})
	b.store.Close()
	dir := filepath.Join(b.dir, "medium")
	mountTmpfs(t, dir, "size=64m")
	content, err := os.ReadFile(b.file())
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "ledger.db")
	if err := os.WriteFile(file, content, 0o600); err != nil {
		t.Fatal(err)
	}
	remountReadOnly(t, dir)
	if _, err := Open(ctx, file, Options{}); err == nil || !strings.Contains(err.Error(), "read-only") {
		t.Errorf("opened for writing: %v", err)
	}
	s, err := Open(ctx, file, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if p, err := s.Verify(ctx, ""); err != nil || len(p.Faults) > 0 {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestDiskFull(t *testing.T) {
	b := newBench(t)
	dir := filepath.Join(b.dir, "small")
	mountTmpfs(t, dir, "size=1m")
	file := filepath.Join(dir, "ledger.db")
	s, err := Open(context.Background(), file, Options{Key: b.store.key})
	if err != nil {
		t.Fatal(err)
	}
	whole := b.store
	b.store = s
	acknowledged := map[string]bool{}
	for n := 1; ; n++ {
		if n > 400 {
			t.Fatal("the disk did not become full")
		}
		read := b.one(n)
		r, err := s.Record(context.Background(), read, b.auditor())
		if err != nil {
			if !strings.Contains(err.Error(), "disk") || strings.Contains(err.Error(), file) {
				t.Errorf("the error says: %v", err)
			}
			break
		}
		acknowledged[r.Objects[0].SHA256] = true
	}
	s.Close()
	// With more room it opens, holds and has every object that was acknowledged.
	content := filepath.Join(b.dir, "moved.db")
	for _, suffix := range []string{"", "-wal"} {
		if bytes, err := os.ReadFile(file + suffix); err == nil {
			if err := os.WriteFile(content+suffix, bytes, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	moved, err := Open(context.Background(), content, Options{Key: whole.key})
	if err != nil {
		t.Fatal(err)
	}
	defer moved.Close()
	b.store = moved
	b.holds()
	if n := b.count("object"); n != len(acknowledged) || n == 0 {
		t.Errorf("%d objects acknowledged, %d in the ledger", len(acknowledged), n)
	}
}

// one is a study of its own as it comes from the files.
func (b *bench) one(n int) *run.Study {
	b.Helper()
	uid := "2.25." + strings.Repeat("1", n%7+1) + time.Unix(int64(n), 0).UTC().Format("150405")
	read, err := readAll(b, map[string][]byte{"one.dcm": b.report("2.80", "header 0020000D = "+uid, "header 00080018 = "+uid+".1")})
	if err != nil {
		b.Fatal(err)
	}
	return &read.Studies[0]
}
