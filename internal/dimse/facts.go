package dimse

import (
	"echotally/internal/dimse/association"
	"echotally/internal/dimse/command"
	"echotally/internal/dimse/pdu"
	"echotally/internal/identifier"
)

// Facts are what a conformance statement tells of the network (PS3.2).
type Facts struct {
	ApplicationContext                      string
	ImplementationClass, ImplementationName string
	Verification                            string // SOP class
	MostPDU, MostContexts, MostCommand      int    // bytes, contexts, bytes
}

// Told gives them.
func Told() Facts {
	return Facts{association.ApplicationContext, identifier.ImplementationClass, identifier.ImplementationName, command.Verification, pdu.MostData, association.MostContexts, command.Most}
}
