package formulary

import "math"

const baumgartner2009 = "Baumgartner H et al. J Am Soc Echocardiogr 2009;22:1-23"
const zoghbi2017 = "Zoghbi WA et al. J Am Soc Echocardiogr 2017;30:303-371"

func aorticValve() []Entry {
	return []Entry{
		{"aortic_valve_area", "Aortic valve area by continuity", [][2]string{{"d", "cm"}, {"vti_lvot", "cm"}, {"vti_av", "cm"}}, "cm2", "π/4 × d² × VTI_lvot / VTI_av",
			baumgartner2009, "highest aortic signal of any window", func(x []float64) float64 { return circle(x[0]) * x[1] / x[2] }},
		{"aortic_valve_area_by_velocity", "Aortic valve area by continuity of peak velocity", [][2]string{{"d", "cm"}, {"v_lvot", "m/s"}, {"v_av", "m/s"}}, "cm2", "π/4 × d² × V_lvot / V_av",
			baumgartner2009, "native stenosis, where both flows have the same shape; else use the integrals (Baumgartner 2009)", func(x []float64) float64 { return circle(x[0]) * x[1] / x[2] }},
		{"mean_gradient_from_peak_velocity", "Mean aortic gradient expected from the peak velocity", [][2]string{{"v", "m/s"}}, "mm[Hg]", "2.4 × v²",
			"from memory", "plausibility only", func(x []float64) float64 { return 2.4 * x[0] * x[0] }},
		{"energy_loss_coefficient", "Energy loss coefficient", [][2]string{{"ava", "cm2"}, {"aorta", "cm2"}}, "cm2", "AVA × Aa / (Aa − AVA)",
			"Garcia D et al. Circulation 2000;101:765-771", "sinotubular junction below 30 mm", func(x []float64) float64 { return x[0] * x[1] / (x[1] - x[0]) }},
		{"valvulo_arterial_impedance", "Valvulo-arterial impedance", [][2]string{{"sbp", "mm[Hg]"}, {"gradient", "mm[Hg]"}, {"svi", "mL/m2"}}, "mm[Hg].m2/mL", "(SBP + mean gradient) / SVI",
			"Briand M et al. J Am Coll Cardiol 2005;46:291-298", "aortic stenosis; blood pressure taken at the time of the study (Briand 2005)", func(x []float64) float64 { return (x[0] + x[1]) / x[2] }},
		{"valve_area_hakki", "Valve area, Hakki", [][2]string{{"co", "L/min"}, {"gradient", "mm[Hg]"}}, "cm2", "CO / √gradient",
			"Hakki AH et al. Circulation 1981;63:1050-1055", "catheter cross-check", func(x []float64) float64 { return x[0] / math.Sqrt(x[1]) }},
		{"left_ventricular_end_diastolic_pressure", "Left ventricular end-diastolic pressure from aortic regurgitation", [][2]string{{"dbp", "mm[Hg]"}, {"v", "m/s"}}, "mm[Hg]", "DBP − 4 × v²",
			"common practice", "end-diastolic velocity of a whole aortic regurgitant signal; cuff diastolic pressure at the time (common practice)", func(x []float64) float64 { return x[0] - 4*x[1]*x[1] }},
		{"jet_width_fraction", "Jet width over outflow tract", [][2]string{{"jet", "mm"}, {"tract", "mm"}}, "%", "100 × jet / tract", zoghbi2017, "central jets", percentOf},
	}
}

func mitralValve() []Entry {
	return []Entry{
		{"mitral_area_pht", "Mitral valve area by pressure half-time", [][2]string{{"pht", "ms"}}, "cm2", "220 / pressure half-time",
			"Hatle L et al. Circulation 1979;60:1096-1104; " + baumgartner2009, "not early after valvotomy, with aortic regurgitation or a stiff ventricle",
			func(x []float64) float64 { return 220 / x[0] }},
		{"mitral_area_deceleration", "Mitral valve area by deceleration time", [][2]string{{"dt", "ms"}}, "cm2", "759 / deceleration time", "common practice", "as by pressure half-time",
			func(x []float64) float64 { return 759 / x[0] }},
		{"mitral_area_pisa", "Mitral valve area by PISA", [][2]string{{"r", "cm"}, {"va", "cm/s"}, {"angle", "deg"}, {"vmax", "cm/s"}}, "cm2", "2π × r² × va × angle/180 / vmax",
			baumgartner2009, "angle of the leaflets measured on the inflow side; radius and peak velocity of the same moment (Baumgartner 2009)", func(x []float64) float64 { return 2 * math.Pi * x[0] * x[0] * x[1] * x[2] / 180 / x[3] }},
		{"eroa_simplified", "Mitral regurgitant orifice, simplified PISA", [][2]string{{"r", "cm"}}, "cm2", "r² / 2",
			"from memory (Pu M et al. J Am Soc Echocardiogr 2001;14:180-185)", "aliasing velocity 40 cm/s and jet near 5 m/s", func(x []float64) float64 { return x[0] * x[0] / 2 }},
		{"left_atrial_pressure_from_jet", "Left atrial pressure from the mitral jet", [][2]string{{"sbp", "mm[Hg]"}, {"v", "m/s"}}, "mm[Hg]", "SBP − 4 × v²", "common practice", "no outflow obstruction",
			func(x []float64) float64 { return x[0] - 4*x[1]*x[1] }},
		{"respiratory_variation", "Respiratory variation over the larger value", [][2]string{{"large", "cm/s"}, {"small", "cm/s"}}, "%", "100 × (large − small) / large",
			"from memory (Klein AL et al. J Am Soc Echocardiogr 2013;26:965-1012)", "mitral: expiration is the larger", fractionalChange},
		{"respiratory_variation_over_small", "Respiratory variation over the smaller value", [][2]string{{"large", "cm/s"}, {"small", "cm/s"}}, "%", "100 × (large − small) / small",
			"from memory (Klein AL et al. J Am Soc Echocardiogr 2013;26:965-1012)", "tricuspid over expiration",
			func(x []float64) float64 { return 100 * (x[0] - x[1]) / x[1] }},
	}
}

