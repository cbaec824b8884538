// Package dicomweb gathers the three ends of DICOM over the web (PS3.18) that this program
// has, each a package below: origin stores what is sent here, archive searches and fetches,
// send stores elsewhere. They share no code, only that no peer is trusted.
package dicomweb
