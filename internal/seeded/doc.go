// Package seeded counts what the program makes of single slips: one fault is put
// into a coherent record of an invented patient, and the tests count how many are
// found, explained and laid to the right measurement, and how often a record
// without a fault is called wrong. SEEDED_FAULTS.md has the figures.
package seeded
