package derive_test

import (
	"math"
	"slices"
	"testing"

	"echotally/internal/derive/worked"
)

// identity is an independent check of a formula: its value at arguments where
// geometry, a limit, a symmetry or another formula of the table gives the
// answer. Such checks find slips of typing; they are no published examples, and
// do not show that the formula itself is the published one.
type identity struct {
	formula   string
	arguments []float64
	want      float64
	why       string
}

// of applies a formula of the table.
func of(t *testing.T, formula string, x ...float64) float64 {
	t.Helper()
	f, ok := table(t).Find(formula)
	if !ok {
		t.Fatalf("%s: no such formula", formula)
	}
	y, err := f.Compute(x...)
	if err != nil {
		t.Fatalf("%s%v: %v", formula, x, err)
	}
	return y
}

func agree(t *testing.T, list []identity) {
	t.Helper()
	for _, i := range list {
		if got := of(t, i.formula, i.arguments...); math.Abs(got-i.want) > 1e-9*max(1, math.Abs(i.want)) {
			t.Errorf("%s%v = %.12g, want %.12g: %s", i.formula, i.arguments, got, i.want, i.why)
		}
	}
}

func TestIdentities(t *testing.T) {
	agree(t, geometry(t))
	agree(t, byOthers(t))
	agree(t, ratios(t))
	agree(t, regressions(t))
}

// TestNoFormulaIsUntested: a formula has a published example or an identity;
// there are no exceptions.
func TestNoFormulaIsUntested(t *testing.T) {
	tried := map[string]bool{}
	for _, e := range examples(t) {
		tried[e.Formula] = tried[e.Formula] || e.Strength == worked.Published
	}
	for _, i := range slices.Concat(geometry(t), byOthers(t), ratios(t), regressions(t)) {
		tried[i.formula] = true
	}
	for _, l := range limits() {
		tried[l.formula] = true
	}
	for _, f := range table(t).All() {
		if !tried[f.Name] {
			t.Errorf("%s has neither a published example nor an identity", f.Name)
		}
	}
}

// geometry: volumes and areas of bodies whose size is known.
func geometry(t *testing.T) []identity {
	const d = 5.0 // cm, a ball
	ball, disc := math.Pi/6*d*d*d, math.Pi/4*d*d
	return []identity{
		{"left_ventricular_volume_area_length", []float64{disc, d}, ball, "a ball has its own volume"},
		{"atrial_volume_single_plane", []float64{disc, d}, ball, "a ball has its own volume"},
		{"left_atrial_volume_area_length", []float64{disc, disc, d}, ball, "a ball has its own volume in two planes"},
		{"left_atrial_volume_ellipse", []float64{d, d, d}, ball, "an ellipsoid of equal axes is a ball"},
		{"left_ventricular_volume_bullet", []float64{disc, 6}, disc*3 + 2.0/3*disc*3, "half of it is a cylinder, half of it half an ellipsoid"},
		{"ellipse_area", []float64{d, d}, disc, "an ellipse of equal axes is a circle"},
		{"pisa_flow", []float64{d / 2, 1}, 2 * disc, "a hemisphere has twice the area of its base"},
		{"pisa_flow_angle", []float64{1, 40, 180}, of(t, "pisa_flow", 1, 40), "a plane leaflet needs no correction"},
		{"mitral_area_pisa", []float64{1, 40, 180, 200}, of(t, "eroa", 1, 40, 200), "a plane leaflet needs no correction"},
		{"left_ventricular_mass_cube", []float64{0, d, 0}, 0.6, "without walls only the constant stays"},
		{"left_ventricular_mass_penn", []float64{0, d, 0}, -13.6, "without walls only the constant stays"},
		{"left_ventricular_mass_cube", []float64{1, 3, 2}, 0.8*(of(t, "left_ventricular_mass_penn", 1, 3, 2)+13.6) + 0.6, "both regress one shell of muscle"},
	}
}

