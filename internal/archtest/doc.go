// Package archtest holds tests of the tree itself: who may import whom, where
// third-party modules may be used, that every package and exported name is
// explained, and the size alarms. The table of allowed imports is the one in
// DEVELOPERS.md; there is no second copy.
package archtest
