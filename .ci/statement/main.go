// statement reads an attestation with the published Go types of in-toto and SLSA and
// applies their own validation: a second reader, apart from the program that wrote it.
package main

import (
	"fmt"
	"os"

	provenance "github.com/in-toto/attestation/go/predicates/provenance/v1"
	statement "github.com/in-toto/attestation/go/v1"
	"google.golang.org/protobuf/encoding/protojson"
)

func main() {
	if err := validate(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func validate(name string) error {
	data, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	var s statement.Statement
	if err := protojson.Unmarshal(data, &s); err != nil {
		return fmt.Errorf("%s: not a statement: %w", name, err)
	}
	if err := s.Validate(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if want := "https://slsa.dev/provenance/v1"; s.GetPredicateType() != want {
		return fmt.Errorf("%s: predicate type %s, want %s", name, s.GetPredicateType(), want)
	}
	inner, err := protojson.Marshal(s.GetPredicate())
	if err != nil {
		return err
	}
	var p provenance.Provenance
	if err := protojson.Unmarshal(inner, &p); err != nil {
		return fmt.Errorf("%s: not a provenance predicate: %w", name, err)
	}
	if err := p.Validate(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	fmt.Printf("%s: a valid statement over %d subjects with %d resolved dependencies\n", name, len(s.GetSubject()), len(p.GetBuildDefinition().GetResolvedDependencies()))
	return nil
}
