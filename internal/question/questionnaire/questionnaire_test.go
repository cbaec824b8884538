package questionnaire_test

import (
	"regexp"
	"slices"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/question"
	"echotally/internal/question/questionnaire"
	"echotally/internal/ucum"
)

func TestEveryQuestionIsWhole(t *testing.T) {
	seen := map[string]bool{}
	form := regexp.MustCompile(`^[a-z][a-z_]*$`)
	for _, q := range questionnaire.All() {
		if !form.MatchString(q.Name) || seen[q.Name] {
			t.Errorf("%q is no name of a question, or that of two", q.Name)
		}
		seen[q.Name] = true
		if questionnaire.Find(q.Name) != q {
			t.Errorf("%s is not found", q.Name)
		}
		if q.Words == "" || q.Gives == "" {
			t.Errorf("%s has no words, or no line for the page", q.Name)
		}
		if q.Guard == question.NeedsValue && q.Unanswered == "" && q.From != question.EarlierStudy && q.From != question.Wall {
			t.Errorf("%s does not say why it has no answer", q.Name)
		}
		of := 0
		for _, s := range []question.Subject{question.WholeStudy, question.AMeasurand, question.AStatement} {
			if q.AskedOf(s) {
				of++
			}
		}
		if of != 1 || q.AskedOf(question.SeveralImages) && !q.AskedOf(question.AMeasurand) {
			t.Errorf("%s is asked of %d subjects", q.Name, of)
		}
		if q.Truth && (q.InUnit || q.UnitCode != "") || q.InUnit && (q.UnitCode != "" || !q.AskedOf(question.AMeasurand)) {
			t.Errorf("%s cannot have its unit", q.Name)
		}
		if _, err := ucum.Parse(q.UnitCode); q.UnitCode != "" && err != nil {
			t.Errorf("%s: %v", q.Name, err)
		}
		for _, words := range []string{q.Words, q.WordsImages} {
			for _, part := range regexp.MustCompile(`\{.*?\}`).FindAllString(words, -1) {
				if !slices.Contains([]string{"{number}", "{value}", "{title}", "{detail}", "{s}"}, part) {
					t.Errorf("%s: unknown part %s in its words", q.Name, part)
				}
			}
		}
	}
}

// What an image shows of the measured region is not taken from another.
func TestImageAnswers(t *testing.T) {
	x := func(v float64) *float64 { return &v }
	image := &echo.Image{Columns: 800, FrameRate: x(60), Duration: x(2), HeartRate: x(90), Regions: []echo.Region{
		{MinX: 0, MaxX: 399, Calibrated: true, Seconds: x(3), Velocities: &echo.Span{High: 80, Low: -20}},
		{MinX: 400, MaxX: 799, SampleDepth: x(9)},
	}}
	for _, c := range []struct {
		name     string
		region   int // -1 when it is not known
		want     float64
		answered bool
	}{
		{"frame_rate", -1, 60, true},
		{"loop_beats", -1, 3, true},
		{"image_heart_rate", 1, 90, true},
		{"sample_depth", -1, 9, true},
		{"sample_depth", 0, 9, true},
		{"sweep_seconds", 0, 3, true},
		{"sweep_seconds", 1, 0, false},
		{"sweep_seconds", -1, 0, false},
		{"scale_high", 0, 80, true},
		{"scale_low", 0, -20, true},
		{"scale_low", 1, 0, false},
		{"width_share", 1, 0.5, true},
		{"width_share", -1, 0, false},
		{"calibrated", 0, 1, true},
		{"calibrated", 1, 0, true},
		{"calibrated", -1, 0, false},
		{"colour_scale", 0, 0, false},
	} {
		var g *echo.Region
		if c.region >= 0 {
			g = &image.Regions[c.region]
		}
		got := questionnaire.Find(c.name).OfImage(image, g)
		if answered := got == got; answered != c.answered || answered && got != c.want {
			t.Errorf("%s of region %d: %v, want %v, answered %v", c.name, c.region, got, c.want, c.answered)
		}
	}
	if got := questionnaire.Find("calibrated").OfImage(&echo.Image{Regions: []echo.Region{{}}}, nil); got != 0 {
		t.Errorf("an image that gives no scale anywhere: %v", got)
	}
}
