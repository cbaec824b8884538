package phantom

import (
	"math"
	"slices"

	"echotally/internal/dcm"
)

// SOP classes of images (PS3.6).
const (
	stillImage = "1.2.840.10008.5.1.4.1.1.6.1"
	loopImage  = "1.2.840.10008.5.1.4.1.1.3.1"
)

// trace is what lies below the picture of a still image.
type trace int

const (
	noTrace trace = iota
	motion
	pulsedSpectrum
	continuousSpectrum
)

// Shot is one image as the sonographer stored it: where, of what, with which
// settings, and what was measured on it. Settings are those a scanner writes
// into the header; the pixels are blank.
type Shot struct {
	Name   string
	view   term
	sites  []term  // structures the header names
	colour float64 // cm/s of the colour scale, 0 without colour
	trace  trace
	away   bool     // the flow runs away from the transducer
	Sweep  float64  // s across the trace
	Rate   float64  // frames per second, 0 for a still
	Sample float64  // cm, depth of the Doppler sample, 0 when not stated
	takes  []string // measurands measured on it

	Reach     float64 // cm/s shown on the side of the signal; chosen to fit when 0
	Angle     float64 // degrees of correction
	heartRate float64
	Shown     term    // view the header states instead, "" for its own
	Resized   bool    // the picture was made smaller and its calibration not
	Spacing   float64 // factor on the pixel spacing
}

// Settings of an orderly study.
const (
	FastSweep  = 2.4 // s: about 120 mm/s on a screen of 32 cm
	SlowSweep  = 9.6
	loopRate   = 55
	colourRate = 18
	depthShown = 16.0 // cm
)