// byOthers: two ways to one number.
func byOthers(t *testing.T) []identity {
	fs := of(t, "fractional_shortening", 5, 3.5) / 100
	vd, vs := of(t, "teichholz_volume", 5), of(t, "teichholz_volume", 3.5)
	return []identity{
		{"ejection_fraction_teichholz", []float64{5, 3.5}, of(t, "ejection_fraction", vd, vs), "of its two volumes"},
		{"ejection_fraction_cube", []float64{5, 3.5}, 100 * (1 - math.Pow(1-fs, 3)), "three dimensions shorten alike"},
		{"mpi", []float64{400, 280}, of(t, "mpi_from_intervals", 50, 70, 280), "closure to opening is both isovolumic times and ejection"},
		{"mpi_from_intervals", []float64{50, 70, 280}, of(t, "mpi_from_intervals", 70, 50, 280), "symmetric in the isovolumic times"},
		{"regurgitant_volume", []float64{0.4, 150}, 60, "undone by the next"},
		{"eroa_from_volume", []float64{60, 150}, 0.4, "undone by the one before"},
		{"regurgitant_fraction", []float64{of(t, "regurgitant_volume_by_flow", 100, 60), 100}, 100 - 60, "what does not go forward leaks"},
		{"stroke_volume_from_area", []float64{of(t, "circle_area", 2), 20}, of(t, "stroke_volume", 2, 20), "a circle"},
		{"gradient_with_proximal", []float64{4, 1}, of(t, "peak_gradient", 4) - of(t, "peak_gradient", 1), "the step between two places"},
		{"gradient_with_proximal", []float64{4, 0}, of(t, "peak_gradient", 4), "no flow before the valve"},
		{"relative_wall_thickness", []float64{1, 5}, of(t, "relative_wall_thickness_both_walls", 1, 5, 1), "equal walls"},
		{"e_over_e_prime_average", []float64{80, 10, 10}, of(t, "e_over_e_prime_mean_of_ratios", 80, 10, 10), "equal sides"},
		{"e_over_e_prime_average", []float64{80, 6, 12}, of(t, "e_over_e_prime", 80, of(t, "average_e_prime", 6, 12)), "over the mean velocity"},
		{"systolic_filling_fraction", []float64{12, 8}, 100 - of(t, "systolic_filling_fraction", 8, 12), "systole and diastole share the flow"},
		{"systolic_filling_fraction_of_velocities", []float64{60, 40}, 100 - of(t, "systolic_filling_fraction_of_velocities", 40, 60), "the two shares make the whole"},
		{"pulmonary_pressure_with_obstruction", []float64{of(t, "right_ventricular_systolic_pressure", 3, 5), 0}, 41, "no obstruction, no step"},
		{"mean_pap_from_early_regurgitation_with_rap", []float64{2.5, 0}, of(t, "mean_pap_from_early_regurgitation", 2.5), "no atrial pressure"},
		{"right_pressure_from_septal_defect", []float64{120, of(t, "velocity_from_gradient", 90)}, 30, "the gradient undone"},
		{"left_atrial_pressure_from_jet", []float64{120, of(t, "velocity_from_gradient", 100)}, 20, "the gradient undone"},
		{"left_ventricular_end_diastolic_pressure", []float64{70, of(t, "velocity_from_gradient", 55)}, 15, "the gradient undone"},
		{"systemic_vascular_resistance", []float64{95, 5, 5}, 80 * of(t, "pvr_haemodynamic", 95, 5, 5), "80 dyn·s/cm5 to the Wood unit"},
		{"respiratory_variation_over_small", []float64{100, 80}, 25, "a fifth of the larger is a quarter of the smaller"},
		{"ivc_distensibility", []float64{20, 16}, 25, "a fifth of the larger is a quarter of the smaller"},
		{"dp_dt_right_half", []float64{30}, 1.25 * of(t, "dp_dt_right", 30), "15 mmHg (16 − 1) instead of 12 (16 − 4) in the same time"},
		{"shunt_ratio", []float64{2.4, 20, 2, 18}, of(t, "stroke_volume", 2.4, 20) / of(t, "stroke_volume", 2, 18), "of the two stroke volumes"},
	}
}

