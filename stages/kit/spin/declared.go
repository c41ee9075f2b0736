package spin

import (
	"slices"
	"strings"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/uncertain"
)

// Kind says what happens in a recording.
type Kind string

// The kinds of recording.
const (
	// Step: hard throttle steps between plateaus.
	Step Kind = "step"
	// Steady: a staircase of settled speeds.
	Steady Kind = "steady"
	// Sweep: the speed drawn slowly through its range by a brake at one throttle.
	Sweep Kind = "sweep"
	// Coast: the current cut, the rotor runs down.
	Coast Kind = "coast"
)

// Kinds lists them in the order in which pages and errors name them.
func Kinds() []Kind { return []Kind{Step, Steady, Sweep, Coast} }

// Sense is the sense of rotation, seen from the propeller side.
type Sense string

// The two senses.
const (
	CCW Sense = "ccw"
	CW  Sense = "cw"
)

// Channel tells where one physical channel stands in a logger's files and how
// its numbers become SI: value = (cell − Offset)·Factor, then what Reading says.
type Channel struct {
	// Name is one of: time speed torque thrust throttle voltage current temperature.
	Name string `json:"name"`
	// Column is the column's header; Index its number from 1. Exactly one is set.
	Column string `json:"column,omitempty"`
	Index  int    `json:"index,omitempty"`
	// Unit as written in the bench file; Factor and Offset turn it into SI.
	Unit   string  `json:"unit"`
	Factor float64 `json:"factor"`
	Offset float64 `json:"offset,omitempty"`
	// Reading of the speed channel: "mechanical", "electrical" (divide by pole
	// pairs) or "pulses" (divide by PerTurn). Empty elsewhere.
	Reading string  `json:"reading,omitempty"`
	PerTurn float64 `json:"per_turn,omitempty"`
	// Timing of the speed channel: "instant", "period" (the last complete
	// electrical period or pulse interval, held until the next), "unknown".
	Timing string `json:"timing,omitempty"`
	// ArmM turns a force channel into torque: the lever arm in m; nil when the
	// channel is a torque or counts already.
	ArmM *uncertain.Value `json:"arm_m,omitempty"`
	// Counts is true for a torque channel in converter counts: only a
	// calibration gives it a scale.
	Counts bool `json:"counts,omitempty"`
	// Sign is −1 where the channel reads negative when the rotor speeds up in
	// the ccw sense, else +1.
	Sign float64 `json:"sign"`
}

// Dialect is how a logger writes text.
type Dialect struct {
	// Delimiter is one byte: "," ";" "\t" " " or "|".
	Delimiter string `json:"delimiter"`
	// Decimal is "." or ",".
	Decimal string `json:"decimal"`
	// Comment starts a line to pass over; empty: there is none.
	Comment string `json:"comment,omitempty"`
	// SkipLines are passed over before anything is read.
	SkipLines int `json:"skip_lines,omitempty"`
	// HeaderRows is 0 or 1; UnitRows follow the header and are compared with the channels' units.
	HeaderRows int `json:"header_rows"`
	UnitRows   int `json:"unit_rows,omitempty"`
}

// Logger is one instrument that writes files on a clock of its own.
type Logger struct {
	Name     string    `json:"name"`
	Dialect  Dialect   `json:"dialect"`
	Channels []Channel `json:"channels"`
	// Converter of the torque channel: "point", "mean" (over MeanS seconds) or "unknown".
	Converter string  `json:"converter"`
	MeanS     float64 `json:"mean_s,omitempty"`
	// ClockRate is true seconds per stamped second, 1 when not declared.
	ClockRate uncertain.Value `json:"clock_rate"`
}

// Reading is one dead weight hung and what the torque channel showed.
type Reading struct {
	MassKg uncertain.Value `json:"mass_kg"`
	// Cell is the reading in the torque channel's own unit.
	Cell float64 `json:"cell"`
	Line int     `json:"line"`
}

