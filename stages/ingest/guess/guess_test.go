package guess

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/spin"
)

func TestText(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       spin.Dialect
		headers    string
		units      string
		columns    int
	}{
		{"comma", "t,erpm,torque\n0.0,100,1.5\n0.5,101,1.6\n1.0,99,1.7\n", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, "t|erpm|torque", "", 3},
		{"semicolon with decimal commas, a unit row and a comment", "# card 2\nzeit;drehzahl;kraft\ns;rpm;gf\n0,000;26810;2,524\n0,001;26811;2,547\n", spin.Dialect{Delimiter: ";", Decimal: ",", HeaderRows: 1, UnitRows: 1, Comment: "#"}, "zeit|drehzahl|kraft", "s|rpm|gf", 3},
		{"tabs without header", "0\t-0.0035\t824.9\n1000\t-0.0036\t824.2\n2000\t-0.0036\t824.1\n", spin.Dialect{Delimiter: "\t", Decimal: "."}, "", "", 3},
		{"spaces", "time speed torque\n0.0  100   0.1\n0.1  120  0.2\n", spin.Dialect{Delimiter: " ", Decimal: ".", HeaderRows: 1}, "time|speed|torque", "", 3},
		{"prose before the table", "Bench log\nOperator: A\n\ntime,speed\n1,2\n2,3\n", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1, SkipLines: 3}, "time|speed", "", 2},
		{"byte order mark, CRLF, trailing delimiter", "\xef\xbb\xbftime,speed,\r\n1,2,\r\n2,3,\r\n", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, "time|speed", "", 2},
		{"a last line cut off", "time,speed\n1,2\n2,3\n3,", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, "time|speed", "", 2},
		{"quoted headings", "\"time [s]\",\"speed [rpm]\"\n1,2\n2,3\n", spin.Dialect{Delimiter: ",", Decimal: ".", HeaderRows: 1}, "time [s]|speed [rpm]", "", 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := Text([]byte(c.text))
			if err != nil {
				t.Fatal(err)
			}
			if l.Dialect != c.want || strings.Join(l.Headers, "|") != c.headers || strings.Join(l.Units, "|") != c.units || len(l.Columns) != c.columns {
				t.Errorf("got %+v headers %q units %q columns %d", l.Dialect, l.Headers, l.Units, len(l.Columns))
			}
		})
	}
	for _, text := range []string{"", "\n\n", "a,b\nc,d\n", "1\n2\n3\n"} {
		if l, err := Text([]byte(text)); err == nil {
			t.Errorf("%q: got %+v, want an error", text, l.Dialect)
		}
	}
}

func TestChannels(t *testing.T) {
	for _, c := range []struct {
		heading string
		numbers []float64
		want    string // name unit reading factor
		sure    bool
	}{
		{"time [ms]", []float64{0, 1, 2}, "time ms", true},
		{"t", []float64{0, 0.0005, 0.001}, "time s", false},
		{"t", []float64{0, 0.5, 1}, "time ms", false},
		{"Timestamp", []float64{0, 500, 1000}, "time µs", false},
		{"erpm", []float64{64447}, "speed rpm electrical", true},
		{"Speed (rad/s)", []float64{2500}, "speed rad/s mechanical", true},
		{"rpm", []float64{25000}, "speed rpm mechanical", true},
		{"omega", []float64{2500}, "speed rad/s mechanical", false},
		{"drehzahl_el", []float64{64447}, "speed rpm electrical", false},
		{"torque_mNm", []float64{12}, "torque mN·m", true},
		{"Torque [N·m]", []float64{0.01}, "torque N·m", true},
		{"torque", []float64{0.01}, "torque N·m", false},
		{"torque", []float64{12}, "torque mN·m", false},
		{"thrust_g", []float64{312}, "thrust gf", true},
		{"duty_percent", []float64{70}, "throttle %", true},
		{"throttle", []float64{1650}, "throttle µs", false},
		{"throttle", []float64{0.7}, "throttle 1", false},
		{"volts", []float64{7.4}, "voltage V", true},
		{"Voltage (mV)", []float64{7400}, "voltage mV", true},
		{"amps", []float64{7.4}, "current A", true},
		{"I", []float64{7.4}, "current A", false},
		{"temperature_C", []float64{25}, "temperature °C", true},
	} {
		chans, notes := Channels(Layout{Headers: []string{c.heading}, Columns: [][]float64{c.numbers}})
		if len(chans) != 1 || len(notes) != 1 {
			t.Errorf("%q: got %d channels, notes %+v", c.heading, len(chans), notes)
			continue
		}
		got := strings.TrimSpace(fmt.Sprintf("%s %s %s", chans[0].Name, chans[0].Unit, chans[0].Reading))
		if got != c.want || notes[0].Sure != c.sure {
			t.Errorf("%q: got %q sure %v, want %q %v (%s)", c.heading, got, notes[0].Sure, c.want, c.sure, notes[0].Text)
		}
		if chans[0].Factor <= 0 {
			t.Errorf("%q: factor %g", c.heading, chans[0].Factor)
		}
	}
}

