package archive

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
)

// maxMetadata bounds the metadata file: some hundred thousand files stay below it.
const maxMetadata = 256 << 20

// isoDay is an ISO 8601 date of at least a year, with or without a time.
var isoDay = regexp.MustCompile(`^[0-9]{4}(-[0-9]{2}(-[0-9]{2}(T[0-9:.]+(Z|[+-][0-9]{2}:[0-9]{2})?)?)?)?$`)

// Check holds an archive to the rules of the package comment, and every file to the
// size and SHA-256 that the metadata state. All faults come back together.
func Check(fsys fs.FS) error {
	data, _, err := store.ReadFile(fsys, MetadataFile, maxMetadata)
	if err != nil {
		return err
	}
	c := &checker{fsys: fsys, by: map[string]map[string]any{}}
	var doc struct {
		Context any              `json:"@context"`
		Graph   []map[string]any `json:"@graph"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		c.add("", "no JSON: "+err.Error(), "a JSON-LD document")
		return c.faults.Err()
	}
	if doc.Context != contextURI {
		c.add("@context", fmt.Sprint(doc.Context), contextURI)
	}
	for i, e := range doc.Graph {
		id, kind := text(e["@id"]), e["@type"]
		if id == "" || kind == nil {
			c.add(fmt.Sprintf("@graph.%d", i), "no @id or no @type", "both")
		}
		if c.by[id] != nil {
			c.add(fmt.Sprintf("@graph.%d", i), "a second "+id, "each entity once")
		}
		c.by[id] = e
	}
	c.root()
	for _, e := range doc.Graph {
		c.entity(e)
	}
	return c.faults.Err()
}

type checker struct {
	fsys   fs.FS
	by     map[string]map[string]any
	parts  map[string]bool
	faults positioned.List
}

func (c *checker) add(field, got, want string) {
	c.faults.Add(&positioned.Error{File: MetadataFile, Field: field, Got: got, Want: want})
}

func text(v any) string { s, _ := v.(string); return s }

// target is the @id that a property refers to, or empty.
func target(v any) string {
	m, _ := v.(map[string]any)
	return text(m["@id"])
}

func list(v any) []any {
	if l, ok := v.([]any); ok {
		return l
	}
	if v == nil {
		return nil
	}
	return []any{v}
}

func is(e map[string]any, kind string) bool { return slices.Contains(list(e["@type"]), any(kind)) }

// root checks descriptor and root data entity.
func (c *checker) root() {
	d := c.by[MetadataFile]
	if d == nil || !is(d, "CreativeWork") {
		c.add(MetadataFile, "no such entity", "the metadata descriptor, a CreativeWork")
		return
	}
	if got := target(d["conformsTo"]); got != specURI {
		c.add(MetadataFile+".conformsTo", fmt.Sprintf("%q", got), specURI)
	}
	id := target(d["about"])
	r := c.by[id]
	if r == nil || !is(r, "Dataset") || id != "./" {
		c.add(MetadataFile+".about", fmt.Sprintf("%q", id), "./, a Dataset")
		return
	}
	for _, p := range []string{"name", "description"} {
		if text(r[p]) == "" {
			c.add("./."+p, "nothing", "a text")
		}
	}
	if !isoDay.MatchString(text(r["datePublished"])) {
		c.add("./.datePublished", fmt.Sprint(r["datePublished"]), "one ISO 8601 date")
	}
	if text(r["license"]) == "" && target(r["license"]) == "" {
		c.add("./.license", "nothing", "a reference or a text")
	}
	c.parts = map[string]bool{}
	c.reach(r)
}

// reach notes all that is linked through hasPart.
func (c *checker) reach(e map[string]any) {
	for _, p := range list(e["hasPart"]) {
		id := target(p)
		if !c.parts[id] {
			c.parts[id] = true
			if next := c.by[id]; next != nil {
				c.reach(next)
			}
		}
	}
}

// entity checks references, and files against their bytes.
func (c *checker) entity(e map[string]any) {
	id := text(e["@id"])
	for _, p := range []string{"about", "hasPart", "license", "author", "instrument", "object", "result", "mentions"} {
		for _, v := range list(e[p]) {
			if to := target(v); to != "" && c.by[to] == nil {
				c.add(id+"."+p, to, "an entity that is described")
			}
		}
	}
	if !is(e, "File") {
		return
	}
	if !c.parts[id] {
		c.add(id, "a file that the root does not reach", "hasPart from the root")
	}
	u, err := url.Parse(id)
	if err != nil || u.IsAbs() || strings.HasPrefix(id, "#") {
		c.add(id, "no relative URI", "the path of a file, escaped as a URI")
		return
	}
	d, err := store.Hash(c.fsys, u.Path)
	if err != nil {
		for _, e := range positioned.All(err) {
			c.faults.Add(e)
		}
		return
	}
	if want := text(e["sha256"]); want != "" && want != d.SHA256 {
		c.faults.Add(&positioned.Error{File: u.Path, Got: "SHA-256 " + d.SHA256, Want: want + ", as " + MetadataFile + " states"})
	}
	if want := text(e["contentSize"]); want != "" && want != fmt.Sprint(d.Size) {
		c.faults.Add(&positioned.Error{File: u.Path, Got: fmt.Sprintf("%d bytes", d.Size), Want: want + ", as " + MetadataFile + " states"})
	}
}
