package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/library"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"echotally/internal/catalogue"
	"echotally/rules"
)

var update = flag.Bool("update", false, "rewrite the generated pages")

func testApp() *app {
	var out bytes.Buffer
	return newApp(strings.NewReader(""), &out, &out)
}

// commands lists every command that does something, as it is typed.
func commands(cmd *cobra.Command) []string {
	var out []string
	if cmd.Runnable() {
		out = append(out, cmd.CommandPath())
	}
	for _, c := range cmd.Commands() {
		out = append(out, commands(c)...)
	}
	return out
}

// page compares a generated page with the file, or rewrites it.
func page(t *testing.T, file, test string, got []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil || !bytes.Equal(want, got) {
		t.Errorf("%s is stale, run: go test ./cmd/echotally -run %s -update\n%s", file, test, firstDifference(string(want), string(got)))
	}
}

func firstDifference(want, got string) string {
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("line %d\n- %s\n+ %s", i+1, a[i], b[i])
		}
	}
	return fmt.Sprintf("%d lines instead of %d", len(b), len(a))
}

// TestReference keeps the command reference the same as the commands.
func TestReference(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("# Command reference\n\nGenerated from the commands; do not edit.\n")
	reference(&b, newRootCommand(testApp()))
	page(t, "REFERENCE.md", "TestReference", b.Bytes())
}

func reference(b *bytes.Buffer, cmd *cobra.Command) {
	fmt.Fprintf(b, "\n## %s\n\n%s\n", cmd.CommandPath(), cmd.Short)
	long := strings.TrimSpace(cmd.Long)
	if cmd.Name() == "formats" {
		long = formatsText()
	}
	fmt.Fprintf(b, "\n```text\n%s\n```\n", long)
	if cmd.Runnable() {
		fmt.Fprintf(b, "\nUsage: `%s`\n", cmd.UseLine())
	}
	if cmd.Example != "" {
		fmt.Fprintf(b, "\n```sh\n%s\n```\n", strings.ReplaceAll(strings.TrimLeft(cmd.Example, " "), "\n  ", "\n"))
	}
	flags := cmd.LocalFlags()
	if flags.HasAvailableFlags() {
		b.WriteString("\n| flag | default | meaning |\n| --- | --- | --- |\n")
		flags.VisitAll(func(f *pflag.Flag) {
			name := "`--" + f.Name + "`"
			if f.Shorthand != "" {
				name += " `-" + f.Shorthand + "`"
			}
			fmt.Fprintf(b, "| %s | %s | %s |\n", name, strings.Trim(f.DefValue, "[]"), f.Usage)
		})
	}
	if !cmd.HasParent() { // the same everywhere, and told once
		fmt.Fprintf(b, "\n```text\n%s\n```\n", exitTable)
	}
	for _, c := range cmd.Commands() {
		if !c.Hidden {
			reference(b, c)
		}
	}
}

// TestCatalogue keeps the catalogue of rules the same as the rule files.
func TestCatalogue(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	pages, err := catalogue.Pages(set)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range pages {
		page(t, "../../rules/"+name, "TestCatalogue", text)
	}
	there, err := filepath.Glob("../../rules/catalogue/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range there {
		if pages["catalogue/"+filepath.Base(file)] == nil {
			t.Errorf("%s is of no structure any more; remove it", file)
		}
	}
}

// TestEveryCommandExplainsItself asks for long help, usage and the exit codes, in this
// order, and for examples that the command line understands.
func TestEveryCommandExplainsItself(t *testing.T) {
	for _, path := range commands(newRootCommand(testApp())) {
		root := newRootCommand(testApp())
		cmd, _, err := root.Find(strings.Fields(path)[1:])
		if err != nil {
			t.Fatal(err)
		}
		var help bytes.Buffer
		cmd.SetOut(&help)
		if err := cmd.Help(); err != nil {
			t.Fatal(err)
		}
		text := help.String()
		if !strings.HasPrefix(text, strings.TrimSpace(cmd.Long)) || strings.Count(text, "Usage:\n") != 1 || strings.Count(text, exitTable) != 1 || !strings.HasSuffix(text, exitTable+"\n") {
			t.Errorf("%s: not what it does, then usage, then exit codes:\n%s", path, text)
		}
		if cmd.Example == "" {
			t.Errorf("%s: no example", path)
		}
		for line := range strings.Lines(cmd.Example) {
			_, after, found := strings.Cut(line, "echotally ")
			if !found {
				continue
			}
			words := strings.Fields(strings.FieldsFunc(after, func(r rune) bool { return r == '|' || r == '>' })[0])
			target, rest, err := newRootCommand(testApp()).Find(words)
			if err != nil {
				t.Errorf("%s: example %q: %v", path, strings.TrimSpace(line), err)
				continue
			}
			if err := target.ParseFlags(rest); err != nil {
				t.Errorf("%s: example %q: %v", path, strings.TrimSpace(line), err)
			} else if err := target.ValidateArgs(target.Flags().Args()); err != nil {
				t.Errorf("%s: example %q: %v", path, strings.TrimSpace(line), err)
			}
		}
	}
}
