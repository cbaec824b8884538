// Package review owns peer review: cases drawn at random from the lab's studies, what a
// second reader measures and grades again in them without seeing what was
// reported, and how far both agree. It keeps nothing itself: what was drawn and
// entered is for the ledger, as JSON.
package review
