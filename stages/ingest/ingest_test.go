package ingest

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"spinledger/stages/ingest/scan"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

const rpm = math.Pi / 30

// row is one row of an invented logger, in its own units.
type row struct {
	ms                         float64
	erpm, torque, thrust, duty string
	volt                       float64
}

// stepRows is a step from 3000 to 20000 rpm and back, 1 kHz, 7 pole pairs, 5 mN·m
// of zero; 12 ms rise constant.
func stepRows() []row {
	var out []row
	for i := range 3000 {
		t := float64(i) * 0.001
		w, dw, duty := 3000.0, 0.0, 30
		switch {
		case t > 2:
			e := math.Exp(-(t - 2) / 0.05)
			w, dw = 3000+17000*e, -17000/0.05*e
		case t > 0.5:
			e := math.Exp(-(t - 0.5) / 0.05)
			w, dw, duty = 20000-17000*e, 17000/0.05*e, 70
		}
		// J = 5e-7 kg·m², load 1e-9·ω².
		tq := 5e-7*dw*rpm + 1e-9*w*rpm*w*rpm
		out = append(out, row{ms: float64(i), erpm: fmt.Sprintf("%.0f", 7*w), torque: fmt.Sprintf("%.3f", 1000*tq+5), thrust: "100.0", duty: fmt.Sprint(duty), volt: 14.8})
	}
	return out
}

func text(rows []row) string {
	var b strings.Builder
	b.WriteString("t_ms,erpm,torque_mNm,thrust_gf,thr_pct,volt\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "%.1f,%s,%s,%s,%s,%.2f\n", r.ms, r.erpm, r.torque, r.thrust, r.duty, r.volt)
	}
	return b.String()
}

func logger() spin.Logger {
	return spin.Logger{Name: "daq", Dialect: spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, Converter: "point", ClockRate: uncertain.Exact(1),
		Channels: []spin.Channel{
			{Name: "time", Column: "t_ms", Unit: "ms", Factor: 0.001, Sign: 1},
			{Name: "speed", Column: "erpm", Unit: "rpm", Factor: rpm, Reading: "electrical", Timing: "period", Sign: 1},
			{Name: "torque", Column: "torque_mNm", Unit: "mN·m", Factor: 0.001, Sign: 1},
			{Name: "thrust", Column: "thrust_gf", Unit: "gf", Factor: 0.00980665, Sign: 1},
			{Name: "throttle", Column: "thr_pct", Unit: "%", Factor: 0.01, Sign: 1},
			{Name: "voltage", Column: "volt", Unit: "V", Factor: 1, Sign: 1},
		}}
}

func declared() spin.Declared {
	return spin.Declared{Job: "job", Name: "rec", Kind: spin.Step, Rotor: spin.NewRotor(nil), Mounting: "bare", Session: "spring", Turns: spin.CCW,
		SupplyV: 14.8, Command: []float64{0.3, 0.7, 0.3}, PolePairs: 7, TorqueUsable: true}
}

