// Package stats owns what all statistics of an audit rest on: proportions with
// intervals, exact tests, quantiles, outliers, sizes of samples, and false discovery
// control. Charts, funnels, agreement, digits and learning curves are below it.
//
// Every method names its source. Results keep full precision; rounding is the
// business of whoever prints them. What gonum has is taken from it.
package stats
