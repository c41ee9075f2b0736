package pipeline_test

import (
	"encoding/json"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// TestImports holds the direction of imports: cmd → pipeline → stages →
// stages/kit, reports ← pipeline; stages do not import each other, and neither
// they nor the kit reach for disk, network, clock or global randomness.
func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", "spinledger/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(strings.NewReader(string(out)))
	seen := 0
	for {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := d.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		seen++
		for _, i := range p.Imports {
			if why := forbidden(strings.TrimPrefix(p.ImportPath, "spinledger/"), i); why != "" {
				t.Errorf("%s imports %s: %s", p.ImportPath, i, why)
			}
		}
	}
	if seen < 20 {
		t.Fatalf("%d packages listed", seen)
	}
}

func forbidden(from, to string) string {
	own, inModule := strings.CutPrefix(to, "spinledger/")
	inStages := strings.HasPrefix(from, "stages/")
	kit := strings.HasPrefix(from, "stages/kit/")
	switch {
	case inStages && slices.Contains([]string{"os", "io/fs", "net", "net/http", "time", "math/rand"}, to):
		return "stages are functions of their input"
	case strings.Contains(to, "apache/arrow") && from != "pipeline/tables":
		return "only pipeline/tables knows arrow"
	case to == "os" && from != "pipeline/store" && !strings.HasPrefix(from, "cmd/"):
		return "only pipeline/store opens files"
	case (to == "gonum.org/v1/gonum/floats" || to == "gonum.org/v1/gonum/stat") && from != "stages/kit/numeric":
		return "sums are numeric's"
	case !inModule:
		return ""
	case from == "cmd/virtualbench/rig":
		return "the simulator shares nothing with the program"
	case kit && !strings.HasPrefix(own, "stages/kit/"):
		return "the kit imports only the kit"
	case inStages && !strings.HasPrefix(own, "stages/kit/") && !strings.HasPrefix(own, stageOf(from)+"/") && own != stageOf(from):
		return "stages do not import each other"
	case from == "reports" && !strings.HasPrefix(own, "stages/kit/"):
		return "reports know results only"
	case strings.HasPrefix(own, "cmd/") && !strings.HasPrefix(from, "cmd/"):
		return "nothing imports commands"
	case own == "pipeline" && (inStages || strings.HasPrefix(from, "pipeline/")):
		return "arrows point one way"
	}
	return ""
}

// stageOf is "stages/ingest" for "stages/ingest/scan".
func stageOf(p string) string {
	parts := strings.SplitN(p, "/", 3)
	return strings.Join(parts[:min(2, len(parts))], "/")
}
