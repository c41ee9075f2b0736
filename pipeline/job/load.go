package job

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/quantity"
)

const (
	// MaxBytes of one file: a catalogue of ten thousand recordings in one job
	// file stays below it.
	MaxBytes = 1 << 20
	// maxDepth of nesting; the deepest key of the table is at 7.
	maxDepth = 16
	// shown of a user's text in a message.
	shown = 60
)

// file is one file being read.
type file struct {
	name  string
	kind  string
	lines []string
	errs  *positioned.List
}

// quote shows a user's text.
func quote(s string) string {
	if utf8.RuneCountInString(s) > shown {
		s = string([]rune(s)[:shown]) + "…"
	}
	return strconv.Quote(s)
}

// add reports a fault at a place of this file. A value that is not there YAML puts behind
// the end of the file, where no editor can go; the place is then the end.
func (f *file) add(line, col int, field, got, want, hint string) {
	if n := len(f.lines); n > 0 && line > n {
		line, col = n, utf8.RuneCountInString(f.lines[n-1])+1
	}
	f.errs.Add(&positioned.Error{File: f.name, Line: line, Col: col, Field: field, Got: got, Want: want, Hint: hint})
}

// digest is name, size and hash of what was read.
func digest(name string, data []byte) Digest {
	sum := sha256.Sum256(data)
	return Digest{File: name, SHA256: hex.EncodeToString(sum[:]), Size: int64(len(data))}
}

// readFile reads a whole file of at most so many bytes; the fault is text for a message, empty when all is well.
func readFile(fsys fs.FS, name string, most int64) (data []byte, got, want string) {
	if !fs.ValidPath(name) {
		return nil, quote(name), "a path below the root folder, with / between names"
	}
	h, err := fsys.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, quote(name), "a file that exists"
	}
	if err != nil {
		return nil, quote(name), "a file that can be opened: " + reason(err)
	}
	defer h.Close()
	if info, err := h.Stat(); err != nil || info.IsDir() {
		return nil, quote(name) + ", a folder", "a file"
	}
	data, err = io.ReadAll(io.LimitReader(h, most+1))
	switch {
	case err != nil:
		return nil, quote(name), "a file that can be read: " + reason(err)
	case int64(len(data)) > most:
		return nil, fmt.Sprintf("more than %d bytes", most), "a smaller file"
	}
	return data, "", ""
}

// reason is an error without the path that the message has already.
func reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

// nearFile is the name in the same folder that name was probably meant to be.
func nearFile(fsys fs.FS, name string) string {
	entries, err := fs.ReadDir(fsys, path.Dir(name))
	if err != nil {
		return ""
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	return quantity.Nearest(path.Base(name), names)
}

// parse turns bytes into the tree of the file's block, nil where they are no YAML
// map. Faults go to f.errs.
func (f *file) parse(data []byte) *value {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if !f.readable(data) {
		return nil
	}
	f.lines = strings.Split(string(data), "\n")
	root := f.document(data)
	if root == nil {
		return nil
	}
	if !f.strict(root, "", 0) || f.mistaken(root) {
		return nil
	}
	v := &value{file: f, key: &Key{Name: f.kind, Type: Map, Block: f.kind}, node: root, line: root.Line, col: root.Column}
	f.walkMap(v, block(f.kind))
	return v
}

// readable refuses what YAML and editors would count or show in different ways.
func (f *file) readable(data []byte) bool {
	line, col := 1, 1
	for len(data) > 0 {
		r, size := utf8.DecodeRune(data)
		bad := ""
		switch {
		case r == utf8.RuneError && size == 1:
			bad = fmt.Sprintf("byte 0x%02x, which is not UTF-8", data[0])
		case r == '\r' && (len(data) == 1 || data[1] != '\n'):
			bad = "a lone carriage return"
		case r == '\u0085' || r == '\u2028' || r == '\u2029' || r == '\ufeff' || (r < ' ' && r != '\n' && r != '\r' && r != '\t') || r == 0x7f:
			bad = fmt.Sprintf("the control character %U", r)
		}
		if bad != "" {
			f.add(line, col, "", bad, "UTF-8 text with ordinary line ends", "")
			return false
		}
		data = data[size:]
		col++
		if r == '\n' {
			line, col = line+1, 1
		}
	}
	return true
}

var (
	yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)
	// yaml.v3 (v3.0.1, decode.go, parser.fail) counts the lines of its scanner from 1 and
	// those of its parser from 0. These are the parser's messages.
	fromZero = regexp.MustCompile(`^did not find expected (<|node content|'-' indicator|key|',' or )`)
)

