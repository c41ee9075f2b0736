package guess

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
)

// words by which people head a channel's column; a word that is alone in its
// list of letters ("n", "i") counts only as the whole name. Common practice, no source.
var words = []struct {
	channel string
	words   []string
	whole   []string
}{
	{"time", []string{"time", "timestamp", "stamp", "zeit", "clock", "elapsed"}, []string{"t"}},
	{"speed", []string{"erpm", "rpm", "speed", "omega", "drehzahl", "rev"}, []string{"n", "w"}},
	{"torque", []string{"torque", "moment", "drehmoment"}, []string{"m", "mz", "tq"}},
	{"thrust", []string{"thrust", "schub"}, []string{"fz"}},
	{"throttle", []string{"throttle", "duty", "gas", "command", "cmd", "pwm"}, nil},
	{"voltage", []string{"voltage", "volts", "volt", "spannung", "vbat", "supply"}, []string{"u", "v"}},
	{"current", []string{"current", "amps", "amp", "amperes", "strom"}, []string{"i"}},
	{"temperature", []string{"temperature", "temp"}, nil},
	{"force", []string{"force", "kraft", "load"}, []string{"f"}},
}

var kinds = map[string]quantity.Dimension{
	"time": quantity.Time, "speed": quantity.AngularSpeed, "torque": quantity.Torque, "thrust": quantity.Force, "force": quantity.Force,
	"throttle": quantity.Ratio, "voltage": quantity.Voltage, "current": quantity.Current, "temperature": quantity.Temperature,
}

// unitWords are spellings that only column heads use.
var unitWords = map[string]string{
	"percent": "%", "pct": "%", "c": "°C", "celsius": "°C", "deg_c": "°C", "sec": "s", "seconds": "s", "us": "µs", "usec": "µs", "msec": "ms",
	"volts": "V", "volt": "V", "amps": "A", "amp": "A", "rpm": "rpm", "erpm": "rpm", "newton": "N", "gram": "gf", "g": "gf", "gr": "gf",
}

// Channels finds which column holds which channel. PolePairs are not needed: an
// electrical speed is known by its name. A layout without header gives no
// channel but a time: names are what the guess rests on.
func Channels(l Layout) ([]spin.Channel, []Note) {
	var out []spin.Channel
	var notes []Note
	taken := map[string]bool{}
	for k := range l.Columns {
		name, unit := "", ""
		if k < len(l.Headers) {
			name, unit = heading(l.Headers[k])
		}
		if k < len(l.Units) && bare(l.Units[k]) != "" {
			unit = bare(l.Units[k])
		}
		channel := byName(name)
		if len(l.Headers) == 0 && k == 0 && rising(l.Columns[0]) {
			channel = "time"
			notes = append(notes, Note{About: "time", Text: "column 1 rises from row to row: it is taken for the time", Sure: false})
		}
		if channel == "" || taken[channel] {
			if name != "" {
				notes = append(notes, Note{About: name, Text: fmt.Sprintf("column %q is left out: %s", l.Headers[k], why(channel)), Sure: false})
			}
			continue
		}
		taken[channel] = true
		c := spin.Channel{Name: channel, Sign: 1}
		if k < len(l.Headers) && strings.TrimSpace(l.Headers[k]) != "" && once(l.Headers, l.Headers[k]) {
			c.Column = l.Headers[k]
		} else {
			c.Index = k + 1
		}
		note := measure(&c, l.Columns[k], name, unit)
		notes = append(notes, note)
		out = append(out, c)
	}
	if taken["torque"] && taken["force"] {
		// One reaction is enough; the torque needs no arm.
		out = slices.DeleteFunc(out, func(c spin.Channel) bool { return c.Name == "force" })
		notes = append(notes, Note{About: "force", Text: "a torque and a force column: the force is left out", Sure: false})
	}
	return out, notes
}

func why(channel string) string {
	if channel == "" {
		return "its name says nothing that is known here"
	}
	return "another column is the " + channel + " already"
}

func once(all []string, name string) bool {
	n := 0
	for _, x := range all {
		if x == name {
			n++
		}
	}
	return n == 1
}

func rising(x []float64) bool {
	for i := 1; i < len(x); i++ {
		if x[i] <= x[i-1] {
			return false
		}
	}
	return len(x) > 2
}

// heading divides "torque [mN·m]", "torque (mN·m)", "torque_mNm", "t/ms" into name and unit.
func heading(h string) (name, unit string) {
	h = strings.TrimSpace(h)
	for _, b := range []string{"[]", "()"} {
		if i := strings.IndexByte(h, b[0]); i > 0 && strings.HasSuffix(h, b[1:]) {
			return strings.TrimSpace(h[:i]), bare(h[i:])
		}
	}
	for _, sep := range []string{"/", "_", " "} {
		if i := strings.LastIndex(h, sep); i > 0 {
			if _, ok := lookup(h[i+len(sep):]); ok {
				return h[:i], h[i+len(sep):]
			}
		}
	}
	return h, ""
}