// Calibration is what was hung on the arm on one day. It is never edited, only
// followed by another.
type Calibration struct {
	// ID is bench/date, "loft/2026-03-02".
	ID   string          `json:"id"`
	By   string          `json:"by,omitempty"`
	ArmM uncertain.Value `json:"arm_m"`
	// Logger whose torque channel was read.
	Logger string `json:"logger"`
	// CCW and CW are the readings by the sense of rotation whose reaction the
	// weight imitates; one may be empty.
	CCW []Reading `json:"ccw,omitempty"`
	CW  []Reading `json:"cw,omitempty"`
	// CrosstalkM is torque shown per thrust applied, in N·m/N; nil when not measured.
	CrosstalkM *uncertain.Value `json:"crosstalk_m,omitempty"`
}

// Repeatability is what the bench is known to repeat to for rotors up to an inertia.
type Repeatability struct {
	// UpToKgM2 bounds the class from above; 0 means no bound.
	UpToKgM2 float64 `json:"up_to_kgm2,omitempty"`
	// RunRel is the relative standard deviation of one run's inertia; DoF behind it, 0: infinite.
	RunRel float64 `json:"run_rel"`
	// MountRel is that of one mounting to the next.
	MountRel float64 `json:"mount_rel"`
	DoF      float64 `json:"dof,omitempty"`
	// Source names RunRel where it is declared: bench/loft/repeatability.0.run.
	Source string `json:"source,omitempty"`
}

// Freedom is the degrees of freedom behind RunRel; a million where it is declared as exact.
func (d Repeatability) Freedom() float64 {
	if d.DoF == 0 {
		return 1e6
	}
	return d.DoF
}

// Chance is the probability that runs of a bench that repeats as declared scatter as much as
// scatterRel, known with dof degrees of freedom (F test).
func (d Repeatability) Chance(scatterRel, dof float64) float64 {
	ratio := scatterRel / d.RunRel
	return numeric.FTail(ratio*ratio, dof, d.Freedom())
}

// ClassOf is the narrowest class that holds a rotor of inertia j in kg·m², and
// whether there is one.
func ClassOf(all []Repeatability, j float64) (Repeatability, bool) {
	best, ok := Repeatability{}, false
	for _, d := range all {
		if d.UpToKgM2 > 0 && j > d.UpToKgM2 {
			continue
		}
		if !ok || (d.UpToKgM2 > 0 && (best.UpToKgM2 == 0 || d.UpToKgM2 < best.UpToKgM2)) {
			best, ok = d, true
		}
	}
	return best, ok
}

// Bench is the rig: gravity, loggers, calibrations, declared repeatability.
type Bench struct {
	Name          string          `json:"name"`
	GravityMps2   uncertain.Value `json:"gravity_mps2"`
	Loggers       []Logger        `json:"loggers"`
	Calibrations  []Calibration   `json:"calibrations,omitempty"`
	Repeatability []Repeatability `json:"repeatability,omitempty"`
	// TorqueScale is the declared scale of an uncalibrated torque channel
	// (1 ± u); nil when not declared.
	TorqueScale *uncertain.Value `json:"torque_scale,omitempty"`
}

// Air is the state of the air in a session; nil fields were not recorded.
type Air struct {
	TemperatureK *uncertain.Value `json:"temperature_k,omitempty"`
	PressurePa   *uncertain.Value `json:"pressure_pa,omitempty"`
	Humidity     *uncertain.Value `json:"humidity,omitempty"`
}

// Session is a bench, one of its calibrations, a day, a person, the air, the
// controller and its settings.
type Session struct {
	Name        string `json:"name"`
	Bench       string `json:"bench"`
	Calibration string `json:"calibration,omitempty"`
	// WeighedAfter is the calibration whose weights hung there after the session's recordings.
	WeighedAfter string `json:"weighed_after,omitempty"`
	Date         string `json:"date"`
	By           string `json:"by,omitempty"`
	Controller   string `json:"controller,omitempty"`
	Air          Air    `json:"air"`
}

// Rotor is the motor's own rotor with the parts mounted on it, sorted by id.
type Rotor struct {
	// ID is "bare" or "bare+" and the part ids joined by "+".
	ID    string   `json:"id"`
	Parts []string `json:"parts,omitempty"`
}

// Bare is the id of the motor's own rotor, and of its body in the adjustment.
const Bare = "bare"

// NewRotor is the rotor with the given parts, which must be sorted.
func NewRotor(parts []string) Rotor {
	id := Bare
	for _, p := range parts {
		id += "+" + DotID(p)
	}
	return Rotor{ID: id, Parts: parts}
}