func open(t *testing.T, l spin.Logger, name, text string) File {
	t.Helper()
	s, err := scan.Text(strings.NewReader(text), name, l.Dialect, Columns(l), scan.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	return File{Name: name, Logger: l, Stream: s}
}

func input(t *testing.T, text string) Input {
	t.Helper()
	return Input{Declared: declared(), Bench: "loft", Files: []File{open(t, logger(), "rec.csv", text)},
		Torque: TorqueScale{Scale: uncertain.New(1, 0.005, 0, "bench/loft/torque_scale")}, Digest: "abc"}
}

func mustRun(t *testing.T, in Input) spin.Recording {
	t.Helper()
	rec, err := Run(in, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < rec.Rows; i++ {
		if !(rec.Samples.TimeS[i] > rec.Samples.TimeS[i-1]) {
			t.Fatalf("time does not advance at sample %d", i)
		}
	}
	if _, err := json.Marshal(rec); err != nil {
		t.Fatal(err)
	}
	return rec
}

func said(rec spin.Recording) []string {
	var out []string
	for _, w := range rec.Warnings {
		if w.Stage == "ingest" {
			out = append(out, w.Code+": "+w.Text)
		}
	}
	for _, w := range rec.Refusals {
		if w.Stage == "ingest" {
			out = append(out, "REFUSED "+w.Code+": "+w.Text)
		}
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, tolerance)
	}
}

func TestUnits(t *testing.T) {
	rec := mustRun(t, input(t, text(stepRows())))
	s := rec.Samples
	if got := said(rec); len(got) != 0 {
		t.Errorf("said %q", got)
	}
	near(t, "time", s.TimeS[1500], 1.5, 1e-12)
	near(t, "speed", s.SpeedRadPerS[100], 3000*rpm, 1e-9)
	// 1 % of the last digit of the torque column.
	near(t, "torque", s.TorqueNm[100], 0.005+1e-9*3000*rpm*3000*rpm, 5.1e-7)
	near(t, "thrust", s.ThrustN[100], 0.980665, 1e-12)
	near(t, "duty", s.Duty[1000], 0.7, 1e-15)
	near(t, "volt", s.VoltageV[0], 14.8, 1e-12)
	near(t, "step", rec.StepS, 0.001, 1e-12)
	near(t, "jitter", rec.Jitter, 0, 1e-9)
	if want := []string{"Duty", "SpeedRadPerS", "ThrustN", "TimeS", "TorqueNm", "VoltageV"}; !slices.Equal(rec.Channels, want) {
		t.Errorf("channels %v", rec.Channels)
	}
	if rec.Converter != "point" || rec.SpeedTiming != "period" || rec.EdgesPerTurn != 7 || rec.Rows != 3000 || rec.Digest != "abc" || rec.HeldS != 0 || rec.MissingRel != 0 {
		t.Errorf("%+v", rec)
	}
	if rec.TorqueScale.Std() != 0.005 {
		t.Errorf("scale %v", rec.TorqueScale)
	}
	if len(rec.Runs) == 0 {
		t.Fatal("no runs")
	}
	if r := rec.Runs[0]; r.ID != "rec#1" || math.Abs(r.SupplyV-14.8) > 1e-9 || math.Abs(r.Duty-0.7) > 1e-9 {
		t.Errorf("run %+v", r)
	}
}

// The same physics written by other loggers gives the same samples.
func TestSameInOtherUnits(t *testing.T) {
	want := mustRun(t, input(t, text(stepRows()))).Samples
	same := func(name string, in Input) {
		t.Helper()
		got := mustRun(t, in).Samples
		if got.Len() != want.Len() {
			t.Errorf("%s: %d rows", name, got.Len())
			return
		}
		for i := range want.TimeS {
			// A rounding or two of the conversion.
			const ulps = 1e-12
			if math.Abs(got.TimeS[i]-want.TimeS[i]) > ulps || math.Abs(got.SpeedRadPerS[i]/want.SpeedRadPerS[i]-1) > ulps ||
				math.Abs(got.TorqueNm[i]/want.TorqueNm[i]-1) > ulps {
				t.Fatalf("%s: sample %d: %v %v %v, want %v %v %v", name, i, got.TimeS[i], got.SpeedRadPerS[i], got.TorqueNm[i], want.TimeS[i], want.SpeedRadPerS[i], want.TorqueNm[i])
			}
		}
	}
	change := func(f func(l *spin.Logger)) Input {
		l := logger()
		f(&l)
		in := input(t, "t_ms,erpm,torque_mNm,thrust_gf,thr_pct,volt\n0,0,0,0,0,0\n")
		in.Files = []File{open(t, l, "rec.csv", text(stepRows()))}
		return in
	}
	cw := change(func(l *spin.Logger) { l.Channels[2].Sign = -1 })
	cw.Declared.Turns = spin.CW
	same("turning cw, sign negative", cw)
	arm := uncertain.New(0.04, 0.0001, 0, "bench/loft/arm")
	force := change(func(l *spin.Logger) { l.Channels[2].ArmM, l.Channels[2].Factor = &arm, 0.025 })
	same("force times arm", force)
	rec := mustRun(t, change(func(l *spin.Logger) { l.Channels[2].ArmM, l.Channels[2].Factor = &arm, 0.025 }))
	near(t, "arm in the scale", rec.TorqueScale.Part("bench/loft/arm"), 0.0001/0.04, 1e-15)
	counts := change(func(l *spin.Logger) { l.Channels[2].Counts, l.Channels[2].Factor = true, 0 })
	counts.Torque = TorqueScale{GainNm: 0.001, Logger: "daq", Scale: uncertain.Exact(1)}
	same("counts by calibration", counts)
	gain := input(t, text(stepRows()))
	gain.Torque = TorqueScale{GainNm: 0.001, Logger: "daq", Scale: uncertain.Exact(1)}
	same("calibrated in its own unit", gain)
	same("pulses", change(func(l *spin.Logger) { l.Channels[1].Reading, l.Channels[1].PerTurn = "pulses", 7 }))
	same("mechanical", change(func(l *spin.Logger) { l.Channels[1].Reading, l.Channels[1].Factor = "mechanical", rpm/7 }))
	offset := change(func(l *spin.Logger) {})
	rows := stepRows()
	for i := range rows {
		rows[i].ms += 1e12
	}
	offset.Files = []File{open(t, logger(), "rec.csv", text(rows))}
	same("a clock that began long ago", offset)
	repeats := slices.Clone(stepRows())
	repeats = slices.Insert(repeats, 700, repeats[699], repeats[699])
	offset.Files = []File{open(t, logger(), "rec.csv", text(repeats))}
	same("repeated rows", offset)
	rows = stepRows()
	rows[10], rows[11] = rows[11], rows[10]
	offset.Files = []File{open(t, logger(), "rec.csv", text(rows))}
	same("two rows swapped", offset)
	rows = stepRows()
	for i := range rows {
		rows[i].ms = math.Mod(rows[i].ms+64000, 1<<16)
	}
	wrapped := mustRun(t, input(t, strings.ReplaceAll(text(rows), ".0,", ",")))
	if want := []string{"wrap: rec.csv:1538: the logger's clock wraps 1 times at 2^16 counts, first here; it is counted on"}; !slices.Equal(said(wrapped), want) {
		t.Errorf("wrap: said %q", said(wrapped))
	}
	near(t, "wrapped clock", wrapped.Samples.TimeS[2999]-wrapped.Samples.TimeS[0], 2.999, 1e-9)
}

// What is odd is said, with its place and number, and only what may be is put right.
func TestSaid(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(r []row) []row
		want []string
		look func(t *testing.T, rec spin.Recording)
	}{
		{"repeats", func(r []row) []row { return slices.Insert(r, 700, r[699], r[699]) },
			[]string{"repeat: rec.csv:702: 2 rows are written twice, the first here; one of each is kept"}, nil},
		{"repeated stamp", func(r []row) []row { r[510].ms = 509; return r },
			[]string{"repeat: rec.csv:512: 1 rows repeat a stamp with other values, and 0 repeat a row; the first row of a stamp is kept",
				"gap: 1 gaps, 1 rows missing (0.03 %), the first after 0.509 s, the longest 0.002 s"}, nil},
		{"swap", func(r []row) []row { r[10], r[11] = r[11], r[10]; return r },
			[]string{"order: rec.csv:13: 1 rows stand after a later one, the first here; rows are sorted by their stamps"}, nil},
		{"gap", func(r []row) []row { return slices.Delete(r, 100, 130) },
			[]string{"gap: 1 gaps, 30 rows missing (1.00 %), the first after 0.099 s, the longest 0.031 s"},
			func(t *testing.T, rec spin.Recording) { near(t, "missing", rec.MissingRel, 0.01, 1e-9) }},
		{"speed spikes", func(r []row) []row { r[100].erpm, r[1000].erpm, r[1500].erpm = "10500", "280000", "0"; return r },
			[]string{"speed-spike: rec.csv:102: 3 readings of erpm are impossible beside their neighbours (missed or doubled edges), the first here; they are interpolated"},
			func(t *testing.T, rec spin.Recording) {
				near(t, "mended", rec.Samples.SpeedRadPerS[1000], rec.Samples.SpeedRadPerS[1001], 1)
			}},
		{"torque spike", func(r []row) []row { r[1000].torque = "900.000"; return r },
			[]string{"torque-spike: 1 torque samples on plateaus stand off their neighbours by more than ten standard deviations and 5 % of the range, the first at 1 s; none was changed"},
			func(t *testing.T, rec spin.Recording) { near(t, "kept", rec.Samples.TorqueNm[1000], 0.9, 1e-12) }},
		{"missing torque", func(r []row) []row { r[1000].torque = ""; return r },
			[]string{"missing: rec.csv:1002: 1 rows with no torque_mNm, the first here; these rows are left out",
				"gap: 1 gaps, 1 rows missing (0.03 %), the first after 0.999 s, the longest 0.002 s"}, nil},
		{"missing speed", func(r []row) []row { r[1000].erpm = ""; return r },
			[]string{"missing: rec.csv:1002: erpm is empty in 1 rows (0.03 %), the first here; these are interpolated"},
			func(t *testing.T, rec spin.Recording) {
				near(t, "mended", rec.Samples.SpeedRadPerS[1000], rec.Samples.SpeedRadPerS[999], 1)
			}},
		{"no thrust", func(r []row) []row {
			for i := range r {
				r[i].thrust = ""
			}
			return r
		}, []string{"missing: rec.csv:2: thrust_gf is empty in all rows; the channel is left out"},
			func(t *testing.T, rec spin.Recording) {
				if rec.Samples.ThrustN != nil {
					t.Error("thrust is there")
				}
			}},
		{"much speed missing", func(r []row) []row {
			for i := range r {
				if i%2 == 1 {
					r[i].erpm = ""
				}
			}
			return r
		}, []string{"REFUSED missing: rec.csv:3: erpm is empty in 1500 of 3000 rows (50.0 %, at most 2 %), the first here"}, nil},
		{"coarse stamps", func(r []row) []row {
			for i := range r {
				r[i].ms = math.Floor(r[i].ms / 10)
			}
			return r
		}, []string{"REFUSED coarse-stamps: rec.csv:3: 918 of 3000 rows share a stamp with another row and differ from it (30.6 %, at most 2 %): the stamps are too coarse for the sampling rate; log them finer"}, nil},
		{"held", func(r []row) []row {
			for i := range r {
				r[i].erpm = r[i-i%20].erpm
			}
			return r
		}, []string{"held: erpm is renewed only every 0.02 s and held between"},
			func(t *testing.T, rec spin.Recording) { near(t, "held", rec.HeldS, 0.02, 1e-9) }},
		{"other supply", func(r []row) []row {
			for i := range r {
				r[i].volt = 11.1
			}
			return r
		}, []string{"supply: run rec#1: 11.10 V measured on the settled plateau, 14.80 V declared (more than 5 % apart); the declared value is used"}, nil},
		{"negative speed", func(r []row) []row {
			for i := range r {
				r[i].erpm = "-" + r[i].erpm
			}
			return r
		}, []string{"speed-sign: the speed is negative throughout where turning ccw should read positive; its magnitude is used"},
			func(t *testing.T, rec spin.Recording) { near(t, "speed", rec.Samples.SpeedRadPerS[0], 3000*rpm, 1e-9) }},
	} {
		rec := mustRun(t, input(t, text(c.edit(stepRows()))))
		got := said(rec)
		if c.name == "other supply" {
			got = got[:min(1, len(got))]
		}
		if c.name == "much speed missing" || c.name == "coarse stamps" {
			got = slices.DeleteFunc(got, func(s string) bool { return !strings.HasPrefix(s, "REFUSED "+c.want[0][8:15]) })
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: said\n%s\nwant\n%s", c.name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
		if c.look != nil {
			c.look(t, rec)
		}
	}
}

func TestErrors(t *testing.T) {
	whole := text(stepRows())
	for _, c := range []struct {
		name, want string
		in         func() Input
	}{
		{"time backwards", `rec.csv:1502: t_ms: got a time 1.499 s before that of an earlier row; want time that goes on (two recordings in one file, or a logger that was started again? cut the file there)`,
			func() Input {
				r := stepRows()
				return input(t, text(append(slices.Clone(r[:1500]), r[:1500]...)))
			}},
		{"clock stands", `rec.csv:3: t_ms: got time stamps that do not advance; want a clock`,
			func() Input { return input(t, text([]row{stepRows()[0], stepRows()[0], stepRows()[0]})) }},
		{"one row", `rec.csv: got 1 usable rows; want at least 2`, func() Input { return input(t, text(stepRows()[:1])) }},
		{"no speed", `rec.csv:2: erpm: got no value in any row; want speeds`, func() Input {
			r := stepRows()
			for i := range r {
				r[i].erpm = ""
			}
			return input(t, text(r))
		}},
		{"text in a number", `rec.csv:502:7: erpm: got "x"; want a decimal number written with "."`, func() Input {
			r := stepRows()
			r[500].erpm = "x"
			return input(t, text(r))
		}},
		{"pole pairs", `rec.csv: motor.pole_pairs: got no pole pairs and an electrical speed; want the motor's number of pole pairs`, func() Input {
			in := input(t, whole)
			in.Declared.PolePairs = 0
			return in
		}},
		{"no time and no speed", "rec.csv: speed: got no file with a speed channel; want one\nrec.csv: time: got a logger without a time channel; want one", func() Input {
			in := input(t, whole)
			in.Files[0].Logger.Channels = in.Files[0].Logger.Channels[2:]
			return in
		}},
		{"two torques", `b.csv: torque: got a second torque channel, also in rec.csv; want one file with it`, func() Input {
			in := input(t, whole)
			l := logger()
			l.Channels = []spin.Channel{l.Channels[0], l.Channels[2]}
			in.Files = append(in.Files, File{Name: "b.csv", Logger: l})
			return in
		}},
		{"no files", `job/rec: got no files; want at least one`, func() Input { return Input{Declared: declared()} }},
		{"too long", `rec.csv:2: got more than 100 rows; want a recording that fits into memory (cut it into recordings of a few runs each)`, func() Input { return input(t, whole) }},
	} {
		opt := DefaultOptions()
		if c.name == "too long" {
			opt.MaxRows = 100
		}
		_, err := Run(c.in(), opt)
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got  %v\n want %s", c.name, err, c.want)
		}
	}
}

