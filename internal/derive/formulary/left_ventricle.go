package formulary

import "math"

const lang2015 = "Lang RM et al. J Am Soc Echocardiogr 2015;28:1-39"
const lang2005 = "Lang RM et al. J Am Soc Echocardiogr 2005;18:1440-1463"

// teichholz is the volume (mL) of a ventricle of internal diameter d (cm).
func teichholz(d float64) float64 { return 7 / (2.4 + d) * cube(d) }

// massCube is left ventricular mass (g) from septum, cavity and posterior wall
// (cm) in end-diastole.
func massCube(ivs, lvid, pw float64) float64 {
	return 0.8*1.04*(cube(ivs+lvid+pw)-cube(lvid)) + 0.6
}

// leftVentricle holds size, mass and systolic function.
func leftVentricle() []Entry {
	walls := [][2]string{{"ivs", "cm"}, {"lvid", "cm"}, {"pw", "cm"}}
	volumes := [][2]string{{"edv", "mL"}, {"esv", "mL"}}
	diameters := [][2]string{{"lvidd", "cm"}, {"lvids", "cm"}}
	return []Entry{
		{"ejection_fraction", "Ejection fraction from volumes", volumes, "%", "100 × (EDV − ESV) / EDV", lang2015, "both volumes by one method and of one beat (Lang 2015)", fractionalChange},
		{"volumetric_stroke_volume", "Stroke volume from ventricular volumes", volumes, "mL", "EDV − ESV", lang2015, "two-dimensional volumes are low", difference},
		{"fractional_area_change", "Fractional change of an area", [][2]string{{"large", "cm2"}, {"small", "cm2"}}, "%", "100 × (large − small) / large",
			"Rudski LG et al. J Am Soc Echocardiogr 2010;23:685-713", "one view, one beat, trabeculae counted to the cavity; tells nothing of the outflow part of the right ventricle (Rudski 2010)", fractionalChange},
		{"fractional_shortening", "Left ventricular fractional shortening", diameters, "%", "100 × (LVIDd − LVIDs) / LVIDd", lang2005,
			"not with regional dysfunction or abnormal septal motion", fractionalChange},
		{"teichholz_volume", "Left ventricular volume, Teichholz", [][2]string{{"d", "cm"}}, "mL", "7 / (2.4 + d) × d³",
			"Teichholz LE et al. Am J Cardiol 1976;37:7-11", "only to recompute stored values; not recommended by Lang 2015", func(x []float64) float64 { return teichholz(x[0]) }},
		{"ejection_fraction_teichholz", "Ejection fraction, Teichholz", diameters, "%", "100 × (Vd − Vs) / Vd",
			"Teichholz LE et al. Am J Cardiol 1976;37:7-11", "only to recompute stored values",
			func(x []float64) float64 { return fractionalChange([]float64{teichholz(x[0]), teichholz(x[1])}) }},
		{"ejection_fraction_cube", "Ejection fraction, cube", diameters, "%", "100 × (LVIDd³ − LVIDs³) / LVIDd³", lang2005, "only to recompute stored values",
			func(x []float64) float64 { return fractionalChange([]float64{cube(x[0]), cube(x[1])}) }},
		{"left_ventricular_volume_area_length", "Left ventricular volume, area-length", [][2]string{{"area", "cm2"}, {"length", "cm"}}, "mL", "8/(3π) × area² / length",
			"from memory (Lang 2015)", "where the border is not seen all round; shape of an ellipsoid, not with regional dysfunction (Lang 2015, from memory)", func(x []float64) float64 { return 8 / (3 * math.Pi) * x[0] * x[0] / x[1] }},
		{"left_ventricular_volume_bullet", "Left ventricular volume, bullet", [][2]string{{"area", "cm2"}, {"length", "cm"}}, "mL", "5/6 × area × length",
			lang2015, "short-axis area at the papillary muscles; shape of a bullet, not with regional dysfunction (Lang 2015)", func(x []float64) float64 { return 5.0 / 6 * x[0] * x[1] }},
		{"left_ventricular_mass_cube", "Left ventricular mass, linear (cube)", walls, "g", "0.8 × 1.04 × ((IVS + LVID + PW)³ − LVID³) + 0.6",
			"Devereux RB et al. Am J Cardiol 1986;57:450-458; " + lang2015, "end-diastolic values of one frame",
			func(x []float64) float64 { return massCube(x[0], x[1], x[2]) }},
		{"left_ventricular_mass_penn", "Left ventricular mass, Penn convention", walls, "g", "1.04 × ((IVS + LVID + PW)³ − LVID³) − 13.6",
			"Devereux RB, Reichek N. Circulation 1977;55:613-618", "Penn border convention",
			func(x []float64) float64 { return 1.04*(cube(x[0]+x[1]+x[2])-cube(x[1])) - 13.6 }},
		{"relative_wall_thickness", "Relative wall thickness", [][2]string{{"pw", "cm"}, {"lvid", "cm"}}, "1", "2 × PW / LVID", lang2015, "end-diastole; not for asymmetric walls, since it takes the posterior alone (Lang 2015)",
			func(x []float64) float64 { return 2 * x[0] / x[1] }},
		{"relative_wall_thickness_both_walls", "Relative wall thickness from both walls", walls, "1", "(IVS + PW) / LVID", lang2005, "must not be mixed with the posterior-wall form",
			func(x []float64) float64 { return (x[0] + x[2]) / x[1] }},
		{"wall_thickness_ratio", "Septum to posterior wall ratio", [][2]string{{"ivs", "cm"}, {"pw", "cm"}}, "1", "IVS / PW", lang2005, "end-diastole, one frame; without right ventricular bands in the septum (common practice)", ratio},
		{"wall_thickening", "Systolic thickening of a wall", [][2]string{{"systole", "cm"}, {"diastole", "cm"}}, "%", "100 × (systole − diastole) / diastole", "from memory (Lang 2005)", "one place of the wall, seen across, in one beat (common practice)",
			func(x []float64) float64 { return 100 * (x[0] - x[1]) / x[1] }},
		{"eccentricity_index", "Left ventricular eccentricity index", [][2]string{{"parallel", "cm"}, {"perpendicular", "cm"}}, "1", "diameter parallel / diameter perpendicular to the septum",
			"Ryan T et al. J Am Coll Cardiol 1985;5:918-927", "state systole or diastole", ratio},
		{"mpi", "Myocardial performance index", [][2]string{{"tco", "ms"}, {"et", "ms"}}, "1", "(closure-to-opening time − ejection time) / ejection time",
			"Tei C et al. J Cardiol 1995;26:357-366", "nearly equal R-R intervals", func(x []float64) float64 { return (x[0] - x[1]) / x[1] }},
		{"mpi_from_intervals", "Myocardial performance index from the isovolumic times", [][2]string{{"ivct", "ms"}, {"ivrt", "ms"}, {"et", "ms"}}, "1", "(IVCT + IVRT) / ejection time",
			"Tei C et al. J Cardiol 1995;26:357-366", "tissue Doppler: one beat", func(x []float64) float64 { return (x[0] + x[1]) / x[2] }},
		{"dp_dt_left", "Left ventricular dP/dt from mitral regurgitation, 1 to 3 m/s", [][2]string{{"dt", "ms"}}, "mm[Hg]/s", "32000 / time",
			"Bargiggia GS et al. Circulation 1989;80:1287-1292", "holosystolic jet with a clean edge from 1 to 3 m/s, before the aortic valve opens; left atrial pressure taken as constant (Bargiggia 1989)", func(x []float64) float64 { return 32000 / x[0] }},
		{"wall_stress_meridional", "Meridional end-systolic wall stress", [][2]string{{"sbp", "mm[Hg]"}, {"lvids", "cm"}, {"pws", "cm"}}, "10*3.dyn/cm2",
			"0.334 × SBP × LVIDs / (PWs × (1 + PWs / LVIDs))", "from memory (Reichek 1982)", "round ventricle without regional dysfunction; cuff systolic pressure stands for end-systolic (Reichek 1982, from memory)",
			func(x []float64) float64 { return 0.334 * x[0] * x[1] / (x[2] * (1 + x[2]/x[1])) }},
		{"wall_motion_score_index", "Wall motion score index", [][2]string{{"sum", "1"}, {"segments", "1"}}, "1", "sum of scores / segments scored", lang2015, "mean of the segments that were seen; those not seen count in neither number (Lang 2015)", ratio},
	}
}