// ratios: quotients and differences, from what they must come to when two
// sizes are equal, exchanged, or known to belong to a third number.
func ratios(t *testing.T) []identity {
	fs := of(t, "fractional_shortening", 5, 4) / 100
	return []identity{
		{"acceleration_fraction", []float64{90, 300}, of(t, "time_ratio", 90, 300), "a ratio of times"},
		{"regurgitation_index", []float64{400, 500}, of(t, "time_ratio", 400, 500), "a ratio of times"},
		{"time_ratio", []float64{150, 300}, 1 / of(t, "time_ratio", 300, 150), "exchanged"},
		{"indexed_length", []float64{of(t, "annulus_index", 40, 1.6) * 1.6, 1.6}, 25, "40 mm over 1.6 m2, taken times the area and over it again"},
		{"annulus_index", []float64{40, 1.6}, 25, "eight fives over eight fifths"},
		{"indexed_mass", []float64{of(t, "left_ventricular_mass_cube", 0, 5, 0), 0.5}, 1.2, "the constant of the mass over half a square metre"},
		{"average_e_prime", []float64{6, 12}, 80 / of(t, "e_over_e_prime_average", 80, 6, 12), "what E was divided by"},
		{"e_over_e_prime", []float64{80, 80}, 1, "equal velocities"},
		{"e_over_a", []float64{80, 60}, 1 / of(t, "e_over_a", 60, 80), "exchanged"},
		{"e_over_e_prime_mean_of_ratios", []float64{80, 6, 12}, (of(t, "e_over_e_prime", 80, 6) + of(t, "e_over_e_prime", 80, 12)) / 2, "of the two ratios"},
		{"duration_difference", []float64{130, 105}, -of(t, "duration_difference", 105, 130), "exchanged"},
		{"flow_rate", []float64{3 * 24, 0.3}, 3 * of(t, "mean_velocity", 24, 0.3), "the area of 3 cm2 times the mean velocity through it"},
		{"mean_velocity", []float64{simpson(func(s float64) float64 { return 400 * s * (0.3 - s) / 0.0225 }, 0, 0.3), 0.3}, 2.0 / 3 * 400, "a parabola of 400 cm/s has two thirds of its peak as mean"},
		{"fractional_area_change", []float64{of(t, "circle_area", 5), of(t, "circle_area", 4)}, 100 * (1 - (1-fs)*(1-fs)), "both diameters of a disc shorten alike"},
		{"left_atrial_emptying_fraction", []float64{60, 24}, 100 * (1 - of(t, "left_atrial_volume_ellipse", 2, 3, 4)/of(t, "left_atrial_volume_ellipse", 4, 3, 5)), "the volume falls to 24 / 60 of itself"},
		{"integral_ratio", []float64{20, 80}, of(t, "aortic_valve_area", 2, 20, 80) / of(t, "circle_area", 2), "the valve's share of the outflow tract"},
		{"jet_width_fraction", []float64{8, 20}, 100 * math.Sqrt(of(t, "circle_area", 0.8)/of(t, "circle_area", 2)), "widths are as the roots of areas"},
		{"mean_pap_from_early_regurgitation", []float64{2.5}, of(t, "peak_gradient", 2.5), "a gradient"},
		{"pulmonary_diastolic_pressure", []float64{1.5, 5}, of(t, "peak_gradient", 1.5) + 5, "a gradient on top of the atrial pressure"},
		{"mean_pap_from_mean_gradient", []float64{30, 8}, 8 + of(t, "mean_pap_from_mean_gradient", 8, 22), "a sum, whatever its parts"},
		{"relative_wall_thickness_both_walls", []float64{1.2, 5, 1.2}, of(t, "relative_wall_thickness", 1.2, 5), "equal walls"},
		{"tapse_over_pasp", []float64{20, of(t, "right_ventricular_systolic_pressure", 3, 4)}, 0.5, "20 mm over 36 + 4 mmHg"},
		{"ventricular_diameter_ratio", []float64{50, 40}, 1 / of(t, "ventricular_diameter_ratio", 40, 50), "exchanged"},
		{"wall_thickening", []float64{1.5, 1.2}, 100 * (of(t, "wall_thickness_ratio", 1.5, 1.2) - 1), "a quarter more"},
		{"wall_thickness_ratio", []float64{1.5, 1.2}, 1 / of(t, "wall_thickness_ratio", 1.2, 1.5), "exchanged"},
		// Gorlin: CO / (HR × ejection time × 44.3 × √gradient); Hakki's remark is that HR × time × 44.3 is near 1000
		{"valve_area_hakki", []float64{5, 36}, 5000 / (1000 * math.Sqrt(36)), "Gorlin's area where rate, time and constant make 1000"},
		{"velocity_ratio", []float64{100, 400}, of(t, "aortic_valve_area_by_velocity", 2, 1, 4) / of(t, "circle_area", 2), "the valve's share of the outflow tract"},
		{"velocity_from_gradient", []float64{of(t, "peak_gradient", 3.3)}, 3.3, "the gradient undone"},
		{"heart_rate_from_rr", []float64{800}, 60 / 0.8, "one beat in 0.8 s"},
		{"qt_corrected_bazett", []float64{400, 0.64}, 500, "the root of 0.64 is 0.8"},
		{"qt_corrected_fridericia", []float64{400, 0.512}, 500, "the cube root of 0.512 is 0.8"},
		{"eccentricity_index", []float64{5, 4}, 1 / of(t, "eccentricity_index", 4, 5), "exchanged"},
		{"ivc_collapse", []float64{20, 16}, of(t, "ivc_distensibility", 20, 16) * 16 / 20, "the same change over the larger"},
		{"mean_pap_from_thirds", []float64{120, 80}, of(t, "mean_arterial_pressure", 120, 80), "the mean of the systemic pressure is made alike"},
		{"pvr_haemodynamic", []float64{25, 10, 5}, of(t, "systemic_vascular_resistance", 25, 10, 5) / 80, "the other circulation, in Wood units"},
		{"wall_motion_score_index", []float64{16 + 2*3, 16}, (14*1 + 2*4) / 16.0, "two dyskinetic segments of sixteen"},
		// 7 / (2.4 + d) is 1 where d is 4.6: there, and only there, the volume is the cube
		{"teichholz_volume", []float64{4.6}, 4.6 * 4.6 * 4.6, "the cube"},
		{"mitral_area_deceleration", []float64{220 / 0.29}, of(t, "mitral_area_pht", of(t, "pht_from_deceleration", 220/0.29)) * 759 / (220 / 0.29), "by way of the half-time, 759 being 220 / 0.29 cut off"},
	}
}