// document is the one document of the file.
func (f *file) document(data []byte) *yaml.Node {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	switch err := dec.Decode(&doc); {
	case errors.Is(err, io.EOF):
		f.add(0, 0, "", "an empty file", "a "+f.kind, "")
		return nil
	case err != nil:
		f.syntax(err)
		return nil
	}
	switch err := dec.Decode(&second); {
	case err == nil:
		f.add(second.Line, second.Column, "", "a second document", "one document in a file", "")
		return nil
	case !errors.Is(err, io.EOF):
		f.syntax(err)
		return nil
	}
	if len(doc.Content) != 1 {
		f.add(0, 0, "", "an empty file", "a "+f.kind, "")
		return nil
	}
	root := doc.Content[0]
	if root.Kind == yaml.ScalarNode && root.Tag == "!!null" {
		f.add(0, 0, "", "an empty file", "a "+f.kind, "")
		return nil
	}
	if root.Kind != yaml.MappingNode {
		f.add(root.Line, root.Column, "", shape(root), "a map: the keys of a "+f.kind, "")
		return nil
	}
	return root
}

// syntax reports what the YAML library says; it knows the line at best.
func (f *file) syntax(err error) {
	m := yamlLine.FindStringSubmatch(strings.SplitN(err.Error(), "\n", 2)[0])
	if m == nil {
		f.add(0, 0, "", quote(err.Error()), "YAML", "")
		return
	}
	line, _ := strconv.Atoi(m[1])
	if fromZero.MatchString(m[2]) {
		line++
	}
	f.add(min(line, len(f.lines)), 0, "", "no YAML: "+m[2], "YAML; indent with spaces, and quote text that holds \": \" or begins with a special character", "")
}

// shape is what a node is, for messages.
func shape(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a map"
	case yaml.SequenceNode:
		return "a list"
	default:
		return quote(n.Value)
	}
}

// strict refuses the parts of YAML that say a thing in two places or change a
// text behind the user's back; false where the tree must not be used.
func (f *file) strict(n *yaml.Node, at string, depth int) bool {
	ok := true
	refuse := func(got, want string) {
		f.add(n.Line, n.Column, at, got, want, "")
		ok = false
	}
	switch {
	case depth > maxDepth:
		refuse(fmt.Sprintf("nesting deeper than %d", maxDepth), "a flatter file")
		return false
	case n.Kind == yaml.AliasNode:
		refuse("the alias "+quote("*"+n.Value), "the value itself")
		return false
	case n.Anchor != "":
		refuse("the anchor "+quote("&"+n.Anchor), "the value alone; every value is written where it is used")
	case n.Style&yaml.TaggedStyle != 0:
		refuse("the tag "+quote(n.Tag), "the value without a tag")
	}
	if n.Kind == yaml.MappingNode {
		return f.strictMap(n, at, depth) && ok
	}
	for i, c := range n.Content {
		ok = f.strict(c, join(at, strconv.Itoa(i)), depth+1) && ok
	}
	return ok
}

func (f *file) strictMap(n *yaml.Node, at string, depth int) bool {
	ok := true
	first := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		field := join(at, k.Value)
		switch line, twice := first[k.Value]; {
		case k.Kind == yaml.AliasNode || k.Anchor != "" || k.Style&yaml.TaggedStyle != 0:
			ok = f.strict(k, at, depth+1) && ok
			continue
		case k.Kind != yaml.ScalarNode:
			f.add(k.Line, k.Column, at, shape(k)+" as a key", "a name", "")
			ok = false
			continue
		case k.Tag == "!!merge":
			f.add(k.Line, k.Column, at, "the merge key \"<<\"", "the keys themselves", "")
			ok = false
			continue
		case twice:
			f.add(k.Line, k.Column, field, "the key "+quote(k.Value)+" a second time", fmt.Sprintf("each key once (first on line %d)", line), "")
			ok = false
		default:
			first[k.Value] = k.Line
		}
		ok = f.strict(v, field, depth+1) && ok
	}
	return ok
}

func join(at, name string) string {
	if at == "" {
		return name
	}
	return at + "." + name
}

// point is line and column of a byte of a scalar's text: exact where the text
// stands in the file as it is, else the place of the scalar.
func (f *file) point(n *yaml.Node, offset int) (line, col int) {
	if n.Line < 1 || n.Line > len(f.lines) {
		return n.Line, n.Column
	}
	source := []rune(f.lines[n.Line-1])
	start := n.Column - 1
	if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		start++
	}
	if start > len(source) || !strings.HasPrefix(string(source[start:]), n.Value) {
		return n.Line, n.Column
	}
	return n.Line, start + 1 + utf8.RuneCountInString(n.Value[:offset])
}

var jobLine = regexp.MustCompile(`(?m)^(job|mountings|recordings):`)

// MayBe tells whether a file found in a folder is to be read as a job file: all
// are, faulty ones too, but for a well-formed map with the key format and none of the
// keys that every job file has, such as a parts or bench file beside the jobs.
func MayBe(fsys fs.FS, name string) bool {
	data, fault, _ := readFile(fsys, name, MaxBytes)
	var doc yaml.Node
	// A catalogue has a thousand of them, read again as jobs: the line that each has saves parsing it twice.
	if jobLine.Match(data) || fault != "" || yaml.Unmarshal(data, &doc) != nil || len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return true
	}
	other := false
	for i := 0; i < len(doc.Content[0].Content); i += 2 {
		switch doc.Content[0].Content[i].Value {
		case "job", "mountings", "recordings":
			return true
		case "format":
			other = true
		}
	}
	return !other
}
