// Command echotally reads echo reports and says what is missing and what
// cannot be true.
package main

func main() {}
