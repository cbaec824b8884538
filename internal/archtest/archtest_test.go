package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"
)

const module = "echotally"

// thirdParty says which packages may import a module that must stay in one
// place. Longest prefix wins; modules not listed are free.
var thirdParty = map[string][]string{
	"github.com/suyashkumar/dicom":     {"internal/dcm"},
	"github.com/spf13/cobra":           {"cmd/echotally"},
	"github.com/rs/zerolog":            {"cmd/echotally", "internal/desk", "internal/intake", "internal/web/frame", "internal/dimse", "internal/dicomweb/origin"},
	"github.com/goccy/go-yaml":         {"internal/datafile", "internal/datafile/plain", "internal/datafile/written"},
	"github.com/expr-lang/expr":        {"internal/expr"},
	"modernc.org/sqlite":               {"internal/store"},
	"github.com/schollz/progressbar":   {"cmd/echotally"},
	"github.com/xuri/excelize":         {"internal/auditwriter", "internal/booklet", "internal/review"},
	"codeberg.org/go-pdf/fpdf":         {"internal/booklet/pdfpage"},
	"golang.org/x/crypto":              {"internal/account/password"},
	"github.com/coreos/go-oidc":        {"internal/web/access"},
	"github.com/prometheus":            {"internal/web/health"},
	"github.com/rogpeppe/go-internal":  {"cmd/echotally"},
	"github.com/fsnotify/fsnotify":     {"internal/intake/watch"},
	"github.com/santhosh-tekuri/jsons": {"internal/writer", "internal/auditwriter", "internal/booklet"},
}

// topLevel is what may lie at the root of the repository.
var topLevel = []string{
	".ci", ".git", ".github", ".gitignore", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "README.md",
	"cmd", "go.mod", "go.sum", "internal", "rules", "testdata",
}

var forbiddenNames = []string{"util", "utils", "common", "helper", "helpers", "misc", "types", "models", "base", "shared", "lib", "core"}

// pkg is one package of the module, test files apart.
type pkg struct {
	dir   string // internal/dcm
	files map[string]*ast.File
	tests map[string]*ast.File
}

func root(t *testing.T) string {
	t.Helper()
	dir, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func packages(t *testing.T, fset *token.FileSet) []*pkg {
	t.Helper()
	byDir := map[string]*pkg{}
	base := root(t)
	err := filepath.WalkDir(base, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".")) {
			return fs.SkipDir
		}
		if d.IsDir() || filepath.Ext(name) != ".go" {
			return nil
		}
		rel, err := filepath.Rel(base, name)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		file, err := parser.ParseFile(fset, name, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		p := byDir[path.Dir(rel)]
		if p == nil {
			p = &pkg{dir: path.Dir(rel), files: map[string]*ast.File{}, tests: map[string]*ast.File{}}
			byDir[p.dir] = p
		}
		if strings.HasSuffix(rel, "_test.go") {
			p.tests[rel] = file
		} else {
			p.files[rel] = file
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	var out []*pkg
	for _, p := range byDir {
		out = append(out, p)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].dir < out[j].dir })
	return out
}

// short names a package as the table does: dcm, cmd/echotally, rules.
func short(dir string) string { return strings.TrimPrefix(dir, "internal/") }

func imports(files map[string]*ast.File) []string {
	seen := map[string]bool{}
	for _, f := range files {
		for _, i := range f.Imports {
			seen[strings.Trim(i.Path.Value, `"`)] = true
		}
	}
	var out []string
	for i := range seen {
		out = append(out, i)
	}
	sort.Strings(out)
	return out
}

var tableRow = regexp.MustCompile("^\\| `([a-z/]+)` \\| ([^|]*) \\| ([^|]*) \\|")

// importTable reads the package table of DEVELOPERS.md: package, allowed
// imports, what it owns.
func importTable(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root(t), "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for line := range strings.Lines(string(text)) {
		m := tableRow.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		allowed := []string{}
		for _, name := range strings.FieldsFunc(m[2], func(r rune) bool { return r == ',' || r == ' ' }) {
			if name != "-" {
				allowed = append(allowed, strings.Trim(name, "`"))
			}
		}
		out[m[1]] = allowed
	}
	if len(out) < 10 {
		t.Fatalf("DEVELOPERS.md: only %d rows of the package table were found", len(out))
	}
	return out
}

