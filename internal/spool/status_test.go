package spool_test

import (
	"testing"

	"echotally/internal/spool"
)

// TestStatuses are those of PS3.4 table B.2-1: warnings are stored, all else is not.
func TestStatuses(t *testing.T) {
	for status, stored := range map[spool.Status]bool{
		0x0000: true, 0xB000: true, 0xB006: true, 0xB007: true, 0x0001: false, 0x0110: false, 0x0122: false, 0x0124: false, 0x0211: false,
		0xA700: false, 0xA7FF: false, 0xA900: false, 0xC000: false, 0xCFFF: false, 0xB001: false, 0xFF00: false, 0xFE00: false, spool.Unconfirmed: false,
	} {
		if status.Stored() != stored {
			t.Errorf("%v: stored %v", status, status.Stored())
		}
	}
}
