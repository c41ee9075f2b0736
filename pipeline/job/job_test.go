package job

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"gopkg.in/yaml.v3"

	"spinledger/stages/kit/spin"
)

func good(t testing.TB, name string) *Job {
	t.Helper()
	j, err := Read(os.DirFS(testdata+"/good"), name)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// near is a few roundings.
const near = 1e-14

func wantNear(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > near*math.Abs(want) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func TestSmallestJob(t *testing.T) {
	j := good(t, "jobs/mini.yaml")
	data, err := os.ReadFile(testdata + "/good/jobs/mini.yaml")
	if err != nil || strings.Count(string(data), "\n") > 10 {
		t.Errorf("the smallest job has %d lines, %v", strings.Count(string(data), "\n"), err)
	}
	want := []Recording{{Declared: spin.Declared{Job: "mini", Name: "a", Kind: spin.Step, Rotor: spin.Rotor{ID: "bare"}, Mounting: "bare", Session: "session",
		Turns: spin.CCW, PolePairs: 7, TorqueUsable: true}, Files: []RecFile{{Path: "jobs/a.csv", Key: "recordings.a.file", Logger: "logger", PinKey: "recordings.a.sha256"}}}}
	if !reflect.DeepEqual(j.Recordings, want) {
		t.Errorf("got  %+v\nwant %+v", j.Recordings, want)
	}
	l := j.Benches[0].Loggers[0]
	if l.Converter != "unknown" || l.ClockRate.Mean != 1 || l.Dialect != (spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}) || l.Channels[1].Timing != "unknown" || l.Channels[2].Sign != 1 {
		t.Errorf("defaults: %+v", l)
	}
	if j.Options.DragForm != "auto" || j.Options.PlateauS != nil {
		t.Errorf("options: %+v", j.Options)
	}
	// The only calibration is used without being named, none where there is none.
	if j.Sessions[0].Calibration != "" {
		t.Error(j.Sessions[0].Calibration)
	}
}

func TestWholeJob(t *testing.T) {
	j := good(t, "jobs/weir-2207.yaml")
	var names []string
	for _, f := range j.Files {
		names = append(names, f.File)
		if len(f.SHA256) != 64 || f.Size == 0 {
			t.Errorf("digest %+v", f)
		}
	}
	if want := []string{"benches/loft.yaml", "jobs/weir-2207.yaml", "parts/disks.yaml", "parts/propellers.yaml"}; !slices.Equal(names, want) {
		t.Errorf("files %v, want %v", names, want)
	}
	disk, _ := j.Recording("disk-a")
	if disk.Rotor.ID != "bare+disk-40+m2-screws" || disk.Turns != spin.CW || disk.Session != "spring" || len(disk.Exclude) != 1 ||
		disk.Exclude[0] != (spin.Exclusion{Run: "disk-a#3", Reason: "controller cut out"}) || disk.Source != "recorded" || len(disk.Files[0].SHA256) != 64 {
		t.Errorf("%+v", disk)
	}
	wantNear(t, "supply", disk.SupplyV, 14.8)
	if len(disk.Command) != 3 {
		t.Errorf("command %v", disk.Command)
	}
	prop, _ := j.Recording("prop-a")
	if prop.TorqueUsable || len(prop.Files) != 2 || prop.Files[1].Path != "jobs/rec/prop-a-slow.tsv" || prop.Files[1].Logger != "slow" {
		t.Errorf("%+v", prop)
	}
	wantNear(t, "offset's part", prop.Files[1].OffsetS.Part("weir-2207/prop-a/files.1.offset"), 0.01)
	spring, _ := j.Session("spring")
	if spring.Calibration != "loft/2026-03-02" || spring.WeighedAfter != "loft/2026-03-05" || spring.Air.PressurePa == nil || spring.Controller != "C1, firmware 3.1: 24 kHz" {
		t.Errorf("%+v", spring)
	}
	wantNear(t, "pressure's part", spring.Air.PressurePa.Part("weir-2207/session:spring/air.pressure"), 100/math.Sqrt(3))
	wantNear(t, "humidity's part", spring.Air.Humidity.Part("weir-2207/session:spring/air.humidity"), 0.025)
	if summer, _ := j.Session("summer"); summer.Calibration != "" {
		t.Errorf("calibration: none gives %q", summer.Calibration)
	}
	if len(j.Respond) != 2 || !j.Respond[1].Thrust || j.Respond[1].To != 4 || len(j.Waivers) != 1 || j.Waivers[0].UpTo.Unit.Name != "%" {
		t.Errorf("%+v %+v", j.Respond, j.Waivers)
	}
	wantNear(t, "added load", j.Respond[0].AddedNm.Mean, 2e-3)
	if j.Options.DragForm != "power" || *j.Options.LoadPriorRel != 0.02 || *j.Options.PlateauS != 0.5 {
		t.Errorf("%+v", j.Options)
	}
}

func TestBench(t *testing.T) {
	j := good(t, "jobs/weir-2207.yaml")
	b, ok := j.Bench("loft")
	if !ok || len(j.Benches) != 1 || len(b.Loggers) != 3 {
		t.Fatalf("%+v", j.Benches)
	}
	daq := b.Loggers[0]
	if daq.Dialect != (spin.Dialect{Delimiter: ";", Decimal: ",", Comment: "#", SkipLines: 2, HeaderRows: 1, UnitRows: 1}) || daq.Converter != "mean" || daq.MeanS != 0.01 {
		t.Errorf("%+v", daq)
	}
	force := daq.Channels[2]
	if force.Name != "torque" || force.ArmM == nil || force.Sign != -1 || force.Unit != "gf" {
		t.Errorf("%+v", force)
	}
	wantNear(t, "gf", force.Factor, 9.80665e-3)
	throttle := b.Loggers[1].Channels[1]
	wantNear(t, "half throttle", (1500-throttle.Offset)*throttle.Factor, 0.5)
	if temp := b.Loggers[1].Channels[2]; temp.Index != 3 || temp.Column != "" || (20-temp.Offset)*temp.Factor != 293.15 {
		t.Errorf("%+v", temp)
	}
	if c := b.Loggers[2].Channels[2]; !c.Counts || c.Factor != 1 || b.Loggers[2].Channels[1].PerTurn != 2 {
		t.Errorf("%+v", c)
	}
	cal := b.Calibrations[0]
	if cal.ID != "loft/2026-03-02" || cal.Logger != "daq" || len(cal.CCW) != 3 || cal.CCW[1].Cell != 50.1 || cal.CCW[1].Line != 36 {
		t.Errorf("%+v", cal)
	}
	// A reading in another unit of the channel's kind is converted: 1.2276 N in gf.
	wantNear(t, "converted reading", cal.CW[2].Cell, -1.2276/9.80665e-3)
	if counts := b.Calibrations[1].CCW; counts[0].Cell != 8123 || counts[1].Cell != 9125 {
		t.Errorf("%+v", counts)
	}
	if r := b.Repeatability; len(r) != 2 || r[1].UpToKgM2 != 0 || r[0].DoF != 12 || r[0].RunRel != 0.004 {
		t.Errorf("%+v", r)
	}
}

func TestParts(t *testing.T) {
	j := good(t, "jobs/weir-2207.yaml")
	var ids []string
	for _, p := range j.Parts {
		ids = append(ids, p.ID)
	}
	if want := []string{"disk-40", "m2-screws", "nut-m5", "prop-5x4/A"}; !slices.Equal(ids, want) {
		t.Errorf("parts %v, want %v", ids, want)
	}
	d, _ := j.Part("disk-40")
	if d.Shape != "disk" || d.Role != "scale" || d.BurstRadPerS == 0 || d.DrawnMassKg == nil {
		t.Errorf("%+v", d)
	}
	// ΣK/ΣV of ½π(Ro⁴−Ri⁴) − n·πr²(½r²+c²) over π(Ro²−Ri²) − n·πr², times the mass as weighed.
	k := math.Pi/2*(math.Pow(0.02, 4)-math.Pow(0.0025, 4)) - 4*math.Pi*1e-6*(0.5e-6+0.016*0.016)
	v := math.Pi*(0.02*0.02-0.0025*0.0025) - 4*math.Pi*1e-6
	wantNear(t, "inertia", d.InertiaKgM2.Mean, 9.92e-3*k/v)
	if d.InertiaKgM2.Part("parts/disk-40/mass") == 0 || d.InertiaKgM2.Part("parts/disk-40/layers.0.outer_diameter") == 0 || d.InertiaKgM2.Part("parts/disk-40/material.density") != 0 {
		t.Errorf("%+v", d.InertiaKgM2.Parts)
	}
	p, _ := j.Part("prop-5x4/A")
	if p.Shape != "propeller" || p.RadiusM != 0.0635 || p.Blades != 3 || p.Model != "prop-5x4" || p.InertiaKgM2 != nil || p.MassKg.Part("parts/prop-5x4.A/mass") == 0 {
		t.Errorf("%+v", p)
	}
}

// A key or a source leads back to its line, also where only something above it is written.
func TestWhere(t *testing.T) {
	j := good(t, "jobs/weir-2207.yaml")
	for key, want := range map[string]string{
		"recordings.disk-a.supply":                  "jobs/weir-2207.yaml:27:13",
		"recordings.prop-a.files.1.file":            "jobs/weir-2207.yaml:37:16",
		"recordings.disk-a.sha256":                  "jobs/weir-2207.yaml:29:13",
		"recordings.bare-a.sha256":                  "jobs/weir-2207.yaml:21:11",
		"waivers.0.up_to":                           "jobs/weir-2207.yaml:43:45",
		"parts/disk-40/layers.0.outer_diameter":     "parts/disks.yaml:6:23",
		"parts/disk-40/mass":                        "parts/disks.yaml:10:9",
		"parts/prop-5x4.A/mass":                     "parts/propellers.yaml:2:104",
		"parts/disk-40":                             "parts/disks.yaml:3:3",
		"bench/loft/gravity":                        "benches/loft.yaml:3:10",
		"bench/loft/2026-03-02/arm":                 "benches/loft.yaml:32:10",
		"bench/loft/2026-03-02/masses":              "benches/loft.yaml:35:7",
		"bench/loft/2026-03-02/scale.cw":            "benches/loft.yaml:39:7",
		"bench/loft/2026-03-02/linearity":           "benches/loft.yaml:30:5",
		"bench/loft/loggers.daq.channels.force.arm": "benches/loft.yaml:12:45",
		"weir-2207/session:spring/air.temperature":  "jobs/weir-2207.yaml:14:24",
		"weir-2207/session:spring/lag":              "jobs/weir-2207.yaml:8:5",
		"weir-2207/mounting:disk/remount":           "jobs/weir-2207.yaml:18:9",
		"weir-2207/disk-a#3/idle":                   "jobs/weir-2207.yaml:23:5",
		"weir-2207/rotor:bare/scatter":              "jobs/weir-2207.yaml",
	} {
		file, line, col := j.Where(key)
		got := fmt.Sprintf("%s:%d:%d", file, line, col)
		if line == 0 {
			got = file
		}
		if got != want {
			t.Errorf("%s is at %s, want %s", key, got, want)
		}
	}
	d, ok := j.Declaration("parts/disk-40/layers.0.outer_diameter")
	if want := (Declaration{"parts/disk-40/layers.0.outer_diameter", "disk-40.layers.0.outer_diameter", "parts/disks.yaml", 6, 23, "40.00(2) mm"}); !ok || d != want {
		t.Errorf("%+v, want %+v", d, want)
	}
	if m, _ := j.Declaration("bench/loft/2026-03-02/masses"); m.Text != "20.000(4) g, 50.000(5) g, 20.000(4) g, 50.000(5) g" {
		t.Errorf("%+v", m)
	}
	if _, ok := j.Declaration("weir-2207/session:spring/lag"); ok {
		t.Error("an effect is taken for a declaration")
	}
	e := j.Fault("recordings.disk-a.file", `"rec/disk-a.csv.gz"`, "a file that exists", "")
	if want := `jobs/weir-2207.yaml:24:11: recordings.disk-a.file: got "rec/disk-a.csv.gz"; want a file that exists`; e.Error() != want {
		t.Errorf("got  %s\nwant %s", e, want)
	}
}

// Every part of every uncertain value that a job declares can be led back to a declaration.
func TestEverySourceIsDeclared(t *testing.T) {
	j := good(t, "jobs/weir-2207.yaml")
	text, err := json.Marshal([]any{j.Benches, j.Parts, j.Sessions, j.Recordings, j.Respond})
	if err != nil {
		t.Fatal(err)
	}
	pieces := strings.Split(string(text), `"source":"`)
	n := 0
	for _, p := range pieces[1:] {
		source := p[:strings.IndexByte(p, '"')]
		if strings.Contains(source, "/") {
			n++
			if _, ok := j.Declaration(source); !ok {
				t.Errorf("%s has no declaration", source)
			}
		}
	}
	if n < 20 {
		t.Errorf("only %d sources", n)
	}
}

// The order of maps in the files changes nothing but places.
func TestOrderOfKeysChangesNothing(t *testing.T) {
	tree := goodTree(t)
	text := string(tree["good/jobs/weir-2207.yaml"].Data)
	a := "  bare: {session: spring, turns: ccw}\n"
	b := "  disk: {session: spring, turns: cw, parts: [m2-screws, disk-40]}\n"
	swapped := strings.Replace(text, a+b, b+strings.Replace(a, "session: spring, turns: ccw", "turns: ccw, session: spring", 1), 1)
	if swapped == text {
		t.Fatal("nothing swapped")
	}
	want := good(t, "jobs/weir-2207.yaml")
	tree["good/jobs/weir-2207.yaml"].Data = []byte(strings.Replace(swapped, "[m2-screws, disk-40]", "[disk-40, m2-screws]", 1))
	got, err := Read(tree, "good/jobs/weir-2207.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got.Mountings, want.Mountings) || !reflect.DeepEqual(got.Parts, want.Parts) || !reflect.DeepEqual(got.Benches, want.Benches) {
		t.Errorf("got %+v\nwant %+v", got.Mountings, want.Mountings)
	}
}

func FuzzJob(f *testing.F) {
	tree := goodTree(f)
	for _, name := range []string{"good/jobs/mini.yaml", "good/jobs/weir-2207.yaml", "good/benches/loft.yaml", "good/parts/disks.yaml"} {
		f.Add(tree[name].Data)
	}
	bad, err := os.ReadDir(testdata)
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range bad {
		if strings.HasSuffix(e.Name(), ".bad.yaml") {
			data, err := os.ReadFile(testdata + "/" + e.Name())
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<14 {
			return
		}
		// The same bytes as each kind of file.
		for _, kind := range []string{"job", "bench", "parts"} {
			tree, name := throughTree(maps.Clone(tree), kind+"-x.yaml", data)
			j, err := Read(tree, name)
			if (j == nil) == (err == nil) {
				t.Fatalf("job %v, error %v", j, err)
			}
			checkErrors(t, tree, err)
			again, err2 := Read(tree, name)
			switch {
			case err != nil && (err2 == nil || err.Error() != err2.Error()):
				t.Fatalf("the same bytes give\n%v\nand\n%v", err, err2)
			case err == nil && !reflect.DeepEqual(j, again):
				t.Fatalf("the same bytes give\n%+v\nand\n%+v", j, again)
			case err == nil:
				// What passed must be writable whole: no NaN, no infinity.
				if _, err := json.Marshal([]any{j.Benches, j.Parts, j.Sessions, j.Recordings}); err != nil {
					t.Fatal(err)
				}
				rewritten(t, tree, kind+"-x.yaml", name, j)
			}
		}
	})
}

// rewritten: a good file's tree written again as YAML, its layout, quotes and comments
// another, declares the same job.
func rewritten(t *testing.T, tree fs.FS, file, name string, want *Job) {
	t.Helper()
	data, err := fs.ReadFile(tree, file)
	if err != nil {
		t.Fatal(err)
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	again, err := yaml.Marshal(&doc)
	if err != nil {
		t.Fatal(err)
	}
	other := fstest.MapFS{file: &fstest.MapFile{Data: again}}
	if err := fs.WalkDir(tree, ".", func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && p != file {
			other[p] = &fstest.MapFile{}
			other[p].Data, err = fs.ReadFile(tree, p)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	got, err := Read(other, name)
	if err != nil {
		t.Fatalf("%q\nwritten again\n%q\n%v", data, again, err)
	}
	declared := func(j *Job) string {
		text, err := json.Marshal([]any{j.ID, j.Motor, j.Sessions, j.Benches, j.Mountings, j.Recordings, j.Parts, j.Respond, j.Waivers, j.Options})
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	if a, b := declared(want), declared(got); a != b {
		t.Fatalf("%q\nwritten again\n%q\n%s\n%s", data, again, a, b)
	}
}

// Leap years by the rule of the Gregorian calendar (ISO 8601:2004, 3.2.1).
func TestIsDate(t *testing.T) {
	for s, want := range map[string]bool{
		"2026-03-05": true, "2024-02-29": true, "2000-02-29": true, "2026-02-29": false, "1900-02-29": false, "2024-02-30": false,
		"2026-04-31": false, "2026-13-01": false, "2026-00-10": false, "2026-01-00": false, "0000-01-01": false, "2026-3-5": false, "05.03.2026": false, "": false,
	} {
		if IsDate(s) != want {
			t.Errorf("IsDate(%q) is %v", s, !want)
		}
	}
}
