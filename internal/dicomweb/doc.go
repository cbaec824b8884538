// Package dicomweb owns DICOM over the web (PS3.18): the store transaction as origin
// server, store, search and retrieve as user agent. Peers are not trusted: every length and
// number is held against a bound, every wait has an end, and what comes goes to the
// spool like anything that is received. No request path or error that is logged names
// a study.
package dicomweb
