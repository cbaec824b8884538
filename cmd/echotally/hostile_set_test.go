package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/actionlog"
	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
	"echotally/internal/store"
	"echotally/internal/store/decision"
)

// The names of labs, sites, stations and persons, titles and owners of actions and the
// note of a waiver: hostile ones go through every set that a lab is given, workbook and
// PDF among them.
func TestNoNameActsInASet(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1780000000")
	dir, out := t.TempDir(), t.TempDir()
	for n := range 3 {
		d := srtest.Report(t, strings.ReplaceAll(marked, "STATION1", "STATION"+string(rune('1'+n))))
		d.Set(dcm.Strings(dcm.T(0x00080018), "2.25.1"+string(rune('1'+n))), dcm.Strings(dcm.T(0x0020000D), "2.25.2"+string(rune('1'+n))),
			dcm.Private(dcm.T(0x00080070), "LO", []string{evil}), dcm.Private(dcm.T(0x00081090), "LO", []string{evil}), dcm.Private(dcm.T(0x00081070), "PN", []string{evil}))
		if err := os.WriteFile(filepath.Join(dir, string(rune('1'+n))+".dcm"), dcmtest.Encode(d, dcmtest.Encoding{}), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var list bytes.Buffer
	rows := csv.NewWriter(&list)
	if err := rows.WriteAll([][]string{{"station", "lab", "site", "timezone"}, {"STATION1", evil, evil, "UTC"}, {"STATION2", "=cmd|'/c calc'!A1" + evil, evil, "UTC"}, {"STATION3", "b\u202Eal", "x", "UTC"}}); err != nil {
		t.Fatal(err)
	}
	labs := filepath.Join(out, "labs.list")
	if err := os.WriteFile(labs, list.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	ledger := []string{"--store", filepath.Join(out, "lab.db"), "--key", filepath.Join(out, "key")}
	at := func(name string) string { return filepath.Join(out, name) }
	// What would end its line is refused where it enters.
	for _, c := range []struct {
		code int
		line []string
	}{
		{exitIncomplete, append([]string{"intake", dir, "--labs", labs}, ledger...)},
		{exitUsage, append([]string{"action", "add", "--title", evil, "--owner", "lead", "--cause", "c", "--measure", "signed-in-time", "--due", "2026-09-01"}, ledger[:2]...)},
		{exitUsage, append([]string{"review", "draw", "--month", "2026-03", "--quota", "1", "--seed", evil}, ledger...)},
	} {
		output, code := perform(c.line...)
		if scan(t, c.line[0], output); code != c.code || !strings.Contains(output, "control character") {
			t.Errorf("%s: exit code %d\n%s", c.line[0], code, output)
		}
	}
	hostileAction(t, ledger)
	for _, line := range [][]string{
		append([]string{"action", "list"}, ledger[:2]...),
		append([]string{"waive", "2.25.21", "document/kind-of-study-declared", "--reason", "no-signal", "--by", "reader", "--force", "--note", evil}, ledger...),
		append([]string{"waive", "list", "--identify"}, ledger...),
		append([]string{"audit", "--month", "2026-03", "--floor", "1", "--out", at("audit")}, ledger...),
		append([]string{"audit", "--month", "2026-03", "--floor", "1", "--lab", evil, "--out", at("one")}, ledger...),
		append([]string{"feedback", "--name", evil, "--month", "2026-03", "--floor", "1", "--format", "html", "--output", at("sheet.html")}, ledger...),
		append([]string{"review", "draw", "--month", "2026-03", "--quota", "1", "--seed", "a"}, ledger...), append([]string{"review", "list"}, ledger[:2]...),
		append([]string{"review", "sheet", "1", "--out", at("draw")}, ledger[:2]...),
	} {
		output, code := perform(line...)
		if scan(t, line[0], output); code != exitComplete && code != exitFailure {
			t.Errorf("%s: exit code %d\n%s", strings.Join(line[:2], " "), code, output)
		}
	}
	kinds := map[string]int{}
	err := filepath.WalkDir(out, func(path string, entry os.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		kind := filepath.Ext(path)
		kinds[kind]++
		switch name := strings.TrimPrefix(path, out); kind {
		case ".html", ".json", ".csv":
			content, err := os.ReadFile(path)
			scan(t, name, string(content))
			return err
		case ".xlsx":
			return scanWorkbook(t, name, path)
		case ".pdf":
			text, err := exec.Command("pdftotext", path, "-").Output()
			if errors.Is(err, exec.ErrNotFound) {
				t.Log("pdftotext is not installed: the PDF was not searched")
				return nil
			}
			scan(t, name, strings.ReplaceAll(string(text), "\f", "\n"))
			return err
		}
		return nil
	})
	if err != nil || kinds[".xlsx"] < 2 || kinds[".pdf"] < 2 || kinds[".html"] < 2 || kinds[".csv"] < 25 {
		t.Errorf("searched %v, %v", kinds, err)
	}
}

// hostileAction is an action as an earlier version took it in, on one line.
func hostileAction(t *testing.T, ledger []string) {
	t.Helper()
	text := strings.NewReplacer("\r", "", "\n", "").Replace(evil)
	s, err := store.Open(context.Background(), ledger[1], store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	_, err = s.Decide(context.Background(), actionKind, func([]decision.Decision) (any, error) {
		return actionlog.Entry{Number: 1, Event: actionlog.Added, Title: text, Owner: text, Cause: text, Measure: "rule:right-ventricle/tapse-present", Started: "2026-03-01", Due: "2026-09-01"}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func scanWorkbook(t *testing.T, name, path string) error {
	z, err := zip.OpenReader(path)
	if err != nil {
		return err
	}
	defer z.Close()
	for _, part := range z.File {
		r, err := part.Open()
		if err != nil {
			return err
		}
		content, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		scan(t, name+"!"+part.Name, strings.ReplaceAll(string(content), "\r\n", "\n"))
		for _, escape := range []string{"&#x1b;", "&#x1B;", "_x001B_", "&#x202e;", "&#x2028;", "_x202E_"} {
			if bytes.Contains(content, []byte(escape)) {
				t.Errorf("%s!%s holds %s", name, part.Name, escape)
			}
		}
	}
	return nil
}
