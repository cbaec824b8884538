// Package demo makes an invented echo lab: studies of invented patients as
// true DICOM structured reports, together with a record of what is wrong with
// each.
//
// A study is made in four steps, each in its own file or files:
//
//   - a [phantom.Profile] says what kind of patient it is (healthy, tricuspid
//     regurgitation, atrial fibrillation, a child, ...);
//   - a circulation is drawn for it: body size, volumes, flows, pressures and
//     valve areas that obey the equations of echocardiography;
//   - a record is taken from the circulation, as a sonographer would measure
//     it: readings with beats, views and phases, and the report's words;
//     faults are seeded into this record, or later into its file;
//   - a dialect writes the record as the objects one invented scanner sends.
//
// This package writes the folder; package casebook has the studies and their faults,
// package labyear the year.
//
// Everything follows from the seed: the same options give the same bytes. No
// clock, no host name and no random source of the system is used. Names,
// makers and places are invented; no file of a real device was copied.
package demo
