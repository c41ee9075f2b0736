package archive

import (
	"bytes"
	"encoding/json"
	"net/url"
	"path"
	"strconv"
	"strings"
)

const (
	contextURI = "https://w3id.org/ro/crate/1.2/context"
	specURI    = "https://w3id.org/ro/crate/1.2"
	programID  = "#spinledger"
)

// Crate is an archive before it is written.
type Crate struct {
	Name        string
	Description string
	// Date is an ISO 8601 day, License a URL or a text.
	Date    string
	License string
	// People who recorded, by the names in the job files.
	People []string
	// Version of the program that computed.
	Version string
	Entries []Entry
	Actions []Action
}

// Action is the computation of one job: which entries it read and which it wrote, by name.
type Action struct {
	Job              string
	Objects, Results []string
}

// entity is a node of the graph. A map would do, but its keys are read by people: @id comes first.
type entity struct {
	ID            string `json:"@id"`
	Type          string `json:"@type"`
	About         *ref   `json:"about,omitempty"`
	ConformsTo    *ref   `json:"conformsTo,omitempty"`
	Name          string `json:"name,omitempty"`
	Description   string `json:"description,omitempty"`
	DatePublished string `json:"datePublished,omitempty"`
	License       any    `json:"license,omitempty"`
	Author        []ref  `json:"author,omitempty"`
	Encoding      string `json:"encodingFormat,omitempty"`
	Size          string `json:"contentSize,omitempty"`
	SHA256        string `json:"sha256,omitempty"`
	Version       string `json:"version,omitempty"`
	Instrument    *ref   `json:"instrument,omitempty"`
	Object        []ref  `json:"object,omitempty"`
	Result        []ref  `json:"result,omitempty"`
	Mentions      []ref  `json:"mentions,omitempty"`
	HasPart       []ref  `json:"hasPart,omitempty"`
}

type ref struct {
	ID string `json:"@id"`
}

// document is the whole metadata file.
type document struct {
	Context string   `json:"@context"`
	Graph   []entity `json:"@graph"`
}

// uri is a path as a relative URI: what is not allowed in one is escaped.
func uri(name string) string {
	parts := strings.Split(name, "/")
	for i, p := range parts {
		parts[i] = url.PathEscape(p)
	}
	// A colon in the first part would read as a scheme.
	parts[0] = strings.ReplaceAll(parts[0], ":", "%3A")
	return strings.Join(parts, "/")
}

// media are the types of files by the ends of their names.
var media = map[string]string{
	".csv": "text/csv", ".tsv": "text/tab-separated-values", ".txt": "text/plain", ".gz": "application/gzip", ".zst": "application/zstd",
	".parquet": "application/vnd.apache.parquet", ".yaml": "application/yaml", ".yml": "application/yaml", ".json": "application/json",
	".jsonl": "application/jsonl", ".html": "text/html",
}

// Metadata is the text of ro-crate-metadata.json.
func (c Crate) Metadata() ([]byte, error) {
	root := entity{ID: "./", Type: "Dataset", Name: c.Name, Description: c.Description, DatePublished: c.Date, License: c.License}
	graph := []entity{{ID: MetadataFile, Type: "CreativeWork", About: &ref{"./"}, ConformsTo: &ref{specURI}}}
	var more []entity
	if u, err := url.Parse(c.License); err == nil && (u.Scheme == "https" || u.Scheme == "http") {
		root.License = ref{c.License}
		more = append(more, entity{ID: c.License, Type: "CreativeWork", Name: c.License, Description: "the licence under which the archive may be used"})
	}
	for _, p := range c.People {
		id := "#person-" + url.PathEscape(p)
		root.Author = append(root.Author, ref{id})
		more = append(more, entity{ID: id, Type: "Person", Name: p})
	}
	for _, e := range c.sorted() {
		root.HasPart = append(root.HasPart, ref{uri(e.Name)})
		more = append(more, entity{ID: uri(e.Name), Type: "File", Name: path.Base(e.Name), Description: e.Role,
			Encoding: media[path.Ext(e.Name)], Size: strconv.FormatInt(e.Size, 10), SHA256: e.SHA256})
	}
	for _, a := range c.Actions {
		id := "#run-" + url.PathEscape(a.Job)
		root.Mentions = append(root.Mentions, ref{id})
		more = append(more, entity{ID: id, Type: "CreateAction", Name: "computation of the job " + a.Job,
			Description: "spinledger regenerate --in . computes it again from inputs/ and compares", Instrument: &ref{programID}, Object: refs(a.Objects), Result: refs(a.Results)})
	}
	more = append(more, entity{ID: programID, Type: "SoftwareApplication", Name: "spinledger", Version: c.Version})
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(document{Context: contextURI, Graph: append(append(graph, root), more...)})
	return b.Bytes(), err
}

func refs(names []string) []ref {
	out := make([]ref, len(names))
	for i, n := range names {
		out[i] = ref{uri(n)}
	}
	return out
}
