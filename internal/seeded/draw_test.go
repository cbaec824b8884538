package seeded

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"

	result "echotally/internal/finding"
	"echotally/internal/world"
)

var (
	oneDraw   = flag.Uint64("draw", 0, "the draw of the second world that TestOneDraw counts; one that counts on the page is refused")
	cleanOnes = flag.Int("clean", 300, "with -draw: how many clean studies")
	rounds    = flag.Int("rounds", 0, "with -draw: how often each kind of slip and of gap")
)

// TestOneDraw counts a draw to tune on; SEEDED_LOG says where each false alarm,
// each note on a complete study, each slip and each gap not found are listed.
func TestOneDraw(t *testing.T) {
	if *oneDraw == 0 {
		t.Skip("takes a draw: -draw 9301 [-clean 300] [-rounds 1]")
	}
	if slices.Contains(worldDraws(), *oneDraw) {
		t.Fatalf("draw %d is counted on the page and not looked into", *oneDraw)
	}
	c := newWorldJudge(t).count(*oneDraw, *rounds*len(world.SlipKinds()), *rounds*len(world.GapKinds()), *cleanOnes)
	t.Log("\n" + worldTable([]worldCount{c}))
}

// restsOn are the values a result rests on.
func restsOn(r *result.Result) string {
	var out []string
	for _, e := range r.Evidence {
		if m := e.Measurement; m != nil {
			out = append(out, fmt.Sprintf("%s=%s %s", e.Alias, m.ValueText, m.Unit.CodeValue))
		} else if e.Statement != nil {
			out = append(out, fmt.Sprintf("%s: %q", e.Alias, e.Statement.Quote))
		}
	}
	return " [" + strings.Join(out, "; ") + "]"
}