// A second logger on its own clock is brought onto the first.
func TestTwoClocks(t *testing.T) {
	rows := stepRows()
	one, two := logger(), logger()
	one.Channels = slices.Delete(slices.Clone(one.Channels), 1, 2)
	two.Name, two.ClockRate = "esc", uncertain.New(1.01, 1e-5, 0, "bench/loft/esc/clock_rate")
	two.Channels = two.Channels[:2]
	var b strings.Builder
	b.WriteString("t_ms,erpm\n")
	for i := 0; i < len(rows); i += 2 {
		// The rotor's speed at this true time, stamped by a clock that is 1 % slow and began 120 ms late.
		fmt.Fprintf(&b, "%.6f,%s\n", (rows[i].ms-120)/1.01, rows[i].erpm)
	}
	second := open(t, two, "esc.csv", b.String())
	second.OffsetS = uncertain.New(0.12, 0.01, 0, "job/rec/offset")
	in := input(t, text(rows))
	in.Files = []File{open(t, one, "daq.csv", text(rows)), second}
	rec := mustRun(t, in)
	want := mustRun(t, input(t, text(rows))).Samples
	// Stamps are written to 1 ns: the first row and the last but one fall outside by less than that.
	if rec.Rows != 2997 || math.Abs(rec.HeldS-0.002) > 1e-7 {
		t.Errorf("%d rows, held %v", rec.Rows, rec.HeldS)
	}
	if got := said(rec); len(got) != 1 || got[0] != "overlap: 3 of 3000 rows of daq.csv lie outside the time of the other files and are left out" {
		t.Errorf("said %q", got)
	}
	for i, v := range rec.Samples.SpeedRadPerS {
		// Linear interpolation over 2 ms of a 50 ms exponential is off by
		// a'' h²/8 = 1780 rad/s · (2/50)²/8; across the step's corner by half an interval's rise.
		tolerance := 0.4
		if d := math.Abs(rec.Samples.TimeS[i] - 0.5); d < 0.003 {
			tolerance = 40
		}
		if d := math.Abs(rec.Samples.TimeS[i] - 2); d < 0.003 {
			tolerance = 40
		}
		near(t, fmt.Sprintf("speed at %v s", rec.Samples.TimeS[i]), v, want.SpeedRadPerS[int(math.Round(1000*rec.Samples.TimeS[i]))], tolerance)
	}
	far := open(t, two, "esc.csv", b.String())
	far.OffsetS = uncertain.Exact(100)
	in.Files = []File{open(t, one, "daq.csv", text(rows)), far}
	if _, err := Run(in, DefaultOptions()); err == nil || err.Error() != "job/rec: got files that do not overlap in time; want files of one recording (is the offset of the second file right?)" {
		t.Error(err)
	}
}

