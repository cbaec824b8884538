package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"echotally/internal/account"
	"echotally/internal/web/frame"
)

// askers are who asks: nobody, and somebody of each role.
var askers = []account.Role{"", account.Sonographer, account.Reader, account.QualityManager, account.Administrator}

// TestWhoMayUseEachRoute asks for every route of the table as everybody, and holds what
// is let in against the list that people agreed on. A new route has to stand there.
func TestWhoMayUseEachRoute(t *testing.T) {
	site, server := newSite(t)
	// A second passes with every look at the clock, so that the limit of requests, which
	// is of an address, refuses none of these hundreds.
	began, looks := time.Now(), atomic.Int64{}
	site.Now = func() time.Time { return began.Add(time.Duration(looks.Add(1)) * time.Second) }
	var got bytes.Buffer
	for _, route := range site.Routes() {
		fmt.Fprintf(&got, "%-4s %s:", route.Method, route.Pattern)
		for _, role := range askers {
			if letIn(t, site, server.URL, &route, role) {
				name := string(role)
				if role == "" {
					name = "nobody"
				}
				fmt.Fprintf(&got, " %s", name)
			}
		}
		got.WriteString("\n")
	}
	const file = "testdata/access.txt"
	if *update {
		if err := os.WriteFile(file, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got.String() != string(want) {
		t.Errorf("who may use the routes is not what %s says. Is it meant? Then go test ./internal/web -run TestWhoMay -update\n%s", file, got.String())
	}
}

var wildcard = regexp.MustCompile(`\{[^}]*\}`)

// letIn asks for a route and tells whether it was answered by the route itself.
func letIn(t *testing.T, site *frame.Site, base string, route *frame.Route, role account.Role) bool {
	t.Helper()
	var roles []account.Role
	if role != "" {
		roles = append(roles, role)
	}
	c := newClient(site, roles...)
	path := wildcard.ReplaceAllString(strings.ReplaceAll(route.Pattern, "{$}", ""), "unknown")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	r, err := http.NewRequestWithContext(ctx, route.Method, base+path, strings.NewReader(""))
	if err != nil {
		t.Fatal(err)
	}
	if route.Method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	answer := c.ask(t, r)
	if strings.HasPrefix(path, "/fhir/") {
		refusedAsFHIR(t, answer, role)
	}
	switch {
	case answer.StatusCode == http.StatusTooManyRequests:
		t.Fatalf("%s %s was not tried: too many requests", route.Method, route.Pattern)
	case answer.StatusCode == http.StatusForbidden, answer.StatusCode == http.StatusUnauthorized && !strings.HasPrefix(path, "/sign-in"):
		return false
	case role == "" && strings.HasPrefix(answer.Header.Get("Location"), "/sign-in?"):
		return false
	}
	return true
}

// refusedAsFHIR: who asks for FHIR gets FHIR, also when not let in: R4, section 3.1.0.1.5,
// has an OperationOutcome, whose code is of the value set issue-type; RFC 9110, 15.5.2,
// has a challenge with 401.
func refusedAsFHIR(t *testing.T, answer *http.Response, role account.Role) {
	t.Helper()
	want, code := http.StatusForbidden, "forbidden"
	switch role {
	case "":
		want, code = http.StatusUnauthorized, "login"
	case account.QualityManager: // let in: there is no such resource, and nothing is posted
		want = map[string]int{http.MethodGet: http.StatusNotFound, http.MethodPost: http.StatusMethodNotAllowed}[answer.Request.Method]
		code = map[string]string{http.MethodGet: "not-found", http.MethodPost: "not-supported"}[answer.Request.Method]
	}
	var said struct {
		ResourceType string
		Issue        []struct{ Severity, Code, Diagnostics string }
	}
	err := json.NewDecoder(answer.Body).Decode(&said)
	if err != nil || answer.StatusCode != want || answer.Header.Get("Content-Type") != "application/fhir+json" || said.ResourceType != "OperationOutcome" ||
		len(said.Issue) != 1 || said.Issue[0].Severity != "error" || said.Issue[0].Code != code || said.Issue[0].Diagnostics == "" {
		t.Errorf("%s as %q: %d %s, %+v, %v; want %d with %s", answer.Request.Method, role, answer.StatusCode, answer.Header.Get("Content-Type"), said, err, want, code)
	}
	if challenge := answer.Header.Get("WWW-Authenticate"); (answer.StatusCode == http.StatusUnauthorized) != (challenge != "") {
		t.Errorf("as %q: %d with the challenge %q", role, answer.StatusCode, challenge)
	}
}

// TestARouteThatDoesNotSayWhoIsRefused: a table with such a route serves nothing.
func TestARouteThatDoesNotSayWhoIsRefused(t *testing.T) {
	handle := func(*frame.Call) error { return nil }
	for name, route := range map[string]frame.Route{
		"nobody said":  {Method: "GET", Pattern: "/a", Handle: handle},
		"no handler":   {Method: "GET", Pattern: "/a", Allow: frame.Everyone()},
		"other method": {Method: "DELETE", Pattern: "/a", Allow: frame.Everyone(), Handle: handle},
	} {
		if err := (&frame.Site{}).Start([]frame.Route{route}); err == nil {
			t.Errorf("%s: the site starts", name)
		}
	}
}
