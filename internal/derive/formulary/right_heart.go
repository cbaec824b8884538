package formulary

import "math"

// rightHeart holds right ventricular function, right atrial and pulmonary
// pressures.
func rightHeart() []Entry {
	const rudski = "Rudski LG et al. J Am Soc Echocardiogr 2010;23:685-713"
	dt := [][2]string{{"dt", "ms"}}
	at := [][2]string{{"at", "ms"}}
	return []Entry{
		{"right_ventricular_systolic_pressure", "Right ventricular systolic pressure", [][2]string{{"v", "m/s"}, {"rap", "mm[Hg]"}}, "mm[Hg]", "4 × v² + RAP",
			"Yock PG, Popp RL. Circulation 1984;70:657-662; " + rudski, "not with a laminar, torrential jet", func(x []float64) float64 { return 4*x[0]*x[0] + x[1] }},
		{"pulmonary_pressure_with_obstruction", "Pulmonary systolic pressure with an obstructed outflow", [][2]string{{"rvsp", "mm[Hg]"}, {"gradient", "mm[Hg]"}}, "mm[Hg]", "RVSP − outflow gradient",
			rudski, "peak gradient of the same state; outflow and valve together when both narrow (common practice)", difference},
		{"pulmonary_diastolic_pressure", "Pulmonary diastolic pressure from end-diastolic regurgitation", [][2]string{{"v", "m/s"}, {"rap", "mm[Hg]"}}, "mm[Hg]", "4 × v² + RAP", rudski, "end-diastolic velocity of a whole pulmonary regurgitant signal (Rudski 2010)",
			func(x []float64) float64 { return 4*x[0]*x[0] + x[1] }},
		{"mean_pap_from_early_regurgitation", "Mean pulmonary pressure from early pulmonary regurgitation", [][2]string{{"v", "m/s"}}, "mm[Hg]", "4 × v²",
			"Masuyama T et al. Circulation 1986;74:484-492", "without right atrial pressure", func(x []float64) float64 { return 4 * x[0] * x[0] }},
		{"mean_pap_from_early_regurgitation_with_rap", "Mean pulmonary pressure from early pulmonary regurgitation and RAP", [][2]string{{"v", "m/s"}, {"rap", "mm[Hg]"}}, "mm[Hg]", "4 × v² + RAP",
			rudski, "peak velocity at the onset of pulmonary regurgitation (Rudski 2010)", func(x []float64) float64 { return 4*x[0]*x[0] + x[1] }},
		{"mean_pap_chemla", "Mean pulmonary pressure from the systolic, Chemla", [][2]string{{"pasp", "mm[Hg]"}}, "mm[Hg]", "0.61 × PASP + 2",
			"Chemla D et al. Chest 2004;126:1313-1317", "from systolic pressures by catheter, at rest; a Doppler pressure brings its own error (Chemla 2004)", func(x []float64) float64 { return 0.61*x[0] + 2 }},
		{"mean_pap_syyed", "Mean pulmonary pressure from the systolic, Syyed", [][2]string{{"pasp", "mm[Hg]"}}, "mm[Hg]", "0.65 × PASP + 0.55",
			"from memory (Syyed R et al. Chest 2008;133:633-639)", "from systolic pressures by catheter, at rest, also sitting and in exercise (from memory)", func(x []float64) float64 { return 0.65*x[0] + 0.55 }},
		{"mean_pap_from_thirds", "Mean pulmonary pressure from systolic and diastolic", [][2]string{{"pasp", "mm[Hg]"}, {"padp", "mm[Hg]"}}, "mm[Hg]", "(PASP + 2 × PADP) / 3",
			"common practice", "ordinary rates; as the mean of the systemic pressure (common practice)", func(x []float64) float64 { return (x[0] + 2*x[1]) / 3 }},
		{"mean_pap_from_acceleration_time", "Mean pulmonary pressure from the acceleration time", at, "mm[Hg]", "79 − 0.45 × AT",
			"Mahan G et al. Circulation 1983;68(Suppl III):367; " + rudski, "heart rate 60-100 /min", func(x []float64) float64 { return 79 - 0.45*x[0] }},
		{"mean_pap_short_acceleration_time", "Mean pulmonary pressure from a short acceleration time", at, "mm[Hg]", "90 − 0.62 × AT",
			"Dabestani A et al. Am J Cardiol 1987;59:662-668", "acceleration time below 120 ms", func(x []float64) float64 { return 90 - 0.62*x[0] }},
		{"mean_pap_from_mean_gradient", "Mean pulmonary pressure from the mean tricuspid regurgitant gradient", [][2]string{{"gradient", "mm[Hg]"}, {"rap", "mm[Hg]"}}, "mm[Hg]", "mean gradient + RAP",
			"Aduen JF et al. J Am Soc Echocardiogr 2009;22:814-819", "whole tricuspid envelope traced, plus right atrial pressure (Aduen 2009)", func(x []float64) float64 { return x[0] + x[1] }},
		{"systolic_pap_from_acceleration_time", "Systolic pulmonary pressure from the acceleration time", at, "mm[Hg]", "10^(2.1 − 0.004 × AT)",
			"Yared K et al. J Am Soc Echocardiogr 2011;24:687-692", "right atrial pressure fixed at 10 in the study", func(x []float64) float64 { return math.Pow(10, 2.1-0.004*x[0]) }},
		{"pvr_abbas", "Pulmonary vascular resistance, Abbas", [][2]string{{"v", "m/s"}, {"vti", "cm"}}, "[wood'U]", "10 × v / VTI + 0.16",
			"Abbas AE et al. J Am Coll Cardiol 2003;41:1021-1027", "unreliable above 6 Wood units", func(x []float64) float64 { return 10*x[0]/x[1] + 0.16 }},
		{"pvr_abbas_high", "Pulmonary vascular resistance, Abbas, high values", [][2]string{{"v", "m/s"}, {"vti", "cm"}}, "[wood'U]", "5.19 × v² / VTI − 0.4",
			"Abbas AE et al. J Am Soc Echocardiogr 2013;26:1170-1177", "above 6 Wood units", func(x []float64) float64 { return 5.19*x[0]*x[0]/x[1] - 0.4 }},
		{"pvr_haemodynamic", "Pulmonary vascular resistance from pressures and output", [][2]string{{"mpap", "mm[Hg]"}, {"pcwp", "mm[Hg]"}, {"co", "L/min"}}, "[wood'U]", "(mPAP − PCWP) / CO",
			"common practice", "mean pressures and output of one time, without a shunt (common practice)", func(x []float64) float64 { return (x[0] - x[1]) / x[2] }},
		{"tapse_over_pasp", "TAPSE over pulmonary systolic pressure", [][2]string{{"tapse", "mm"}, {"pasp", "mm[Hg]"}}, "mm/mm[Hg]", "TAPSE / PASP",
			"Guazzi M et al. Am J Physiol Heart Circ Physiol 2013;305:H1373-H1381; Humbert M et al. Eur Heart J 2022;43:3618-3731", "not with an obstructed right outflow or severe tricuspid regurgitation (common practice)", ratio},
		{"ivc_collapse", "Inferior vena cava collapse", [][2]string{{"maximum", "mm"}, {"minimum", "mm"}}, "%", "100 × (max − min) / max", rudski, "spontaneous breathing", fractionalChange},
		{"ivc_distensibility", "Inferior vena cava distensibility", [][2]string{{"maximum", "mm"}, {"minimum", "mm"}}, "%", "100 × (max − min) / min",
			"Barbier C et al. Intensive Care Med 2004;30:1740-1746", "mechanical ventilation", func(x []float64) float64 { return 100 * (x[0] - x[1]) / x[1] }},
		{"dp_dt_right", "Right ventricular dP/dt from tricuspid regurgitation, 1 to 2 m/s", dt, "mm[Hg]/s", "12000 / time", rudski, "load dependent; less sure in severe tricuspid regurgitation; time from 1 to 2 m/s (Rudski 2010)", func(x []float64) float64 { return 12000 / x[0] }},
		{"dp_dt_right_half", "Right ventricular dP/dt from tricuspid regurgitation, 0.5 to 2 m/s", dt, "mm[Hg]/s", "15000 / time", rudski, "load dependent; less sure in severe tricuspid regurgitation; time from 0.5 to 2 m/s (Rudski 2010)", func(x []float64) float64 { return 15000 / x[0] }},
		{"ventricular_diameter_ratio", "Right to left ventricular basal diameter", [][2]string{{"rv", "mm"}, {"lv", "mm"}}, "1", "RV / LV",
			"Humbert M et al. Eur Heart J 2022;43:3618-3731", "apical four-chamber view", ratio},
		{"atrial_volume_single_plane", "Atrial volume, single-plane area-length", [][2]string{{"area", "cm2"}, {"length", "cm"}}, "mL", "8/(3π) × area² / length",
			"from memory (Lang 2015)", "right atrium, or left from one view only; larger or smaller than biplane where the atrium is not round (Lang 2015, from memory)", func(x []float64) float64 { return 8 / (3 * math.Pi) * x[0] * x[0] / x[1] }},
		{"right_pressure_from_septal_defect", "Right ventricular pressure with a ventricular septal defect", [][2]string{{"sbp", "mm[Hg]"}, {"v", "m/s"}}, "mm[Hg]", "SBP − 4 × v²",
			"common practice", "no outflow obstruction", func(x []float64) float64 { return x[0] - 4*x[1]*x[1] }},
		{"acceleration_fraction", "Acceleration time over ejection time", [][2]string{{"at", "ms"}, {"et", "ms"}}, "1", "AT / ET", rudski, "pulmonary or aortic flow, both times of one beat (common practice)", ratio},
	}
}
