package labyear

import (
	"fmt"
	"slices"
	"time"
)

// RequirementTruth is what the year shows of one requirement of a shipped set, in the
// binder of its twelve months, once its lists are taken in and its actions and meetings
// recorded. It follows from what was put into the year and from nothing a rule says.
type RequirementTruth struct {
	Set         string `json:"set"`
	Requirement string `json:"requirement"`
	Status      string `json:"status"`             // while nothing is attached
	Attached    string `json:"attached,omitempty"` // once what it asks for is attached, where it takes an attachment
	Count       string `json:"count,omitempty"`    // what the binder must have counted, "346 of 360"
	Why         string `json:"why"`
}

// Statuses of a requirement.
const (
	byData       = "shown by data"
	byAttachment = "shown by attachment"
	partly       = "partly shown"
	notShown     = "not shown"
)

// What the lab asks of itself: its targets, and how many studies a reader needs.
const (
	timesTarget      = 0.95
	completeTarget   = 0.90
	consistentTarget = 0.95
	readerVolume     = 300
)

// tally counts what was put into the year.
type tally struct {
	studies, read, signed       int
	asked, complete, consistent int // of the studies that the protocol of a whole study is asked of
	compared                    int
	readers, sonographers       map[string]int
}

// lacking reports whether something is missing of which the lab's protocol makes a
// study incomplete: the right atrial area, the basal diameter of the right ventricle, or
// any number for its long-axis function (TAPSE or S′; beside one of them the other is a
// note). Where windows are poor the report says so, and nothing counts as forgotten.
func lacking(s *Study) bool {
	if s.Record.Profile.Name == "poor-windows" {
		return false
	}
	without := func(m string) bool { return slices.Contains(s.Forgotten, m) }
	return without("right-atrial-area") || without("right-ventricular-basal-diameter") ||
		without("tricuspid-annular-plane-systolic-excursion") && without("tricuspid-annular-velocity-s-prime")
}

func (t *tally) add(s *Study) {
	if t.readers == nil {
		t.readers, t.sonographers = map[string]int{}, map[string]int{}
	}
	t.studies++
	t.readers[s.Reader]++
	t.sonographers[s.Sonographer]++
	if !s.Read.After(readingDue(s)) {
		t.read++
	}
	if s.Signed.Sub(s.Read) <= 48*time.Hour {
		t.signed++
	}
	if hasGradient(s) {
		t.compared++
	}
	if !s.Slipped {
		t.consistent++
	}
	if s.Record.Profile.Name == "limited" {
		return
	}
	t.asked++
	if !lacking(s) {
		t.complete++
	}
}

// readingDue is until when a study is to be read: of an inpatient 24 hours after it
// ended, of others the end of the next working day (IAC 3.2.4A). The lab keeps UTC
// and no holidays.
func readingDue(s *Study) time.Time {
	if s.Setting == "inpatient" {
		return s.Ended.Add(24 * time.Hour)
	}
	day := s.Ended.Truncate(24*time.Hour).AddDate(0, 0, 1)
	for day.Weekday() == time.Saturday || day.Weekday() == time.Sunday {
		day = day.AddDate(0, 0, 1)
	}
	return day.AddDate(0, 0, 1)
}

// share is the status and count of a share of studies held against a target.
func share(count, total int, target float64) (status, words string) {
	status = notShown
	if float64(count) >= target*float64(total) {
		status = byData
	}
	return status, fmt.Sprintf("%d of %d", count, total)
}

// requirements is the truth of every requirement of the shipped sets.
func (t *tally) requirements() []RequirementTruth {
	return append(t.commission(), t.minimum()...)
}