// TestPulse: 1 ms is no throttle, 2 ms full; 1650 µs is 65 %.
func TestPulse(t *testing.T) {
	chans, _ := Channels(Layout{Headers: []string{"throttle"}, Columns: [][]float64{{1100, 1650}}})
	if got := (1650 - chans[0].Offset) * chans[0].Factor; math.Abs(got-0.65) > 1e-12 {
		t.Errorf("1650 µs is %g, want 0.65", got)
	}
}

func TestUnknownAndTwice(t *testing.T) {
	chans, notes := Channels(Layout{Headers: []string{"t", "speed", "motor_speed", "vibration"}, Columns: [][]float64{{0, 0.001}, {1}, {1}, {1}}})
	if len(chans) != 2 || len(notes) != 4 || !strings.Contains(notes[2].Text, "another column is the speed") || !strings.Contains(notes[3].Text, "vibration") {
		t.Errorf("got %+v, %+v", chans, notes)
	}
}

// course samples speed and throttle at 500 Hz.
func course(seconds float64, at func(t float64) (speed, duty float64)) *series.Samples {
	s := &series.Samples{}
	for i := 0; float64(i) < seconds*500; i++ {
		t := float64(i) / 500
		w, d := at(t)
		s.TimeS, s.SpeedRadPerS, s.Duty = append(s.TimeS, t), append(s.SpeedRadPerS, w+0.5*math.Sin(977*t)), append(s.Duty, d)
	}
	return s
}

func TestKind(t *testing.T) {
	rise := func(t, tau float64) float64 { return 1 - math.Exp(-t/tau) }
	step := func(t float64) (float64, float64) {
		switch u := math.Mod(t, 2); {
		case u < 0.8:
			return 900, 0.3
		case u < 1.6:
			return 900 + 1200*rise(u-0.8, 0.03), 0.7
		default:
			return 900 + 1200*math.Exp(-(u-1.6)/0.03), 0.3
		}
	}
	staircase := func(t float64) (float64, float64) { k := math.Floor(t); return 400 + 200*k, 0.2 + 0.07*k }
	sweep := func(t float64) (float64, float64) {
		if t < 1 {
			return 2000, 0.7
		}
		return 2000 - 180*(t-1), 0.7
	}
	coast := func(t float64) (float64, float64) {
		if t < 1 {
			return 2000, 0.7
		}
		return 2000 * math.Exp(-(t-1)/0.6), 0
	}
	for _, c := range []struct {
		name    string
		seconds float64
		at      func(float64) (float64, float64)
		want    spin.Kind
	}{
		{"step", 6, step, spin.Step}, {"steady", 8, staircase, spin.Steady}, {"sweep", 7, sweep, spin.Sweep}, {"coast", 9, coast, spin.Coast},
		{"nothing", 4, func(float64) (float64, float64) { return 0, 0 }, ""},
		{"always the same", 4, func(float64) (float64, float64) { return 2000, 0.7 }, ""},
	} {
		s := course(c.seconds, c.at)
		if got, note := Kind(s, spin.Declared{Job: "j", Name: "r"}); got != c.want || note.Text == "" {
			t.Errorf("%s: got %q (%s)", c.name, got, note.Text)
		}
		s.Duty = nil
		if got, note := Kind(s, spin.Declared{Job: "j", Name: "r"}); got != c.want {
			t.Errorf("%s without throttle: got %q (%s)", c.name, got, note.Text)
		}
	}
}
