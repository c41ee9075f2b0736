package numeric_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every reference file is the one its SOURCE.md describes.
func TestReferenceFilesAreThoseOfTheirSource(t *testing.T) {
	for folder, pattern := range map[string]string{"nist-strd": "*.txt", "consensus": "*.csv", "ode": "*.*"} {
		root := filepath.Join("..", "..", "..", "testdata", "reference", folder)
		source, err := os.ReadFile(filepath.Join(root, "SOURCE.md"))
		if err != nil {
			t.Fatal(err)
		}
		files, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, %v", folder, len(files), err)
		}
		for _, f := range files {
			if filepath.Base(f) == "SOURCE.md" {
				continue
			}
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			if line := fmt.Sprintf("%x  %s\n", sha256.Sum256(text), filepath.Base(f)); !strings.Contains(string(source), line) {
				t.Errorf("%s/SOURCE.md lacks the line %q", folder, line)
			}
		}
	}
}
