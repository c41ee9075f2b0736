package pipeline

import (
	"slices"
	"strconv"
	"strings"

	"spinledger/pipeline/tables"
	"spinledger/stages/kit/spin"
)

// builder collects one table column by column from rows of any kind.
type builder[R any] struct {
	rows []R
	out  tables.Table
}

func newTable[R any](name, doc string, rows []R) *builder[R] {
	return &builder[R]{rows: rows, out: tables.Table{Name: name, Doc: doc}}
}

func (b *builder[R]) float(name, unit, doc string, f func(R) float64) *builder[R] {
	c := tables.Column{Name: name, Unit: unit, Doc: doc, Type: tables.Float64, Floats: make([]float64, len(b.rows))}
	for i, r := range b.rows {
		c.Floats[i] = f(r)
	}
	b.out.Columns = append(b.out.Columns, c)
	return b
}

func (b *builder[R]) int(name, doc string, f func(R) int) *builder[R] {
	c := tables.Column{Name: name, Unit: "1", Doc: doc, Type: tables.Int64, Ints: make([]int64, len(b.rows))}
	for i, r := range b.rows {
		c.Ints[i] = int64(f(r))
	}
	b.out.Columns = append(b.out.Columns, c)
	return b
}

func (b *builder[R]) text(name, doc string, f func(R) string) *builder[R] {
	c := tables.Column{Name: name, Doc: doc, Type: tables.String, Strings: make([]string, len(b.rows))}
	for i, r := range b.rows {
		c.Strings[i] = f(r)
	}
	b.out.Columns = append(b.out.Columns, c)
	return b
}

func (b *builder[R]) flag(name, doc string, f func(R) bool) *builder[R] {
	c := tables.Column{Name: name, Doc: doc, Type: tables.Bool, Bools: make([]bool, len(b.rows))}
	for i, r := range b.rows {
		c.Bools[i] = f(r)
	}
	b.out.Columns = append(b.out.Columns, c)
	return b
}

// Tables are the tables of one job, in the order in which they are written.
func (f *Findings) Tables() []tables.Table {
	all := []tables.Table{f.runs(), f.drag(), f.torqueTable(), f.fits(), f.rotors(), Inertias(f.Numbers), Budget(f.Numbers), f.checks(), f.traces()}
	return append(all, f.responseTables()...)
}

type runRow struct {
	rec spin.Recording
	run spin.Run
}

func (f *Findings) runs() tables.Table {
	var rows []runRow
	for _, rec := range f.Recordings {
		for _, run := range rec.Runs {
			rows = append(rows, runRow{rec, run})
		}
	}
	return newTable("runs", "every transient found, with its condition", rows).
		text("run", "id: recording#n", func(r runRow) string { return r.run.ID }).
		text("recording", "job/recording", func(r runRow) string { return r.rec.Declared.ID() }).
		text("kind", "step or coast", func(r runRow) string { return string(r.run.Kind) }).
		text("rotor", "motor's own rotor and parts", func(r runRow) string { return r.rec.Declared.Rotor.ID }).
		text("mounting", "act of putting the rotor together", func(r runRow) string { return r.rec.Declared.Mounting }).
		text("session", "bench, calibration, day", func(r runRow) string { return r.rec.Declared.Session }).
		float("duty", "1", "of the settled plateau", func(r runRow) float64 { return r.run.Duty }).
		float("supply_v", "V", "supply voltage, declared or measured", func(r runRow) float64 { return r.run.SupplyV }).
		float("rise_s", "s", "10 % to 90 % of the change of speed; for a coast the fall to 15 %", func(r runRow) float64 { return r.run.RiseS }).
		float("samples_in_rise", "1", "rise over sampling interval", func(r runRow) float64 { return r.run.SamplesInRise }).
		flag("usable", "has the plateaus that a balance needs", func(r runRow) bool { return r.run.B >= 0 }).
		text("excluded", "reason given in the job file, or empty", func(r runRow) string { return r.run.Excluded }).out
}

type pointRow struct {
	curve spin.LoadCurve
	p     spin.LoadPoint
}

func (f *Findings) drag() tables.Table {
	var rows []pointRow
	for _, c := range f.Curves {
		for _, p := range c.Points {
			rows = append(rows, pointRow{c, p})
		}
	}
	return newTable("drag", "settled points behind each rotor's load curve", rows).
		text("rotor", "", func(r pointRow) string { return r.curve.Rotor }).
		text("form", "form of the curve", func(r pointRow) string { return r.curve.Form }).
		text("recording", "", func(r pointRow) string { return r.p.Recording }).
		float("speed_radps", "rad/s", "mean speed of the level", func(r pointRow) float64 { return r.p.SpeedRadPerS }).
		float("load_nm", "N·m", "torque less zero and drift", func(r pointRow) float64 { return r.p.TorqueNm }).
		float("u_nm", "N·m", "standard uncertainty used as weight", func(r pointRow) float64 { return r.p.SE }).
		float("residual_nm", "N·m", "load less curve", func(r pointRow) float64 { return r.p.ResidualNm }).
		float("curve_nm", "N·m", "the curve at this speed", func(r pointRow) float64 { return r.curve.At(r.p.SpeedRadPerS) }).out
}

