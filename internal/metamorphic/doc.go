// Package metamorphic tests what a report may say in another way: coherent
// invented studies are transformed, and the outcome of every rule is held against
// that of the untransformed study. A transformation that keeps the meaning
// changes nothing; one that does not changes the rules it is about.
package metamorphic
