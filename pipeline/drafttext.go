package pipeline

import (
	"cmp"
	"fmt"
	"io/fs"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"spinledger/pipeline/job"
	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// settle marks what the tester must decide.
const settle = "  # settle: "

// draftScaleU is the standard uncertainty of a torque channel that nobody
// calibrated: strain-gauge benches out of the box are good to some per cent
// (common practice, no source).
const draftScaleU = 0.03

// asTorque makes a force channel the torque it is on an arm of draftArmM.
func asTorque(in []spin.Channel) []spin.Channel {
	out := slices.Clone(in)
	for i := range out {
		if out[i].Name == "force" {
			arm := uncertain.Exact(draftArmM)
			out[i].Name, out[i].ArmM = "torque", &arm
		}
	}
	return out
}

// draftArmM stands for a lever arm that no recording tells.
const draftArmM = 0.1

// read ingests a drafted recording.
func (d *drafting) read(r *drafted, l spin.Logger) (*spin.Recording, error) {
	b := spin.Bench{Name: "draft", GravityMps2: uncertain.Exact(9.81), Loggers: []spin.Logger{l}}
	if d.bench != nil {
		b = *d.bench
	}
	one := uncertain.New(1, draftScaleU, 0, "bench/draft/torque_scale")
	if b.TorqueScale == nil {
		b.TorqueScale = &one
	}
	kind := r.kind
	if kind == "" {
		kind = spin.Step
	}
	work := Recording{
		Declared: spin.Declared{Job: "draft", Name: path.Base(r.file), Kind: kind, Rotor: spin.NewRotor(nil), Mounting: "m", Session: "s",
			Turns: spin.CCW, PolePairs: d.polePairs(), TorqueUsable: true},
		Bench: b, Calibration: calibrationOf(b), Files: []File{{Path: r.file, Logger: l}},
	}
	rec, err := readAlone(d.fsys, &work)
	if err != nil {
		return nil, err
	}
	return &rec, nil
}

// calibrationOf is the bench's newest calibration, or empty.
func calibrationOf(b spin.Bench) string {
	id := ""
	for _, c := range b.Calibrations {
		id = max(id, c.ID)
	}
	return id
}

// polePairs are those known, else 7, the most common number in small outrunners
// (common practice, no source); the draft asks for them.
func (d *drafting) polePairs() int { return cmp.Or(d.opt.PolePairs, 7) }

// conditionOf is the supply and the throttle levels that the channels show.
func conditionOf(rec *spin.Recording) (supply float64, duties []float64) {
	var v []float64
	for _, p := range rec.Plateaus {
		if p.VoltageV > 0 {
			v = append(v, p.VoltageV)
		}
	}
	if len(v) > 0 {
		supply = numeric.Median(v)
	}
	if rec.Declared.Kind != spin.Step || rec.Samples.Duty == nil || len(rec.Runs) == 0 {
		return supply, nil
	}
	run := rec.Runs[0]
	for _, at := range []int{run.A, run.B, run.C} {
		if p, ok := rec.Plateau(at); ok && at >= 0 {
			duties = append(duties, p.Duty)
		}
	}
	return supply, duties
}

var (
	kindWords  = []string{"step", "steps", "steady", "levels", "level", "staircase", "sweep", "coast", "rundown", "run"}
	indexWord  = regexp.MustCompile(`^([a-z]|[0-9]{1,3})$`)
	conditions = regexp.MustCompile(`^([0-9]+([.p][0-9]+)?v|[0-9]+v[0-9]+|[0-9]+(pct|percent))$`)
)

// rotorName is what a file's name says of the rotor: the words that are neither a
// kind of recording, nor a condition, nor the last index. "p3x2-a-levels" and
// "p3x2-a-b" are both of p3x2-a.
func rotorName(stem string) string {
	parts := strings.FieldsFunc(strings.ToLower(stem), func(r rune) bool { return r == '-' || r == '_' || r == ' ' })
	var keep []string
	said := false
	for _, w := range parts {
		if len(keep) > 0 && (slices.Contains(kindWords, w) || conditions.MatchString(w)) {
			said = said || slices.Contains(kindWords, w)
			continue
		}
		keep = append(keep, w)
	}
	// An index after a kind word counts recordings of that kind; where the kind is
	// said and comes last, what stands before it is the rotor's own.
	last := len(parts) - 1
	if len(keep) > 1 && indexWord.MatchString(keep[len(keep)-1]) && !(said && slices.Contains(kindWords, parts[last])) {
		keep = keep[:len(keep)-1]
	}
	return strings.Join(keep, "-")
}

// plainID makes a name of a-z, 0-9, '.', '_', '-'.
func plainID(s string) string {
	out := strings.Map(func(r rune) rune {
		switch r = unicode.ToLower(r); {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.', r == '_', r == '-':
			return r
		default:
			return '-'
		}
	}, s)
	out = strings.Trim(out, "-._")
	if out == "" {
		return "x"
	}
	return out
}

// group names recordings and rotors.
func (d *drafting) group() {
	used := map[string]bool{}
	for _, r := range d.recs {
		stem := plainName(path.Base(r.file))
		stem = strings.TrimSuffix(stem, path.Ext(stem))
		r.name = plainID(stem)
		for n := 2; used[r.name]; n++ {
			r.name = fmt.Sprintf("%s.%d", plainID(stem), n)
		}
		used[r.name] = true
		r.group = plainID(rotorName(stem))
		d.out.Kinds = append(d.out.Kinds, DraftedKind{Recording: r.name, File: r.file, Note: r.why})
	}
}

// weigh computes the drafted job and compares the inertias within each rotor: names may lie.
func (d *drafting) weigh() {
	j, err := job.Read(overlaid(d.fsys, d.out.Files), d.out.JobFile)
	if err != nil {
		return
	}
	found, _, err := Compute(overlaid(d.fsys, d.out.Files), Plan(j), 2, nil)
	if err != nil {
		return
	}
	mean := map[string][]float64{}
	for _, f := range found.Fits {
		if f.Chosen && f.Kind == spin.Step {
			mean[f.Recording] = append(mean[f.Recording], f.JKgM2.Mean)
		}
	}
	groups := map[string][]float64{}
	for _, r := range d.recs {
		if m := mean[j.ID+"/"+r.name]; len(m) > 0 {
			groups[r.group] = append(groups[r.group], numeric.Median(m))
		}
	}
	smallest, least := "", math.Inf(1)
	for g, js := range groups {
		if m := numeric.Median(js); m < least || m == least && g < smallest {
			smallest, least = g, m
		}
	}
	for _, r := range d.recs {
		own, all := mean[j.ID+"/"+r.name], groups[r.group]
		if len(own) == 0 || len(all) < 2 {
			continue
		}
		// Runs of one rotor agree within a few per cent; a fifth is another rotor.
		if m, g := numeric.Median(own), numeric.Median(all); math.Abs(m/g-1) > 0.2 {
			r.hint = fmt.Sprintf("its runs give %.3g g·cm², the others of this rotor %.3g: is it the same rotor?", m/quantity.GCm2, g/quantity.GCm2)
		}
	}
	if smallest != "" && !isBare(smallest) && !slices.ContainsFunc(d.recs, func(r *drafted) bool { return isBare(r.group) }) {
		d.smallest = smallest
	}
}

// guesses are the values of a drafted file on which numbers hang and which nobody said.
type guesses struct {
	paths, whys []string
}

func (g *guesses) add(path, why string) {
	g.paths, g.whys = append(g.paths, path), append(g.whys, oneLine(why))
}

// write says them where the program reads them.
func (g *guesses) write(b *strings.Builder) {
	if len(g.paths) == 0 {
		return
	}
	b.WriteString("# No number is fit for release while one of these is left: decide it, then take it out.\nunsettled:\n")
	for i, p := range g.paths {
		fmt.Fprintf(b, "  %s: %s\n", p, strconv.Quote(g.whys[i]))
	}
}

func isBare(group string) bool {
	return slices.ContainsFunc(strings.Split(group, "-"), func(w string) bool {
		return w == "bare" || w == "bell" || w == "naked" || w == "alone" || w == "norotor"
	})
}

// write lays the drafted files out.
func (d *drafting) write() {
	name := d.jobName()
	to := cmp.Or(d.opt.To, ".")
	d.out.JobFile = path.Join(to, name+".yaml")
	d.out.Names = []string{d.out.JobFile}
	d.out.Files = map[string][]byte{d.out.JobFile: []byte(d.jobText(name, to))}
	if groups := d.partGroups(); len(groups) > 0 {
		file := path.Join(to, name+"-parts.yaml")
		d.out.Files[file] = []byte(partsText(groups))
		d.out.Names = append(d.out.Names, file)
	}
	if d.bench == nil {
		file := path.Join(to, name+"-bench.yaml")
		d.out.Files[file] = []byte(d.benchText(name + "-bench"))
		d.out.Names = append(d.out.Names, file)
	}
}

func (d *drafting) jobName() string {
	if d.opt.Name != "" {
		return plainID(d.opt.Name)
	}
	if n := path.Base(path.Dir(d.recs[0].file)); n != "." && n != "/" {
		return plainID(n)
	}
	return "draft"
}

// partGroups are the rotors that are more than the motor's own.
func (d *drafting) partGroups() []string {
	var out []string
	for _, r := range d.recs {
		if !isBare(r.group) && r.group != d.smallest && !slices.Contains(out, r.group) {
			out = append(out, r.group)
		}
	}
	slices.Sort(out)
	return out
}

func (d *drafting) jobText(name, to string) string {
	b, open := &strings.Builder{}, guesses{}
	fmt.Fprintf(b, "# Drafted from %d recordings. Lines marked \"settle\" are guesses: decide them, then remove the mark and, below, the entry under unsettled.\n", len(d.recs))
	for _, l := range d.out.Left {
		fmt.Fprintf(b, "# left out: %s\n", oneLine(l))
	}
	fmt.Fprintf(b, "format: 1\njob: %s\n", name)
	groups := d.partGroups()
	if len(groups) > 0 {
		fmt.Fprintf(b, "parts: [%s-parts.yaml]\n", name)
	}
	if d.opt.PolePairs > 0 {
		fmt.Fprintf(b, "motor: {pole_pairs: %d}\n", d.opt.PolePairs)
	} else {
		fmt.Fprintf(b, "motor: {pole_pairs: %d}%snobody said; half the number of magnets. Speeds and inertias hang on it\n", d.polePairs(), settle)
		open.add("motor.pole_pairs", "half the number of magnets")
	}
	bench := name + "-bench.yaml"
	if d.bench != nil {
		bench = yamlText(relative(to, d.opt.Bench))
	}
	fmt.Fprintf(b, "session:\n  bench: %s\n", bench)
	if d.bench != nil && len(d.bench.Calibrations) > 1 {
		id := calibrationOf(*d.bench)
		fmt.Fprintf(b, "  calibration: %s%sthe newest of the bench's\n", id[strings.LastIndex(id, "/")+1:], settle)
		open.add("session.calibration", "the newest of the bench's")
	}
	fmt.Fprintf(b, "  date: %s%sday of the newest file\n", d.day(), settle)
	b.WriteString("  # air: {temperature: 21 °C, pressure: 1010 hPa, humidity: 45 %}" + settle + "with it loads are referred to a density\n")
	b.WriteString("mountings:\n")
	open.add("mountings", "what was mounted is told from file names and inertias")
	var seen []string
	for _, r := range d.recs {
		if slices.Contains(seen, r.group) {
			continue
		}
		seen = append(seen, r.group)
		switch {
		case isBare(r.group):
			fmt.Fprintf(b, "  %s: {turns: ccw}%ssense of rotation\n", r.group, settle)
		case r.group == d.smallest:
			fmt.Fprintf(b, "  %s: {turns: ccw}%sthe smallest inertia of all: taken for the bare rotor\n", r.group, settle)
		default:
			fmt.Fprintf(b, "  %s: {turns: ccw, parts: [%s]}%ssense of rotation, and every part mounted\n", r.group, r.group, settle)
		}
	}
	b.WriteString("recordings:\n")
	for _, r := range d.recs {
		d.recordingText(b, r, to)
		if r.hint != "" {
			open.add("recordings."+r.name, r.hint)
		}
	}
	if !slices.ContainsFunc(d.recs, func(r *drafted) bool { return r.kind == spin.Steady }) {
		b.WriteString("options: {drag: {form: square}}" + settle + "no steady recording: the load is taken as square in speed\n")
		open.add("options.drag.form", "no steady recording tells the load")
	}
	open.write(b)
	return b.String()
}

func (d *drafting) recordingText(b *strings.Builder, r *drafted, to string) {
	fmt.Fprintf(b, "  %s: {mounting: %s, file: %s, kind: %s", r.name, r.group, yamlText(relative(to, r.file)), r.kind)
	if r.supply > 0 {
		fmt.Fprintf(b, ", supply: %.3g V", r.supply)
	}
	if len(r.duties) > 0 {
		var levels []string
		for _, x := range r.duties {
			levels = append(levels, fmt.Sprintf("%.0f %%", 100*x))
		}
		fmt.Fprintf(b, ", command: %s", strings.Join(levels, " -> "))
	}
	if d.loggerCount() > 1 {
		fmt.Fprintf(b, ", logger: %s", r.logger)
	}
	b.WriteString("}")
	var open []string
	if r.supply == 0 {
		open = append(open, "supply voltage")
	}
	if r.hint != "" {
		open = append(open, r.hint)
	}
	if len(open) > 0 {
		b.WriteString(settle + strings.Join(open, "; "))
	}
	b.WriteString("\n")
}

func (d *drafting) loggerCount() int {
	if d.bench != nil {
		return len(d.bench.Loggers)
	}
	return len(d.loggers)
}

func partsText(groups []string) string {
	b := &strings.Builder{}
	b.WriteString("# Drafted. Give a reference disk its layers, mass and material, a propeller its diameter.\nformat: 1\n")
	for _, g := range groups {
		note := "what is it: layers with a mass, a fastener, a propeller with its diameter"
		switch {
		case strings.Contains(g, "disk") || strings.Contains(g, "disc"):
			note = "a reference disk wants reference, layers, mass, material"
		case strings.Contains(g, "prop") || regexp.MustCompile(`^p?[0-9]+x[0-9]+`).MatchString(g):
			note = "a propeller wants propeller: {diameter: …}; without it the inflow's share is not taken out"
		}
		fmt.Fprintf(b, "%s: {}%s%s\n", g, settle, note)
	}
	return b.String()
}

func (d *drafting) benchText(name string) string {
	b, open := &strings.Builder{}, guesses{}
	b.WriteString("# Drafted from the headings of the recordings.\nformat: 1\n")
	fmt.Fprintf(b, "bench: %s\ngravity: 9.81 m/s2%slocal value; dead weights need it\n", name, settle)
	fmt.Fprintf(b, "torque_scale: 1.000(%.0f) 1%sno calibration known: %.0f %% assumed. Hang weights and declare calibrations instead\n", 1000*draftScaleU, settle, 100*draftScaleU)
	open.add("torque_scale", "no calibration known")
	many := len(d.loggers) > 1
	if many {
		b.WriteString("loggers:\n")
	}
	for _, l := range d.loggers {
		pad := ""
		if many {
			pad = "  "
			fmt.Fprintf(b, "  %s:\n", l.Name)
		} else {
			b.WriteString("logger:\n")
		}
		fmt.Fprintf(b, "%s  dialect: {%s}\n", pad, dialectText(l.Dialect))
		fmt.Fprintf(b, "%s  converter: unknown%spoint, or mean over its time; unknown counts as point\n", pad, settle)
		fmt.Fprintf(b, "%s  channels:\n", pad)
		for _, c := range l.Channels {
			text, why := d.channelText(l.Name, c)
			fmt.Fprintf(b, "%s    %s\n", pad, text)
			if why != "" {
				above := "logger"
				if many {
					above = "loggers." + l.Name
				}
				name, _, _ := strings.Cut(text, ":")
				open.add(above+".channels."+name, why)
			}
		}
	}
	open.write(b)
	return b.String()
}

func dialectText(x spin.Dialect) string {
	words := map[string]string{",": "comma", ";": "semicolon", "\t": "tab", " ": "space", "|": "pipe", ".": "point"}
	out := []string{"delimiter: " + words[x.Delimiter], "decimal: " + words[x.Decimal], fmt.Sprintf("header_rows: %d", x.HeaderRows)}
	if x.UnitRows > 0 {
		out = append(out, fmt.Sprintf("unit_rows: %d", x.UnitRows))
	}
	if x.Comment != "" {
		out = append(out, "comment: "+yamlText(x.Comment))
	}
	if x.SkipLines > 0 {
		out = append(out, fmt.Sprintf("skip_lines: %d", x.SkipLines))
	}
	return strings.Join(out, ", ")
}

// channelText is one line of a bench file's channels, and what is open about it.
func (d *drafting) channelText(logger string, c spin.Channel) (text, open string) {
	name := c.Name
	if name == "torque" && c.ArmM != nil {
		name = "force"
	}
	column := strconv.Itoa(c.Index)
	if c.Column != "" {
		column = yamlText(c.Column)
	}
	text = fmt.Sprintf("%s: {column: %s, unit: %s", name, column, yamlText(c.Unit))
	switch {
	case name == "speed":
		text += fmt.Sprintf(", reading: %s, timing: %s", c.Reading, c.Timing)
	case name == "force":
		text += fmt.Sprintf(", arm: %.0f mm", 1000*draftArmM)
		open = "the lever arm; every inertia is proportional to it"
	case name == "throttle" && c.Offset > 0:
		text += fmt.Sprintf(", zero: %g %s, full: %g %s", c.Offset, c.Unit, c.Offset+1/c.Factor, c.Unit)
	}
	text += "}"
	for _, n := range d.out.Notes {
		if n.Logger == logger && (n.About == name || n.About == c.Name) && !n.Sure && open == "" {
			open = n.Text
		}
	}
	if open != "" {
		text += settle + oneLine(open)
	}
	return text, open
}

// day of the newest file, which is when the session probably was.
func (d *drafting) day() string {
	day := ""
	for _, r := range d.recs {
		if info, err := fs.Stat(d.fsys, r.file); err == nil {
			day = max(day, info.ModTime().UTC().Format("2006-01-02"))
		}
	}
	return day
}

// relative is the path from a folder to a file, both below the root.
func relative(from, to string) string {
	if from == "." || from == "" {
		return to
	}
	a, b := strings.Split(from, "/"), strings.Split(to, "/")
	for len(a) > 0 && len(b) > 1 && a[0] == b[0] {
		a, b = a[1:], b[1:]
	}
	return strings.Repeat("../", len(a)) + strings.Join(b, "/")
}

// yamlText writes a text so that YAML reads it back, quoted where it must be.
func yamlText(s string) string {
	if regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_./-]*$`).MatchString(s) && !slices.Contains([]string{"true", "false", "yes", "no", "null", "on", "off"}, strings.ToLower(s)) {
		return s
	}
	return strconv.Quote(s)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
