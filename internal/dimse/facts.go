package dimse

// Facts are what a conformance statement tells of the network (PS3.2).
type Facts struct {
	ApplicationContext                      string
	ImplementationClass, ImplementationName string
	Verification                            string // SOP class
	MostPDU, MostContexts, MostCommand      int    // bytes, contexts, bytes
}

// Told gives them.
func Told() Facts {
	return Facts{applicationContext, implementationClass, implementationName, verification, maxDataPDU, maxContexts, mostCommand}
}
