// Package account owns who may work in the web page: accounts with their roles, and
// the file they are kept in.
//
// It knows no page. Names of accounts are names of staff; they stand in the file
// of accounts and in the access log, and in no output of the lab.
package account
