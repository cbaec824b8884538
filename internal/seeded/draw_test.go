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
	oneDraw   = flag.Uint64("draw", 9301, "the draw of the second world that BenchmarkOneDraw counts; one that counts on the page is refused")
	cleanOnes = flag.Int("clean", 300, "how many clean studies BenchmarkOneDraw has")
	rounds    = flag.Int("rounds", 0, "how often BenchmarkOneDraw has each kind of slip and of gap")
)

// BenchmarkOneDraw counts a draw to tune on, which is for people to read and asserts
// nothing (-run '^$' -bench OneDraw -benchtime 1x -rounds 1); SEEDED_LOG says where each false alarm,
// each note on a complete study, each slip and each gap not found are listed.
func BenchmarkOneDraw(b *testing.B) {
	if slices.Contains(worldDraws(), *oneDraw) {
		b.Fatalf("draw %d is counted on the page and not looked into", *oneDraw)
	}
	var c worldCount
	for b.Loop() {
		c = newWorldJudge(b).count(*oneDraw, *rounds*len(world.SlipKinds()), *rounds*len(world.GapKinds()), *cleanOnes)
	}
	b.Log("\n" + worldTable([]worldCount{c}))
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
