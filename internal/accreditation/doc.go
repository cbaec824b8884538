// Package accreditation owns what a lab shows to who accredits it: sets of
// requirements as data, the status of each from the lab's own figures and
// attachments, and what is still open. Nothing is shown that was not counted,
// attached or said by somebody, with a date.
package accreditation