type sourceRow struct {
	c spin.RunChoice
	s spin.TorqueSource
	i int
}

func (f *Findings) torqueTable() tables.Table {
	var rows []sourceRow
	for _, c := range f.Choice.Runs {
		for i, s := range c.Sources {
			rows = append(rows, sourceRow{c, s, i})
		}
	}
	return newTable("torque", "every torque source offered to every run", rows).
		text("run", "", func(r sourceRow) string { return r.c.Run }).
		text("recording", "", func(r sourceRow) string { return r.c.Recording }).
		text("source", "recorded, cold, sweep or current", func(r sourceRow) string { return r.s.Kind }).
		flag("usable", "", func(r sourceRow) bool { return r.s.Usable }).
		flag("chosen", "", func(r sourceRow) bool { return r.i == r.c.Chosen }).
		text("from", "recordings it is made of", func(r sourceRow) string { return strings.Join(r.s.From, " ") }).
		float("rel_u", "1", "relative misfit of the curve", func(r sourceRow) float64 { return r.s.RelU }).
		text("for", "what speaks for it", func(r sourceRow) string { return strings.Join(r.s.For, "; ") }).
		text("against", "what speaks against it", func(r sourceRow) string { return strings.Join(r.s.But, "; ") }).out
}

func (f *Findings) fits() tables.Table {
	type row = spin.RunFit
	return newTable("fits", "inertia of each run with each torque source", f.Fits).
		text("run", "", func(r row) string { return r.Run }).
		text("recording", "", func(r row) string { return r.Recording }).
		text("kind", "", func(r row) string { return string(r.Kind) }).
		text("rotor", "", func(r row) string { return r.Rotor }).
		text("mounting", "", func(r row) string { return r.Mounting }).
		text("session", "", func(r row) string { return r.Session }).
		text("source", "", func(r row) string { return r.Source }).
		flag("chosen", "the source that counts for this run", func(r row) bool { return r.Chosen }).
		text("excluded", "reason, or empty", func(r row) string { return r.Excluded }).
		float("duty", "1", "", func(r row) float64 { return r.Duty }).
		float("supply_v", "V", "", func(r row) float64 { return r.SupplyV }).
		float("inertia_kgm2", "kg·m²", "in air, on the torque scale of the weights", func(r row) float64 { return r.JKgM2.Mean }).
		float("u_shared_kgm2", "kg·m²", "standard uncertainty from causes that runs share", func(r row) float64 { return r.JKgM2.Std() }).
		float("u_random_kgm2", "kg·m²", "standard uncertainty from this run's own noise", func(r row) float64 { return r.RandomU }).
		int("plateaus", "2 or 3", func(r row) int { return r.Plateaus }).
		float("idle_radps", "rad/s", "", func(r row) float64 { return r.IdleRadPerS }).
		float("settled_radps", "rad/s", "", func(r row) float64 { return r.SettledRadPerS }).
		float("return_radps", "rad/s", "0 without a return", func(r row) float64 { return r.ReturnRadPerS }).
		float("zero_nm", "N·m", "torque zero", func(r row) float64 { return r.ZeroNm }).
		float("drift_nmps", "N·m/s", "drift of the zero", func(r row) float64 { return r.DriftNmPerS }).
		float("load_factor", "1", "on the load curve", func(r row) float64 { return r.LoadFactor }).
		float("lag_s", "s", "torque later than speed", func(r row) float64 { return r.LagS }).
		float("aliasing", "1", "half the difference of even and odd samples", func(r row) float64 { return r.Aliasing }).
		float("inertia_up_kgm2", "kg·m²", "passage up alone; 0 where not available, as in the columns that follow", func(r row) float64 { return r.JUp }).
		float("inertia_down_kgm2", "kg·m²", "passage down alone", func(r row) float64 { return r.JDown }).
		float("inertia_energy_kgm2", "kg·m²", "energy form", func(r row) float64 { return r.JEnergy }).
		float("inertia_whole_kgm2", "kg·m²", "whole-transient regression", func(r row) float64 { return r.JWhole }).
		float("inertia_kept_kgm2", "kg·m²", "two plateaus, load kept", func(r row) float64 { return r.JKept }).
		float("inertia_retied_kgm2", "kg·m²", "two plateaus, load tied again", func(r row) float64 { return r.JRetied }).
		float("electrical_ratio", "1", "mechanical over electrical power", func(r row) float64 { return r.ElectricalRatio }).out
}

