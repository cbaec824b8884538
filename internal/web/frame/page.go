package frame

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"

	"echotally/internal/layout"
)

//go:embed templates assets
var own embed.FS

// Templates are the pages of a package: each file NAME.html.tmpl defines main, which
// is put into the layout.
type Templates struct {
	Files     fs.FS
	Functions template.FuncMap
}

// View is a page to be shown.
type View struct {
	Title   string // names no patient
	Name    string // of the template
	Data    any
	Scripts []string // modules of assets, by file name
	Styles  []string // further style sheets of assets
	Status  int      // 0 for 200
	Wide    bool     // takes the whole width of the window

	main template.HTML // what stands in it, once it is rendered
}

// pages are the templates by name, and the layout around them.
type pages struct {
	named  map[string]*template.Template
	layout *template.Template
}

func parse(all []Templates, files assets) (*pages, error) {
	read := func(more template.FuncMap) (*template.Template, error) {
		return template.New("layout.html.tmpl").Funcs(functions()).Funcs(template.FuncMap{"asset": files.address}).Funcs(more).ParseFS(own, "templates/layout.html.tmpl")
	}
	layout, err := read(nil)
	if err != nil {
		return nil, err
	}
	out := &pages{map[string]*template.Template{}, layout}
	for _, set := range append([]Templates{{Files: own}}, all...) {
		files, err := fs.Glob(set.Files, "templates/*.html.tmpl")
		if err != nil {
			return nil, err
		}
		for _, file := range files {
			name := strings.TrimSuffix(path.Base(file), ".html.tmpl")
			if name == "layout" {
				continue
			}
			if out.named[name] != nil {
				return nil, fmt.Errorf("two pages are called %s", name)
			}
			t, err := read(set.Functions) // for what pages share
			if err == nil {
				t, err = t.ParseFS(set.Files, file)
			}
			if err != nil {
				return nil, err
			}
			out.named[name] = t
		}
	}
	return out, nil
}

func functions() template.FuncMap {
	return template.FuncMap{
		"count":   layout.CountOf,
		"clock":   func(t time.Time) string { return t.Local().Format("15:04") },
		"day":     func(t time.Time) string { return t.Local().Format(time.DateOnly) },
		"moment":  func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
		"capital": func(s string) string { return strings.ToUpper(s[:min(1, len(s))]) + s[min(1, len(s)):] },
		"spaced":  func(s string) string { return strings.ReplaceAll(s, "-", " ") },
		"bytes":   Bytes,
	}
}

// Bytes is a size as people read it.
func Bytes(n int64) string {
	switch {
	case n >= 10<<30:
		return fmt.Sprintf("%.0f GB", float64(n)/(1<<30))
	case n >= 1<<20:
		return fmt.Sprintf("%.0f MB", float64(n)/(1<<20))
	case n < 1<<10:
		return layout.CountOf(int(n), "byte", "bytes")
	}
	return fmt.Sprintf("%.0f kB", float64(n)/(1<<10))
}

// shown is what the layout shows around a page.
type shown struct {
	View
	Call     *Call
	Menu     []Item
	Caution  string
	Software string
}

// main renders what stands in the layout. It is given the view alone, so that nothing of
// who asks can stand in it.
func (p *pages) main(v View) (template.HTML, error) {
	t := p.named[v.Name]
	if t == nil {
		return "", fmt.Errorf("there is no template %s", v.Name)
	}
	var b strings.Builder
	err := t.ExecuteTemplate(&b, "main", v)
	return template.HTML(b.String()), err // which the template escaped
}

// around renders what the layout shows before and after what stands in it.
func (p *pages) around(c *Call, v View) (before, after []byte, err error) {
	var b bytes.Buffer
	all := shown{v, c, menu(c.site.routes, c), layout.Caution, c.site.Software}
	err = p.layout.ExecuteTemplate(&b, "before", all)
	at := b.Len()
	if err == nil {
		err = p.layout.ExecuteTemplate(&b, "after", all)
	}
	return b.Bytes()[:at], b.Bytes()[at:], err
}

// assets are the files that every page may use, by name.
type assets map[string]assetFile

type assetFile struct {
	address string // changes with the content
	content []byte
}

func readAssets() (assets, error) {
	entries, err := fs.ReadDir(own, "assets")
	if err != nil {
		return nil, err
	}
	out := assets{}
	for _, e := range entries {
		content, err := assetContent(e.Name())
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(content)
		out[e.Name()] = assetFile{"/assets/" + hex.EncodeToString(sum[:6]) + "/" + e.Name(), content}
	}
	return out, nil
}

func (a assets) address(name string) (string, error) {
	if a[name].address == "" {
		return "", fmt.Errorf("there is no asset %s", name)
	}
	return a[name].address, nil
}

// assetContent is a file of assets. The style of a gap sheet is that of the printed
// one, held to the sheet and in the inks of the page, which may be dark.
func assetContent(name string) ([]byte, error) {
	content, err := fs.ReadFile(own, "assets/"+name)
	if name == "sheet.css" && err == nil {
		inks := strings.NewReplacer("#111", "var(--ink)", "#333", "var(--dim)", "#f1f1ee", "var(--sunk)", "#999", "var(--line)", "#bbb", "var(--line)", "#fff", "var(--paper)")
		return bytes.Replace(content, []byte("/* printed */"), []byte(inks.Replace(string(layout.Style()))), 1), nil
	}
	return content, err
}

func (s *Site) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	file := s.assets[name]
	if file.address != r.URL.Path {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(file.content)
}
