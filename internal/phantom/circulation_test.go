package phantom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestPatientsAreCoherent draws many patients of every profile and holds their
// unrounded numbers against the relations that any heart obeys.
func TestPatientsAreCoherent(t *testing.T) {
	for _, p := range Profiles {
		t.Run(p.Name, func(t *testing.T) {
			for i := range 100 {
				random := rand.New(rand.NewPCG(uint64(i), 1))
				s := NewSubject(p, random)
				c := NewCirculation(p, s, random)
				for _, r := range relations(p, s, c) {
					if !r.holds {
						t.Fatalf("patient %d: %s does not hold: %+v %+v", i, r.title, s, c)
					}
				}
			}
		})
	}
}

type relation struct {
	title string
	holds bool
}

func relations(p Profile, s Subject, c Circulation) []relation {
	pressure := 4*c.Jet*c.Jet + c.AtrialPressure
	meanPressure := 0.61*pressure + 2
	collapse := (c.cavaExpiration - c.cavaInspiration) / c.cavaExpiration
	volumes := c.endDiastolic - c.endSystolic
	if p.mitralRegurgitation > none {
		volumes -= c.mitralOrifice() * c.mitralJetIntegral
	}
	class := 8.0
	switch {
	case c.cavaExpiration <= 2 && collapse > 0.55:
		class = 3
	case c.cavaExpiration > 2.2 && collapse < 0.45:
		class = 15
	}
	return []relation{
		{"systolic pressure of the profile", pressure >= p.pressure.Low-1e-9 && pressure <= p.pressure.High+1e-9},
		{"stroke volume is area times integral", near2(c.Stroke, math.Pi/4*c.OutflowDiameter*c.OutflowDiameter*c.OutflowIntegral, 1e-9)},
		{"right and left side carry the same flow", near2(c.Stroke, math.Pi/4*c.pulmonaryDiameter*c.pulmonaryDiameter*c.pulmonaryIntegral, 1e-9)},
		{"volumes agree with flow within a tenth", near2(volumes, c.Stroke, 0.1)},
		{"ejection fraction of the profile", within(c.endDiastolic-c.endSystolic, p.ejection, c.endDiastolic)},
		{"biplane between the single planes", c.twoDiastolic < c.endDiastolic && c.endDiastolic < c.fourDiastolic},
		{"systole is smaller than diastole", c.CavitySystolic < c.Cavity && c.RightSystolic < c.RightDiastolic},
		{"atrial volume from areas and length", near2(c.leftVolume, 0.85*c.leftFour*c.leftTwo/c.leftLength, 1e-9)},
		{"class of atrial pressure", class == c.AtrialPressure},
		{"mean aortic gradient below peak", c.aorticMean < 4*c.AorticVelocity*c.AorticVelocity},
		{"outflow slower than the valve", c.outflowVelocity < c.AorticVelocity && c.OutflowIntegral < c.aorticIntegral},
		{"integral fits velocity and time", fits(c.OutflowIntegral, c.outflowVelocity, c.ejectionTime)},
		{"acceleration within ejection", c.AccelerationTime < 0.6*c.RightEjection && c.AccelerationTime > 40},
		{"closure to opening exceeds ejection", c.closureToOpening > c.RightEjection},
		{"annulus no wider than the ventricle", c.tricuspidAnnulus < c.basal},
		{"half-time is 0.29 of deceleration", near2(c.TricuspidHalfTime, 0.29*c.tricuspidDeceleration, 1e-9)},
		{"tricuspid inflow below mitral unless diseased", c.TricuspidE < c.MitralE || p.tricuspidStenosis || p.tricuspidRegurgitation >= severe},
		{"no atrial wave in fibrillation", (c.mitralA == 0) == (p.rhythm == atrialFibrillation)},
		{"diastolic below mean below systolic pressure", 4*c.pulmonaryEnd*c.pulmonaryEnd+c.AtrialPressure < meanPressure || p.pressure.Low < 30},
		{"mitral jet within arterial pressure", c.mitralJet == 0 || 4*c.mitralJet*c.mitralJet < s.Systolic},
		{"excursion fits annular velocity", c.Excursion*10/c.RightS > 1 && c.Excursion*10/c.RightS < 3},
		{"systolic dimension ratio", c.CavitySystolic/c.Cavity > 0.5 && c.CavitySystolic/c.Cavity < 0.8},
		{"grade of regurgitation", gradeOf(c.tricuspidOrifice()*100) == p.tricuspidRegurgitation || p.tricuspidRegurgitation < moderate},
	}
}

// gradeOf is the grade by effective regurgitant orifice area in mm2: Hahn et
// al., Eur Heart J 2023, table 4.
func gradeOf(orifice float64) grade {
	switch {
	case orifice >= 60:
		return -1 // massive: no demo patient
	case orifice >= 40:
		return severe
	case orifice >= 20:
		return moderate
	}
	return mild
}

func near2(a, b, fraction float64) bool { return math.Abs(a-b) <= fraction*math.Abs(b) }

func within(part float64, s Span, whole float64) bool {
	return part/whole >= s.Low-1e-9 && part/whole <= s.High+1e-9
}

// fits holds the mean velocity over ejection against the peak.
func fits(integral, velocity, milliseconds float64) bool {
	share := integral / 100 / (velocity * milliseconds / 1000)
	return share > 0.5 && share < 0.8
}

// TestDerivedReadingsFollowFromTheOthers recomputes what the scanner computed
// from the unrounded readings of a clean record.
func TestDerivedReadingsFollowFromTheOthers(t *testing.T) {
	for _, p := range Profiles {
		if p.Extent != Comprehensive {
			continue
		}
		random := rand.New(rand.NewPCG(4, 2))
		s := NewSubject(p, random)
		c := Measure(p, s, NewCirculation(p, s, random), random)
		check := func(measurand string, want float64) {
			t.Helper()
			if c.Has(measurand) && !near2(c.Value(measurand), want, 1e-9) {
				t.Errorf("%s: %s is %v, the others give %v", p.Name, measurand, c.Value(measurand), want)
			}
		}
		v := func(m string) float64 {
			if !c.Has(m) {
				return math.NaN()
			}
			return c.Value(m)
		}
		check("right-ventricular-systolic-pressure", 4*v(JetVelocity)*v(JetVelocity)+v("right-atrial-pressure"))
		check("tricuspid-regurgitation-peak-gradient", 4*v(JetVelocity)*v(JetVelocity))
		check("mitral-valve-e-to-a-ratio", v("mitral-valve-e-wave-velocity")/v("mitral-valve-a-wave-velocity"))
		check("stroke-volume-lvot", math.Pi/4*v("lvot-diameter")*v("lvot-diameter")*v("lvot-velocity-time-integral"))
		check("tricuspid-valve-area-pressure-half-time", 190/v("tricuspid-valve-pressure-half-time"))
	}
}