func TestImportsFollowTheTable(t *testing.T) {
	table := importTable(t)
	for _, p := range packages(t, token.NewFileSet()) {
		name := short(p.dir)
		allowed, known := table[name]
		if !known {
			t.Errorf("%s has no row in the package table of DEVELOPERS.md", p.dir)
			continue
		}
		delete(table, name)
		used := map[string]bool{}
		for _, i := range imports(p.files) {
			inner, ok := strings.CutPrefix(i, module+"/")
			if !ok {
				continue
			}
			inner = short(inner)
			used[inner] = true
			if !slices.Contains(allowed, inner) && !slices.Contains(allowed, "all") {
				t.Errorf("%s imports %s, which its row in DEVELOPERS.md does not allow", p.dir, inner)
			}
		}
		for _, a := range allowed {
			if !used[a] && a != "all" {
				t.Errorf("%s does not import %s: take it out of its row in DEVELOPERS.md", p.dir, a)
			}
		}
	}
	for name := range table {
		t.Errorf("the package table of DEVELOPERS.md has a row for %s, which does not exist", name)
	}
}

func TestThirdPartyModulesStayWhereTheyBelong(t *testing.T) {
	for _, p := range packages(t, token.NewFileSet()) {
		for _, i := range append(imports(p.files), imports(p.tests)...) {
			for prefix, allowed := range thirdParty {
				// A test may use a tool of tests, never the wrapped library of another package.
				if strings.HasPrefix(i, prefix) && !slices.Contains(allowed, p.dir) && !testTool(p, prefix) {
					t.Errorf("%s imports %s; only %s may", p.dir, i, strings.Join(allowed, ", "))
				}
			}
		}
	}
}

func testTool(p *pkg, prefix string) bool {
	if prefix != "github.com/rs/zerolog" && prefix != "github.com/santhosh-tekuri/jsons" {
		return false
	}
	return !slices.ContainsFunc(imports(p.files), func(i string) bool { return strings.HasPrefix(i, prefix) })
}

func TestEveryPackageIsExplained(t *testing.T) {
	for _, p := range packages(t, token.NewFileSet()) {
		explained := len(p.files) == 0
		for _, f := range p.files {
			explained = explained || f.Doc != nil
		}
		if !explained {
			t.Errorf("%s has no package comment", p.dir)
		}
		if slices.Contains(forbiddenNames, path.Base(p.dir)) {
			t.Errorf("%s: name the package by the noun it owns", p.dir)
		}
	}
}

func TestEveryExportedNameIsExplained(t *testing.T) {
	for _, p := range packages(t, token.NewFileSet()) {
		for name, f := range p.files {
			for _, d := range f.Decls {
				for _, missing := range unexplained(d) {
					t.Errorf("%s: exported %s has no comment", name, missing)
				}
			}
		}
	}
}

func unexplained(d ast.Decl) []string {
	var out []string
	switch d := d.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
			out = append(out, d.Name.Name)
		}
	case *ast.GenDecl:
		for _, s := range d.Specs {
			switch s := s.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() && d.Doc == nil && s.Doc == nil {
					out = append(out, s.Name.Name)
				}
			case *ast.ValueSpec:
				if s.Names[0].IsExported() && d.Doc == nil && s.Doc == nil && s.Comment == nil {
					out = append(out, s.Names[0].Name)
				}
			}
		}
	}
	return out
}

// exportedReceiver leaves out methods that only satisfy a well-known
// interface, which need no words.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	switch d.Name.Name {
	case "Error", "Unwrap", "String", "Read", "ReadByte", "Visit", "Len", "Less", "Swap":
		return false
	}
	return true
}

func TestSizeAlarms(t *testing.T) {
	const fileLimit, functionLimit = 500, 60
	fset := token.NewFileSet()
	for _, p := range packages(t, fset) {
		for name, f := range p.files {
			if n := fset.Position(f.End()).Line; n > fileLimit {
				t.Errorf("%s has %d lines, more than %d: split it by concept", name, n, fileLimit)
			}
			for _, d := range f.Decls {
				fn, ok := d.(*ast.FuncDecl)
				if !ok || fn.Body == nil {
					continue
				}
				n := fset.Position(fn.End()).Line - fset.Position(fn.Pos()).Line + 1
				if n > functionLimit {
					t.Errorf("%s: %s has %d lines, more than %d", name, fn.Name.Name, n, functionLimit)
				}
				if fn.Name.Name == "init" && fn.Recv == nil {
					t.Errorf("%s: init function; build the value where it is used", name)
				}
			}
		}
	}
}

