package frame

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
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
}

// pages are the templates by name.
type pages map[string]*template.Template

func parse(all []Templates) (pages, error) {
	out := pages{}
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
			if out[name] != nil {
				return nil, fmt.Errorf("two pages are called %s", name)
			}
			t, err := template.New("layout.html.tmpl").Funcs(functions()).Funcs(set.Functions).ParseFS(own, "templates/layout.html.tmpl")
			if err == nil {
				t, err = t.ParseFS(set.Files, file)
			}
			if err != nil {
				return nil, err
			}
			out[name] = t
		}
	}
	return out, nil
}

func functions() template.FuncMap {
	return template.FuncMap{
		"asset":   Asset,
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
	Made     time.Time
}

func (p pages) render(w io.Writer, c *Call, v View) error {
	t := p[v.Name]
	if t == nil {
		return fmt.Errorf("there is no template %s", v.Name)
	}
	return t.Execute(w, shown{v, c, menu(c.site.routes, c), layout.Caution, c.site.Software, c.Now()})
}

// Asset is the address of a file that every page may use; it changes with the file.
func Asset(name string) (string, error) {
	content, err := assetContent(name)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(content)
	return "/assets/" + hex.EncodeToString(sum[:6]) + "/" + name, nil
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
	content, err := assetContent(name)
	if address, _ := Asset(name); err != nil || address != r.URL.Path {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(content)
}
