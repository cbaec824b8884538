package run

import (
	"strings"
	"testing"

	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// items writes measurements as a report; a blank site is left out.
func items(lines ...[3]string) string {
	var b strings.Builder
	b.WriteString("container DCM:125200\n")
	for _, l := range lines {
		b.WriteString("  contains num " + l[0] + " = " + l[1] + "\n")
		if l[2] != "" {
			b.WriteString("    mod code SCT:363698007 = " + l[2] + "\n")
		}
	}
	return b.String()
}

// TestReportSaysWhichFormFitted sends reports through reading and checking: each
// form of a formula that labs use is accepted and named, and a number of none of
// them fails. The arithmetic stands beside each.
func TestReportSaysWhichFormFitted(t *testing.T) {
	set := reader(t).Library
	const lvot, mitralAnnulus = "SCT:13418002", "SCT:65197004"
	gradient := func(mmHg string) string { // 4 × 4² = 64; 4 × (4² − 1²) = 60
		return items([3]string{"LN:79963-5", mmHg + " mm[Hg]"}, [3]string{"LN:79964-3", "4.000 m/s"}, [3]string{"LN:80029-2", "1.000 m/s"})
	}
	area := func(m2 string) string { // 180 cm and 140 kg, where the three forms lie apart
		return items([3]string{"LN:8277-6", m2 + " m2"}, [3]string{"LN:8302-2", "180.00 cm"}, [3]string{"LN:29463-7", "140.00 kg"})
	}
	fraction := func(percent string) string { // 40 / (60 + 40) = 40 %; 40 / 80 = 50 %; 40 / 60 = 67 %
		return items([3]string{"LN:80055-7", percent + " %"}, [3]string{"LN:80063-1", "40.0 mL"}, [3]string{"SCT:90096001", "60.0 mL", lvot},
			[3]string{"SCT:90096001", "80.0 mL", mitralAnnulus})
	}
	ratio := func(r string) string { // 90 / 9 = 10; (90 / 6 + 90 / 12) / 2 = 11.25
		return items([3]string{"LN:59111-5", r, mitralAnnulus}, [3]string{"LN:18037-2", "90.0 cm/s"}, [3]string{"LN:79911-4", "6.00 cm/s"}, [3]string{"LN:80054-0", "12.00 cm/s"})
	}
	for _, tt := range []struct{ name, rule, report, variant string }{
		{"Bernoulli", "aortic-valve/peak-gradient-from-velocity", gradient("64.0"), "simplified Bernoulli"},
		{"Bernoulli with proximal", "aortic-valve/peak-gradient-from-velocity", gradient("60.0"), "with the velocity below the valve"},
		{"Bernoulli, neither", "aortic-valve/peak-gradient-from-velocity", gradient("68.0"), ""},
		{"area, Du Bois", "patient/body-surface-area-from-height-and-weight", area("2.53"), "Du Bois"},
		{"area, Mosteller", "patient/body-surface-area-from-height-and-weight", area("2.65"), "Mosteller"},
		{"area, Haycock", "patient/body-surface-area-from-height-and-weight", area("2.71"), "Haycock"},
		{"area, none", "patient/body-surface-area-from-height-and-weight", area("2.40"), ""},
		{"fraction of forward flow and leak", "mitral-valve/regurgitant-fraction-from-volumes", fraction("40.0"), "over forward flow and regurgitant volume together"},
		{"fraction of mitral flow", "mitral-valve/regurgitant-fraction-from-volumes", fraction("50.0"), "over the mitral flow"},
		{"fraction of forward flow", "mitral-valve/regurgitant-fraction-from-volumes", fraction("66.7"), ""},
		{"fraction, none", "mitral-valve/regurgitant-fraction-from-volumes", fraction("58.0"), ""},
		{"ratio of means", "mitral-valve/e-over-e-prime-average", ratio("10.0 1"), "E over the mean velocity"},
		{"mean of ratios", "mitral-valve/e-over-e-prime-average", ratio("11.25 1"), "mean of the two ratios"},
		{"ratio, neither", "mitral-valve/e-over-e-prime-average", ratio("15.0 1"), ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := extract.Study([]*sr.Document{srtest.Document(t, tt.report)}, extract.Catalogues{Measurands: set.Measurands, Statements: set.Statements})
			want := finding.Pass
			if tt.variant == "" {
				want = finding.Fail
			}
			for _, r := range judge.Study(set, s, judge.By{}).Results {
				if r.Rule == tt.rule {
					if r.Outcome != want || r.Variant != tt.variant {
						t.Errorf("%s by %q (%s), want %s by %q", r.Outcome, r.Variant, r.Message, want, tt.variant)
					}
					return
				}
			}
			t.Errorf("no result of %s", tt.rule)
		})
	}
}
