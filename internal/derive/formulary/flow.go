package formulary

import "math"

// pressureAndFlow holds the Bernoulli and continuity relations shared by all
// valves.
func pressureAndFlow() []Entry {
	const baumgartner = "Baumgartner H et al. J Am Soc Echocardiogr 2009;22:1-23"
	const quinones = "Quiñones MA et al. J Am Soc Echocardiogr 2002;15:167-184"
	const zoghbi = "Zoghbi WA et al. J Am Soc Echocardiogr 2017;30:303-371"
	return []Entry{
		{"peak_gradient", "Peak gradient, simplified Bernoulli", [][2]string{{"v", "m/s"}}, "mm[Hg]", "4 × v²",
			"Hatle L et al. Br Heart J 1978;40:131-140; " + baumgartner, "proximal velocity below about 1.5 m/s",
			func(x []float64) float64 { return 4 * x[0] * x[0] }},
		{"gradient_with_proximal", "Peak gradient with the proximal velocity", [][2]string{{"v2", "m/s"}, {"v1", "m/s"}}, "mm[Hg]", "4 × (v2² − v1²)",
			baumgartner, "proximal velocity above 1.5 m/s or peak velocity below 3.0 m/s",
			func(x []float64) float64 { return 4 * (x[0]*x[0] - x[1]*x[1]) }},
		{"velocity_from_gradient", "Velocity that belongs to a peak gradient", [][2]string{{"gradient", "mm[Hg]"}}, "m/s", "√(gradient / 4)",
			baumgartner, "as the simplified equation: proximal velocity below about 1.5 m/s (Baumgartner 2009)", func(x []float64) float64 { return math.Sqrt(x[0] / 4) }},
		{"circle_area", "Area of a circular outflow tract or annulus", [][2]string{{"d", "cm"}}, "cm2", "π/4 × d²",
			quinones, "assumes a circle; 10-20 % below three-dimensional areas", func(x []float64) float64 { return circle(x[0]) }},
		{"ellipse_area", "Area of an elliptic annulus", [][2]string{{"a", "cm"}, {"b", "cm"}}, "cm2", "π/4 × a × b",
			quinones, "two axes at right angles, of one frame (definition)", func(x []float64) float64 { return math.Pi / 4 * x[0] * x[1] }},
		{"stroke_volume", "Stroke volume through a circular site", [][2]string{{"d", "cm"}, {"vti", "cm"}}, "mL", "π/4 × d² × VTI",
			quinones, "diameter and velocity time integral at the same site", func(x []float64) float64 { return circle(x[0]) * x[1] }},
		{"stroke_volume_from_area", "Stroke volume from area and velocity time integral", [][2]string{{"area", "cm2"}, {"vti", "cm"}}, "mL", "area × VTI",
			quinones, "area and integral of the same site; laminar flow with a flat profile (Quiñones 2002)", product},
		{"cardiac_output", "Cardiac output", [][2]string{{"sv", "mL"}, {"hr", "/min"}}, "L/min", "SV × HR / 1000",
			quinones, "heart rate of the beats measured", func(x []float64) float64 { return x[0] * x[1] / 1000 }},
		{"cardiac_index", "Cardiac index", [][2]string{{"co", "L/min"}, {"bsa", "m2"}}, "L/min/m2", "CO / BSA", quinones, "as cardiac output and body surface area, both of the same day (common practice)", ratio},
		{"flow_rate", "Transvalvular flow rate", [][2]string{{"sv", "mL"}, {"et", "s"}}, "mL/s", "SV / ejection time",
			"Baumgartner H et al. J Am Soc Echocardiogr 2017;30:372-392", "mean over ejection; stroke volume and ejection time of the same beats (Baumgartner 2017)", ratio},
		{"mean_velocity", "Mean velocity over the flow time", [][2]string{{"vti", "cm"}, {"time", "s"}}, "cm/s", "VTI / flow time",
			"definition of the integral", "time from onset to end of the traced flow (definition)", ratio},
		{"pht_from_deceleration", "Pressure half-time from the deceleration time", [][2]string{{"dt", "ms"}}, "ms", "0.29 × deceleration time",
			"Hatle L et al. Circulation 1979;60:1096-1104; " + baumgartner, "linear decay; (1 − 1/√2) = 0.293",
			func(x []float64) float64 { return 0.29 * x[0] }},
		{"pisa_flow", "Flow by proximal isovelocity surface area", [][2]string{{"r", "cm"}, {"va", "cm/s"}}, "mL/s", "2π × r² × aliasing velocity",
			zoghbi, "hemispheric shell; radius at the moment of the peak velocity", func(x []float64) float64 { return 2 * math.Pi * x[0] * x[0] * x[1] }},
		{"pisa_flow_angle", "Flow by proximal isovelocity surface area, angle corrected", [][2]string{{"r", "cm"}, {"va", "cm/s"}, {"angle", "deg"}}, "mL/s",
			"2π × r² × aliasing velocity × angle / 180", zoghbi, "confined shell",
			func(x []float64) float64 { return 2 * math.Pi * x[0] * x[0] * x[1] * x[2] / 180 }},
		{"eroa", "Effective regurgitant orifice area by PISA", [][2]string{{"r", "cm"}, {"va", "cm/s"}, {"vmax", "cm/s"}}, "cm2", "2π × r² × aliasing velocity / peak velocity",
			zoghbi, "hemispheric shell, no confinement; radius and jet peak at the same moment; jet seen by the beam without an angle (Zoghbi 2017)", func(x []float64) float64 { return 2 * math.Pi * x[0] * x[0] * x[1] / x[2] }},
		{"eroa_from_volume", "Effective regurgitant orifice area from the regurgitant volume", [][2]string{{"volume", "mL"}, {"vti", "cm"}}, "cm2", "regurgitant volume / jet VTI",
			zoghbi, "whole jet traced by continuous wave; no other regurgitation or shunt behind the volume (Zoghbi 2017)", ratio},
		{"regurgitant_volume", "Regurgitant volume from orifice area and jet integral", [][2]string{{"eroa", "cm2"}, {"vti", "cm"}}, "mL", "EROA × jet VTI",
			zoghbi, "orifice constant through the jet; too large when the jet does not last all systole (Zoghbi 2017)", product},
		{"regurgitant_volume_by_flow", "Regurgitant volume as a difference of stroke volumes", [][2]string{{"total", "mL"}, {"forward", "mL"}}, "mL", "total SV − forward SV",
			zoghbi, "no other significant regurgitation or shunt", difference},
		{"regurgitant_fraction", "Regurgitant fraction", [][2]string{{"volume", "mL"}, {"total", "mL"}}, "%", "100 × regurgitant volume / total SV",
			zoghbi, "over the total, not the forward, stroke volume", percentOf},
		{"pisa_flow_near_orifice", "Flow by PISA corrected near the orifice", [][2]string{{"flow", "mL/s"}, {"va", "cm/s"}, {"vmax", "cm/s"}}, "mL/s", "flow × vmax / (vmax − va)",
			"from memory (Zoghbi 2017)", "low jet velocities, tricuspid regurgitation",
			func(x []float64) float64 { return x[0] * x[2] / (x[2] - x[1]) }},
		{"continuity_area", "Orifice area by continuity of the velocity time integral", [][2]string{{"sv", "mL"}, {"vti", "cm"}}, "cm2", "SV / VTI",
			baumgartner, "no regurgitation of the valve that changes the flow", ratio},
		{"shunt_ratio", "Pulmonary to systemic flow ratio", [][2]string{{"d_rvot", "cm"}, {"vti_rvot", "cm"}, {"d_lvot", "cm"}, {"vti_lvot", "cm"}}, "1",
			"(d_rvot² × VTI_rvot) / (d_lvot² × VTI_lvot)", "Sanders SP et al. Am J Cardiol 1983;51:952-956", "atrial or ventricular septal defect; roles swap in a patent duct",
			func(x []float64) float64 { return x[0] * x[0] * x[1] / (x[2] * x[2] * x[3]) }},
		{"velocity_ratio", "Ratio of two velocities", [][2]string{{"a", "cm/s"}, {"b", "cm/s"}}, "1", "a / b", "definition", "both velocities of like beats, without an angle to the beam (definition)", ratio},
		{"integral_ratio", "Ratio of two velocity time integrals", [][2]string{{"a", "cm"}, {"b", "cm"}}, "1", "a / b",
			"Baumgartner H et al. J Am Soc Echocardiogr 2017;30:372-392", "Doppler velocity index when a is the outflow tract", ratio},
		{"time_ratio", "Ratio of two times", [][2]string{{"a", "ms"}, {"b", "ms"}}, "1", "a / b", "definition", "both times of beats with like R-R intervals (definition)", ratio},
	}
}
