// Package dcm owns the trust boundary to foreign DICOM bytes: files go in,
// elements come out, and nothing that a file says about itself is believed before
// it is checked.
//
// A [File] is one Part 10 file, or a bare data set, with how far it could be
// read. A [Dataset] is a list of elements with typed access that never panics. An
// [Identity] is what the start of a file says of it. A [Refusal] says why nothing of a file is used, a [Loss] what a damaged one
// lost, a [Deviation] which departure from the standard was tolerated and how.
//
// # What it promises
//
//   - No input panics, overflows the stack or ends the process. Nesting ends at
//     64 sequences, a file at 2^20 elements, items and single values.
//   - Every length is held against the bytes left in its parent before anything
//     is allocated for it. Memory is a small multiple of the file's size plus a
//     constant of about 100 MB that only a file of a million tiny elements comes
//     near; a deflated data set may expand to 16 MiB. ReadHeader and Identify need
//     a constant whatever the size of the file.
//   - A file is read, partial with its losses named, or refused with offset, tag
//     path and reason. Offsets in a deflated data set count after inflation, and
//     the reason says so.
//   - A structured report that the end of the file cuts inside its Content
//     Sequence keeps the content items that are complete, and the containers
//     that hold one. A cut item of another value type is dropped whole, because
//     what qualified it may be gone. A report without a Content Sequence is
//     refused: one that was cut before it looks the same.
//   - A contradiction inside the file, as opposed to its end, refuses the file.
//   - Every element is visited and checked when the file is read. Values stay where
//     they are until somebody asks for them; only text that is not plain ASCII is
//     decoded at once, so that what is wrong with it is said. What a data set
//     returns shares nothing with the bytes of the file.
//   - Text is valid UTF-8. Bytes that the character set does not have become
//     U+FFFD, with a deviation. Reasons and deviations never hold values.
//
// # What is tolerated
//
// No preamble, no meta header, a missing or wrong group length; no transfer
// syntax, or one that the data do not follow (the first element decides); an
// unknown transfer syntax, if the data start as explicit little endian, which
// all later syntaxes of the standard are; unknown VRs; odd lengths; stray
// delimiters where lengths are defined; elements out of order; padding behind
// the data set; misspelt character sets and missing escape sequences. UN is
// read by the dictionary, UN of undefined length as an implicit little endian
// sequence (PS3.5 6.2.2). What follows the pixel data is not read.
//
// # The split with the library
//
// github.com/suyashkumar/dicom gives the dictionary and the writer. Its reader is
// not used: on damaged small reports it panics (4 % of them, measured), on a
// declared length it allocates gigabytes, deep nesting overflows the stack past any
// recover, and a report cut inside sequences of undefined length (93 of 172 cuts)
// reads as a valid one without content. A scan before it would have had to find all
// lengths and delimiters anyway, and still leave to repair: UN sequences, 64-bit
// VRs, OD/OF/OL, backslashes in text, padding, and character sets, of which it uses
// one of several, ignores those of items, and does not know the Thai one. So this
// package reads the elements itself, into its own type, which is also many times
// faster; the library's reader serves tests as a reference on well-formed files. The
// writer writes what [Write] has sorted and checked.
//
// It does not decode pixels, interpret content trees or know about echo.
package dcm
