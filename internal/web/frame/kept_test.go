package frame

import (
	"fmt"
	"html/template"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestKeptPagesTakeNoMoreThanTheirRoom keeps more than there is room for: what was asked
// for last stays as it is, what was before is squeezed and comes out as it was, and what
// is over goes.
func TestKeptPagesTakeNoMoreThanTheirRoom(t *testing.T) {
	var k kept
	real := template.HTML(strings.Repeat("<p>as it was</p>", 1000))
	k.keep(&keptPage{key: "real", view: View{main: real}, about: "2.25.1"})
	full, squeezed := template.HTML(strings.Repeat("x", 3<<18)), make([]byte, 1<<18)
	for n := range 200 {
		k.put(&keptPage{key: fmt.Sprint(n), view: View{main: full}, packed: squeezed}, &k.ready)
		if n == 60 && k.pages["real"].Value.(*keptPage).view.main != "" {
			t.Error("what was not asked for is not squeezed")
		}
		if p := k.find("0"); n >= 60 && (k.find("real") == nil || k.find("real").view.main != real || k.find("real").about != "2.25.1") || p == nil || p.view.main != full {
			t.Fatal("what is asked for each time has gone, or is another page")
		}
	}
	for _, one := range []struct {
		*room
		most int
	}{{&k.ready, mostReady}, {&k.squeezed, mostSqueezed}} {
		sum := 0
		for e := one.Front(); e != nil; e = e.Next() {
			sum += e.Value.(*keptPage).size()
		}
		if one.bytes > one.most || one.bytes != sum || one.bytes < one.most*9/10 {
			t.Errorf("%d bytes are counted of pages that take %d", one.bytes, sum)
		}
	}
	if len(k.pages) != k.ready.Len()+k.squeezed.Len() {
		t.Errorf("%d pages are known, %d and %d are kept", len(k.pages), k.ready.Len(), k.squeezed.Len())
	}
	if k.find("1") != nil || k.find("199") == nil {
		t.Error("the latest have gone, or the oldest are there")
	}
	k.keep(&keptPage{key: "0", view: View{main: "y"}})
	if p := k.find("0"); p == nil || p.view.main != "y" {
		t.Error("what was made anew is not what is kept")
	}
	k.keep(&keptPage{key: "over", until: time.Now().Add(-time.Second)})
	if k.find("over") != nil {
		t.Error("what is over is shown")
	}
	for _, e := range slices.Collect(maps.Values(k.pages)) {
		k.drop(e)
	}
	if k.ready.bytes+k.squeezed.bytes != 0 || len(k.pages) != 0 {
		t.Errorf("%d and %d bytes are counted of nothing", k.ready.bytes, k.squeezed.bytes)
	}
}