func tricuspidValve() []Entry {
	return []Entry{
		{"tricuspid_area_pht", "Tricuspid valve area by pressure half-time", [][2]string{{"pht", "ms"}}, "cm2", "190 / pressure half-time",
			baumgartner2009, "weakly validated", func(x []float64) float64 { return 190 / x[0] }},
		{"annulus_index", "Annulus indexed to body surface area", [][2]string{{"d", "mm"}, {"bsa", "m2"}}, "mm/m2", "annulus / BSA",
			"from memory (Baumgartner H et al. Eur Heart J 2017;38:2739-2791)", "apical four-chamber, end-diastole", ratio},
		{"regurgitation_index", "Pulmonary regurgitation index", [][2]string{{"duration", "ms"}, {"diastole", "ms"}}, "1", "regurgitation duration / diastole", zoghbi2017, "both times of one beat; shortened also by a stiff right ventricle (common practice)", ratio},
	}
}

func aorta() []Entry {
	return []Entry{
		{"expected_sinus_diameter_devereux", "Expected sinus diameter from age, size and sex", [][2]string{{"age", "a"}, {"bsa", "m2"}, {"sex", "1"}}, "cm",
			"2.423 + 0.009 × age + 0.461 × BSA − 0.267 × sex (1 man, 2 woman)", "Devereux RB et al. Am J Cardiol 2012;110:1189-1194", "15 years and older; standard error 0.261 cm",
			func(x []float64) float64 { return 2.423 + 0.009*x[0] + 0.461*x[1] - 0.267*x[2] }},
		{"expected_sinus_diameter_devereux_height", "Expected sinus diameter from age, height and sex", [][2]string{{"age", "a"}, {"height", "cm"}, {"sex", "1"}}, "cm",
			"1.519 + 0.010 × age + 0.010 × height − 0.247 × sex", "Devereux RB et al. Am J Cardiol 2012;110:1189-1194", "standard error 0.215 cm",
			func(x []float64) float64 { return 1.519 + 0.010*x[0] + 0.010*x[1] - 0.247*x[2] }},
		{"expected_sinus_diameter_roman_young", "Expected sinus diameter below 40 years", [][2]string{{"bsa", "m2"}}, "cm", "0.97 + 1.12 × BSA",
			"Roman MJ et al. Am J Cardiol 1989;64:507-512", "20-39 years", func(x []float64) float64 { return 0.97 + 1.12*x[0] }},
		{"expected_sinus_diameter_roman", "Expected sinus diameter from 40 years", [][2]string{{"bsa", "m2"}}, "cm", "1.92 + 0.74 × BSA",
			"Roman MJ et al. Am J Cardiol 1989;64:507-512 (second coefficient from memory)", "40 years and older", func(x []float64) float64 { return 1.92 + 0.74*x[0] }},
		{"z_score_normal", "Z-score, normal", [][2]string{{"value", "1"}, {"mean", "1"}, {"sd", "1"}}, "1", "(value − mean) / SD", "definition", "mean and standard deviation of one reference population, for this size and age (definition)",
			func(x []float64) float64 { return (x[0] - x[1]) / x[2] }},
		{"z_score_lms", "Z-score, LMS", [][2]string{{"value", "1"}, {"l", "1"}, {"m", "1"}, {"s", "1"}}, "1", "((value/M)^L − 1) / (L × S)",
			"Cole TJ, Green PJ. Stat Med 1992;11:1305-1319", "L not zero", func(x []float64) float64 { return (math.Pow(x[0]/x[2], x[1]) - 1) / (x[1] * x[3]) }},
	}
}
