package demo

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

// shot is one image as the sonographer stored it: where, of what, with which
// settings, and what was measured on it. Settings are those a scanner writes
// into the header; the pixels are blank.
type shot struct {
	name   string
	view   term
	sites  []term  // structures the header names
	colour float64 // cm/s of the colour scale, 0 without colour
	trace  trace
	away   bool     // the flow runs away from the transducer
	sweep  float64  // s across the trace
	rate   float64  // frames per second, 0 for a still
	sample float64  // cm, depth of the Doppler sample, 0 when not stated
	takes  []string // measurands measured on it

	reach     float64 // cm/s shown on the side of the signal; chosen to fit when 0
	angle     float64 // degrees of correction
	heartRate float64
	shown     term    // view the header states instead, "" for its own
	resized   bool    // the picture was made smaller and its calibration not
	spacing   float64 // factor on the pixel spacing
}

// Settings of an orderly study.
const (
	fastSweep  = 2.4 // s: about 120 mm/s on a screen of 32 cm
	slowSweep  = 9.6
	loopRate   = 55
	colourRate = 18
	depthShown = 16.0 // cm
)

// shots lists the images of a comprehensive study in the order of scanning.
func (c *record) shots() []shot {
	all := []shot{
		loop("long-axis", parasternalLong, "interventricular-septum-thickness-diastole", "left-ventricular-internal-diameter-diastole",
			"left-ventricular-posterior-wall-thickness-diastole", "left-ventricular-internal-diameter-systole", "lvot-diameter",
			"aortic-root-diameter", "sinotubular-junction-diameter", "ascending-aorta-diameter", "left-atrial-anteroposterior-diameter"),
		colourLoop("long-axis-colour", parasternalLong, 60, mitralValve, aorticValve),
		colourLoop("inflow-colour", rvInflow, 60, tricuspidValve),
		jetShot("inflow-jet", rvInflow),
		loop("base", shortAxisBase, "rvot-diameter-distal", "main-pulmonary-artery-diameter"),
		colourLoop("base-colour", shortAxisBase, 60, pulmonaryValve, tricuspidValve, aorticValve),
		spectrum("outflow-right", shortAxisBase, pulsedSpectrum, rightOutflowTract, "rvot-peak-velocity", "rvot-velocity-time-integral",
			"rvot-acceleration-time", "right-ventricular-ejection-time").runsAway(),
		spectrum("pulmonary-jet", shortAxisBase, continuousSpectrum, pulmonaryValve, "pulmonary-regurgitation-peak-velocity", "pulmonary-regurgitation-end-diastolic-velocity"),
		jetShot("base-jet", shortAxisBase),
		loop("papillary", shortAxisMid),
		loop("four-chamber", apicalFour, "left-ventricular-end-diastolic-volume-four-chamber", "left-ventricular-end-systolic-volume-four-chamber",
			"left-ventricular-end-diastolic-volume-biplane", "left-ventricular-end-systolic-volume-biplane",
			"left-ventricular-global-longitudinal-strain-peak-mean", "left-atrial-area-four-chamber", "left-atrial-length-four-chamber", "right-atrial-area"),
		colourLoop("four-chamber-colour", apicalFour, 60, mitralValve, tricuspidValve),
		spectrum("mitral-inflow", apicalFour, pulsedSpectrum, mitralValve, "mitral-valve-e-wave-velocity", "mitral-valve-a-wave-velocity", "mitral-valve-deceleration-time"),
		spectrum("annulus-septal", apicalFour, pulsedSpectrum, septalAnnulus, "mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-s-prime-septal").runsAway(),
		spectrum("annulus-lateral", apicalFour, pulsedSpectrum, lateralAnnulus, "mitral-annular-velocity-e-prime-lateral").runsAway(),
		loop("right-focused", apicalFocused, "right-ventricular-basal-diameter", "right-ventricular-mid-diameter", "right-ventricular-area-diastole",
			"right-ventricular-area-systole", "tricuspid-annulus-diameter-diastole"),
		{name: "excursion", view: apicalFour, trace: motion, sites: []term{tricuspidAnnulus}, sweep: fastSweep, takes: []string{"tricuspid-annular-plane-systolic-excursion"}},
		spectrum("annulus-right", apicalFour, pulsedSpectrum, tricuspidAnnulus, "tricuspid-annular-velocity-s-prime"),
		c.breathing(),
		spectrum("tricuspid-inflow", apicalFour, pulsedSpectrum, tricuspidValve, "tricuspid-valve-deceleration-time", "tricuspid-valve-closure-to-opening-time").at(8),
		spectrum("tricuspid-gradient", apicalFour, continuousSpectrum, tricuspidValve, "tricuspid-valve-mean-gradient", "tricuspid-valve-inflow-velocity-time-integral", "tricuspid-valve-pressure-half-time"),
		jetShot("apical-jet", apicalFour),
		loop("two-chamber", apicalTwo, "left-ventricular-end-diastolic-volume-two-chamber", "left-ventricular-end-systolic-volume-two-chamber", "left-atrial-area-two-chamber"),
		colourLoop("apical-long-colour", apicalLong, 60, aorticValve, mitralValve),
		spectrum("outflow-left", apicalLong, pulsedSpectrum, outflowTract, "lvot-peak-velocity", "lvot-velocity-time-integral").runsAway(),
		spectrum("aortic-jet", apicalLong, continuousSpectrum, aorticValve, "aortic-valve-peak-velocity", "aortic-valve-velocity-time-integral").runsAway(),
		loop("subcostal", subcostalLong, "inferior-vena-cava-diameter-expiration", "inferior-vena-cava-diameter-inspiration"),
		colourLoop("subcostal-colour", subcostalLong, 35, atrialSeptum),
		spectrum("hepatic-vein", subcostalLong, pulsedSpectrum, hepaticVein, "hepatic-vein-systolic-velocity", "hepatic-vein-diastolic-velocity"),
		loop("arch", suprasternalLong, "aortic-arch-diameter"),
	}
	if c.profile.aorticStenosis > none {
		above := spectrum("aortic-jet-above", suprasternalLong, continuousSpectrum, aorticValve).runsAway()
		above.reach = 600
		all = append(all, above)
	}
	if c.has("tricuspid-regurgitation-pisa-radius") {
		all = append(all, colourLoop("convergence", apicalFour, 36, tricuspidValve).measuring("tricuspid-regurgitation-pisa-radius", "tricuspid-regurgitation-pisa-velocity"),
			colourLoop("narrowest", apicalFour, 60, tricuspidValve).measuring("tricuspid-regurgitation-vena-contracta-width"))
	}
	for i := range all {
		all[i].heartRate = math.Round(c.subject.heartRate)
		all[i].spacing = 1
	}
	return all
}

