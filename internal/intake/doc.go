// Package intake owns the way in: it finds files in folders, zip archives and
// standard input, and reads and hashes each one within bounds.
//
// Two nouns. An [Object] is one file that was found, with the reason when it
// was set aside. A [Batch] is everything found below the paths given, in the
// order of the paths, so that two runs over the same files see the same list.
//
// Nothing is dropped without a line saying so: hidden files, links, indexes
// and archives that are not opened are objects too, set aside with a reason.
// What a file holds is not intake's business; it only tells DICOM from what
// is certainly something else.
package intake
