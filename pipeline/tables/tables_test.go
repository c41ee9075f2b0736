package tables

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

// fullTable has every type, gaps and decimals, n rows.
func fullTable(n int) Table {
	rng := rand.New(rand.NewPCG(1, 1))
	t := Table{Name: "fits", Doc: "one row a run", Extra: [][2]string{{"note", "made for a test"}}}
	id, j, rows, ok, gap, cell := Column{Name: "id", Type: String, Doc: "run"}, Column{Name: "inertia_kgm2", Unit: "kg·m²", Type: Float64, Doc: "moment of inertia"},
		Column{Name: "rows", Unit: "1", Type: Int64}, Column{Name: "ok", Type: Bool}, Column{Name: "u_kgm2", Unit: "kg·m²", Type: Float64, Nullable: true, Valid: []bool{}},
		Column{Name: "torque", Unit: "mN·m", Type: Int64, Decimals: 3, Nullable: true, Valid: []bool{}}
	for i := range n {
		id.Strings = append(id.Strings, fmt.Sprintf("disk-a#%d", i%50))
		j.Floats = append(j.Floats, rng.NormFloat64()*1e-6)
		rows.Ints = append(rows.Ints, int64(i)-5)
		ok.Bools = append(ok.Bools, i%3 == 0)
		valid := i%4 != 0
		gap.Valid, cell.Valid = append(gap.Valid, valid), append(cell.Valid, !valid)
		v, m := 0.0, int64(0)
		if valid {
			v = rng.Float64()
		} else {
			m = rng.Int64N(1e12) - 5e11
		}
		gap.Floats, cell.Ints = append(gap.Floats, v), append(cell.Ints, m)
	}
	t.Columns = []Column{id, j, rows, ok, gap, cell}
	return t
}

func encode(t *testing.T, table Table) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, table); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Writing and reading back gives the same table, over the border of a row group too.
func TestRoundTrip(t *testing.T) {
	for _, n := range []int{1, 100, groupRows + 3} {
		want := fullTable(n)
		data := encode(t, want)
		got, err := Read(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, want) {
			for i, c := range got.Columns {
				if !reflect.DeepEqual(c, want.Columns[i]) {
					t.Errorf("%d rows: column %s came back different", n, c.Name)
				}
			}
			t.Errorf("%d rows: table %q, %q, %v came back different", n, got.Name, got.Doc, got.Extra)
		}
	}
	empty := Table{Name: "checks", Columns: []Column{{Name: "id", Type: String}, {Name: "value", Type: Float64, Unit: "1"}}}
	data := encode(t, empty)
	if got, err := Read(bytes.NewReader(data), int64(len(data))); err != nil || got.Rows() != 0 || len(got.Columns) != 2 || got.Columns[1].Unit != "1" {
		t.Errorf("empty table: %+v, %v", got, err)
	}
}

// Equal tables give equal bytes, however many processors there are.
func TestEqualBytes(t *testing.T) {
	var sums [3][32]byte
	for i, procs := range []int{1, 8, 1} {
		before := runtime.GOMAXPROCS(procs)
		sums[i] = sha256.Sum256(encode(t, fullTable(20_000)))
		runtime.GOMAXPROCS(before)
	}
	if sums[0] != sums[1] || sums[0] != sums[2] {
		t.Errorf("bytes differ: %x", sums)
	}
	other := fullTable(20_000)
	other.Columns[1].Floats[7]++
	if sha256.Sum256(encode(t, other)) == sums[0] {
		t.Error("another table gave the same bytes")
	}
	data := encode(t, fullTable(3))
	if !bytes.Contains(data, []byte(createdBy)) || bytes.Contains(data, []byte("parquet-go")) {
		t.Error("the file does not say that this program wrote it, or names the library")
	}
}