func (f *Findings) rotors() tables.Table {
	type row = spin.RotorInertia
	return newTable("rotors", "inertia of each rotor over its runs", f.Rotors).
		text("rotor", "", func(r row) string { return r.Rotor }).
		text("source", "", func(r row) string { return r.Source }).
		float("inertia_kgm2", "kg·m²", "in air", func(r row) float64 { return r.JKgM2.Mean }).
		float("u_kgm2", "kg·m²", "standard uncertainty", func(r row) float64 { return r.JKgM2.Std() }).
		int("runs", "", func(r row) int { return r.Runs }).
		int("mountings", "", func(r row) int { return r.Mountings }).
		int("conditions", "", func(r row) int { return r.Conditions }).
		float("scatter_rel", "1", "standard deviation of single runs", func(r row) float64 { return r.ScatterRel }).
		float("condition_p", "1", "F test between conditions", func(r row) float64 { return r.ConditionP }).
		float("birge", "1", "scatter over the runs' own uncertainties", func(r row) float64 { return r.Birge }).
		text("flagged", "runs far from the median", func(r row) string { return strings.Join(r.Flagged, " ") }).out
}

// Inertias is the table of numbers, of one job or of a catalogue.
func Inertias(numbers []spin.Number) tables.Table {
	type row = spin.Number
	return newTable("inertias", "numbers that may be released", numbers).
		text("number", "id: job/subject/quantity", func(r row) string { return r.ID }).
		text("subject", "", func(r row) string { return r.Subject }).
		text("quantity", "", func(r row) string { return r.Quantity }).
		float("inertia_kgm2", "kg·m²", "", func(r row) float64 { return r.Value.Mean }).
		float("u_kgm2", "kg·m²", "standard uncertainty", func(r row) float64 { return r.Value.Std() }).
		float("expanded_kgm2", "kg·m²", "expanded uncertainty, 95 %", func(r row) float64 { return r.Value.Expanded().U }).
		float("k", "1", "coverage factor", func(r row) float64 { return r.Value.Expanded().K }).
		float("dof", "1", "effective degrees of freedom, at most a million", func(r row) float64 { return min(r.Value.Expanded().DoF, 1e6) }).
		text("scale", "weights, disk or both", func(r row) string { return r.Scale }).
		int("runs", "", func(r row) int { return r.Runs }).
		int("mountings", "", func(r row) int { return r.Mountings }).
		int("conditions", "", func(r row) int { return r.Conditions }).
		flag("fit_for_release", "", func(r row) bool { return r.Release }).
		text("blocked_by", "checks that stand against release", func(r row) string { return strings.Join(r.Blocked, "; ") }).
		text("waived", "checks that a waiver covers", func(r row) string { return strings.Join(r.Waived, "; ") }).
		text("note", "", func(r row) string { return r.Note }).out
}

type budgetRow struct {
	id, source string
	c, dof     float64
}

// Budget is every number's contributions; their root sum of squares is u.
func Budget(numbers []spin.Number) tables.Table {
	var rows []budgetRow
	for _, n := range numbers {
		for _, p := range n.Value.Parts {
			rows = append(rows, budgetRow{n.ID, p.Source, p.Contribution, p.DoF})
		}
	}
	return newTable("budget", "signed contributions to each number; numbers that share a source are correlated through it", rows).
		text("number", "", func(r budgetRow) string { return r.id }).
		text("source", "the physical cause", func(r budgetRow) string { return r.source }).
		float("contribution_kgm2", "kg·m²", "one standard deviation, signed", func(r budgetRow) float64 { return r.c }).
		float("dof", "1", "degrees of freedom, 0 for infinitely many", func(r budgetRow) float64 { return r.dof }).out
}

func (f *Findings) checks() tables.Table {
	type row = spin.Check
	return newTable("checks", "every comparison with its verdict", f.Checks).
		text("check", "", func(r row) string { return r.Name }).
		text("subject", "", func(r row) string { return r.Subject }).
		float("value", "as unit says", "", func(r row) float64 { return r.Value }).
		float("expanded_u", "as unit says", "95 %", func(r row) float64 { return r.U }).
		float("limit", "as unit says", "", func(r row) float64 { return r.Limit }).
		text("unit", "", func(r row) string { return r.Unit }).
		text("verdict", "pass, fail, cannot tell", func(r row) string { return r.Verdict }).
		flag("gates", "", func(r row) bool { return r.Gates }).
		text("waived", "reason, or empty", func(r row) string { return r.WaivedBecause }).
		text("sees", "faults it can see", func(r row) string { return strings.Join(r.Sees, "; ") }).
		text("numbers", "ids it stands behind", func(r row) string { return strings.Join(r.Numbers, " ") }).
		text("suspects", "what enters, nearest first: source, sigmas, place", func(r row) string {
			var out []string
			for _, s := range r.Suspects {
				out = append(out, suspectText(s))
			}
			return strings.Join(out, "; ")
		}).
		text("text", "", func(r row) string { return r.Text }).out
}

func suspectText(s spin.Suspect) string {
	return strings.Join(slices.DeleteFunc([]string{s.Source, formatSigmas(s.Sigmas), s.Place}, func(x string) bool { return x == "" }), " ")
}

func formatSigmas(s float64) string { return strconv.FormatFloat(s, 'g', 3, 64) + "u" }