// commission is what the set of the commission asks for.
func (t *tally) commission() []RequirementTruth {
	complete, completeOf := share(t.complete, t.asked, completeTarget)
	read, readOf := share(t.read, t.studies, timesTarget)
	signed, signedOf := share(t.signed, t.studies, timesTarget)
	enough := 0
	for _, n := range t.readers {
		if n >= readerVolume {
			enough++
		}
	}
	volume := RequirementTruth{Requirement: "physician-volume", Status: notShown, Attached: partly, Count: fmt.Sprintf("%d of %d readers", enough, len(t.readers)), Why: "studies were shared out among the readers evenly; who has fewer than 300 may have read elsewhere, which only an attachment tells"}
	if enough == len(t.readers) {
		volume.Status, volume.Attached = byData, byData
	}
	quality := RequirementTruth{Requirement: "technical-quality", Status: notShown, Attached: partly, Count: completeOf, Why: "as report-elements, and of every sonographer on the list there are studies; how clear images are, no report says"}
	if complete == byData && len(t.sonographers) == len(sonographers) {
		quality.Status, quality.Attached = partly, byData
	}
	policy := func(name, why string) RequirementTruth {
		return RequirementTruth{Requirement: name, Status: notShown, Attached: byAttachment, Why: why}
	}
	return in("iac-adult-2021", []RequirementTruth{
		{Requirement: "archive", Status: notShown, Attached: partly, Count: fmt.Sprintf("%d of %d", t.studies, t.studies), Why: "every study has its report and none an image"},
		{Requirement: "retention", Status: notShown, Attached: partly, Why: "the oldest study is of the first month of the year"},
		policy("privacy", "a policy is in no report"),
		policy("critical-results", "a policy is in no report"),
		policy("preliminary", "a policy is in no report"),
		{Requirement: "read-in-time", Status: read, Count: readOf, Why: "about 3 % of the studies are read days late"},
		{Requirement: "signed-in-time", Status: signed, Count: signedOf, Why: "about 4 % are signed late, and of one reader a third"},
		{Requirement: "report-elements", Status: complete, Count: completeOf, Why: "the right atrial area is forgotten in 8 % of the studies, the basal diameter of the right ventricle in 2 %, TAPSE together with S′ in hardly any; TAPSE alone is a note"},
		policy("identification", "no image is in the year"),
		policy("service", "service is in no report"),
		volume,
		{Requirement: "sonographer-volume", Status: byData, Count: fmt.Sprintf("%d of %d sonographers", len(t.sonographers), len(t.sonographers)), Why: "every study names its sonographer"},
		policy("credentials", "credentials are in no report"),
		{Requirement: "quality-cases", Status: notShown, Attached: partly, Count: "0 cases", Why: "nobody has drawn cases"},
		quality,
		{Requirement: "interpretive-quality", Status: notShown, Count: "0 cases", Why: "every tenth study has two reports, but the second reader had the first before him: nobody drew cases and had them read again"},
		{Requirement: "appropriateness", Status: byData, Count: fmt.Sprintf("%d of %d", t.studies, t.studies), Why: "of every study the request was judged (" + requestsList + ")"},
		t.comparisons(),
		{Requirement: "meetings", Status: partly, Attached: byData, Count: fmt.Sprintf("%d meetings", len(Meetings)), Why: "two meetings were held, and everybody was at one or read its minutes; the minutes themselves are not among the lists"},
		{Requirement: "improvement", Status: notShown, Count: "2 actions", Why: "both actions of June were due in September, and neither was closed with what came of it"},
	})
}

// comparisons: four a year with another test are asked for.
func (t *tally) comparisons() RequirementTruth {
	out := RequirementTruth{Requirement: "correlation", Status: notShown, Why: "after each study of severe aortic stenosis a catheter measured the gradient (" + testsList + ")"}
	if t.compared > 0 {
		out.Count = fmt.Sprintf("%d comparison", t.compared)
	}
	if t.compared >= 4 {
		out.Status = byData
	}
	return out
}

// minimum is what a lab may ask of itself.
func (t *tally) minimum() []RequirementTruth {
	complete, completeOf := share(t.complete, t.asked, completeTarget)
	consistent, consistentOf := share(t.consistent, t.studies, consistentTarget)
	signed, signedOf := share(t.signed, t.studies, timesTarget)
	return in("lab-minimum", []RequirementTruth{
		{Requirement: "complete", Status: complete, Count: completeOf, Why: "as report-elements of the other set"},
		{Requirement: "consistent", Status: consistent, Count: consistentOf, Why: "in 3 % of the studies the ejection fraction is mistyped by 20"},
		{Requirement: "signed", Status: signed, Count: signedOf, Why: "about 4 % are signed late, and of one reader a third"},
		{Requirement: "again", Status: notShown, Count: "0 cases", Why: "nobody drew cases and had them read again"},
		{Requirement: "talked", Status: byData, Count: fmt.Sprintf("%d meetings", len(Meetings)), Why: "two meetings were held"},
	})
}

func in(set string, all []RequirementTruth) []RequirementTruth {
	for i := range all {
		all[i].Set = set
	}
	return all
}
