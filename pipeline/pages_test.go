package pipeline_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
	"spinledger/reports"
	"spinledger/stages/kit/figure"
)

// svgNode is enough of an SVG to read what is drawn.
type svgNode struct {
	XMLName  xml.Name
	Attrs    []xml.Attr `xml:",any,attr"`
	Children []svgNode  `xml:",any"`
}

func (n svgNode) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// drawn is one series as it stands on a page: points in the data's SI units.
type drawn struct {
	name string
	x, y []float64
	// rx and ry are what half of the last decimal of a coordinate is in SI.
	rx, ry float64
}

// toSI is one displayed unit in SI: the prefixes, and rpm as 2π/60 rad/s (SI
// brochure, 9th edition, table 7; NIST SP 811, appendix B.8; memory).
var toSI = map[string]float64{
	"rpm": 2 * math.Pi / 60, "g·cm²": 1e-7, "mN·m": 1e-3, "µN·m": 1e-6, "N·m": 1, "%": 0.01, "s": 1, "ms": 1e-3, "A": 1, "1": 1, "": 1,
}

var commands = regexp.MustCompile(`[ML](-?[\d.]+) (-?[\d.]+)`)

// readPanel inverts the scales that a panel states.
func readPanel(t *testing.T, g svgNode) []drawn {
	t.Helper()
	scale := func(name string) [4]float64 {
		var out [4]float64
		for i, f := range strings.Fields(g.attr(name)) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[i] = v
		}
		return out
	}
	sx, sy := scale("data-x"), scale("data-y")
	units := strings.Split(g.attr("data-u"), "|")
	kx, okx := toSI[units[0]]
	ky, oky := toSI[units[1]]
	if !okx || !oky {
		t.Fatalf("units %q are not known here", units)
	}
	back := func(s [4]float64, k, px float64) float64 { return k * (s[2] + (px-s[0])/(s[1]-s[0])*(s[3]-s[2])) }
	var out []drawn
	for _, c := range g.Children {
		name := c.attr("data-s")
		if c.XMLName.Local != "path" || name == "" {
			continue
		}
		d := drawn{name: name, rx: math.Abs(back(sx, kx, 0.051) - back(sx, kx, 0)), ry: math.Abs(back(sy, ky, 0.051) - back(sy, ky, 0))}
		for _, m := range commands.FindAllStringSubmatch(c.attr("d"), -1) {
			px, _ := strconv.ParseFloat(m[1], 64)
			py, _ := strconv.ParseFloat(m[2], 64)
			d.x, d.y = append(d.x, back(sx, kx, px)), append(d.y, back(sy, ky, py))
		}
		out = append(out, d)
	}
	return out
}

// page computes a job of the repository and reads its page and its traces.
func page(t *testing.T, name string) (html string, traces tables.Table, found *pipeline.Findings) {
	t.Helper()
	root, err := store.OpenRoot("..")
	if err != nil {
		t.Fatal(err)
	}
	defer root.Close()
	jobs, err := pipeline.ReadJobs(root, []string{name})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	out, err := store.OpenOutput(dir, store.RealDisk(), store.OutputOptions{Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	all, err := pipeline.RunJobs(root, jobs, out, pipeline.RunOptions{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	read := func(file string) []byte {
		data, err := os.ReadFile(filepath.Join(dir, jobs[0].ID, file))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	data := read("traces.parquet")
	traces, err = tables.Read(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	return string(read("report.html")), traces, all[0]
}

func texts(t tables.Table, name string) []string {
	for _, c := range t.Columns {
		if c.Name == name {
			return c.Strings
		}
	}
	return nil
}

func floats(t tables.Table, name string) []float64 {
	for _, c := range t.Columns {
		if c.Name == name {
			return c.Floats
		}
	}
	return nil
}

// Every point drawn on a page, read back through the scales that the plot
// states, is a row of the table of traces, in its order, and none is missing.
func TestDrawnPointsAreTheTable(t *testing.T) {
	html, traces, _ := page(t, "jobs/sluice-4006.yaml")
	if n := len(html); n > 1_500_000 {
		t.Errorf("the page has %d bytes, want less than 1.5 MB", n)
	}
	fig, panel, series, mark := texts(traces, "figure"), texts(traces, "panel"), texts(traces, "series"), texts(traces, "mark")
	x, y := floats(traces, "x"), floats(traces, "y")
	row, points := 0, 0
	for row < len(fig) {
		id := fig[row]
		anchor := `<figure id="` + reports.Anchor("f", id) + `"`
		_, after, ok := strings.Cut(html, anchor)
		if !ok {
			t.Fatalf("figure %s is not on the page", id)
		}
		svg := after[strings.Index(after, "<svg class=\"plot\""):]
		svg = svg[:strings.Index(svg, "</svg>")+len("</svg>")]
		var root svgNode
		if err := xml.NewDecoder(strings.NewReader(svg)).Decode(&root); err != nil && err != io.EOF {
			t.Fatalf("%s: %v", id, err)
		}
		for _, g := range root.Children {
			name := panel[row]
			for _, d := range readPanel(t, g) {
				for row < len(fig) && (mark[row] == "span" || mark[row] == figure.Bars) {
					row++
				}
				for i := range d.x {
					if fig[row] != id || panel[row] != name || series[row] != d.name {
						t.Fatalf("%s: point %d of %s drawn, the table has %s of %s", id, i, d.name, series[row], fig[row])
					}
					if math.Abs(d.x[i]-x[row]) > d.rx || math.Abs(d.y[i]-y[row]) > d.ry {
						t.Fatalf("%s, %s, point %d at (%g, %g), the table has (%g, %g)", id, d.name, i, d.x[i], d.y[i], x[row], y[row])
					}
					row++
					points++
				}
			}
			for row < len(fig) && fig[row] == id && panel[row] == name {
				if mark[row] != "span" && mark[row] != figure.Bars {
					t.Fatalf("%s: row %d of %s is not drawn", id, row, series[row])
				}
				row++
			}
		}
	}
	if points < 5000 {
		t.Errorf("only %d points were compared", points)
	}
}

// The faulty job's page says at its head what is wrong, where it was written and by how much.
func TestFaultAtTheHead(t *testing.T) {
	html, _, found := page(t, "jobs/faulty/hot-sweep.yaml")
	head := html[strings.Index(html, "<header>"):strings.Index(html, `id="numbers"`)]
	for _, want := range []string{"None of", "disk-against-weights", "sweep-return", "outer_diameter"} {
		if !strings.Contains(head, want) {
			t.Errorf("the head does not say %q", want)
		}
	}
	for _, k := range found.Checks {
		if !strings.Contains(html, `id="`+reports.Anchor("check", k.Name+" "+k.Subject)+`"`) {
			t.Errorf("check %s of %s is not on the page", k.Name, k.Subject)
		}
	}
	for _, n := range found.Numbers {
		if strings.Count(html, `id="`+reports.Anchor("n", n.ID)+`"`) != 1 {
			t.Errorf("number %s does not stand once on the page", n.ID)
		}
	}
}
