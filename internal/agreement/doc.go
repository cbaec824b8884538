// Package agreement owns how far what second readers found agrees with what was
// reported: in numbers, in grades, reader by reader and over time. It judges neither
// reading to be the right one, and names no reader.
package agreement
