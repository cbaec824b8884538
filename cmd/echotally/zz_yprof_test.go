package main
import "testing"
func TestYProf(t *testing.T){ t.Log(run([]string{"check","/tmp/ydemo","--format","json","--output","/tmp/yy.json"})) }
