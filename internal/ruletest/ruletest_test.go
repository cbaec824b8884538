package ruletest_test

import (
	"testing"

	"echotally/internal/ruletest"
)

func TestExamplesOfEveryRule(t *testing.T) {
	ruletest.Examples(t, ruletest.Load(t))
}
