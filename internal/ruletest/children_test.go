package ruletest_test

import (
	"slices"
	"strings"
	"testing"

	"echotally/internal/example"
	"echotally/internal/library"

	"echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/rules"
)

// TestAdultLimitsStayWithAdults puts every example that makes a rule complain
// to a child of ten. A rule whose numbers were published for adults, or which
// nobody has confirmed, must not apply then. A number that was published for
// children too says "children" in its documentation.
func TestAdultLimitsStayWithAdults(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	judged := 0
	for _, one := range set.Rules {
		number := adultNumber(one)
		if number == "" {
			continue
		}
		one.Complete()
		for _, e := range one.File.AllExamples() {
			if e.Outcome != string(finding.Fail) && e.Outcome != string(finding.Review) {
				continue
			}
			child := rule.Person{Age: "10 a", Sex: "F"}
			if e.Subject != nil && e.Subject.Sex != "" {
				child.Sex = e.Subject.Sex
			}
			e.Subject = &child
			judged++
			outcome, _, err := example.Outcome(set, one, e)
			if err != nil {
				t.Fatal(err)
			}
			if outcome != finding.NotApplicable {
				t.Errorf("%s, %s: a child comes to %s by the number %s; give the rule an age from 18 years, or say in the number's documentation that it was published for children",
					one.File.Identifier, e.Title, outcome, number)
			}
		}
	}
	if judged < 250 {
		t.Errorf("only %d examples put to a child", judged)
	}
}

// adultNumber is a number of the rule that was published for adults or that
// nobody has confirmed. How an image is to be taken does not depend on age.
func adultNumber(one *rule.Rule) string {
	if one.Kind == finding.Acquisition {
		return ""
	}
	for name, p := range one.File.Parameters {
		origins := []string{p.Origin}
		for _, c := range p.Cases {
			origins = append(origins, c.Origin)
		}
		known := slices.ContainsFunc(origins, func(o string) bool { return o != "" && o != "site choice" && o != "common practice" })
		if known && !strings.Contains(p.Documentation, "children") {
			return name
		}
	}
	return ""
}