// packageLimit is the size from which a package must say why it is one.
const packageLimit = 1600

// medianLimit is what the median package has now, or a little more: it is lowered
// when packages are taken apart, and not raised.
const medianLimit = 260

// large are the packages beyond it, with the reason that they are not taken
// apart.
var large = map[string]string{
	"cmd/echotally":          "one file per command, none of which another imports",
	"internal/answer":        "all questions are answered from one reading of a study, which is kept to itself",
	"internal/audit":         "the tables of one report; each is a file that reads the same counts",
	"internal/dcm":           "the trust boundary: what is read in place must not leave it half checked",
	"internal/demo/casebook": "data: one fault after the other",
	"internal/extract":       "one walk over the content tree gathers all that a study says",
	"internal/phantom":       "one heart, and what three scanners write of it",
	"internal/rule":          "one file format, with everything its lint says",
	"internal/slip":          "one file per kind of slip, all undone and weighed on the same relations",
	"internal/statement":     "one lexicon: the words of all languages and what they state are matched in one pass",
	"internal/store":         "one transaction must see all tables; SQL stands in one place",
	"internal/world":         "data: another hand's patients, scanners and slips",
	"internal/writer":        "one file per format and part of the sheet",
}

func TestPackageSizes(t *testing.T) {
	fset := token.NewFileSet()
	var sizes []int
	for _, p := range packages(t, fset) {
		lines := 0
		for name, f := range p.files {
			if !strings.HasSuffix(name, "_test.go") {
				lines += fset.Position(f.End()).Line
			}
		}
		switch reason, known := large[p.dir]; {
		case lines > packageLimit && !known:
			t.Errorf("%s has %d lines, more than %d: split it by noun, or say here why not", p.dir, lines, packageLimit)
		case lines <= packageLimit && known:
			t.Errorf("%s has %d lines: take its reason (%s) out of the list", p.dir, lines, reason)
		}
		if lines > 0 {
			sizes = append(sizes, lines)
		}
	}
	slices.Sort(sizes)
	if median := sizes[len(sizes)/2]; median > medianLimit {
		t.Errorf("the median package has %d lines, more than %d: packages are to become smaller, not larger", median, medianLimit)
	}
}

// Every test that the threat model names is there, in the package it names.
func TestThreatModelNamesTestsThatAreThere(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root(t), "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, page, _ := strings.Cut(string(text), "\n## Threat model\n")
	page, _, _ = strings.Cut(page, "\n## ")
	there := map[string]bool{}
	for _, p := range packages(t, token.NewFileSet()) {
		for _, f := range p.tests {
			for _, d := range f.Decls {
				if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil {
					there[short(p.dir)+" "+fn.Name.Name] = true
				}
			}
		}
	}
	named := 0
	for line := range strings.Lines(page) {
		columns := strings.Split(line, "|")
		if len(columns) != 6 {
			continue
		}
		in := ""
		for _, m := range regexp.MustCompile("`([a-z/]+)`|(Test[A-Za-z0-9]+)").FindAllStringSubmatch(columns[4], -1) {
			if m[1] != "" {
				in = m[1]
				continue
			}
			if named++; !there[in+" "+m[2]] {
				t.Errorf("the threat model names %s of %s, which is not there", m[2], in)
			}
		}
	}
	if named < 20 {
		t.Errorf("only %d tests are named", named)
	}
}

func TestTopLevelIsKeptTidy(t *testing.T) {
	ignored, err := os.ReadFile(filepath.Join(root(t), ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	var patterns []string
	for line := range strings.Lines(string(ignored)) {
		patterns = append(patterns, strings.Trim(strings.TrimSpace(line), "/"))
	}
	entries, err := os.ReadDir(root(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		matches := func(p string) bool { ok, err := path.Match(p, e.Name()); return err == nil && ok }
		if !slices.Contains(topLevel, e.Name()) && !slices.ContainsFunc(patterns, matches) {
			t.Errorf("%s does not belong at the top level", e.Name())
		}
	}
}

func TestNothingLiesLooseInInternal(t *testing.T) {
	entries, err := os.ReadDir(filepath.Join(root(t), "internal"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !e.IsDir() {
			t.Errorf("internal/%s: belongs into a package", e.Name())
		}
	}
}
