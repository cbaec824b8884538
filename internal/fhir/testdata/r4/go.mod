module r4

go 1.26.0

require github.com/google/fhir/go v0.7.4

require (
	bitbucket.org/creachadair/stringset v0.0.9 // indirect
	github.com/golang/protobuf v1.4.3 // indirect
	github.com/json-iterator/go v1.1.10 // indirect
	github.com/modern-go/concurrent v0.0.0-20180306012644-bacd9c7ef1dd // indirect
	github.com/modern-go/reflect2 v1.0.1 // indirect
	github.com/pkg/errors v0.9.1 // indirect
	github.com/serenize/snaker v0.0.0-20201027110005-a7ad2135616e // indirect
	google.golang.org/protobuf v1.25.0 // indirect
)
