package job

import (
	"gopkg.in/yaml.v3"

	"spinledger/stages/kit/quantity"
)

// value is a checked node of a file: what a key holds, and where.
type value struct {
	file *file
	key  *Key
	// name in its map, or index in its list; path from the top of the file.
	name string
	path string
	node *yaml.Node
	// above is the map or list it stands in, nil at the top.
	above *value
	// line and col of the value; keyLine and keyCol of its key (or of the value, in a list).
	line, col       int
	keyLine, keyCol int
	// bad is true where something here or below was refused.
	bad bool
	// fields of a map in file order; items of a list.
	fields []*value
	items  []*value
	// text of a scalar as written, and what it was read as.
	text     string
	quantity quantity.Parsed
	sequence []quantity.Parsed
	unit     quantity.Unit
	integer  int
	yes      bool
	plain    bool
}

// get is the field of that name, nil when absent.
func (v *value) get(name string) *value {
	if v == nil {
		return nil
	}
	for _, f := range v.fields {
		if f.name == name {
			return f
		}
	}
	return nil
}

// usable tells whether v is there and was read without a fault.
func (v *value) usable() bool { return v != nil && !v.bad }

// str is the text of a scalar, or the fallback when absent.
func (v *value) str(fallback string) string {
	if v == nil {
		return fallback
	}
	return v.text
}

// num is the SI value of a quantity, 0 when absent.
func (v *value) num() float64 {
	if v == nil {
		return 0
	}
	return v.quantity.Value
}

// int is a whole number, or the fallback when absent.
func (v *value) int(fallback int) int {
	if v == nil {
		return fallback
	}
	return v.integer
}

// each are the items of a list, none when absent.
func (v *value) each() []*value {
	if v == nil {
		return nil
	}
	return v.items
}

// spoil marks v and all that it is part of as bad.
func (v *value) spoil() {
	for ; v != nil; v = v.above {
		v.bad = true
	}
}

// fault reports something wrong with this value, at the value.
func (v *value) fault(got, want, hint string) {
	v.spoil()
	v.file.add(v.line, v.col, v.path, got, want, hint)
}

// faultAtKey reports something wrong with the key as such.
func (v *value) faultAtKey(got, want, hint string) {
	v.spoil()
	line, col := v.keyLine, v.keyCol
	if line == 0 {
		line, col = v.line, v.col
	}
	v.file.add(line, col, v.path, got, want, hint)
}

// paths appends the paths of v and of all keys below it.
func (v *value) paths(list []string) []string {
	list = append(list, v.path)
	for _, below := range [][]*value{v.fields, v.items} {
		for _, c := range below {
			list = c.paths(list)
		}
	}
	return list
}

// did is a hint for a misspelt name.
func did(word string, candidates []string) string {
	if near := quantity.Nearest(word, candidates); near != "" {
		return "did you mean " + quote(near) + "?"
	}
	return ""
}
