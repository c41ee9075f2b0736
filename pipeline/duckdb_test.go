//go:build external

package pipeline_test

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
	"spinledger/pipeline/store"
	"spinledger/pipeline/tables"
)

// duckFile is one Parquet file as DuckDB reads it (see read.mjs).
type duckFile struct {
	Names    []string
	Types    []string
	Count    int
	Metadata [][2]string
	Columns  [][]*string
}

// value is the text under a key of the file's metadata; a key must stand there at most once.
func (d *duckFile) value(t *testing.T, key string) string {
	t.Helper()
	var all []string
	for _, kv := range d.Metadata {
		if kv[0] == key {
			all = append(all, kv[1])
		}
	}
	if len(all) > 1 {
		t.Errorf("metadata %s stands there %d times", key, len(all))
	}
	return strings.Join(all, "|")
}

func (d *duckFile) column(t *testing.T, name string) []*string {
	t.Helper()
	i := slices.Index(d.Names, name)
	if i < 0 {
		t.Fatalf("no column %s among %q", name, d.Names)
	}
	return d.Columns[i]
}

// run computes one job of the repository into a folder of its own.
func run(t *testing.T, name string) (dir string, j *job.Job, found *pipeline.Findings) {
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
	dir = t.TempDir()
	out, err := store.OpenOutput(dir, store.RealDisk(), store.OutputOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	all, err := pipeline.RunJobs(root, jobs, out, pipeline.RunOptions{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	return dir, jobs[0], all[0]
}

// duck reads a folder with DuckDB. A missing node or DuckDB fails the test:
// whoever asks for it with the build tag wants the comparison made.
func duck(t *testing.T, dir string) map[string]*duckFile {
	t.Helper()
	var stdout, stderr bytes.Buffer
	c := exec.Command("node", filepath.Join("..", ".ci", "duckdb", "read.mjs"), dir)
	c.Stdout, c.Stderr = &stdout, &stderr
	if err := c.Run(); err != nil {
		t.Fatalf("node read.mjs: %v\n%s\nwant node 20 or later, and DuckDB by `npm install` in .ci/duckdb", err, stderr.Bytes())
	}
	var got struct {
		Duckdb string
		Files  map[string]*duckFile
	}
	if err := json.Unmarshal(stdout.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	t.Logf("DuckDB %s, %d files", got.Duckdb, len(got.Files))
	return got.Files
}

// TestDuckDBReadsTheTables has every Parquet file of a run read by DuckDB, an
// implementation of the format that shares no code with the writer, and compares
// it with the project's own reader, with the tables in memory, and with the
// recordings' text.
func TestDuckDBReadsTheTables(t *testing.T) {
	dir, j, found := run(t, "jobs/weir-1104.yaml")
	files := duck(t, dir)
	var want []string
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || filepath.Ext(path) != ".parquet" {
			return err
		}
		name, err := filepath.Rel(dir, path)
		want = append(want, filepath.ToSlash(name))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(want) != len(files) || len(want) < len(j.Recordings) {
		t.Fatalf("%d files written, %d read, %d recordings", len(want), len(files), len(j.Recordings))
	}
	for _, name := range want {
		t.Run(name, func(t *testing.T) {
			d := files[name]
			if d == nil {
				t.Fatal("not read")
			}
			data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
			if err != nil {
				t.Fatal(err)
			}
			own, err := tables.Read(bytes.NewReader(data), int64(len(data)))
			if err != nil {
				t.Fatal(err)
			}
			compare(t, d, &own)
		})
	}
	for _, made := range found.Tables() {
		tab := made.Whole()
		t.Run("in memory/"+tab.Name, func(t *testing.T) {
			d := files[j.ID+"/"+tab.Name+".parquet"]
			if d == nil {
				t.Fatal("not written")
			}
			compare(t, d, &tab)
		})
	}
	for _, r := range j.Recordings {
		t.Run("text/"+r.Name, func(t *testing.T) {
			d := files[j.ID+"/samples/"+r.Name+".parquet"]
			if d == nil {
				t.Fatal("no samples table")
			}
			compareText(t, d, filepath.Join("..", filepath.FromSlash(r.Files[0].Path)))
		})
	}
}

// compare wants names, types, metadata, row count and every value the same.
func compare(t *testing.T, d *duckFile, own *tables.Table) {
	t.Helper()
	if d.Count != own.Rows() {
		t.Errorf("%d rows, want %d", d.Count, own.Rows())
	}
	if got := d.value(t, "table"); got != own.Name {
		t.Errorf("table %q, want %q", got, own.Name)
	}
	if got := d.value(t, "doc"); got != own.Doc {
		t.Errorf("doc %q, want %q", got, own.Doc)
	}
	for _, kv := range own.Extra {
		if got := d.value(t, kv[0]); got != kv[1] {
			t.Errorf("metadata %s %q, want %q", kv[0], got, kv[1])
		}
	}
	if len(d.Names) != len(own.Columns) {
		t.Fatalf("columns %q, want %d", d.Names, len(own.Columns))
	}
	for i := range own.Columns {
		c := &own.Columns[i]
		if d.Names[i] != c.Name || d.Types[i] != duckType(c) {
			t.Errorf("column %s %s, want %s %s", d.Names[i], d.Types[i], c.Name, duckType(c))
			continue
		}
		if got := d.value(t, "column."+c.Name+".unit"); got != c.Unit {
			t.Errorf("%s: unit %q, want %q", c.Name, got, c.Unit)
		}
		if got := d.value(t, "column."+c.Name+".doc"); got != c.Doc {
			t.Errorf("%s: doc %q, want %q", c.Name, got, c.Doc)
		}
		if len(d.Columns[i]) != c.Len() {
			t.Errorf("%s: %d values, want %d", c.Name, len(d.Columns[i]), c.Len())
			continue
		}
		for row, got := range d.Columns[i] {
			if why := differs(got, c, row); why != "" {
				t.Fatalf("%s, row %d: %s", c.Name, row, why)
			}
		}
	}
}

// duckType is the SQL type in which DuckDB shows a column.
func duckType(c *tables.Column) string {
	switch {
	case c.Type == tables.Float64:
		return "DOUBLE"
	case c.Type == tables.String:
		return "VARCHAR"
	case c.Type == tables.Bool:
		return "BOOLEAN"
	case c.Decimals > 0:
		return fmt.Sprintf("DECIMAL(18,%d)", c.Decimals)
	}
	return "BIGINT"
}

// differs says how a value as DuckDB prints it differs from a column's, or "".
// Floats must be the same bit for bit, except that any NaN is NaN.
func differs(got *string, c *tables.Column, row int) string {
	valid := c.Valid == nil || c.Valid[row]
	if got == nil || !valid {
		if got != nil || valid {
			return fmt.Sprintf("gap %v, want %v", got == nil, !valid)
		}
		return ""
	}
	want := ""
	switch c.Type {
	case tables.Float64:
		v, err := strconv.ParseFloat(*got, 64)
		w := c.Floats[row]
		if err == nil && (math.Float64bits(v) == math.Float64bits(w) || v != v && w != w) {
			return ""
		}
		want = strconv.FormatFloat(w, 'g', -1, 64)
	case tables.Int64:
		scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(c.Decimals)), nil)
		w := new(big.Rat).SetFrac(big.NewInt(c.Ints[row]), scale)
		if v, ok := new(big.Rat).SetString(*got); ok && v.Cmp(w) == 0 {
			return ""
		}
		want = w.FloatString(c.Decimals)
	case tables.String:
		if want = c.Strings[row]; *got == want {
			return ""
		}
	case tables.Bool:
		if want = strconv.FormatBool(c.Bools[row]); *got == want {
			return ""
		}
	}
	return fmt.Sprintf("%q, want %q", *got, want)
}

// si is what one of the unit of a column of the recordings is in SI. rpm:
// 2π/60 rad/s (NIST SP 811, appendix B.8, memory); the others are
// prefixes (SI brochure, 9th edition, table 7, memory) and the hundredth.
var si = map[string]struct {
	channel, unit string
	factor        float64
}{
	"t":      {"time", "ms", 1e-3},
	"erpm":   {"speed", "rpm", 2 * math.Pi / 60},
	"torque": {"torque", "mN·m", 1e-3},
	"duty":   {"throttle", "%", 1e-2},
	"volts":  {"voltage", "V", 1},
	"amps":   {"current", "A", 1},
}

// compareText wants a samples table to hold the digits of the recording's text,
// and its values by the metadata's offset and factor to be that text in SI.
func compareText(t *testing.T, d *duckFile, path string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	plain, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(plain).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if d.Count != len(rows)-1 {
		t.Fatalf("%d rows, the recording has %d", d.Count, len(rows)-1)
	}
	for row, got := range d.column(t, "line") {
		// The header is line 1.
		if *got != strconv.Itoa(row+2) {
			t.Fatalf("line %s of row %d", *got, row)
		}
	}
	for k, header := range rows[0] {
		want, ok := si[header]
		if !ok {
			t.Fatalf("column %q is not known here", header)
		}
		key := "column." + want.channel + "."
		if h, u := d.value(t, key+"header"), d.value(t, key+"unit"); h != header || u != want.unit {
			t.Errorf("%s: header %q unit %q, want %q %q", want.channel, h, u, header, want.unit)
		}
		factor, err := strconv.ParseFloat(d.value(t, key+"factor"), 64)
		if err != nil {
			t.Fatal(err)
		}
		offset, err := strconv.ParseFloat(d.value(t, key+"offset"), 64)
		if err != nil {
			t.Fatal(err)
		}
		for row, got := range d.column(t, want.channel) {
			if got == nil {
				t.Fatalf("%s, row %d: a gap, the text has %q", want.channel, row, rows[row+1][k])
			}
			cell := rows[row+1][k]
			g, okG := new(big.Rat).SetString(*got)
			w, okW := new(big.Rat).SetString(cell)
			if !okG || !okW || g.Cmp(w) != 0 {
				t.Fatalf("%s, row %d: %q, the text has %q", want.channel, row, *got, cell)
			}
			gf, _ := g.Float64()
			wf, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			// Two roundings of the factor, two of the product.
			if x, y := (gf-offset)*factor, wf*want.factor; math.Abs(x-y) > 4*0x1p-53*math.Abs(y) {
				t.Fatalf("%s, row %d: %v SI, the text gives %v", want.channel, row, x, y)
			}
		}
	}
}