// Shots lists the images of a comprehensive study in the order of scanning.
func (c *Record) Shots() []Shot {
	all := []Shot{
		loop("long-axis", parasternalLong, "interventricular-septum-thickness-diastole", "left-ventricular-internal-diameter-diastole",
			"left-ventricular-posterior-wall-thickness-diastole", "left-ventricular-internal-diameter-systole", "lvot-diameter",
			"aortic-root-diameter", "sinotubular-junction-diameter", "ascending-aorta-diameter", "left-atrial-anteroposterior-diameter"),
		colourLoop("long-axis-colour", parasternalLong, 60, mitralValve, aorticValve),
		colourLoop("inflow-colour", RvInflow, 60, TricuspidValve),
		jetShot("inflow-jet", RvInflow),
		loop("base", ShortAxisBase, "rvot-diameter-distal", "main-pulmonary-artery-diameter"),
		colourLoop("base-colour", ShortAxisBase, 60, pulmonaryValve, TricuspidValve, aorticValve),
		spectrum("outflow-right", ShortAxisBase, pulsedSpectrum, rightOutflowTract, "rvot-peak-velocity", "rvot-velocity-time-integral",
			"rvot-acceleration-time", "right-ventricular-ejection-time").runsAway(),
		spectrum("pulmonary-jet", ShortAxisBase, continuousSpectrum, pulmonaryValve, "pulmonary-regurgitation-peak-velocity", "pulmonary-regurgitation-end-diastolic-velocity"),
		jetShot("base-jet", ShortAxisBase),
		loop("papillary", shortAxisMid),
		loop("four-chamber", ApicalFour, "left-ventricular-end-diastolic-volume-four-chamber", "left-ventricular-end-systolic-volume-four-chamber",
			"left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane",
			"left-ventricular-global-longitudinal-strain-peak-mean", "left-atrial-area-four-chamber", "left-atrial-length-four-chamber", "right-atrial-area"),
		colourLoop("four-chamber-colour", ApicalFour, 60, mitralValve, TricuspidValve),
		spectrum("mitral-inflow", ApicalFour, pulsedSpectrum, mitralValve, "mitral-valve-e-wave-velocity", "mitral-valve-a-wave-velocity", "mitral-valve-deceleration-time"),
		spectrum("annulus-septal", ApicalFour, pulsedSpectrum, septalAnnulus, "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-s-prime-septal").runsAway(),
		spectrum("annulus-lateral", ApicalFour, pulsedSpectrum, lateralAnnulus, "mitral-annular-velocity-e-prime-lateral").runsAway(),
		loop("right-focused", apicalFocused, "right-ventricular-basal-diameter", "right-ventricular-mid-diameter", "right-ventricular-area-diastole",
			"right-ventricular-area-systole", "tricuspid-annulus-diameter-diastole"),
		{Name: "excursion", view: ApicalFour, trace: motion, sites: []term{tricuspidAnnulus}, Sweep: FastSweep, takes: []string{"tricuspid-annular-plane-systolic-excursion"}},
		spectrum("annulus-right", ApicalFour, pulsedSpectrum, tricuspidAnnulus, "tricuspid-annular-velocity-s-prime"),
		c.breathing(),
		spectrum("tricuspid-inflow", ApicalFour, pulsedSpectrum, TricuspidValve, "tricuspid-valve-deceleration-time", "tricuspid-valve-closure-to-opening-time").at(8),
		spectrum("tricuspid-gradient", ApicalFour, continuousSpectrum, TricuspidValve, "tricuspid-valve-mean-gradient", "tricuspid-valve-inflow-velocity-time-integral", "tricuspid-valve-pressure-half-time"),
		jetShot("apical-jet", ApicalFour),
		loop("two-chamber", apicalTwo, "left-ventricular-end-diastolic-volume-two-chamber", "left-ventricular-end-systolic-volume-two-chamber", "left-atrial-area-two-chamber"),
		colourLoop("apical-long-colour", apicalLong, 60, aorticValve, mitralValve),
		spectrum("outflow-left", apicalLong, pulsedSpectrum, outflowTract, "lvot-peak-velocity", "lvot-velocity-time-integral").runsAway(),
		spectrum("aortic-jet", apicalLong, continuousSpectrum, aorticValve, "aortic-valve-peak-velocity", "aortic-valve-velocity-time-integral").runsAway(),
		loop("subcostal", SubcostalLong, "inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration"),
		colourLoop("subcostal-colour", SubcostalLong, 35, atrialSeptum),
		spectrum("hepatic-vein", SubcostalLong, pulsedSpectrum, hepaticVein, "hepatic-vein-systolic-velocity", "hepatic-vein-diastolic-velocity"),
		loop("arch", suprasternalLong, "aortic-arch-diameter"),
	}
	if c.Profile.aorticStenosis > none {
		above := spectrum("aortic-jet-above", suprasternalLong, continuousSpectrum, aorticValve).runsAway()
		above.Reach = 600
		all = append(all, above)
	}
	if c.Has("tricuspid-regurgitation-pisa-radius") {
		all = append(all, colourLoop("convergence", ApicalFour, 36, TricuspidValve).measuring("tricuspid-regurgitation-pisa-radius", "tricuspid-regurgitation-pisa-velocity"),
			colourLoop("narrowest", ApicalFour, 60, TricuspidValve).measuring("tricuspid-regurgitation-vena-contracta-width"))
	}
	for i := range all {
		all[i].heartRate = math.Round(c.Subject.HeartRate)
		all[i].Spacing = 1
	}
	return all
}

// breathing is tricuspid inflow on a slow sweep, for the change with breathing.
func (c *Record) breathing() Shot {
	s := spectrum("tricuspid-breathing", ApicalFour, pulsedSpectrum, TricuspidValve, "tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity").at(8)
	s.Sweep = SlowSweep
	return s
}

func loop(name string, view term, takes ...string) Shot {
	return Shot{Name: name, view: view, Rate: loopRate, takes: takes}
}

func colourLoop(name string, view term, scale float64, sites ...term) Shot {
	return Shot{Name: name, view: view, colour: scale, Rate: colourRate, sites: sites}
}

