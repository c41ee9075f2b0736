package provenance

import (
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// The modules named in the log are those below the pipeline, on every system that
// the program is built for.
func TestModulesBelowThePipeline(t *testing.T) {
	for _, target := range []string{"linux/arm64", "windows/amd64"} {
		system, arch, _ := strings.Cut(target, "/")
		c := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}}{{end}}", "spinledger/pipeline")
		c.Env = append(os.Environ(), "GOOS="+system, "GOARCH="+arch, "CGO_ENABLED=0")
		out, err := c.Output()
		if err != nil {
			t.Fatal(err)
		}
		got := strings.Fields(string(out))
		slices.Sort(got)
		got = slices.DeleteFunc(slices.Compact(got), func(m string) bool { return m == "spinledger" })
		if !slices.Equal(got, restsOn) {
			t.Errorf("%s: the pipeline rests on\n%q\nrestsOn has\n%q", target, got, restsOn)
		}
	}
}
