// Package dimse owns the DICOM network: the upper layer (PS3.8 section 9) and, as its
// user, the service classes Verification and Storage (PS3.7 section 9, PS3.4 annexes A
// and B), as provider ([Server]) and as requestor ([Call]). It stores and sends what
// comes and reads no data set. Peers are not trusted, whoever called: every length is
// held against a bound before anything is allocated, every wait has an end.
package dimse