// diastology holds mitral inflow, tissue Doppler, atrial volume and the
// pulmonary veins.
func diastology() []Entry {
	const nagueh = "Nagueh SF et al. J Am Soc Echocardiogr 2016;29:277-314"
	return []Entry{
		{"e_over_a", "Ratio of early to late filling", [][2]string{{"e", "cm/s"}, {"a", "cm/s"}}, "1", "E / A", nagueh, "sinus rhythm with separate waves", ratio},
		{"e_over_e_prime", "Ratio of E to one annular velocity", [][2]string{{"e", "cm/s"}, {"e_prime", "cm/s"}}, "1", "E / e′", nagueh, "not with a mitral prosthesis or ring, heavy annular calcification, mitral stenosis or more than moderate regurgitation, left bundle branch block or pacing (Nagueh 2016)", ratio},
		{"e_over_e_prime_average", "Ratio of E to the mean annular velocity", [][2]string{{"e", "cm/s"}, {"septal", "cm/s"}, {"lateral", "cm/s"}}, "1", "E / ((septal e′ + lateral e′) / 2)",
			nagueh, "not the mean of the two ratios", func(x []float64) float64 { return 2 * x[0] / (x[1] + x[2]) }},
		{"e_over_e_prime_mean_of_ratios", "Mean of the two E/e′ ratios", [][2]string{{"e", "cm/s"}, {"septal", "cm/s"}, {"lateral", "cm/s"}}, "1", "(E / septal e′ + E / lateral e′) / 2",
			"common practice", "a variant some systems compute", func(x []float64) float64 { return (x[0]/x[1] + x[0]/x[2]) / 2 }},
		{"average_e_prime", "Mean annular e′", [][2]string{{"septal", "cm/s"}, {"lateral", "cm/s"}}, "cm/s", "(septal e′ + lateral e′) / 2", nagueh, "as each velocity: not with regional dysfunction at one side, annular calcification or a mitral prosthesis (Nagueh 2016)",
			func(x []float64) float64 { return (x[0] + x[1]) / 2 }},
		{"systolic_filling_fraction", "Systolic filling fraction of a vein", [][2]string{{"s", "cm"}, {"d", "cm"}}, "%", "100 × S / (S + D)",
			"Nagueh SF et al. Circulation 1996;93:1160-1169", "velocity time integrals; not in atrial fibrillation", func(x []float64) float64 { return 100 * x[0] / (x[0] + x[1]) }},
		{"systolic_filling_fraction_of_velocities", "Systolic filling fraction from peak velocities", [][2]string{{"s", "cm/s"}, {"d", "cm/s"}}, "%", "100 × S / (S + D)",
			"Rudski LG et al. J Am Soc Echocardiogr 2010;23:685-713", "not in atrial fibrillation or severe tricuspid regurgitation", func(x []float64) float64 { return 100 * x[0] / (x[0] + x[1]) }},
		{"duration_difference", "Pulmonary vein Ar minus mitral A duration", [][2]string{{"ar", "ms"}, {"a", "ms"}}, "ms", "Ar − A", "from memory (Nagueh 2016)", "sinus rhythm", difference},
		{"wedge_pressure_from_ratio", "Wedge pressure from E/e′", [][2]string{{"ratio", "1"}}, "mm[Hg]", "1.24 × E/e′ + 1.9",
			"Nagueh SF et al. J Am Coll Cardiol 1997;30:1527-1533", "wide limits of agreement", func(x []float64) float64 { return 1.24*x[0] + 1.9 }},
		{"left_atrial_volume_area_length", "Left atrial volume, biplane area-length", [][2]string{{"a4", "cm2"}, {"a2", "cm2"}, {"length", "cm"}}, "mL", "8/(3π) × A4 × A2 / length",
			lang2015, "length is the shorter of the two", func(x []float64) float64 { return 8 / (3 * math.Pi) * x[0] * x[1] / x[2] }},
		{"left_atrial_volume_ellipse", "Left atrial volume, prolate ellipse", [][2]string{{"d1", "cm"}, {"d2", "cm"}, {"d3", "cm"}}, "mL", "π/6 × d1 × d2 × d3", lang2005, "least accurate",
			func(x []float64) float64 { return math.Pi / 6 * x[0] * x[1] * x[2] }},
		{"left_atrial_emptying_fraction", "Left atrial emptying fraction", [][2]string{{"maximum", "mL"}, {"minimum", "mL"}}, "%", "100 × (max − min) / max", lang2015, "total emptying: largest and smallest volume of one beat, by one method (Lang 2015)", fractionalChange},
		{"left_atrium_to_aorta_ratio", "Left atrium to aortic root ratio", [][2]string{{"la", "cm"}, {"ao", "cm"}}, "1", "LA / Ao", "DICOM PS3.17 N.4.3", "parasternal long axis, atrium in end-systole; misleads with a dilated root (common practice)", ratio},
	}
}