// DotID is a part id as it stands in number ids: the specimen's slash becomes a dot.
func DotID(part string) string { return strings.ReplaceAll(part, "/", ".") }

// Part is one specimen of a body that turns, in one state.
type Part struct {
	ID string `json:"id"`
	// Model and Batch group specimens; empty when not stated.
	Model string `json:"model,omitempty"`
	Batch string `json:"batch,omitempty"`
	// Shape is "disk", "fastener", "propeller" or "body" (nothing but its run).
	Shape string `json:"shape"`
	// Role of a reference: "scale", "check", "both", or empty.
	Role string `json:"role,omitempty"`
	// InertiaKgM2 follows from the declared geometry and mass about the
	// spin axis; nil when these do not determine it.
	InertiaKgM2 *uncertain.Value `json:"inertia_kgm2,omitempty"`
	// MassKg as weighed, and DrawnMassKg as density × volume; nil when unknown.
	MassKg      *uncertain.Value `json:"mass_kg,omitempty"`
	DrawnMassKg *uncertain.Value `json:"drawn_mass_kg,omitempty"`
	// RadiusM is the largest radius, 0 when unknown. Shrouded and HubM
	// belong to propellers.
	RadiusM  float64 `json:"radius_m,omitempty"`
	Shrouded bool    `json:"shrouded,omitempty"`
	// Layers of a disk as declared, for its drawing.
	Layers []Layer `json:"layers,omitempty"`
	Blades int     `json:"blades,omitempty"`
	// BurstRadPerS is the speed at which the bore stress of a disk reaches the
	// declared yield strength, 0 when it cannot be told.
	BurstRadPerS float64 `json:"burst_radps,omitempty"`
	// TopRadPerS is the declared top speed, 0 when none is.
	TopRadPerS float64 `json:"top_radps,omitempty"`
}

// HasPropeller tells whether one of the parts named is a propeller.
func HasPropeller(ids []string, parts []Part) bool {
	return slices.ContainsFunc(parts, func(p Part) bool { return p.Shape == "propeller" && slices.Contains(ids, p.ID) })
}

// Layer of a disk in m: a ring with rings of through holes.
type Layer struct {
	OuterM     float64 `json:"outer_m"`
	BoreM      float64 `json:"bore_m,omitempty"`
	ThicknessM float64 `json:"thickness_m"`
	Holes      []Holes `json:"holes,omitempty"`
}

// Holes are equal holes evenly spaced on a pitch circle of diameter PitchM.
type Holes struct {
	Count     int     `json:"count"`
	DiameterM float64 `json:"diameter_m"`
	PitchM    float64 `json:"pitch_m"`
}

// Declared is what job, bench and parts files say of one recording, as far as
// stages need it.
type Declared struct {
	Job string `json:"job"`
	// Name of the recording within its job.
	Name     string `json:"name"`
	Kind     Kind   `json:"kind"`
	Rotor    Rotor  `json:"rotor"`
	Mounting string `json:"mounting"`
	Session  string `json:"session"`
	Turns    Sense  `json:"turns"`
	// SupplyV is the declared supply voltage, 0 when only a channel tells.
	SupplyV float64 `json:"supply_v,omitempty"`
	// Command lists the declared duties in order ("30 % -> 70 % -> 30 %"); empty when not declared.
	Command   []float64 `json:"command,omitempty"`
	PolePairs int       `json:"pole_pairs"`
	// TorqueUsable is false where the job says that this recording's torque
	// channel must not be used.
	TorqueUsable bool `json:"torque_usable"`
	// Source the job demands for runs of this recording: "recorded", "cold", "sweep",
	// "current", or empty for the pipeline's own choice.
	Source string `json:"source,omitempty"`
	// Exclude lists runs set aside ("disk-a#3") with the reasons given.
	Exclude []Exclusion `json:"exclude,omitempty"`
}

// Exclusion sets one run aside, for a stated reason.
type Exclusion struct {
	Run    string `json:"run"`
	Reason string `json:"reason"`
}

// ID is job/name.
func (d Declared) ID() string { return d.Job + "/" + d.Name }
