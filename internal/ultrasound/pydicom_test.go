package ultrasound_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/srtest"
	"echotally/internal/ultrasound"
)

// seen is one image as pydicom reads it.
type seen struct {
	File, SOPInstanceUID             string
	Rows, Columns, Frames, HeartRate int
	View                             []string
	ViewName, StageName              string
	Regions                          []seenRegion
}

type seenRegion struct {
	RegionSpatialFormat, RegionDataType, RegionFlags                                           int
	RegionLocationMinX0, RegionLocationMinY0, RegionLocationMaxX1, RegionLocationMaxY1         int
	PhysicalUnitsXDirection, PhysicalUnitsYDirection                                           int
	ReferencePixelX0, ReferencePixelY0                                                         *int
	ReferencePixelPhysicalValueX, ReferencePixelPhysicalValueY, PhysicalDeltaX, PhysicalDeltaY float64
	Seconds, Low, High                                                                         *float64
}

// pydicomSees runs the independent reader, or skips.
func pydicomSees(t *testing.T, files []string) []seen {
	t.Helper()
	python := "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import pydicom").Run(); err != nil {
		t.Skip("python3 with pydicom is not installed: image headers are not compared with an independent reading (Debian package python3-pydicom)")
	}
	out, err := exec.Command(python, append([]string{"-W", "ignore", filepath.Join("testdata", "us_headers.py")}, files...)...).Output()
	if err != nil {
		t.Fatalf("pydicom reading: %v", err)
	}
	var all []seen
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var s seen
		if err := json.Unmarshal(lines.Bytes(), &s); err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return all
}

// header reads the header of a file on disk.
func header(t testing.TB, path string) *dcm.File {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	file, err := dcm.ReadHeader(f, info.Size())
	if err != nil {
		t.Fatalf("%s: %v", filepath.Base(path), err)
	}
	return file
}

// Regions, view, scale and sweep of every sample image equal what pydicom
// reads.
func TestSamplesAgainstPydicom(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(srtest.Shared(t, "samples", "us-images"), "*.dcm"))
	if err != nil || len(files) < 20 {
		t.Fatalf("%d samples: %v", len(files), err)
	}
	all := pydicomSees(t, files)
	if len(all) != len(files) {
		t.Fatalf("pydicom read %d of %d", len(all), len(files))
	}
	var table strings.Builder
	regions := 0
	for _, s := range all {
		name := filepath.Base(s.File)
		image := ultrasound.Read(header(t, s.File))
		t.Run(name, func(t *testing.T) { compare(t, image, s) })
		regions += len(s.Regions)
		row(&table, name, image)
	}
	if regions < 30 {
		t.Errorf("only %d regions compared", regions)
	}
	t.Logf("%d files, %d regions\n%s", len(all), regions, table.String())
}

func compare(t *testing.T, i *echo.Image, s seen) {
	type facts struct {
		uid, stage, view, name string
		rows, columns, frames  int
		heartRate              float64
		regions                int
	}
	got := facts{i.SOPInstanceUID, i.Stage, "", "", i.Rows, i.Columns, i.Frames, 0, len(i.Regions)}
	if i.View != nil {
		got.view, got.name = i.View.Written.CodeValue, i.View.Name
	}
	if i.HeartRate != nil {
		got.heartRate = *i.HeartRate
	}
	want := facts{s.SOPInstanceUID, s.StageName, "", s.ViewName, s.Rows, s.Columns, s.Frames, float64(s.HeartRate), len(s.Regions)}
	if len(s.View) == 2 {
		want.view = s.View[1]
	}
	if got != want {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	for n := range min(len(i.Regions), len(s.Regions)) {
		g, w := i.Regions[n], s.Regions[n]
		whole := [][2]int{
			{g.SpatialFormat, w.RegionSpatialFormat}, {g.DataType, w.RegionDataType}, {int(g.Flags), w.RegionFlags},
			{g.MinX, w.RegionLocationMinX0}, {g.MinY, w.RegionLocationMinY0}, {g.MaxX, w.RegionLocationMaxX1}, {g.MaxY, w.RegionLocationMaxY1},
			{g.UnitX, w.PhysicalUnitsXDirection}, {g.UnitY, w.PhysicalUnitsYDirection},
		}
		for k, pair := range whole {
			if pair[0] != pair[1] {
				t.Errorf("region %d, value %d: %d, pydicom %d", n+1, k, pair[0], pair[1])
			}
		}
		for k, pair := range [][2]float64{
			{g.ValueX, w.ReferencePixelPhysicalValueX}, {g.ValueY, w.ReferencePixelPhysicalValueY}, {g.DeltaX, w.PhysicalDeltaX}, {g.DeltaY, w.PhysicalDeltaY},
		} {
			if pair[0] != pair[1] {
				t.Errorf("region %d, scale %d: %v, pydicom %v", n+1, k, pair[0], pair[1])
			}
		}
		for k, pair := range [][2]*int{{g.ReferenceX, w.ReferencePixelX0}, {g.ReferenceY, w.ReferencePixelY0}} {
			if (pair[0] == nil) != (pair[1] == nil) || pair[0] != nil && *pair[0] != *pair[1] {
				t.Errorf("region %d: reference pixel %d differs", n+1, k)
			}
		}
		var low, high *float64
		if g.Velocities != nil {
			low, high = &g.Velocities.Low, &g.Velocities.High
		}
		for k, pair := range [][2]*float64{{g.Seconds, w.Seconds}, {low, w.Low}, {high, w.High}} {
			if (pair[0] == nil) != (pair[1] == nil) || pair[0] != nil && math.Abs(*pair[0]-*pair[1]) > 1e-9*math.Abs(*pair[1]) {
				t.Errorf("region %d, derived %d: %s, pydicom %s", n+1, k, show(pair[0]), show(pair[1]))
			}
		}
	}
}

func show(x *float64) string {
	if x == nil {
		return "-"
	}
	return fmt.Sprintf("%.4g", *x)
}

// row writes what an image holds in one line, for people.
func row(b *strings.Builder, name string, i *echo.Image) {
	view := "-"
	if i.View != nil {
		view = i.View.Written.CodeValue + i.View.Name
	}
	fmt.Fprintf(b, "%s | %dx%d, %d fr | view %s, stage %q | modes %v | fps %s, s %s, HR %s, depth %s", name, i.Columns, i.Rows, i.Frames, view, i.Stage, i.Modes,
		show(i.FrameRate), show(i.Duration), show(i.HeartRate), show(i.Depth))
	for n, g := range i.Regions {
		fmt.Fprintf(b, " | region %d: %d/%d %d,%d-%d,%d units %d,%d calibrated %v", n+1, g.SpatialFormat, g.DataType, g.MinX, g.MinY, g.MaxX, g.MaxY, g.UnitX, g.UnitY, g.Calibrated)
		if g.Velocities != nil {
			fmt.Fprintf(b, " scale %.2f..%.2f cm/s baseline %s", g.Velocities.Low, g.Velocities.High, show(g.Baseline))
		}
		if g.Seconds != nil {
			fmt.Fprintf(b, " sweep %s s", show(g.Seconds))
		}
		if g.ColourScale != nil {
			fmt.Fprintf(b, " colour %s cm/s", show(g.ColourScale))
		}
		if g.SampleDepth != nil {
			fmt.Fprintf(b, " sample %s cm", show(g.SampleDepth))
		}
	}
	var notes []string
	for _, d := range i.Deviations {
		notes = append(notes, d.Detail)
	}
	fmt.Fprintf(b, " | %s\n", strings.Join(notes, "; "))
}
