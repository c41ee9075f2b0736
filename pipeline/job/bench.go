package job

import (
	"fmt"
	"io/fs"
	"math"
	"strings"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// bench is a bench file read.
type bench struct {
	spin spin.Bench
	root *value
}

// readBench reads the bench file that v names, once; nil where that failed.
func (r *reader) readBench(v *value) *bench {
	root, first := r.open(v, BenchFile)
	if root == nil {
		return nil
	}
	if !first {
		return r.benches[root.file.name]
	}
	return r.bench(root)
}

// ReadBench reads a bench file by itself. Faults are as those of Read.
func ReadBench(fsys fs.FS, name string) (spin.Bench, error) {
	r := newReader(fsys, name)
	data, err := alone(fsys, name, BenchFile, MaxBytes)
	if err != nil {
		return spin.Bench{}, err
	}
	root := r.parse(name, BenchFile, data)
	var out spin.Bench
	if root != nil {
		out = r.bench(root).spin
	}
	return out, r.errs.Err()
}

// bench reads the keys of a bench file.
func (r *reader) bench(root *value) *bench {
	b := &bench{root: root}
	b.spin.Name = root.get("bench").str("")
	for _, file := range keys(r.benches) {
		if o := r.benches[file]; o.spin.Name == b.spin.Name && b.spin.Name != "" {
			root.get("bench").fault(quote(b.spin.Name)+", which "+file+" has too", "a name of its own for each bench", "")
		}
	}
	r.benches[root.file.name] = b
	prefix := "bench/" + b.spin.Name + "/"
	r.register(prefix, root)
	if g := root.get("gravity"); g.usable() {
		b.spin.GravityMps2 = r.uncertain(g, prefix+"gravity")
		r.gravity(g)
	}
	if one := root.get("logger"); one != nil {
		r.logger(b, one, "logger", prefix+"logger.")
	}
	if some := root.get("loggers"); some != nil {
		for _, l := range some.fields {
			r.logger(b, l, l.name, prefix+"loggers."+l.name+".")
		}
	}
	b.spin.TorqueScale = r.optional(root.get("torque_scale"), prefix+"torque_scale")
	if cals := root.get("calibrations"); cals != nil {
		for _, c := range cals.fields {
			r.calibration(b, c, prefix+c.name)
		}
	}
	r.repeatability(b, root.get("repeatability"))
	r.unsettled(root, prefix)
	return b
}

// gravity must be the Earth's: at sea level 9.780 to 9.832 m/s² from equator to pole
// (WGS 84 normal gravity), 0.003 m/s² less a kilometre up, so 9.76 to 9.84 on any inhabited ground below 5 km.
func (r *reader) gravity(v *value) {
	if g := v.num(); g < 9.76 || g > 9.84 {
		v.fault(quote(v.text), "the local acceleration of free fall, 9.76 to 9.84 m/s2", "")
	}
}

func (r *reader) logger(b *bench, v *value, name, prefix string) {
	l := spin.Logger{Name: name, Converter: "unknown", ClockRate: uncertain.Exact(1)}
	l.Dialect = dialect(v.get("dialect"))
	if c := v.get("converter"); c.usable() {
		l.Converter = c.text
		if strings.HasPrefix(c.text, "mean") {
			l.Converter, l.MeanS = "mean", c.num()
		}
	}
	if c := v.get("clock_rate"); c.usable() {
		l.ClockRate = r.uncertain(c, prefix+"clock_rate")
		if math.Abs(c.num()-1) > 0.1 {
			c.fault(quote(c.text), "a rate within 10 % of 1", "")
		}
	}
	if chs := v.get("channels"); chs != nil {
		for _, c := range chs.fields {
			if ch, ok := r.channel(c, l.Dialect, prefix+"channels."+c.name+"."); ok {
				l.Channels = append(l.Channels, ch)
			}
		}
		twoChannels(chs)
	}
	b.spin.Loggers = append(b.spin.Loggers, l)
}

func dialect(v *value) spin.Dialect {
	bytes := map[string]string{"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "pipe": "|", "point": "."}
	d := spin.Dialect{
		Delimiter: bytes[v.get("delimiter").str("comma")], Decimal: bytes[v.get("decimal").str("point")],
		HeaderRows: v.get("header_rows").int(1), UnitRows: v.get("unit_rows").int(0),
		Comment: v.get("comment").str(""), SkipLines: v.get("skip_lines").int(0),
	}
	if d.Delimiter == d.Decimal && v.usable() {
		v.fault("a comma between columns and in numbers", "two different marks", "set delimiter or decimal")
	}
	if d.HeaderRows == 0 && d.UnitRows > 0 && v.usable() {
		v.get("unit_rows").fault("a row of units without a row of names", "header_rows: 1, or no unit_rows", "")
	}
	return d
}

// twoChannels refuses a column that two channels name.
func twoChannels(chs *value) {
	first := map[string]string{}
	for _, c := range chs.fields {
		col := c.get("column")
		if !col.usable() {
			continue
		}
		if other, twice := first[col.text]; twice {
			col.fault(quote(col.text)+", the column of "+other, "a column of its own for each channel", "")
			continue
		}
		first[col.text] = c.name
	}
}

func (r *reader) channel(v *value, d spin.Dialect, prefix string) (spin.Channel, bool) {
	if v.bad {
		return spin.Channel{}, false
	}
	u, col := v.get("unit"), v.get("column")
	c := spin.Channel{Name: v.name, Unit: u.text, Factor: u.unit.Factor, Offset: u.unit.Offset, Sign: 1}
	if c.Index = col.integer; c.Index == 0 {
		c.Column = col.text
		if d.HeaderRows == 0 {
			col.fault(quote(col.text), "the number of a column: header_rows is 0, so there are no names", "")
		}
	}
	if v.get("sign").str("positive") == "negative" {
		c.Sign = -1
	}
	switch v.name {
	case "speed":
		speedChannel(v, &c)
	case "force":
		arm := r.uncertain(v.get("arm"), prefix+"arm")
		c.Name, c.ArmM = "torque", &arm
	case "torque":
		c.Counts = u.unit.Dim == quantity.Count
	case "throttle":
		throttleChannel(v, &c)
	}
	return c, !v.bad
}

func speedChannel(v *value, c *spin.Channel) {
	c.Reading = v.get("reading").text
	c.Timing = v.get("timing").str("unknown")
	per := v.get("per_turn")
	switch {
	case c.Reading == "pulses" && per == nil:
		v.fault("pulses without per_turn", "per_turn: the pulses in a turn", "")
	case c.Reading != "pulses" && per != nil:
		per.faultAtKey("per_turn with reading: "+c.Reading, "per_turn with reading: pulses only", "")
	case per != nil:
		c.PerTurn = float64(per.integer)
	}
}

// throttleChannel makes duty 0…1 of pulse lengths or counts: zero and full are
// the readings at 0 and 1.
func throttleChannel(v *value, c *spin.Channel) {
	u, zero, full := v.get("unit").unit, v.get("zero"), v.get("full")
	if u.Dim == quantity.Ratio {
		for _, end := range []*value{zero, full} {
			if end != nil {
				end.faultAtKey(end.name+" with the unit "+u.Name, end.name+" only where the unit is no ratio", "")
			}
		}
		return
	}
	if zero == nil || full == nil {
		v.fault("a throttle in "+u.Name+" without zero and full", "the readings at no and at full throttle, such as zero: 1000 us, full: 2000 us", "")
		return
	}
	for _, end := range []*value{zero, full} {
		if end.quantity.Unit.Dim != u.Dim {
			end.fault(quote(end.text), article(u.Dim)+" like the channel", "")
			return
		}
	}
	low, high := u.Number(zero.num()), u.Number(full.num())
	if low == high {
		full.fault(quote(full.text)+", the same as zero", "another reading", "")
		return
	}
	c.Offset, c.Factor = low, 1/(high-low)
}

func (r *reader) repeatability(b *bench, list *value) {
	last := 0.0
	for i, v := range list.each() {
		if v.bad {
			continue
		}
		up := v.get("up_to")
		switch {
		case up == nil && i < len(list.items)-1:
			v.fault("a class without up_to before another", "up_to in every class but the last", "")
		case up != nil && up.num() <= last:
			up.fault(quote(up.text), "a larger inertia than in the class before", "")
		}
		last = up.num()
		run, source := v.get("run"), fmt.Sprintf("bench/%s/repeatability.%d.run", b.spin.Name, i)
		if run.usable() {
			r.declare(run, source, run.text)
		}
		b.spin.Repeatability = append(b.spin.Repeatability, spin.Repeatability{
			UpToKgM2: last, RunRel: run.num(), MountRel: v.get("mounting").num(), DoF: float64(v.get("dof").int(0)), Source: source})
	}
}

// calibration reads one calibration; id is "bench/loft/2026-03-02".
func (r *reader) calibration(b *bench, v *value, id string) {
	c := spin.Calibration{ID: strings.TrimPrefix(id, "bench/"), By: v.get("by").str("")}
	r.register(id+"/", v)
	if day := v.name[:min(10, len(v.name))]; !IsDate(day) && calForm.re.MatchString(v.name) {
		v.faultAtKey(quote(v.name), "a day of the calendar", "")
	}
	channel := r.calibratedChannel(b, v, &c)
	if arm := v.get("arm"); arm.usable() {
		c.ArmM = r.uncertain(arm, id+"/arm")
	}
	c.CrosstalkM = r.optional(v.get("crosstalk"), id+"/crosstalk")
	if v.get("ccw") == nil && v.get("cw") == nil {
		v.fault("neither ccw nor cw", "readings of at least one sense", "")
	}
	var masses []string
	c.CCW = r.readings(v.get("ccw"), channel, id, &masses)
	c.CW = r.readings(v.get("cw"), channel, id, &masses)
	if len(masses) > 0 {
		at := v.get("ccw")
		if at == nil {
			at = v.get("cw")
		}
		r.declare(at, id+"/masses", strings.Join(masses, ", "))
	}
	b.spin.Calibrations = append(b.spin.Calibrations, c)
}

// calibratedChannel is the torque channel that was read, nil where it cannot be told.
func (r *reader) calibratedChannel(b *bench, v *value, c *spin.Calibration) *spin.Channel {
	found := map[string]*spin.Channel{}
	broken := false
	for i := range b.spin.Loggers {
		l := &b.spin.Loggers[i]
		for k := range l.Channels {
			if l.Channels[k].Name == "torque" {
				found[l.Name] = &l.Channels[k]
			}
		}
	}
	for _, name := range []string{"logger", "loggers"} {
		broken = broken || b.root.get(name) != nil && b.root.get(name).bad
	}
	if name := v.get("logger"); name != nil {
		c.Logger = name.text
	} else if len(found) == 1 {
		c.Logger = keys(found)[0]
	}
	ch := found[c.Logger]
	switch {
	case broken:
		return nil
	case ch != nil:
	case v.get("logger") != nil:
		v.get("logger").fault(quote(c.Logger), among("a logger with a torque or force channel", keys(found)), did(c.Logger, keys(found)))
	case len(found) == 0:
		v.fault("a calibration where no logger has a torque or force channel", "a torque or force channel", "")
	default:
		v.fault("no logger", among("the logger that was read", keys(found)), "")
	}
	return ch
}

// readings reads the weights of one sense, and appends the masses that have an uncertainty.
func (r *reader) readings(list *value, ch *spin.Channel, id string, masses *[]string) []spin.Reading {
	if list == nil {
		return nil
	}
	r.declare(list, id+"/scale."+list.name, fmt.Sprintf("%d readings", len(list.items)))
	var out []spin.Reading
	different := map[float64]bool{}
	for _, v := range list.items {
		if v.bad {
			continue
		}
		mass := v.get("mass")
		different[mass.num()] = true
		rd := spin.Reading{MassKg: r.uncertain(mass, fmt.Sprintf("%s/%s.%s.mass", id, list.name, v.name)), Line: v.line}
		if mass.quantity.U > 0 {
			*masses = append(*masses, mass.text)
		}
		if ch != nil {
			rd.Cell = cell(v.get("reading"), ch)
		}
		out = append(out, rd)
	}
	if len(different) < 2 && !list.bad {
		list.fault("weights of one mass only", "at least 2 different masses", "hang nothing for one of them: mass: 0 g")
	}
	return out
}

// cell is a reading in the channel's own unit; the number as written where it has
// that unit already.
func cell(v *value, ch *spin.Channel) float64 {
	u, _ := quantity.Lookup(ch.Unit)
	q := v.quantity
	switch {
	case v.plain && !ch.Counts:
		v.fault(quote(v.text), article(u.Dim)+" with its unit, such as "+v.text+" "+u.Name, "")
	case q.Unit.Dim != u.Dim:
		v.fault(fmt.Sprintf("%s (%s)", quote(v.text), q.Unit.Dim), article(u.Dim)+" such as the channel shows in "+u.Name, "")
	case q.Unit.Name == u.Name:
		return q.Number
	}
	return u.Number(q.Value)
}
