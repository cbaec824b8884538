package labyear

import (
	"math"
	"time"

	"echotally/internal/phantom"
)

// Story is what happens in the lab over the year and how an audit must show it.
type Story struct {
	Kind string `json:"kind"`
	Text string `json:"text"`

	Signal   string   `json:"signal,omitempty"`   // kind of signal that must come
	Measures []string `json:"measures,omitempty"` // on each of these
	Also     []string `json:"also,omitempty"`     // measures that may signal as a consequence
	Where    string   `json:"where,omitempty"`    // station, sonographer or reader by the name in the reports

	Action *StoryAction `json:"action,omitempty"` // what the lab did
	Effect bool         `json:"effect"`           // whether an effect must be seen

	apply func(*setting)
}

// StoryAction is a corrective action of the lab.
type StoryAction struct {
	Title   string `json:"title"`
	Cause   string `json:"cause"`
	Owner   string `json:"owner"`
	Measure string `json:"measure"`
	Started string `json:"started"`
	Due     string `json:"due"`
}

// Stories are the stories of the year.
func Stories() []Story { return yearStories() }

// Months in which things change, counted from the first of the year.
const (
	updateMonth = 5 // April 2026
	actionMonth = 7 // June 2026
)

func yearStories() []Story {
	started := firstMonth.AddDate(0, actionMonth, 0).Format(time.DateOnly)
	due := firstMonth.AddDate(0, actionMonth+3, 0).Format(time.DateOnly)
	return []Story{
		{
			Kind: "software-update", Text: "Since the update of April the scanner of room 3 leaves out most image views.",
			Signal: "software", Measures: []string{"views-stated"}, Where: "ROOM-3",
			Also:  []string{"conditional-complete", "no-contradiction"},
			apply: loseViews,
		},
		{
			Kind: "rounding", Text: "One sonographer rounds times to five milliseconds.",
			Signal: "digits", Measures: []string{"mitral-valve-deceleration-time", "left-ventricular-isovolumic-relaxation-time"}, Where: sonographers[3],
			apply: roundTimes,
		},
		{
			Kind: "late-signing", Text: "One reader signs late.",
			Signal: "person", Measures: []string{"signed-in-time"}, Where: physicians[2],
			apply: signLate,
		},
		{
			Kind: "action-works", Text: "TAPSE was often forgotten until the worksheet got a line for it in June.",
			Effect: true, apply: forgetExcursion,
			Action: &StoryAction{"A line for TAPSE on the worksheet", "it is not on the worksheet", "lead sonographer", "rule:right-ventricle/tapse-present", started, due},
		},
		{
			Kind: "action-without-effect", Text: "The right atrial area is often forgotten; the reminder by mail in June changed nothing.",
			apply:  forgetAtrium,
			Action: &StoryAction{"A reminder by mail about the right atrial area", "it is forgotten", "quality manager", "rule:right-atrium/area-present", started, due},
		},
		{
			Kind: "second-readings", Text: "About every tenth study is read twice, by two physicians; the TAPSE of the first is larger by 8 %.",
		},
	}
}

// loseViews drops the view of two readings in three, by measurand order, so
// that the loss looks like that of a faulty export.
func loseViews(s *setting) {
	if s.machine.station != "ROOM-3" || s.month < updateMonth {
		return
	}
	s.machine.software = "9.2.0"
	for i, r := range s.record.Readings {
		if i%3 != 0 && r.Quantity.Measurand != phantom.JetVelocity {
			r.View = ""
		}
	}
}

// roundTimes writes two times of the left heart in steps of five.
func roundTimes(s *setting) {
	if s.study.Sonographer != sonographers[3] {
		return
	}
	for _, name := range []string{"mitral-valve-deceleration-time", "left-ventricular-isovolumic-relaxation-time"} {
		for _, r := range s.record.Find(name) {
			for i, v := range r.Values {
				r.Values[i] = 5 * math.Round(v/5)
			}
		}
	}
}

func signLate(s *setting) {
	if s.study.Reader == physicians[2] && s.random.Float64() < 0.35 {
		late := 60 + 70*s.random.Float64()
		s.study.Signed = s.study.Read.Add(hours(late))
	}
}

func forgetExcursion(s *setting) {
	chance := 0.14
	if s.month >= actionMonth {
		chance = 0.03
	}
	if s.random.Float64() < chance && s.record.Profile.Extent == phantom.Comprehensive {
		s.study.forget("tricuspid-annular-plane-systolic-excursion")
	}
}

func forgetAtrium(s *setting) {
	if s.random.Float64() < 0.08 && s.record.Profile.Extent == phantom.Comprehensive {
		s.study.forget("right-atrial-area")
	}
}
