package job

import (
	"fmt"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// walkMap reads the keys of one block below v.
func (f *file) walkMap(v *value, b *Block) {
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		k, n := v.node.Content[i], v.node.Content[i+1]
		key := b.key(k.Value)
		if key == nil {
			key = b.Rest
		}
		child := f.child(v, key, k.Value, n)
		child.keyLine, child.keyCol = k.Line, k.Column
		switch {
		case key == nil:
			f.unknown(child, b)
			continue
		case key == b.Rest:
			f.named(child, k)
		default:
			f.walk(child)
		}
		v.fields = append(v.fields, child)
	}
	for i := range b.Keys {
		if k := &b.Keys[i]; k.Required && v.get(k.Name) == nil {
			f.add(v.line, v.col, join(v.path, k.Name), "nothing", k.want(), "")
			v.spoil()
		}
	}
	for _, g := range b.OneOf {
		f.group(v, g)
	}
}

// child is a value below v, not yet read.
func (f *file) child(v *value, key *Key, name string, n *yaml.Node) *value {
	return &value{above: v, file: f, key: key, name: name, path: join(v.path, name), node: n, line: n.Line, col: n.Column, text: n.Value}
}

func (f *file) unknown(child *value, b *Block) {
	child.faultAtKey("an unknown key "+quote(child.name), "one of "+strings.Join(b.names(), ", "), did(child.name, b.names()))
}

// group checks keys that exclude each other.
func (f *file) group(v *value, g Group) {
	var first *value
	for _, c := range v.fields {
		for _, name := range g.Keys {
			if c.name != name {
				continue
			}
			if first != nil {
				c.faultAtKey(quote(name)+" beside "+quote(first.name), "one of "+strings.Join(g.Keys, ", "), "")
			} else {
				first = c
			}
		}
	}
	if first == nil && g.Required && !f.mistyped(v, g) {
		f.add(v.line, v.col, v.path, "none of "+strings.Join(g.Keys, ", "), "one of them", "")
		v.spoil()
	}
}

// mistyped tells whether an unknown key of v was taken for one of the group:
// one fault is enough.
func (f *file) mistyped(v *value, g Group) bool {
	b := block(v.key.Block)
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		if name := v.node.Content[i].Value; b.key(name) == nil && did(name, g.Keys) != "" {
			return true
		}
	}
	return false
}

// walk reads a value by its key's type.
func (f *file) walk(v *value) {
	k := v.key
	switch k.Type {
	case Map:
		if f.isA(v, yaml.MappingNode) {
			f.walkMap(v, block(k.Block))
		}
	case Named, Reasons:
		if f.isA(v, yaml.MappingNode) {
			f.walkNames(v)
		}
	case OneOrList:
		if v.node.Kind == yaml.MappingNode {
			one := f.child(v, k, "0", v.node)
			one.path = v.path
			f.walkMap(one, block(k.Block))
			v.items = []*value{one}
			return
		}
		fallthrough
	case List:
		if f.isA(v, yaml.SequenceNode) {
			f.walkList(v, func(c *value) {
				if f.isA(c, yaml.MappingNode) {
					f.walkMap(c, block(k.Block))
				}
			})
		}
	case Names, Paths:
		if f.isA(v, yaml.SequenceNode) {
			f.walkList(v, f.scalar)
		}
	default:
		f.scalar(v)
	}
}

// isA reports a node of another kind than the key's type has.
func (f *file) isA(v *value, kind yaml.Kind) bool {
	if v.node.Kind == kind {
		return true
	}
	got, hint := shape(v.node), ""
	if null(v.node) {
		got = "nothing"
		if kind == yaml.MappingNode {
			hint = "write {} for an empty one"
		}
	}
	want := v.key.want()
	if kind == yaml.MappingNode && v.key.Type != Named && v.key.Type != Reasons {
		want = "a map with the keys " + strings.Join(block(v.key.Block).names(), ", ")
	}
	v.fault(got, want, hint)
	return false
}

func null(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Tag == "!!null"
}

func (f *file) walkNames(v *value) {
	for i := 0; i+1 < len(v.node.Content); i += 2 {
		k, n := v.node.Content[i], v.node.Content[i+1]
		child := f.child(v, v.key, k.Value, n)
		child.keyLine, child.keyCol = k.Line, k.Column
		f.named(child, k)
		v.fields = append(v.fields, child)
	}
	if len(v.fields) < v.key.Low {
		v.fault("an empty map", v.key.want(), "")
	}
}

// named checks a name and reads what stands behind it.
func (f *file) named(child *value, name *yaml.Node) {
	if form := child.key.Form; !form.re.MatchString(name.Value) {
		child.faultAtKey("the name "+quote(name.Value), form.What, lower(name.Value, form))
	}
	if child.key.Type == Reasons {
		f.scalar(child)
		return
	}
	inner := *child.key
	inner.Type = Map
	child.key = &inner
	if f.isA(child, yaml.MappingNode) {
		f.walkMap(child, block(inner.Block))
	}
}

// lower is the hint for a name that only capitals spoil.
func lower(name string, form *Form) string {
	if l := strings.ReplaceAll(strings.ToLower(name), " ", "-"); form.re.MatchString(l) {
		return "did you mean " + quote(l) + "?"
	}
	return ""
}

func (f *file) walkList(v *value, read func(*value)) {
	for i, n := range v.node.Content {
		c := f.child(v, v.key, strconv.Itoa(i), n)
		c.keyLine, c.keyCol = n.Line, n.Column
		read(c)
		v.items = append(v.items, c)
	}
	if n := len(v.items); n < v.key.Low {
		v.fault(fmt.Sprintf("a list of %d", n), v.key.want(), "")
	}
}

// want is what a key's value may be, in words.
func (k *Key) want() string {
	switch k.Type {
	case Map:
		return "a map"
	case Named, Reasons:
		w := "a map from names to their keys"
		if k.Type == Reasons {
			w = "a map from names to reasons"
		}
		if k.Low > 0 {
			w += ", with at least " + strconv.Itoa(k.Low)
		}
		return w
	case List, OneOrList, Names, Paths:
		w := "a list"
		if k.Type == OneOrList {
			w = "a map or a list of maps"
		}
		if k.Low > 0 {
			w += " of at least " + strconv.Itoa(k.Low)
		}
		return w
	}
	return k.wantScalar()
}
