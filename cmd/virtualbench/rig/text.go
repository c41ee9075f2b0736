package rig

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
)

// Channel names a column of a Trace.
type Channel string

// The channels a logger can write.
const (
	Time        Channel = "time"
	Speed       Channel = "speed"
	Torque      Channel = "torque"
	Thrust      Channel = "thrust"
	Voltage     Channel = "voltage"
	Current     Channel = "current"
	DutyCommand Channel = "duty"
	Temperature Channel = "temperature"
)

// Column is one column as a logger writes it: Factor·value + Offset, value in
// the Trace's unit, with fixed Decimals.
type Column struct {
	Channel  Channel
	Name     string // as in the header row
	Unit     string // as in the unit row
	Factor   float64
	Offset   float64
	Decimals int
}

// Dialect is how a logger lays out its text.
type Dialect struct {
	Columns      []Column
	Delimiter    string // "," ";" "\t" or spaces; "" means ","
	DecimalComma bool
	Comments     []string // lines at the top, each behind CommentMark
	CommentMark  string   // "" means "# "
	NoHeader     bool
	UnitRow      bool
	CRLF         bool
	Quoted       bool    // names and units in double quotes
	Trailing     bool    // a delimiter at the end of each row
	ByteOrder    bool    // UTF-8 byte order mark at the start
	Missing      float64 // probability that a cell other than time is missing
	MissingText  string  // what stands there instead
	Seed         uint64  // of the missing cells
}

const (
	rpmPerRadPerS = 60 / (2 * math.Pi)
	newtonPerKgf  = 9.80665 // standard gravity, 3rd CGPM 1901
)

// ColumnOf is the column of a channel in a named unit, with decimals that
// suit a bench of this kind. Units: time s ms us; speed rad/s rpm rps Hz
// (mechanical); torque N·m mN·m; thrust N gf; voltage V mV; current A mA;
// duty % 1 us; temperature °C. It fails on any other, naming these.
func ColumnOf(c Channel, name, unit string) (Column, error) {
	type form struct {
		factor   float64
		offset   float64
		decimals int
	}
	forms := map[Channel]map[string]form{
		Time:        {"s": {1, 0, 6}, "ms": {1e3, 0, 3}, "us": {1e6, 0, 0}},
		Speed:       {"rad/s": {1, 0, 3}, "rpm": {rpmPerRadPerS, 0, 2}, "rps": {1 / (2 * math.Pi), 0, 4}, "Hz": {1 / (2 * math.Pi), 0, 4}},
		Torque:      {"N·m": {1, 0, 6}, "mN·m": {1e3, 0, 3}},
		Thrust:      {"N": {1, 0, 3}, "gf": {1e3 / newtonPerKgf, 0, 1}},
		Voltage:     {"V": {1, 0, 3}, "mV": {1e3, 0, 0}},
		Current:     {"A": {1, 0, 3}, "mA": {1e3, 0, 0}},
		DutyCommand: {"%": {100, 0, 1}, "1": {1, 0, 3}, "us": {1000, 1000, 0}},
		Temperature: {"°C": {1, 0, 1}},
	}
	f, ok := forms[c][unit]
	if !ok {
		return Column{}, fmt.Errorf("column %q: no unit %q for channel %q", name, unit, c)
	}
	return Column{Channel: c, Name: name, Unit: unit, Factor: f.factor, Offset: f.offset, Decimals: f.decimals}, nil
}

// ElectricalSpeed is a speed column in electrical rpm ("erpm").
func ElectricalSpeed(name string, polePairs int) Column {
	return Column{Channel: Speed, Name: name, Unit: "erpm", Factor: rpmPerRadPerS * float64(polePairs), Decimals: 0}
}

// TorqueForce is a torque column as force in gf at a lever arm of armM metres.
func TorqueForce(name string, armM float64) Column {
	return Column{Channel: Torque, Name: name, Unit: "gf", Factor: 1e3 / (newtonPerKgf * armM), Decimals: 2}
}

// TorqueCounts is a torque column in converter counts.
func TorqueCounts(name string, countsPerNm, offset float64) Column {
	return Column{Channel: Torque, Name: name, Unit: "counts", Factor: countsPerNm, Offset: offset}
}