func TestCrosstalkExcludeAndCut(t *testing.T) {
	rows := stepRows()
	in := input(t, text(rows))
	c := uncertain.New(0.001, 1e-4, 0, "bench/loft/2026-03-02/crosstalk")
	in.Torque.CrosstalkM = &c
	plain := mustRun(t, input(t, text(rows)))
	rec := mustRun(t, in)
	near(t, "crosstalk", plain.Samples.TorqueNm[50]-rec.Samples.TorqueNm[50], 0.001*0.980665, 1e-12)
	// What is not known of it goes on to the fit, as does the clock's rate.
	if rec.CrosstalkM == nil || rec.CrosstalkM.Std() != 1e-4 || plain.CrosstalkM != nil || rec.ClockRate.Mean != 1 {
		t.Errorf("crosstalk %v and %v, clock %v", rec.CrosstalkM, plain.CrosstalkM, rec.ClockRate)
	}

	in = input(t, text(rows))
	in.Declared.Exclude = []spin.Exclusion{{Run: "rec#1", Reason: "controller cut out"}, {Run: "rec#9", Reason: "typo"}}
	rec = mustRun(t, in)
	if rec.Runs[0].Excluded != "controller cut out" {
		t.Errorf("run %+v", rec.Runs[0])
	}
	if got := said(rec); len(got) != 1 || !strings.HasPrefix(got[0], `REFUSED exclude-unknown: exclude names "rec#9", but the recording has rec#1`) {
		t.Errorf("said %q", got)
	}

	in = input(t, text(rows)+"3000.0,21")
	if got := said(mustRun(t, in)); len(got) != 1 || got[0] != "cut: rec.csv:3002: an incomplete last line; the recording is used up to the line before" {
		t.Errorf("said %q", got)
	}

	in = input(t, text(rows))
	in.Declared.TorqueUsable = false
	if rec = mustRun(t, in); rec.Samples.TorqueNm != nil || slices.Contains(rec.Channels, "TorqueNm") {
		t.Error("an ignored torque is there")
	}
	in = input(t, text(rows))
	in.Files[0].Logger.Channels[2].Counts = true
	if rec = mustRun(t, in); rec.Samples.TorqueNm != nil || len(said(rec)) != 1 ||
		said(rec)[0] != "REFUSED counts: the torque channel is in counts and no calibration gives it a scale; the torque is not used" {
		t.Errorf("said %q", said(rec))
	}
}

// A unit row that disagrees with the bench file is told.
func TestUnitRow(t *testing.T) {
	l := logger()
	l.Dialect.UnitRows = 1
	body := strings.Replace(text(stepRows()), "\n", "\n(ms),[RPM],N·m,gf,%,V\n", 1)
	in := input(t, text(stepRows()))
	in.Files = []File{open(t, l, "rec.csv", body)}
	want := []string{`unit: rec.csv:2: the unit row says "[RPM]" for erpm, the bench file "rpm"; the bench file's is used`,
		`unit: rec.csv:2: the unit row says "N·m" for torque_mNm, the bench file "mN·m"; the bench file's is used`}
	if got := said(mustRun(t, in)); !slices.Equal(got, want) {
		t.Errorf("said %q", got)
	}
}
