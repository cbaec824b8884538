package formulary

import "math"

// bodyAndRhythm holds body size, rhythm and blood pressure.
func bodyAndRhythm() []Entry {
	hw := [][2]string{{"height", "cm"}, {"weight", "kg"}}
	qt := [][2]string{{"qt", "ms"}, {"rr", "s"}}
	return []Entry{
		{"body_surface_area_du_bois", "Body surface area, Du Bois", hw, "m2", "0.007184 × weight^0.425 × height^0.725",
			"Du Bois D, Du Bois EF. Arch Intern Med 1916;17:863-871", "adults; low by 3-5 % in obesity",
			func(x []float64) float64 { return 0.007184 * math.Pow(x[1], 0.425) * math.Pow(x[0], 0.725) }},
		{"body_surface_area_mosteller", "Body surface area, Mosteller", hw, "m2", "√(height × weight / 3600)",
			"Mosteller RD. N Engl J Med 1987;317:1098", "adults and children",
			func(x []float64) float64 { return math.Sqrt(x[0] * x[1] / 3600) }},
		{"body_surface_area_haycock", "Body surface area, Haycock", hw, "m2", "0.024265 × weight^0.5378 × height^0.3964",
			"Haycock GB et al. J Pediatr 1978;93:62-66", "preferred for children",
			func(x []float64) float64 { return 0.024265 * math.Pow(x[1], 0.5378) * math.Pow(x[0], 0.3964) }},
		{"body_mass_index", "Body mass index", [][2]string{{"height", "m"}, {"weight", "kg"}}, "kg/m2", "weight / height²",
			"common practice", "adults; in children against percentiles of age and sex (common practice)", func(x []float64) float64 { return x[1] / (x[0] * x[0]) }},
		{"heart_rate_from_rr", "Heart rate from the R-R interval", [][2]string{{"rr", "ms"}}, "/min", "60000 / RR",
			"common practice", "mean R-R of the measured beats when the rhythm is irregular",
			func(x []float64) float64 { return 60000 / x[0] }},
		{"qt_corrected_bazett", "QT corrected for rate, Bazett", qt, "ms", "QT / √RR",
			"Bazett HC. Heart 1920;7:353-370", "over-corrects above 90-100 /min, under-corrects below 60",
			func(x []float64) float64 { return x[0] / math.Sqrt(x[1]) }},
		{"qt_corrected_fridericia", "QT corrected for rate, Fridericia", qt, "ms", "QT / ∛RR",
			"Fridericia LS. Acta Med Scand 1920;53:469-486", "under-corrects above 100 /min less than Bazett over-corrects; not with very unequal R-R intervals (Rautaharju PM et al. J Am Coll Cardiol 2009;53:982-991, from memory)", func(x []float64) float64 { return x[0] / math.Cbrt(x[1]) }},
		{"mean_arterial_pressure", "Mean arterial pressure from the cuff", [][2]string{{"sbp", "mm[Hg]"}, {"dbp", "mm[Hg]"}}, "mm[Hg]",
			"DBP + (SBP − DBP) / 3", "common practice", "resting rates; low in tachycardia, where systole takes more than a third of the beat (common practice)", func(x []float64) float64 { return x[1] + (x[0]-x[1])/3 }},
		{"systemic_vascular_resistance", "Systemic vascular resistance",
			[][2]string{{"map", "mm[Hg]"}, {"rap", "mm[Hg]"}, {"co", "L/min"}}, "dyn.s/cm5", "80 × (MAP − RAP) / CO",
			"common practice", "mean pressures and output of one time; 80 turns mmHg·min/L into dyn·s/cm5 (common practice)", func(x []float64) float64 { return 80 * (x[0] - x[1]) / x[2] }},
		{"indexed_length", "Length indexed to body surface area", [][2]string{{"length", "mm"}, {"bsa", "m2"}}, "mm/m2", "length / BSA",
			"Lang RM et al. J Am Soc Echocardiogr 2015;28:1-39", "adults of ordinary weight; over-corrects in obesity (common practice)", ratio},
		{"indexed_area", "Area indexed to body surface area", [][2]string{{"area", "cm2"}, {"bsa", "m2"}}, "cm2/m2", "area / BSA",
			"Lang RM et al. J Am Soc Echocardiogr 2015;28:1-39", "adults of ordinary weight; over-corrects in obesity (common practice)", ratio},
		{"indexed_volume", "Volume indexed to body surface area", [][2]string{{"volume", "mL"}, {"bsa", "m2"}}, "mL/m2", "volume / BSA",
			"Lang RM et al. J Am Soc Echocardiogr 2015;28:1-39", "adults of ordinary weight; over-corrects in obesity (common practice)", ratio},
		{"indexed_mass", "Mass indexed to body surface area", [][2]string{{"mass", "g"}, {"bsa", "m2"}}, "g/m2", "mass / BSA",
			"Lang RM et al. J Am Soc Echocardiogr 2015;28:1-39", "adults of ordinary weight; hides hypertrophy in obesity, where height^2.7 is an alternative (Lang 2015, from memory)", ratio},
	}
}
