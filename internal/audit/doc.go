// Package audit owns the lab's audit of a period: what the studies of a
// month, quarter or year show when taken together, with the denominators beside
// every share, what signals and how often that happens by chance, and whether a
// corrective action has had an effect.
//
// The nouns. A [counted.Study] is one study reduced to what is counted. A [Measure] is a
// share of studies that the lab follows from month to month. A [Report] is all
// of it for one period, as tables and charts that every format writes alike. An
// [actionlog.Action] is something the lab does about a measure.
//
// It judges studies by nothing of its own: what holds of a study was settled by
// the rules. It holds no identity of a patient, and of staff only pseudonyms,
// which are drawn anew for every period and audience.
package audit