// regressions: lines of a fit have no reason to be what they are, so they are
// tried where a round number comes out or where two of them meet.
func regressions(t *testing.T) []identity {
	meet := (90.0 - 79) / (0.62 - 0.45) // ms
	man, woman := of(t, "expected_sinus_diameter_devereux", 50, 2, 1), of(t, "expected_sinus_diameter_devereux", 50, 2, 2)
	return []identity{
		{"mean_pap_from_acceleration_time", []float64{meet}, of(t, "mean_pap_short_acceleration_time", meet), "the two lines meet"},
		{"mean_pap_short_acceleration_time", []float64{50}, 59, "90 less 31"},
		{"mean_pap_from_acceleration_time", []float64{20}, 70, "79 less 9"},
		{"systolic_pap_from_acceleration_time", []float64{25}, 100, "ten to the second"},
		{"systolic_pap_from_acceleration_time", []float64{275}, 10, "ten to the first"},
		{"mean_pap_chemla", []float64{100}, 63, "61 and 2"},
		{"mean_pap_syyed", []float64{(2 - 0.55) / 0.04}, of(t, "mean_pap_chemla", (2-0.55)/0.04), "meets the other line where 0.04 mmHg a mmHg make up the 1.45 between the constants"},
		{"wedge_pressure_from_ratio", []float64{2.5}, 5, "3.1 and 1.9"},
		{"pvr_abbas_high", []float64{2, 5.19}, 3.6, "4 less 0.4"},
		{"pvr_abbas_high", []float64{4, 10}, 5.19/4*of(t, "peak_gradient", 4)/10 - 0.4, "of the gradient"},
		{"expected_sinus_diameter_devereux", []float64{50, 2, 1}, 2.423 + 0.45 + 0.922 - 0.267, "term by term"},
		{"z_score_normal", []float64{man, woman, 0.267}, 1, "the sexes differ by 0.267 cm"},
		{"expected_sinus_diameter_devereux_height", []float64{50, 170, 1}, 1.519 + 0.5 + 1.7 - 0.247, "term by term"},
		{"expected_sinus_diameter_roman_young", []float64{2}, 3.21, "0.97 and 2.24"},
		{"expected_sinus_diameter_roman", []float64{2.5}, of(t, "expected_sinus_diameter_roman_young", 2.5), "the lines of both ages meet at 2.5 m2"},
	}
}

// simpson integrates a function over an interval in a thousand steps.
func simpson(f func(float64) float64, from, to float64) float64 {
	const n = 1000
	h, sum := (to-from)/n, f(from)+f(to)
	for i := 1; i < n; i++ {
		sum += f(from+h*float64(i)) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// limit is an identity that is reached only nearly.
type limit struct {
	identity
	within float64 // as a share
}

// limits: where a formula must come to something simpler.
func limits() []limit {
	return []limit{
		{identity{"energy_loss_coefficient", []float64{1, 1e9}, 1, "a wide aorta recovers nothing"}, 1e-6},
		{identity{"pisa_flow_near_orifice", []float64{200, 1e-9, 500}, 200, "far from the orifice there is nothing to correct"}, 1e-6},
		// 1 mmHg is 1.33322 in 10³ dyn/cm²; the constant is published with three digits
		{identity{"wall_stress_meridional", []float64{120, 5, 1e-6}, 1.33322 * 120 * 5 / (4 * 1e-6), "a thin ball carries pressure × diameter / (4 × wall)"}, 0.003},
	}
}

func TestLimits(t *testing.T) {
	for _, l := range limits() {
		if got := of(t, l.formula, l.arguments...); math.Abs(got/l.want-1) > l.within {
			t.Errorf("%s%v = %g, want %g: %s", l.formula, l.arguments, got, l.want, l.why)
		}
	}
}
