package job

import (
	"strings"

	"gopkg.in/yaml.v3"
)

// kinds are the outermost blocks, each with the key that only its files begin with.
var kinds = []struct{ file, mark string }{
	{JobFile, "job"}, {BenchFile, "bench"}, {LedgerFile, "lines"}, {MovesFile, "moves"},
}

// mistaken reports a file of another kind as one fault; its keys, one by one, would be a page of them.
// A file is of another kind when it has that kind's mark, and none of the keys that only its own kind has.
func (f *file) mistaken(root *yaml.Node) bool {
	own := block(f.kind)
	report := func(key *yaml.Node, kind string) bool {
		want := "a " + f.kind
		if names := own.names(); own.Rest == nil {
			want += ": a map with the keys " + strings.Join(names, ", ")
		}
		f.add(key.Line, key.Column, key.Value, "the key "+quote(key.Value)+" of a "+kind, want, "")
		return true
	}
	var part *yaml.Node // the first key, when all are ids of parts
	for i := 0; i+1 < len(root.Content); i += 2 {
		key, value := root.Content[i], root.Content[i+1]
		if key.Value == formatKey.Name {
			continue
		}
		if !strings.Contains(key.Value, "/") || value.Kind != yaml.MappingNode {
			part = nil
			break
		}
		if part == nil {
			part = key
		}
	}
	if part != nil && own.Rest == nil {
		return report(part, PartsFile)
	}
	for _, k := range kinds {
		other := block(k.file)
		at, ours := -1, false
		for i := 0; i+1 < len(root.Content); i += 2 {
			key, value := root.Content[i], root.Content[i+1]
			switch {
			case own.key(key.Value) != nil && other.key(key.Value) == nil:
				ours = true
			case key.Value == k.mark && own.key(k.mark) == nil && (own.Rest == nil || value.Kind != yaml.MappingNode):
				at = i
			}
		}
		if at >= 0 && !ours {
			return report(root.Content[at], k.file)
		}
	}
	return false
}
