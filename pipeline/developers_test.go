package pipeline

import (
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
)

// Every test that DEVELOPERS.md names is there.
func TestDevelopersNamesTests(t *testing.T) {
	manual, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	err = fs.WalkDir(os.DirFS(".."), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, "_test.go") {
			return err
		}
		data, err := os.ReadFile("../" + name)
		for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(`).FindAllStringSubmatch(string(data), -1) {
			there[m[1]] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`\bTest\w+`).FindAllString(string(manual), -1)
	if len(named) < 20 {
		t.Errorf("%d tests are named", len(named))
	}
	for _, name := range named {
		if !there[name] {
			t.Errorf("DEVELOPERS.md names %s, which is nowhere", name)
		}
	}
}
