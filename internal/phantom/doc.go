// Package phantom owns invented patients: a circulation that obeys the relations
// any heart obeys, what was measured of it, and how the invented scanners write
// that down as reports and images. Nobody in it exists, and it knows no rule.
package phantom