func TestWriteRefuses(t *testing.T) {
	for want, table := range map[string]Table{
		`tables: table x: column name "a" empty or given twice`:   {Name: "x", Columns: []Column{{Name: "a"}, {Name: "a"}}},
		`tables: table x: column b has 1 rows, the first has 2`:   {Name: "x", Columns: []Column{{Name: "a", Floats: []float64{1, 2}}, {Name: "b", Floats: []float64{1}}}},
		`tables: table x: column a, row 1: NaN is no result`:      {Name: "x", Columns: []Column{{Name: "a", Floats: []float64{1, math.NaN()}}}},
		`tables: table x: column a, row 0: +Inf is no result`:     {Name: "x", Columns: []Column{{Name: "a", Floats: []float64{math.Inf(1)}}}},
		`tables: table x: column a: 3 decimals`:                   {Name: "x", Columns: []Column{{Name: "a", Floats: []float64{1}, Decimals: 3}}},
		`tables: table x: column a: flags of validity do not fit`: {Name: "x", Columns: []Column{{Name: "a", Floats: []float64{1}, Valid: []bool{true}}}},
	} {
		if err := Write(io.Discard, table); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

// failing takes n writes and then fails.
type failing struct{ left int }

var errFull = errors.New("no space left on device")

func (f *failing) Write(p []byte) (int, error) {
	if f.left <= 0 {
		return 0, errFull
	}
	f.left--
	return len(p), nil
}

// counting counts the writes that a whole file takes.
type counting struct{ n int }

func (c *counting) Write(p []byte) (int, error) { c.n++; return len(p), nil }

// A disk that fills at any write, the footer's too, is always reported.
func TestFullDisk(t *testing.T) {
	table := fullTable(5000)
	c := &counting{}
	if err := Write(c, table); err != nil {
		t.Fatal(err)
	}
	if c.n < 10 {
		t.Fatalf("only %d writes", c.n)
	}
	for n := range c.n {
		if err := Write(&failing{left: n}, table); !errors.Is(err, errFull) {
			t.Errorf("failing at write %d of %d: %v", n, c.n, err)
		}
	}
	c = &counting{}
	if err := writeSamples(c, recordingBlocks(t, 2000)); err != nil {
		t.Fatal(err)
	}
	for n := range c.n {
		if err := writeSamples(&failing{left: n}, recordingBlocks(t, 2000)); !errors.Is(err, errFull) {
			t.Errorf("samples failing at write %d of %d: %v", n, c.n, err)
		}
	}
}

var info = SampleInfo{Recording: "job/rec", File: "rec/rec.csv", Columns: []SampleColumn{
	{Name: "time", Header: "t_ms", Unit: "ms", Factor: 0.001}, {Name: "torque", Header: "tq", Unit: "mN·m", Factor: 0.001, Offset: 2}}}

func writeSamples(w io.Writer, blocks series.Blocks) error {
	s := NewSamples(w, info)
	var first error
	for _, err := range s.Tee(blocks) {
		if err != nil {
			first = err
		}
	}
	if err := s.Close(); err != nil {
		return err
	}
	return first
}

// recordingText is n rows of two columns, and what goes wrong with some loggers.
func recordingText(n int, odd map[int]string) string {
	var b strings.Builder
	b.WriteString("t_ms,tq\n")
	for i := range n {
		if cell, ok := odd[i]; ok {
			fmt.Fprintf(&b, "%d.5,%s\n", i, cell)
			continue
		}
		fmt.Fprintf(&b, "%d.5,%d.%02d\n", i, i%50, i%100)
	}
	return b.String()
}

func scanText(t *testing.T, text string) series.Blocks {
	t.Helper()
	s, err := scan.Text(strings.NewReader(text), "rec.csv", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1},
		[]scan.Column{{Name: "time", Header: "t_ms"}, {Name: "torque", Header: "tq"}}, scan.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	return s.Blocks
}

func recordingBlocks(t *testing.T, n int) series.Blocks { return scanText(t, recordingText(n, nil)) }

// samplesOf writes and reads back.
func samplesOf(t *testing.T, text string) Table {
	t.Helper()
	var b bytes.Buffer
	if err := writeSamples(&b, scanText(t, text)); err != nil {
		t.Fatal(err)
	}
	table, err := Read(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	return table
}

func names(t Table) string {
	var out []string
	for _, c := range t.Columns {
		out = append(out, fmt.Sprintf("%s:%s:%d:%v", c.Name, c.Type, c.Decimals, c.Nullable))
	}
	return strings.Join(out, " ")
}

// Samples keep every digit, whatever the logger does.
func TestSamples(t *testing.T) {
	for _, c := range []struct {
		name  string
		rows  int
		odd   map[int]string
		shape string
	}{
		{"plain", 10_000, nil, "line:int64:0:false time:int64:1:false torque:int64:2:false"},
		{"missing", 5000, map[int]string{4500: ""}, "line:int64:0:false time:int64:1:false torque:int64:2:true"},
		{"more decimals later", 10_000, map[int]string{9000: "1.2345"}, "line:int64:0:false time:int64:1:false torque:int64:4:false"},
		{"no integer", 5000, map[int]string{100: "1e300"}, "line:int64:0:false time:int64:1:false torque:float64:0:false"},
		{"long", groupRows + 5000, nil, "line:int64:0:false time:int64:1:true time_double:float64:0:true torque:int64:2:true torque_double:float64:0:true"},
		{"long, missing and odd late", groupRows + 9000, map[int]string{7: "", groupRows + 10: "0.00001", groupRows + 5000: "", groupRows + 5001: "1e25", groupRows + 8999: "7"},
			"line:int64:0:false time:int64:1:true time_double:float64:0:true torque:int64:2:true torque_double:float64:0:true"},
		{"long, no integer early", groupRows + 9000, map[int]string{7: "1e-30", groupRows + 10: "0.00001"},
			"line:int64:0:false time:int64:1:true time_double:float64:0:true torque:float64:0:true"},
	} {
		text := recordingText(c.rows, c.odd)
		got := samplesOf(t, text)
		if shape := names(got); shape != c.shape {
			t.Errorf("%s: columns %s, want %s", c.name, shape, c.shape)
		}
		row := 0
		for b, err := range scanText(t, text) {
			if err != nil {
				t.Fatal(err)
			}
			for r := range b.Rows {
				for k, name := range []string{"time", "torque"} {
					want, present := 0.0, b.Missing[k] == nil || !b.Missing[k][r]
					if b.Floats[k] != nil {
						want = b.Floats[k][r]
					} else {
						want = scan.Value(b.Mantissa[k][r], b.Exponent[k])
					}
					v, ok := sample(got, name, row)
					if ok != present || (ok && v != want) {
						t.Fatalf("%s: row %d %s: got %v %v, want %v %v", c.name, row, name, v, ok, want, present)
					}
				}
				if got.Columns[0].Ints[row] != int64(row+2) {
					t.Fatalf("%s: row %d says line %d", c.name, row, got.Columns[0].Ints[row])
				}
				row++
			}
		}
		if row != got.Rows() {
			t.Errorf("%s: %d rows, want %d", c.name, got.Rows(), row)
		}
	}
	got := samplesOf(t, recordingText(3, nil))
	extra := fmt.Sprint(got.Name, got.Columns[2].Unit, got.Extra)
	if want := "samplesmN·m[[recording job/rec] [file rec/rec.csv] [column.time.header t_ms] [column.time.factor 0.001] [column.time.offset 0]" +
		" [column.torque.header tq] [column.torque.factor 0.001] [column.torque.offset 2]]"; extra != want {
		t.Errorf("metadata %s, want %s", extra, want)
	}
}

// sample is the value of a channel, from its column or the twin's.
func sample(t Table, name string, row int) (float64, bool) {
	for _, c := range t.Columns {
		if c.Name != name && c.Name != name+"_double" || (c.Valid != nil && !c.Valid[row]) {
			continue
		}
		if c.Type == Float64 {
			return c.Floats[row], true
		}
		return scan.Value(c.Ints[row], int8(-c.Decimals)), true
	}
	return 0, false
}

// A Parquet recording gives the blocks that its text would have given.
func TestRecording(t *testing.T) {
	table := fullTable(9000)
	data := encode(t, table)
	cols := []scan.Column{{Name: "torque", Header: "torque"}, {Name: "speed", Header: "inertia_kgm2"}, {Name: "time", Index: 3}}
	s, err := Recording(bytes.NewReader(data), int64(len(data)), "rec.parquet", cols, scan.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	row := 0
	for b, err := range s.Blocks {
		if err != nil {
			t.Fatal(err)
		}
		for r := range b.Rows {
			missing := b.Missing[0] != nil && b.Missing[0][r]
			if b.FirstLine+r != row+1 || b.Mantissa[0][r] != table.Columns[5].Ints[row] || missing == table.Columns[5].Valid[row] || b.Exponent[0] != -3 ||
				b.Floats[1][r] != table.Columns[1].Floats[row] || b.Mantissa[2][r] != table.Columns[2].Ints[row] {
				t.Fatalf("row %d differs", row)
			}
			row++
		}
	}
	if row != 9000 || s.Cut() != nil {
		t.Errorf("%d rows, cut %v", row, s.Cut())
	}
}

func TestRecordingRefuses(t *testing.T) {
	data := encode(t, Table{Columns: []Column{{Name: "t", Type: Float64, Floats: []float64{1, 2}}}})
	full := encode(t, fullTable(10))
	empty := encode(t, Table{Columns: []Column{{Name: "t", Type: Float64}}})
	for _, c := range []struct {
		data []byte
		cols []scan.Column
		want string
	}{
		{full, []scan.Column{{Name: "speed", Header: "inertia_kgm"}}, `rec.parquet: speed: got no column "inertia_kgm"; want one of "id", "inertia_kgm2", "rows", "ok", "u_kgm2", "torque" (did you mean "inertia_kgm2"?)`},
		{full, []scan.Column{{Name: "speed", Index: 7}}, `rec.parquet: speed: got no column 7; want a column from 1 to 6`},
		{full, []scan.Column{{Name: "speed", Header: "id"}}, `rec.parquet: id: got a column of type byte_array; want a column of int32, int64, float or double`},
		{full, []scan.Column{{Name: "speed", Header: "rows"}, {Name: "torque", Index: 3}}, `rec.parquet: torque: got column "rows", which is another channel already; want a column of its own`},
		{empty, []scan.Column{{Name: "time", Header: "t"}}, `rec.parquet: got no rows; want at least one row`},
		{data[:len(data)-20], []scan.Column{{Name: "time", Header: "t"}}, `rec.parquet: got a damaged Parquet file: `},
		{[]byte("PAR1"), []scan.Column{{Name: "time", Header: "t"}}, `rec.parquet: got a damaged Parquet file: `},
	} {
		_, err := Recording(bytes.NewReader(c.data), int64(len(c.data)), "rec.parquet", c.cols, scan.DefaultLimits())
		if err == nil || (err.Error() != c.want && !(strings.HasSuffix(c.want, "file: ") && strings.HasPrefix(err.Error(), c.want))) {
			t.Errorf("got %v\nwant %s", err, c.want)
		}
	}
}

// A float that is no number is refused with its row.
func TestRecordingNaN(t *testing.T) {
	register()
	var b bytes.Buffer
	cols := []Column{{Name: "t", Type: Float64, Floats: []float64{1, 2, math.Inf(-1)}}}
	fw, err := writer(&b, cols, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := writeGroup(fw, cols, 0, 3); err != nil {
		t.Fatal(err)
	}
	if err := fw.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := Recording(bytes.NewReader(b.Bytes()), int64(b.Len()), "rec.parquet", []scan.Column{{Name: "speed", Header: "t"}}, scan.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	for _, err = range s.Blocks {
	}
	if want := "rec.parquet:3: t: got -Inf; want a number (leave the cell null where a value is missing)"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}
