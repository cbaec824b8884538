// Package filemeta owns the file meta information of an object that came from a peer.
package filemeta

import (
	"bytes"
	"encoding/binary"

	"echotally/internal/identifier"
)

// Of is the preamble and the file meta information (PS3.10 section 7.1) of an object
// that came from a peer with an AE title.
func Of(class, instance, transfer, from string) []byte {
	var group bytes.Buffer
	add := func(element uint16, vr string, value []byte, pad byte) {
		if len(value)%2 == 1 {
			value = append(value, pad)
		}
		head := binary.LittleEndian.AppendUint16([]byte{2, 0}, element)
		head = append(head, vr...)
		if vr == "OB" {
			head = binary.LittleEndian.AppendUint32(append(head, 0, 0), uint32(len(value)))
		} else {
			head = binary.LittleEndian.AppendUint16(head, uint16(len(value)))
		}
		group.Write(append(head, value...))
	}
	add(0x0001, "OB", []byte{0, 1}, 0)
	add(0x0002, "UI", []byte(class), 0)
	add(0x0003, "UI", []byte(instance), 0)
	add(0x0010, "UI", []byte(transfer), 0)
	add(0x0012, "UI", []byte(identifier.ImplementationClass), 0)
	add(0x0013, "SH", []byte(identifier.ImplementationName), ' ')
	add(0x0016, "AE", []byte(from), ' ')
	out := append(make([]byte, 128), "DICM"...)
	out = append(out, 2, 0, 0, 0, 'U', 'L', 4, 0)
	out = binary.LittleEndian.AppendUint32(out, uint32(group.Len()))
	return append(out, group.Bytes()...)
}
