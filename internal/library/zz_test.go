package library_test

import (
	"testing"

	"echotally/internal/library"
	"echotally/rules"
)

func BenchmarkPrepare(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
		if err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		for _, r := range lib.Rules {
			r.Prepare()
		}
	}
}

func BenchmarkComplete(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
		if err != nil {
			b.Fatal(err)
		}
		for _, r := range lib.Rules {
			r.Prepare()
		}
		b.StartTimer()
		for _, r := range lib.Rules {
			r.Complete()
		}
	}
}
