// Package account owns who may work in the web page: accounts with their roles
// and passwords, the sessions of those who signed in, and the one-time code by
// which the first account is made.
//
// It knows no page. Names of accounts are names of staff; they stand in the file
// of accounts and in the access log, and in no output of the lab.
package account
