package provenance

import (
	"runtime/debug"
	"slices"
	"strings"
)

// Version of the program, raised by hand with what it can do. It is the same for
// every build of one source, which what Go stamps is not: go build writes the commit,
// go run does not, and equal programs must give equal bytes. The commit stands in machine.json.
const Version = "0.1"

// Program is what computed: with the stages' methods it says whether two logs can
// be expected to agree.
type Program struct {
	Version string `json:"version"`
	// Modules that a result can rest on, by path; empty in a test's binary, of which Go keeps none.
	Modules []Module `json:"modules,omitempty"`
}

// Module is one dependency as it was linked.
type Module struct {
	Path    string `json:"path"`
	Version string `json:"version"`
	// Sum is the hash of its source as go.sum has it; empty where a build has none.
	Sum string `json:"sum,omitempty"`
}

// restsOn are the modules below the pipeline, on every system alike. Those of the
// command (flags, bar) change no result, and which of them are linked depends on
// the system. A test compares the list with what the pipeline imports.
var restsOn = []string{
	"github.com/JohnCGriffin/overflow",
	"github.com/andybalholm/brotli",
	"github.com/apache/arrow/go/v17",
	"github.com/apache/thrift",
	"github.com/goccy/go-json",
	"github.com/golang/snappy",
	"github.com/google/flatbuffers",
	"github.com/hashicorp/errwrap",
	"github.com/hashicorp/go-multierror",
	"github.com/klauspost/compress",
	"github.com/klauspost/cpuid/v2",
	"github.com/zeebo/xxh3",
	"golang.org/x/crypto",
	"golang.org/x/exp",
	"golang.org/x/sys",
	"golang.org/x/xerrors",
	"gonum.org/v1/gonum",
	"gopkg.in/yaml.v3",
}

// Running is the program that runs.
func Running() Program {
	p := Program{Version: Version}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return p
	}
	for _, d := range info.Deps {
		if _, known := slices.BinarySearch(restsOn, d.Path); known {
			m := Module{Path: d.Path, Version: d.Version, Sum: d.Sum}
			if d.Replace != nil {
				m.Version, m.Sum = d.Version+" replaced by "+d.Replace.Version, d.Replace.Sum
			}
			p.Modules = append(p.Modules, m)
		}
	}
	slices.SortFunc(p.Modules, func(a, b Module) int { return strings.Compare(a.Path, b.Path) })
	return p
}
