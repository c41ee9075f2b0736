module statement

go 1.26

require (
	github.com/in-toto/attestation v1.2.0
	google.golang.org/protobuf v1.36.11
)
