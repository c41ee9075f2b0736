package pipeline_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/klauspost/compress/zstd"

	"spinledger/pipeline"
	"spinledger/pipeline/tables"
)

// row is time, s, speed, rad/s, torque, N·m.
type row [3]float64

// rowsOf takes a text of the bed apart again.
func rowsOf(t *testing.T, text []byte) []row {
	t.Helper()
	var out []row
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
		var r row
		for k, cell := range strings.Split(line, ",") {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			r[k] = v
		}
		out = append(out, r)
	}
	return out
}

// lines writes rows with all digits, each cell times its factor.
func lines(rows []row, head, delimiter string, cells func(r row) []float64) []byte {
	b := bytes.NewBufferString(head)
	for _, r := range rows {
		for k, v := range cells(r) {
			if k > 0 {
				b.WriteString(delimiter)
			}
			b.WriteString(strconv.FormatFloat(v, 'g', -1, 64))
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func asIs(r row) []float64 { return r[:] }

// logged is one way in which a session can have been logged.
type logged struct {
	name string
	// bench is what follows the bench's name and gravity; job what follows a mounting.
	bench, calibration, job string
	files                   func(t *testing.T, name string, rows []row) map[string][]byte
	// rel is how far the inertia may be off that of the plain file.
	rel float64
}

const plainChannels = `
    time: {column: t, unit: s}
    speed: {column: w, unit: rad/s, reading: mechanical, timing: instant}
    torque: {column: m, unit: N·m}
`

func oneFile(ending string, write func(t *testing.T, rows []row) []byte) func(*testing.T, string, []row) map[string][]byte {
	return func(t *testing.T, name string, rows []row) map[string][]byte {
		return map[string][]byte{name + ending: write(t, rows)}
	}
}

func plain(_ *testing.T, rows []row) []byte { return lines(rows, "t,w,m\n", ",", asIs) }

func asGzip(t *testing.T, rows []row) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	if _, err := z.Write(plain(t, rows)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asZstd(t *testing.T, rows []row) []byte {
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	return z.EncodeAll(plain(t, rows), nil)
}

func asParquet(t *testing.T, rows []row) []byte {
	table := tables.Table{Name: "logger"}
	for k, name := range []string{"t", "w", "m"} {
		c := tables.Column{Name: name, Unit: []string{"s", "rad/s", "N·m"}[k], Type: tables.Float64}
		for _, r := range rows {
			c.Floats = append(c.Floats, r[k])
		}
		table.Columns = append(table.Columns, c)
	}
	var b bytes.Buffer
	if err := tables.Write(&b, table); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// weights hangs three masses on a 200 mm arm on a cell that shows counts.
func weights(perNm, zero float64, unit string) string {
	var list []string
	for _, kg := range []float64{0, 0.1, 0.2, 0.3} {
		list = append(list, fmt.Sprintf("{mass: %.0f g, reading: %.9g%s}", 1e3*kg, zero+perNm*kg*9.81*0.2, unit))
	}
	return "calibrations:\n  2026-03-02: {arm: 200.0(1) mm, ccw: [" + strings.Join(list, ", ") + "]}\n"
}

// twoClocks writes torque and speed by two loggers: the speed's starts later, counts
// from zero, and runs slow by 2 in a thousand.
func twoClocks(_ *testing.T, name string, rows []row) map[string][]byte {
	return map[string][]byte{
		name + "-cell.csv":  lines(rows, "t,m\n", ",", func(r row) []float64 { return []float64{r[0], r[2]} }),
		name + "-speed.csv": lines(rows[40:len(rows)-40], "ms,w\n", ",", func(r row) []float64 { return []float64{1e3 * (r[0] - 0.015) / 1.002, r[1]} }),
	}
}

var loggings = []logged{
	{name: "plain", bench: plainChannels, files: oneFile(".csv", plain)},
	{name: "gzip", bench: plainChannels, files: oneFile(".csv.gz", asGzip)},
	{name: "zstd", bench: plainChannels, files: oneFile(".csv.zst", asZstd)},
	{name: "Parquet", bench: plainChannels, files: oneFile(".parquet", asParquet)},
	{
		name: "decimal comma", bench: `
    time: {column: Zeit, unit: ms}
    speed: {column: Drehzahl, unit: rpm, reading: mechanical, timing: instant}
    torque: {column: Moment, unit: mN·m}
  dialect: {delimiter: semicolon, decimal: comma, unit_rows: 1, comment: "#"}
`,
		files: oneFile(".txt", func(_ *testing.T, rows []row) []byte {
			text := lines(rows, "# card 2\nZeit;Drehzahl;Moment\nms;rpm;mN·m\n", ";", func(r row) []float64 { return []float64{1e3 * r[0], r[1] * 30 / math.Pi, 1e3 * r[2]} })
			return bytes.ReplaceAll(bytes.ReplaceAll(text, []byte("."), []byte(",")), []byte("\n"), []byte("\r\n"))
		}),
	},
	{
		name: "counts", calibration: weights(2e5, 8123, ""), bench: `
    time: {column: 1, unit: s}
    speed: {column: 2, unit: rad/s, reading: mechanical, timing: instant}
    torque: {column: 3, unit: count}
  dialect: {delimiter: tab, header_rows: 0}
`,
		files: oneFile(".tsv", func(_ *testing.T, rows []row) []byte {
			return lines(rows, "", "\t", func(r row) []float64 { return []float64{r[0], r[1], 8123 + 2e5*r[2]} })
		}),
	},
	{
		name: "force times arm", bench: `
    time: {column: t, unit: s}
    speed: {column: w, unit: rad/s, reading: mechanical, timing: instant}
    force: {column: f, unit: gf, arm: 40.0(1) mm, sign: negative}
`,
		files: oneFile(".csv", func(_ *testing.T, rows []row) []byte {
			return lines(rows, "t,w,f\n", ",", func(r row) []float64 { return []float64{r[0], r[1], -r[2] / 0.04 / 9.80665e-3} })
		}),
	},
	{
		name: "tachometer pulses", bench: `
    time: {column: t, unit: us}
    speed: {column: f, unit: Hz, reading: pulses, per_turn: 4, timing: instant}
    torque: {column: m, unit: N·m}
`,
		files: oneFile(".csv", func(_ *testing.T, rows []row) []byte {
			return lines(rows, "t,f,m\n", ",", func(r row) []float64 { return []float64{1e6 * r[0], 4 * r[1] / (2 * math.Pi), r[2]} })
		}),
	},
	{
		name: "electrical speed", bench: `
    time: {column: t, unit: s}
    speed: {column: erpm, unit: rpm, reading: electrical, timing: instant}
    torque: {column: m, unit: N·m}
`,
		files: oneFile(".csv", func(_ *testing.T, rows []row) []byte {
			return lines(rows, "t,erpm,m\n", ",", func(r row) []float64 { return []float64{r[0], 7 * r[1] * 30 / math.Pi, r[2]} })
		}),
	},
	{
		// The speed is read between its own samples: the inertia moves by what
		// interpolation in a rise leaves.
		name: "two clocks", rel: 2e-4, files: twoClocks, bench: `
    time: {column: t, unit: s}
    torque: {column: m, unit: N·m}
  clock_rate: 1.00000(3) 1
`,
		job: "files: [{file: %[1]s-cell.csv, logger: cell}, {file: %[1]s-speed.csv, logger: counter, offset: 15.0(1) ms}]",
	},
}

// bed of one session, logged in one way: the finished tree.
func (l logged) tree(t *testing.T) fstest.MapFS {
	t.Helper()
	loggers := "logger:\n  converter: point\n  channels:" + l.bench
	if l.job != "" {
		loggers = "loggers:\n  cell:\n    converter: point\n    channels:" + strings.ReplaceAll(l.bench, "\n", "\n  ") +
			"\n  counter:\n    clock_rate: 1.00200(1) 1\n    channels: {time: {column: ms, unit: ms}, speed: {column: w, unit: rad/s, reading: mechanical, timing: instant}}\n"
	}
	scale := l.calibration
	session := ", calibration: 2026-03-02"
	if scale == "" {
		scale, session = "torque_scale: 1.000(4) 1\n", ""
	}
	fsys := fstest.MapFS{"bench.yaml": {Data: []byte("format: 1\nbench: desk\ngravity: 9.81 m/s2\n" + loggers + scale)}}
	job := "format: 1\njob: same\nmotor: {pole_pairs: 7}\nsession: {bench: bench.yaml, date: 2026-03-05" + session + "}\nmountings: {bare: {}}\nrecordings:\n"
	for _, rec := range []struct {
		name, kind string
		text       []byte
	}{
		{"levels", "steady", tanhCase.staircase(250, 0, 1, 0.003)}, {"steps", "step", tanhCase.steps(1024, 0, 1, 0.003, 2)},
	} {
		entry := l.job
		for name, data := range l.files(t, rec.name, rowsOf(t, rec.text)) {
			fsys[name] = &fstest.MapFile{Data: data}
			if l.job == "" {
				entry = "file: " + name
			}
		}
		if l.job != "" {
			entry = fmt.Sprintf(l.job, rec.name)
		}
		job += fmt.Sprintf("  %s: {mounting: bare, %s, kind: %s, supply: 12 V}\n", rec.name, entry, rec.kind)
	}
	fsys["job.yaml"] = &fstest.MapFile{Data: []byte(job)}
	return fsys
}

// TestDialectsGiveOneInertia: one session, logged in ten ways, from files to number.
func TestDialectsGiveOneInertia(t *testing.T) {
	want := 0.0
	for _, l := range loggings {
		fsys := l.tree(t)
		jobs, err := pipeline.ReadJobs(fsys, []string{"job.yaml"})
		if err != nil {
			t.Fatalf("%s: %v", l.name, err)
		}
		out, _, err := pipeline.Compute(fsys, pipeline.Plan(jobs[0]), 2, nil)
		if err != nil {
			t.Fatalf("%s: %v", l.name, err)
		}
		value := number(t, out, "same/bare/inertia").Value
		got := value.Mean
		if l.job != "" {
			near(t, l.name+": the torque's clock in the budget", value.Part("bench/desk/loggers.cell.clock_rate"), 3e-5*got, 1e-6)
		}
		if want == 0 {
			want = got
			near(t, l.name, got, tanhCase.j, 1e-3)
			continue
		}
		// Units and ways of packing leave rounding only, but the lag's minimum is found
		// no closer than some 1e-6 s; T0·1e-6 s/(J·Δω) of this step is 5e-6.
		near(t, l.name, got, want, math.Max(l.rel, 1e-5))
	}
}
