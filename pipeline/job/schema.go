package job

import (
	"bytes"
	"encoding/json"
	"regexp"
	"slices"
	"strings"

	"spinledger/stages/kit/quantity"
)

// FileKinds lists the kinds of file that a user writes or commits.
func FileKinds() []string { return []string{JobFile, BenchFile, PartsFile, LedgerFile, MovesFile} }

// Schema is the JSON Schema (draft 2020-12) of one kind of file, made from the table of
// keys. An editor that knows it completes keys and marks most slips; what it cannot
// say (which parts exist, whether holes meet) Read finds.
func Schema(kind string) []byte {
	top := object(block(kind))
	top["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	top["title"] = kind
	defs := map[string]any{}
	for _, b := range reachable(kind) {
		if b.Name != kind {
			defs[b.Name] = object(b)
		}
	}
	top["$defs"] = defs
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(top); err != nil {
		panic("job: schema: " + err.Error())
	}
	return out.Bytes()
}

// reachable lists a kind's block and those below it, in table order.
func reachable(kind string) []*Block {
	seen := map[string]bool{}
	var visit func(name string)
	visit = func(name string) {
		if name == "" || seen[name] {
			return
		}
		seen[name] = true
		b := block(name)
		for _, k := range b.Keys {
			visit(k.Block)
		}
		if b.Rest != nil {
			visit(b.Rest.Block)
		}
	}
	visit(kind)
	var out []*Block
	for i := range blocks {
		if seen[blocks[i].Name] {
			out = append(out, &blocks[i])
		}
	}
	return out
}

// object is the schema of a block.
func object(b *Block) map[string]any {
	props := map[string]any{}
	required := []string{}
	for i := range b.Keys {
		k := &b.Keys[i]
		s := k.schema()
		s["description"] = k.Doc
		if k.Default != "" {
			s["default"] = k.Default
		}
		props[k.Name] = s
		if k.Required {
			required = append(required, k.Name)
		}
	}
	o := map[string]any{"type": "object", "description": b.Doc, "properties": props, "additionalProperties": false}
	if len(required) > 0 {
		o["required"] = required
	}
	if b.Rest != nil {
		o["propertyNames"] = map[string]any{"pattern": b.Rest.Form.re.String()}
		o["additionalProperties"] = ref(b.Rest.Block)
	}
	var all []any
	for _, g := range b.OneOf {
		all = append(all, g.schema()...)
	}
	if len(all) > 0 {
		o["allOf"] = all
	}
	return o
}

// schema of keys that exclude each other: no two together, and one where that is due.
func (g Group) schema() []any {
	var out, oneOf []any
	for i, a := range g.Keys {
		oneOf = append(oneOf, map[string]any{"required": []string{a}})
		for _, b := range g.Keys[i+1:] {
			out = append(out, map[string]any{"not": map[string]any{"required": []string{a, b}}})
		}
	}
	if g.Required {
		out = append(out, map[string]any{"anyOf": oneOf})
	}
	return out
}

func ref(name string) map[string]any {
	return map[string]any{"$ref": "#/$defs/" + strings.ReplaceAll(name, " ", "%20")}
}

// schema of one key's value.
func (k *Key) schema() map[string]any {
	atLeast := func(s map[string]any, word string) map[string]any {
		if k.Low > 0 {
			s[word] = k.Low
		}
		return s
	}
	switch k.Type {
	case Map:
		return ref(k.Block)
	case Named:
		return atLeast(map[string]any{"type": "object", "patternProperties": map[string]any{k.Form.re.String(): ref(k.Block)}, "additionalProperties": false}, "minProperties")
	case Reasons:
		return map[string]any{"type": "object", "patternProperties": map[string]any{k.Form.re.String(): text("")}, "additionalProperties": false}
	case List:
		return atLeast(map[string]any{"type": "array", "items": ref(k.Block)}, "minItems")
	case OneOrList:
		return map[string]any{"anyOf": []any{ref(k.Block), map[string]any{"type": "array", "items": ref(k.Block)}}}
	case Names:
		return atLeast(map[string]any{"type": "array", "items": text(k.Form.re.String()), "uniqueItems": true}, "minItems")
	case Paths:
		return map[string]any{"type": "array", "items": text("")}
	}
	return k.scalarSchema()
}

func (k *Key) scalarSchema() map[string]any {
	str := func(pattern string) map[string]any { return map[string]any{"type": "string", "pattern": pattern} }
	switch k.Type {
	case Integer:
		return map[string]any{"type": "integer", "minimum": k.Low, "maximum": k.High}
	case Choice:
		return map[string]any{"enum": k.Choices}
	case UnitName:
		var all []string
		for _, d := range k.Dims {
			all = append(all, spellings(d)...)
		}
		// The unit 1 is a number to YAML.
		if slices.Contains(all, "1") {
			return map[string]any{"anyOf": []any{map[string]any{"enum": all}, map[string]any{"const": 1}}}
		}
		return map[string]any{"enum": all}
	case YesNo:
		return map[string]any{"enum": []any{"yes", "no", true, false}}
	case Column:
		return map[string]any{"type": []string{"string", "integer"}, "minimum": 1}
	case Averaging:
		return str(`^(point|unknown|mean over ` + quantityPattern(quantity.Time, false, Positive) + `)$`)
	case Quantity:
		return str("^" + quantityPattern(k.dim(), k.Uncertain, k.Sign) + "$")
	case Reading:
		return map[string]any{"type": []string{"string", "number"}, "pattern": "^" + quantityPattern(quantity.Any, false, AnySign) + "$"}
	case Sequence:
		q := quantityPattern(k.dim(), false, k.Sign)
		return str("^" + q + `(\s*(->|→)\s*` + q + ")*$")
	case Name:
		return text(k.Form.re.String())
	case Date:
		return str(dateForm.String())
	case Hash:
		return str(hashForm.String())
	default:
		return text("")
	}
}

// text is a string, or a number that is read as text.
func text(pattern string) map[string]any {
	s := map[string]any{"type": []string{"string", "number"}}
	if pattern != "" {
		s["pattern"] = pattern
	} else {
		s["minLength"] = 1
	}
	return s
}

// spellings of all units of a kind.
func spellings(d quantity.Dimension) []string {
	var out []string
	for _, u := range quantity.Units(d) {
		out = append(out, u.Name)
		out = append(out, u.Aliases...)
	}
	return out
}

// quantityPattern is what a quantity looks like, as far as a regular expression can tell.
func quantityPattern(d quantity.Dimension, uncertain bool, sign Sign) string {
	var units []string
	for _, s := range spellings(d) {
		units = append(units, regexp.QuoteMeta(s))
	}
	const digits = `(0|[1-9][0-9]*)(\.[0-9]+)?`
	number, spread, cover := digits+`([eE][+\-−]?[0-9]+)?`, "", ""
	if uncertain {
		number = digits + `(\([0-9]+(\.[0-9]+)?\))?([eE][+\-−]?[0-9]+)?`
		spread = `(\s*(±|\+/-|\+-)\s*` + digits + `([eE][+\-−]?[0-9]+)?)?`
		cover = `(\s*\([^)]*\))?`
	}
	lead := `[+\-−]?`
	if sign != AnySign {
		lead = `\+?`
	}
	return lead + number + spread + `\s*(` + strings.Join(units, "|") + ")" + cover
}