// Plain is the dialect of a tidy logger: commas, one header row, SI units and
// rpm, for the channels that t has.
func Plain(t Trace) Dialect {
	all := []Column{
		{Time, "time_s", "s", 1, 0, 6},
		{Speed, "speed_rpm", "rpm", rpmPerRadPerS, 0, 2},
		{Torque, "torque_Nm", "N·m", 1, 0, 6},
		{Thrust, "thrust_N", "N", 1, 0, 3},
		{Voltage, "voltage_V", "V", 1, 0, 3},
		{Current, "current_A", "A", 1, 0, 3},
		{DutyCommand, "duty_percent", "%", 100, 0, 1},
		{Temperature, "temperature_C", "°C", 1, 0, 1},
	}
	var d Dialect
	for _, c := range all {
		if t.column(c.Channel) != nil {
			d.Columns = append(d.Columns, c)
		}
	}
	return d
}

func (t *Trace) column(c Channel) []float64 {
	switch c {
	case Time:
		return t.TimeS
	case Speed:
		return t.SpeedRadPerS
	case Torque:
		return t.TorqueNm
	case Thrust:
		return t.ThrustN
	case Voltage:
		return t.VoltageV
	case Current:
		return t.CurrentA
	case DutyCommand:
		return t.Duty
	case Temperature:
		return t.TemperatureC
	}
	return nil
}

// WriteText writes the trace in the dialect. It fails when the dialect names a
// channel that the trace does not have, before anything is written. Equal
// arguments give equal bytes.
func WriteText(w io.Writer, t Trace, d Dialect) error {
	data := make([][]float64, len(d.Columns))
	for i, c := range d.Columns {
		data[i] = t.column(c.Channel)
		if len(data[i]) != t.Rows() || t.Rows() == 0 {
			return fmt.Errorf("column %q: the trace has no channel %q", c.Name, c.Channel)
		}
		if c.Decimals < 0 || c.Decimals > 12 || c.Factor == 0 {
			return fmt.Errorf("column %q: %d decimals, factor %g; want 0 to 12 and not 0", c.Name, c.Decimals, c.Factor)
		}
	}
	if d.Delimiter == "" {
		d.Delimiter = ","
	}
	if d.DecimalComma && d.Delimiter == "," {
		return fmt.Errorf("dialect: decimal comma with a comma as delimiter; want another delimiter")
	}
	out := bufio.NewWriterSize(w, 1<<16)
	d.head(out)
	rng := stream(d.Seed, streamText)
	var line []byte
	for row := range t.TimeS {
		line = d.row(line[:0], data, row, rng)
		if _, err := out.Write(line); err != nil {
			return err
		}
	}
	return out.Flush()
}

func (d *Dialect) eol() string {
	if d.CRLF {
		return "\r\n"
	}
	return "\n"
}

func (d *Dialect) head(out *bufio.Writer) {
	if d.ByteOrder {
		out.WriteString("\ufeff")
	}
	mark := d.CommentMark
	if mark == "" {
		mark = "# "
	}
	for _, c := range d.Comments {
		out.WriteString(mark + c + d.eol())
	}
	if !d.NoHeader {
		d.names(out, func(c Column) string { return c.Name })
	}
	if d.UnitRow {
		d.names(out, func(c Column) string { return c.Unit })
	}
}

func (d *Dialect) names(out *bufio.Writer, of func(Column) string) {
	for i, c := range d.Columns {
		if i > 0 {
			out.WriteString(d.Delimiter)
		}
		if d.Quoted {
			out.WriteString(`"` + of(c) + `"`)
		} else {
			out.WriteString(of(c))
		}
	}
	if d.Trailing {
		out.WriteString(d.Delimiter)
	}
	out.WriteString(d.eol())
}

func (d *Dialect) row(line []byte, data [][]float64, row int, rng *rand.Rand) []byte {
	for i, c := range d.Columns {
		if i > 0 {
			line = append(line, d.Delimiter...)
		}
		if d.Missing > 0 && c.Channel != Time && rng.Float64() < d.Missing {
			line = append(line, d.MissingText...)
			continue
		}
		from := len(line)
		line = strconv.AppendFloat(line, data[i][row]*c.Factor+c.Offset, 'f', c.Decimals, 64)
		if d.DecimalComma {
			for j := from; j < len(line); j++ {
				if line[j] == '.' {
					line[j] = ','
				}
			}
		}
	}
	if d.Trailing {
		line = append(line, d.Delimiter...)
	}
	return append(line, d.eol()...)
}