func bare(u string) string { return strings.Trim(strings.TrimSpace(u), "[]()") }

// lookup finds a unit by any spelling that files use.
func lookup(u string) (quantity.Unit, bool) {
	if unit, ok := quantity.Lookup(u); ok {
		return unit, true
	}
	if w, ok := unitWords[strings.ToLower(u)]; ok {
		return quantity.Lookup(w)
	}
	return quantity.Unit{}, false
}

// byName is the channel that a column's name speaks of, or "".
func byName(name string) string {
	letters := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) })
	for _, w := range words {
		if len(letters) >= 1 && slices.Contains(w.whole, letters[0]) && len(letters[0]) == len(strings.TrimSpace(name)) {
			return w.channel
		}
		for _, x := range letters {
			if slices.Contains(w.words, x) {
				return w.channel
			}
		}
	}
	return ""
}

// measure fills unit, factor and reading; the note says what they rest on.
func measure(c *spin.Channel, x []float64, name, unit string) Note {
	about := c.Column
	if about == "" {
		about = fmt.Sprintf("column %d", c.Index)
	}
	u, ok := lookupFor(c.Name, unit)
	if !ok {
		// The name itself may be the unit: rpm, volts, amps.
		for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) }) {
			if v, found := lookupFor(c.Name, w); found && len(w) > 1 {
				u, ok = v, true
			}
		}
	}
	note := Note{About: c.Name, Text: fmt.Sprintf("%s in %s, by its heading", about, u.Name), Sure: true}
	if !ok {
		u = bySize(c.Name, x)
		note = Note{About: c.Name, Text: fmt.Sprintf("%s in %s, by the size of its numbers", about, u.Name), Sure: false}
	}
	c.Unit, c.Factor, c.Offset = u.Name, u.Factor, u.Offset
	if c.Name == "throttle" && u.Dim == quantity.Time {
		// A pulse of 1 to 2 ms is how servo-style commands are written (common practice, no source).
		c.Offset, c.Factor = 1e-3/u.Factor, 1e3*u.Factor
		note.Sure, note.Text = false, note.Text+"; 1 ms taken for no throttle and 2 ms for full"
	}
	if c.Name == "speed" {
		c.Reading, c.Timing = "mechanical", "unknown"
		if electrical(name) {
			c.Reading, c.Timing = "electrical", "period"
			note.Text += ", electrical periods"
		} else {
			note.Text += ", turns of the rotor"
		}
	}
	if c.Name == "force" {
		note.Sure, note.Text = false, note.Text+"; its lever arm is not in the recording"
	}
	return note
}

// lookupFor finds a unit that a channel can have: a thrust in g is in gram-force,
// a temperature in C in degrees Celsius.
func lookupFor(channel, u string) (quantity.Unit, bool) {
	if unit, ok := quantity.Lookup(u); ok && fits(channel, unit.Dim) {
		return unit, true
	}
	unit, ok := quantity.Lookup(unitWords[strings.ToLower(u)])
	return unit, ok && fits(channel, unit.Dim)
}

func fits(channel string, d quantity.Dimension) bool {
	return d == kinds[channel] || (channel == "throttle" && d == quantity.Time)
}

func electrical(name string) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) }) {
		if slices.Contains([]string{"erpm", "el", "elec", "electrical", "elektrisch", "erev"}, w) {
			return true
		}
	}
	return false
}

// bySize is the unit that makes the numbers those of a bench of small motors.
func bySize(channel string, x []float64) quantity.Unit {
	top := 0.0
	for _, v := range x {
		top = math.Max(top, math.Abs(v))
	}
	name := ""
	switch channel {
	case "time":
		// Loggers of such benches write 20 to 20,000 rows a second.
		name = "s"
		if h := step(x); h >= 0.05 && h < 50 {
			name = "ms"
		} else if h >= 50 {
			name = "µs"
		}
	case "speed":
		// 3,000 rad/s is 28,600 rpm; small motors turn at some ten thousand rpm.
		name = choose(top > 3000, "rpm", "rad/s")
	case "torque":
		name = choose(top > 3, "mN·m", "N·m")
	case "thrust", "force":
		name = choose(top > 50, "gf", "N")
	case "throttle":
		name = choose(top > 1.05, "%", "1")
		if top >= 900 && top <= 2200 {
			name = "µs"
		}
	case "voltage":
		name = choose(top > 100, "mV", "V")
	case "current":
		name = choose(top > 300, "mA", "A")
	case "temperature":
		name = choose(top > 200, "K", "°C")
	}
	u, _ := quantity.Lookup(name)
	return u
}

func choose(b bool, yes, no string) string {
	if b {
		return yes
	}
	return no
}

func step(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	d := make([]float64, len(x)-1)
	for i := range d {
		d[i] = x[i+1] - x[i]
	}
	return numeric.Median(d)
}
