package demo

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"echotally/internal/demo/casebook"
	"echotally/internal/phantom"
)

// site holds the mapping a laboratory would write for the modern scanner's
// own codes; no study needs it to be judged.
//
//go:embed site
var site embed.FS

// Summary says what was written.
type Summary struct {
	Studies, Clean, Faulty int
	Files                  int
	Faults                 int
}

// Write makes the lab in the folder, which must be empty or not exist yet.
func Write(dir string, opt casebook.Options) (Summary, error) {
	if err := MakeEmpty(dir); err != nil {
		return Summary{}, err
	}
	cases := casebook.Studies(opt)
	truth := casebook.Truth{SchemaVersion: 1, Lab: phantom.Lab, Seed: opt.Seed}
	var sum Summary
	for _, c := range cases {
		for _, o := range c.Objects {
			b, err := o.Bytes()
			if err != nil {
				return Summary{}, err
			}
			if err := WriteFile(filepath.Join(dir, filepath.FromSlash(c.Truth.Folder), o.Name), b); err != nil {
				return Summary{}, err
			}
			sum.Files++
		}
		truth.Studies = append(truth.Studies, c.Truth)
		sum.Studies++
		sum.Faults += len(c.Truth.Faults)
		if c.Truth.Clean {
			sum.Clean++
		} else {
			sum.Faulty++
		}
	}
	if err := writeTruth(filepath.Join(dir, "truth.json"), truth); err != nil {
		return Summary{}, err
	}
	if err := WriteFile(filepath.Join(dir, "README.txt"), []byte(readme(sum))); err != nil {
		return Summary{}, err
	}
	return sum, writeSite(dir)
}

// MakeEmpty makes the folder, and refuses one that holds something.
func MakeEmpty(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make demo folder: %w", err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("look into demo folder: %w", err)
	}
	if len(entries) > 0 {
		return fmt.Errorf("make demo lab: folder %s is not empty (hint: name a new folder)", dir)
	}
	return nil
}

// WriteFile writes a file of the lab, with the folders it lies in.
func WriteFile(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("write demo lab: %w", err)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		return fmt.Errorf("write demo lab: %w", err)
	}
	return nil
}

func writeTruth(path string, truth casebook.Truth) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(truth); err != nil {
		return fmt.Errorf("encode the demo lab's truth: %w", err)
	}
	return WriteFile(path, b.Bytes())
}

func writeSite(dir string) error {
	return fs.WalkDir(site, "site", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		b, err := fs.ReadFile(site, path)
		if err != nil {
			return err
		}
		return WriteFile(filepath.Join(dir, filepath.FromSlash(path)), b)
	})
}

func readme(sum Summary) string {
	return fmt.Sprintf(`Harbourlight Echo Laboratory: a demonstration. Everything here is invented: the laboratory, the scanners, the
patients and the people. No number comes from a real study.

studies/    %d studies of DICOM structured reports, one folder each; %d are clean, %d hold faults on purpose. Some have
            images beside the report: their pixels are blank, their headers say how they were taken
truth.json  what is wrong in each study, and which rule must say so
site/       what this laboratory would add to the shipped files: the meaning of one scanner's own codes.
            The studies are complete without it; with "--rules site" these codes are understood too.

Scanners: Oldbarrow Barrow 400 (older codes, millimetres, rounded numbers), Petrelline Petrel 9 (current codes, all
digits, codes of its own), Gullmere S2 (simplified echo report).

Licence of this data: Apache-2.0.
`, sum.Studies, sum.Clean, sum.Faulty)
}
