package world

import "strings"

func splitProp(p string) (Code, Code) {
	s := strings.SplitN(p, "/", 2)
	a := parseCode(s[0])
	if len(s) == 2 {
		return a, parseCode(s[1])
	}
	return a, Code{}
}

func fields(toks string) [][2]string {
	var out [][2]string
	for _, t := range strings.Fields(toks) {
		kv := strings.SplitN(t, ":", 2)
		out = append(out, [2]string{kv[0], kv[1]})
	}
	return out
}

func containsPrefix(s, p string) bool {
	for _, f := range strings.Fields(s) {
		if strings.HasPrefix(f, p) {
			return true
		}
	}
	return false
}
