package measurand_test

import (
	"strings"
	"testing"
)

// What a report leaves to its sections, units and property modifiers. The rules
// are those of PS3.16 TID 5202/5203 (site of the section, overridden by the
// item), TID 5224 (an index keeps the plain name) and TID 5302 (the modifiers
// spell a private name out); which quantity a person would take each for was
// decided row by row.
func TestNamesInContext(t *testing.T) {
	c := shipped(t)
	cases := []struct {
		name, code, unit, section, modifiers, want string
	}{
		{"TR jet, site of the section", "LN:11726-7", "m/s", "tricuspid-valve", "flowDirection=regurgitant", "tricuspid-regurgitation-peak-velocity"},
		{"TR jet, 2024 code", "LN:20355-4", "m/s", "tricuspid-valve", "flowDirection=regurgitant", "tricuspid-regurgitation-peak-velocity"},
		{"no direction is forward flow", "LN:20355-4", "m/s", "tricuspid-valve", "", "tricuspid-valve-peak-velocity"},
		{"aortic valve without direction", "LN:20354-7", "cm", "aortic-valve", "", "aortic-valve-velocity-time-integral"},
		{"a shunt is no forward flow", "LN:11726-7", "m/s", "aortic-valve", "flowDirection=left-to-right-shunt", "nothing"},
		{"LVOT in the section of the ventricle", "LN:20354-7", "cm", "left-ventricle", "findingSite=lvot", "lvot-velocity-time-integral"},
		{"LVOT in the section of the valve", "SCT:399027007", "mm", "aortic-valve", "findingSite=lvot", "lvot-diameter"},
		{"velocity in the section of a ventricle", "LN:11726-7", "m/s", "left-ventricle", "", "nothing"},
		{"PISA radius, flow radius", "LN:59102-4", "mm", "mitral-valve", "flowDirection=regurgitant", "mitral-regurgitation-pisa-radius"},
		{"PISA radius, property", "DCM:125331", "mm", "tricuspid-valve", "", "tricuspid-regurgitation-pisa-radius"},
		{"vena contracta as target site", "SCT:81827009", "mm", "mitral-valve", "findingSite=vena-contracta", "mitral-regurgitation-vena-contracta-width"},
		{"vena contracta of no valve", "SCT:81827009", "mm", "", "findingSite=vena-contracta", "nothing"},
		{"vena contracta width", "DCM:125334", "mm", "tricuspid-valve", "", "tricuspid-regurgitation-vena-contracta-width"},
		{"acceleration time, right outflow", "LN:20168-1", "ms", "right-ventricle", "findingSite=rvot", "rvot-acceleration-time"},
		{"acceleration time, pulmonary valve", "LN:20168-1", "ms", "pulmonary-valve", "", "rvot-acceleration-time"},
		{"acceleration time, aortic valve", "LN:20168-1", "ms", "aortic-valve", "", "aortic-valve-acceleration-time"},
		{"ejection time by section", "LN:20222-6", "ms", "pulmonary-valve", "", "pulmonary-valve-ejection-time"},
		{"S' by property", "DCM:125330", "cm/s", "right-ventricle", "findingSite=tricuspid-annulus cardiacCyclePoint=systole", "tricuspid-annular-velocity-s-prime"},
		{"e' at the medial annulus, two codes", "SCT:399133000", "cm/s", "left-ventricle", "findingSite=mitral-annulus topographicalModifier=medial", "mitral-annular-velocity-e-prime-septal"},
		{"e' without annulus", "SCT:399133000", "cm/s", "left-ventricle", "", "left-ventricular-tissue-e-velocity"},
		{"E/e' in the mitral section says no side", "SCT:399140004", "1", "mitral-valve", "", "mitral-e-to-e-prime-ratio"},
		{"EF without method", "LN:18043-0", "%", "left-ventricle", "", "left-ventricular-ejection-fraction"},
		{"EF, modified Simpson", "LN:18043-0", "%", "left-ventricle", "measurementMethod=modified-simpson", "left-ventricular-ejection-fraction-biplane"},
		{"EF, modified Simpson in one view", "LN:18043-0", "%", "left-ventricle", "measurementMethod=modified-simpson imageView=apical-two-chamber", "left-ventricular-ejection-fraction-two-chamber"},
		{"volume with an unlisted method", "LN:18026-5", "mL", "left-ventricle", "measurementMethod=bullet", "left-ventricular-end-diastolic-volume"},
		{"volume index under the plain name", "LN:18026-5", "ml/m2", "left-ventricle", "measurementMethod=disks-single-plane imageView=apical-four-chamber", "left-ventricular-end-diastolic-volume-index"},
		{"LA volume index with method", "SCT:399235004", "mL/m2", "left-atrium", "measurementMethod=area-length-biplane", "left-atrial-volume-index-biplane-area-length"},
		{"LA volume", "SCT:399235004", "mL", "left-atrium", "measurementMethod=disks-biplane", "left-atrial-volume-biplane-disks"},
		{"stroke volume index, plain name", "SCT:90096001", "mL/m2", "left-ventricle", "", "stroke-volume-index"},
		{"stroke volume index by Doppler", "SCT:90096001", "mL/m2", "left-ventricle", "measurementMethod=doppler-volume-flow", "stroke-volume-index-lvot"},
		{"stroke volume of the other ventricle", "SCT:90096001", "mL", "right-ventricle", "measurementMethod=doppler-volume-flow", "rvot-stroke-volume"},
		{"stroke volume in the pulmonary section", "SCT:90096001", "mL", "pulmonary-valve", "", "rvot-stroke-volume"},
		{"stroke volume in the mitral section", "SCT:90096001", "mL", "mitral-valve", "", "mitral-annulus-stroke-volume"},
		{"stroke volume of a valve nobody computes it for", "SCT:90096001", "mL", "tricuspid-valve", "", "nothing"},
		{"LV mass over height", "LN:18087-7", "g/m2.7", "left-ventricle", "", "left-ventricular-mass-height-index"},
		{"LV mass over surface, area-length", "LN:18087-7", "g/m2", "left-ventricle", "measurementMethod=mass-area-length", "left-ventricular-mass-area-length-index"},
		{"regurgitant volume by PISA", "LN:33878-0", "mL", "mitral-valve", "flowDirection=regurgitant measurementMethod=pisa", "mitral-regurgitation-volume"},
		{"volume flow of a jet in mL/s", "LN:33878-0", "mL/s", "mitral-valve", "flowDirection=regurgitant measurementMethod=pisa", "mitral-regurgitation-pisa-flow"},
		{"mean of hepatic vein by respiration", "LN:29471-0", "cm/s", "hepatic-vein", "respiratoryCyclePoint=inspiration", "hepatic-vein-systolic-velocity"},
		{"IVC in inspiration", "LN:79967-6", "mm", "", "respiratoryCyclePoint=inspiration", "inferior-vena-cava-diameter-inspiration"},
		{"upper right pulmonary vein", "LN:29450-4", "cm/s", "pulmonary-vein", "topographicalModifier=right-upper", "pulmonary-vein-systolic-velocity"},
		{"RA pressure as blood pressure", "SCT:75367002", "mm[Hg]", "right-atrium", "", "right-atrial-pressure"},
		{"annulus of a child", "SCT:81827009", "mm", "aortic-valve", "findingSite=aortic-annulus", "aortic-annulus-diameter"},
		{"distal arch of a child", "SCT:81827009", "mm", "aorta", "findingSite=aortic-arch topographicalModifier=distal", "distal-transverse-arch-diameter"},
		{"a wrong unit is still the measurand", "LN:79921-3", "mm", "", "", "tricuspid-regurgitation-peak-velocity"},
		// PS3.17 CCCC.5, the post-coordinated items of the example
		{"private name, stroke index by disks", "99X:LVSIMOD", "ml/m2", "", "findingSite=left-ventricle measuredProperty=stroke-volume measurementMethod=disks-biplane imageMode=two-dimensional measurementDivisor=body-surface-area", "stroke-volume-index"},
		{"LA antero-posterior, post-coordinated", "LN:29469-4", "cm", "", "findingSite=left-atrium measuredProperty=diameter measurementMethod=anterior-posterior imageMode=two-dimensional cardiacCyclePoint=end-systole", "left-atrial-anteroposterior-diameter"},
		{"private name, jet velocity", "99X:TRV", "m/s", "", "findingSite=tricuspid-valve measuredProperty=peak-velocity flowDirection=regurgitant", "tricuspid-regurgitation-peak-velocity"},
		{"private name, divided by something", "99X:TRVI", "m/s", "", "findingSite=tricuspid-valve measuredProperty=peak-velocity flowDirection=regurgitant measurementDivisor=body-height", "nothing"},
		{"private name alone", "99X:TRV", "m/s", "tricuspid-valve", "flowDirection=regurgitant", "nothing"},
	}
	for _, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			m := spoken(t, c, k.code, k.unit, k.section, strings.Fields(k.modifiers)...)
			if got := nameOf(c.Name(m)); got != k.want {
				t.Errorf("is %s, want %s", got, k.want)
			}
		})
	}
}