// breathing is tricuspid inflow on a slow sweep, for the change with breathing.
func (c *record) breathing() shot {
	s := spectrum("tricuspid-breathing", apicalFour, pulsedSpectrum, tricuspidValve, "tricuspid-valve-e-wave-velocity", "tricuspid-valve-a-wave-velocity").at(8)
	s.sweep = slowSweep
	return s
}

func loop(name string, view term, takes ...string) shot {
	return shot{name: name, view: view, rate: loopRate, takes: takes}
}

func colourLoop(name string, view term, scale float64, sites ...term) shot {
	return shot{name: name, view: view, colour: scale, rate: colourRate, sites: sites}
}

func spectrum(name string, view term, kind trace, site term, takes ...string) shot {
	return shot{name: name, view: view, trace: kind, sites: []term{site}, sweep: fastSweep, takes: takes}
}

func jetShot(name string, view term) shot {
	return spectrum(name, view, continuousSpectrum, tricuspidValve, jetVelocity, "tricuspid-regurgitation-velocity-time-integral").runsAway()
}

func (s shot) runsAway() shot { s.away = true; return s }

func (s shot) at(depth float64) shot { s.sample = depth; return s }

func (s shot) measuring(takes ...string) shot { s.takes = takes; return s }

// measured reports whether a reading was taken on the shot.
func (s shot) measured(r *reading) bool {
	if !slices.Contains(s.takes, r.quantity.measurand) {
		return false
	}
	return r.quantity.measurand != jetVelocity || r.view == s.view
}

// fit chooses the velocity scale so that the signal takes about two thirds.
func (s shot) fit(c *record) shot {
	if s.trace < pulsedSpectrum || s.reach > 0 {
		return s
	}
	peak := 0.0
	for _, r := range c.readings {
		if !s.measured(r) {
			continue
		}
		switch r.quantity.kind {
		case bloodVelocity:
			peak = max(peak, 100*slices.Max(r.values))
		case tissueVelocity:
			peak = max(peak, slices.Max(r.values))
		}
	}
	if peak == 0 {
		peak = 130 // nothing was measured on it
	}
	step := 10.0
	if peak < 25 {
		step = 5
	}
	s.reach = max(math.Ceil(peak/0.65/step)*step, 2*step)
	if s.name == "tricuspid-breathing" && peak < 88 {
		s.reach = min(s.reach, 100)
	}
	return s
}

// picture is a shot with its place in the study.
type picture struct {
	shot
	instance, class string
	number          int
	second          int // after the start of scanning
}

// imaging makes the images of a study and tells its readings which they were
// taken on.
func imaging(c *record, shots []shot, key ...string) []picture {
	var out []picture
	for n, s := range shots {
		p := picture{shot: s.fit(c), instance: uid(append(key, "image", s.name)...), class: stillImage, number: n + 1, second: 40 * n}
		if s.rate > 0 {
			p.class = loopImage
		}
		out = append(out, p)
	}
	for _, r := range c.readings {
		for i := range out {
			if out[i].measured(r) && !r.derived {
				r.image = &out[i]
			}
		}
	}
	return out
}

// reference ties a NUM item to the image it was measured on: by a point on the
// spectrum for a velocity, otherwise by the image as a whole.
func (p *picture) reference(q quantity, value float64) item {
	image := item{relation: inferredFrom, valueType: "IMAGE", name: imageSource, class: p.class, text: p.instance}
	factor := map[kind]float64{bloodVelocity: 100, tissueVelocity: 1}[q.kind]
	if p.trace < pulsedSpectrum || factor == 0 {
		return image
	}
	image.relation = selectedFrom
	return item{relation: inferredFrom, valueType: "SCOORD", name: imageSource, points: p.point(value * factor), children: []item{image}}
}

// evidence lists the images in the report's header (PS3.3 C.17.2.3).
func evidence(study, series string, pictures []picture) *dcm.Element {
	var items []dcm.Dataset
	for _, p := range pictures {
		items = append(items, dcm.New(dcm.Strings(dcm.T(0x00081150), p.class), dcm.Strings(dcm.T(0x00081155), p.instance)))
	}
	return dcm.Sequence(dcm.T(0x0040A375), dcm.New(dcm.Strings(dcm.T(0x0020000D), study),
		dcm.Sequence(dcm.T(0x00081115), dcm.New(dcm.Strings(dcm.T(0x0020000E), series), dcm.Sequence(dcm.T(0x00081199), items...)))))
}