func spectrum(name string, view term, kind trace, site term, takes ...string) Shot {
	return Shot{Name: name, view: view, trace: kind, sites: []term{site}, Sweep: FastSweep, takes: takes}
}

func jetShot(name string, view term) Shot {
	return spectrum(name, view, continuousSpectrum, TricuspidValve, JetVelocity, "tricuspid-regurgitation-velocity-time-integral").runsAway()
}

func (s Shot) runsAway() Shot { s.away = true; return s }

func (s Shot) at(depth float64) Shot { s.Sample = depth; return s }

func (s Shot) measuring(takes ...string) Shot { s.takes = takes; return s }

// measured reports whether a reading was taken on the shot.
func (s Shot) measured(r *Reading) bool {
	if !slices.Contains(s.takes, r.Quantity.Measurand) {
		return false
	}
	return r.Quantity.Measurand != JetVelocity || r.View == s.view
}

// fit chooses the velocity scale so that the signal takes about two thirds.
func (s Shot) fit(c *Record) Shot {
	if s.trace < pulsedSpectrum || s.Reach > 0 {
		return s
	}
	peak := 0.0
	for _, r := range c.Readings {
		if !s.measured(r) {
			continue
		}
		switch r.Quantity.Kind {
		case BloodVelocity:
			peak = max(peak, 100*slices.Max(r.Values))
		case TissueVelocity:
			peak = max(peak, slices.Max(r.Values))
		}
	}
	if peak == 0 {
		peak = 130 // nothing was measured on it
	}
	step := 10.0
	if peak < 25 {
		step = 5
	}
	s.Reach = max(math.Ceil(peak/0.65/step)*step, 2*step)
	if s.Name == "tricuspid-breathing" && peak < 88 {
		s.Reach = min(s.Reach, 100)
	}
	return s
}

// Picture is a shot with its place in the study.
type Picture struct {
	Shot
	instance, class string
	number          int
	second          int // after the start of scanning
}

// Imaging makes the images of a study and tells its readings which they were
// taken on.
func Imaging(c *Record, shots []Shot, key ...string) []Picture {
	var out []Picture
	for n, s := range shots {
		p := Picture{Shot: s.fit(c), instance: Uid(append(key, "image", s.Name)...), class: stillImage, number: n + 1, second: 40 * n}
		if s.Rate > 0 {
			p.class = loopImage
		}
		out = append(out, p)
	}
	for _, r := range c.Readings {
		for i := range out {
			if out[i].measured(r) && !r.Derived {
				r.Image = &out[i]
			}
		}
	}
	return out
}

// reference ties a NUM item to the image it was measured on: by a point on the
// spectrum for a velocity, otherwise by the image as a whole.
func (p *Picture) reference(q quantity, value float64) Item {
	image := Item{relation: inferredFrom, valueType: "IMAGE", name: imageSource, class: p.class, text: p.instance}
	factor := map[Kind]float64{BloodVelocity: 100, TissueVelocity: 1}[q.Kind]
	if p.trace < pulsedSpectrum || factor == 0 {
		return image
	}
	image.relation = selectedFrom
	return Item{relation: inferredFrom, valueType: "SCOORD", name: imageSource, points: p.point(value * factor), children: []Item{image}}
}

// Evidence lists the images in the report's header (PS3.3 C.17.2.3).
func Evidence(study, series string, pictures []Picture) dcm.Element {
	var items []dcm.Dataset
	for _, p := range pictures {
		items = append(items, dcm.New(dcm.Strings(dcm.T(0x00081150), p.class), dcm.Strings(dcm.T(0x00081155), p.instance)))
	}
	return dcm.Sequence(dcm.T(0x0040A375), dcm.New(dcm.Strings(dcm.T(0x0020000D), study),
		dcm.Sequence(dcm.T(0x00081115), dcm.New(dcm.Strings(dcm.T(0x0020000E), series), dcm.Sequence(dcm.T(0x00081199), items...)))))
}
