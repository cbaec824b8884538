// Command r4 reads FHIR R4 resources and says what is wrong with them.
package main

import (
	"fmt"
	"os"

	"github.com/google/fhir/go/fhirversion"
	"github.com/google/fhir/go/jsonformat"
)

func main() {
	u, err := jsonformat.NewUnmarshaller("UTC", fhirversion.R4)
	if err != nil {
		fmt.Println(err)
		os.Exit(2)
	}
	wrong := false
	for _, name := range os.Args[1:] {
		text, err := os.ReadFile(name)
		if err == nil {
			_, err = u.Unmarshal(text)
		}
		if err != nil {
			fmt.Printf("%s: %v\n", name, err)
			wrong = true
		}
	}
	if wrong {
		os.Exit(1)
	}
}
