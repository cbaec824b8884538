// Package stats owns the statistics of an audit: proportions with intervals,
// control charts, run rules with exact false-alarm rates, funnels, tests of
// digits, outliers, learning curves, and false discovery control.
//
// Every method names its source. Results keep full precision; rounding is the
// business of whoever prints them. What gonum has is taken from it.
package stats
