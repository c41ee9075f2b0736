package spin

import (
	"math"

	"spinledger/stages/kit/series"
	"spinledger/stages/kit/uncertain"
)

// Warning is something a person should know that stops nothing.
type Warning struct {
	Stage string `json:"stage"`
	// Code is one word for machines: "gap", "repeat", "spike", "cut", "unit" …
	Code    string `json:"code"`
	Subject string `json:"subject"`
	// Text says what was seen, with numbers, and what would cure it.
	Text string `json:"text"`
}

// Unsettled is a declaration that is a guess.
type Unsettled struct {
	// Subject is where it stands: the job's or bench's id and the key's path.
	Subject string `json:"subject"`
	File    string `json:"file"`
	Key     string `json:"key"`
	// Why says what is open.
	Why string `json:"why"`
}

// Refusal is a recording or run that gives no number, and why. It is data, not
// an error: everything that does not depend on the subject is still computed.
type Refusal struct {
	Stage   string `json:"stage"`
	Code    string `json:"code"`
	Subject string `json:"subject"`
	Text    string `json:"text"`
	// Rotor whose run was refused, or empty.
	Rotor string `json:"rotor,omitempty"`
	// Value and Limit say how far the subject is from being usable, where a
	// number decides; both 0 otherwise.
	Value float64 `json:"value,omitempty"`
	Limit float64 `json:"limit,omitempty"`
	// Waivable is false for wrong hashes, aliasing, unseparable parts.
	Waivable bool `json:"waivable,omitempty"`
}

// Segment kinds.
const (
	Rest      = "rest"
	Idle      = "idle"
	StepUp    = "step"
	Settled   = "settled"
	Return    = "return"
	Level     = "level"
	Loading   = "loading"
	Unloading = "unloading"
	Running   = "running"
	RunDown   = "coast"
)

// Segment is a stretch of samples From ≤ i < To with one thing going on.
type Segment struct {
	Kind  string  `json:"kind"`
	From  int     `json:"from"`
	To    int     `json:"to"`
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

// Plateau is the summary of a segment of constant speed.
type Plateau struct {
	// Recording is the id of the recording, Segment the index of its segment.
	Recording string `json:"recording"`
	Segment   int    `json:"segment"`
	Kind      string `json:"kind"`
	// N samples, their middle and length in s.
	N     int     `json:"n"`
	MidS  float64 `json:"mid_s"`
	SpanS float64 `json:"span_s"`
	// Means with their standard errors, autocorrelation counted (batch means).
	SpeedRadPerS float64 `json:"speed_radps"`
	SpeedSE      float64 `json:"speed_se"`
	// SpeedRoundingU is what rounding to the channel's steps leaves in SpeedRadPerS besides, a standard
	// uncertainty; 0 where ripple and noise cover the steps.
	SpeedRoundingU float64 `json:"speed_rounding_u,omitempty"`
	SlopeRadPerS2  float64 `json:"slope_radps2"`
	TorqueNm       float64 `json:"torque_nm"`
	TorqueSE       float64 `json:"torque_se"`
	// TorqueRoundingU is what rounding to the channel's steps leaves in TorqueNm besides, a standard
	// uncertainty; 0 where noise covers the steps.
	TorqueRoundingU float64 `json:"torque_rounding_u,omitempty"`
	// TorqueSD is the standard deviation of single samples.
	TorqueSD     float64 `json:"torque_sd"`
	ThrustN      float64 `json:"thrust_n,omitempty"`
	Duty         float64 `json:"duty,omitempty"`
	VoltageV     float64 `json:"voltage_v,omitempty"`
	CurrentA     float64 `json:"current_a,omitempty"`
	TemperatureK float64 `json:"temperature_k,omitempty"`
	// Moved is nil where the plateau is short, or has no torque.
	Moved *Moved `json:"moved,omitempty"`
}

// Moved is what a plateau does between its second quarter and its last.
type Moved struct {
	// EarlyS and LateS are the quarters' middles, QuarterS their length.
	EarlyS   float64 `json:"early_s"`
	LateS    float64 `json:"late_s"`
	QuarterS float64 `json:"quarter_s"`
	// TorqueNm and SpeedRadPerS are late less early, TorqueSE the standard error, autocorrelation counted.
	TorqueNm     float64 `json:"torque_nm"`
	TorqueSE     float64 `json:"torque_se"`
	SpeedRadPerS float64 `json:"speed_radps"`
}

// TorqueU is the standard uncertainty of TorqueNm by noise and rounding.
func (p Plateau) TorqueU() float64 {
	if p.TorqueRoundingU == 0 {
		return p.TorqueSE
	}
	return math.Sqrt(float64(p.TorqueSE*p.TorqueSE) + float64(p.TorqueRoundingU*p.TorqueRoundingU))
}

// Bend is a calibration line's parabola about the straight line that is used: a torque T, of either sign, is read
// PerNm·T·(|T| − RangeNm) too large.
type Bend struct {
	Source  string  `json:"source"`
	PerNm   float64 `json:"per_nm"`
	RangeNm float64 `json:"range_nm"`
}

// Off is what is read too much at a torque, N·m.
func (b *Bend) Off(torque float64) float64 {
	return b.PerNm * torque * (math.Abs(torque) - b.RangeNm)
}

// Run is one transient with its plateaus: for a step idle A, settled B and,
// where the recording has it, return C; for a coast the settled plateau
// before and the rest after. Fields are indices into Recording.Segments;
// −1 where there is none.
type Run struct {
	// ID is "disk-a#3", numbered from 1 within its recording.
	ID   string `json:"id"`
	Kind Kind   `json:"kind"`
	A    int    `json:"a"`
	B    int    `json:"b"`
	C    int    `json:"c"`
	// FromRest is true where A is a standstill: the speed channel is blind
	// in its first periods.
	FromRest bool `json:"from_rest,omitempty"`
	// RiseS is the time from 10 % to 90 % of the change of speed.
	RiseS float64 `json:"rise_s"`
	// SamplesInRise is RiseS over the sampling interval, or the torque converter's own where that is longer.
	SamplesInRise float64 `json:"samples_in_rise"`
	// Condition: duty and supply of the settled plateau, measured where
	// channels exist, else as declared.
	Duty    float64 `json:"duty"`
	SupplyV float64 `json:"supply_v"`
	// Excluded holds the reason given in the job file, or is empty.
	Excluded string `json:"excluded,omitempty"`
}

// Recording is what ingest found in one recording: a few hundred numbers, and
// the samples themselves for the three stages that read them.
type Recording struct {
	Declared Declared `json:"declared"`
	// Digest names the samples: SHA-256 over the bytes of all files, in order.
	Digest string `json:"digest"`
	Rows   int    `json:"rows"`
	// StepS is the median sampling interval; Jitter the robust relative
	// standard deviation of intervals; MissingRel the share of rows missing.
	StepS      float64 `json:"step_s"`
	Jitter     float64 `json:"jitter"`
	MissingRel float64 `json:"missing_rel"`
	// Channels present, by Samples' names, sorted.
	Channels []string `json:"channels"`
	// Converter of the torque channel: "point", "mean", "unknown" (counts as point).
	Converter string  `json:"converter"`
	MeanS     float64 `json:"mean_s,omitempty"`
	// SpeedTiming is "instant", "period" or "unknown"; EdgesPerTurn the number
	// of edges that the speed channel sees in a turn, 0 when unknown.
	SpeedTiming  string  `json:"speed_timing"`
	EdgesPerTurn float64 `json:"edges_per_turn,omitempty"`
	// HeldS is the interval at which a slower telemetry channel renews the
	// speed, 0 when every sample is fresh.
	HeldS float64 `json:"held_s,omitempty"`
	// TorqueScale is 1 ± u: what the calibration leaves unknown of the scale.
	TorqueScale uncertain.Value `json:"torque_scale"`
	// ClockRate of the torque's logger, true seconds per stamped second, as applied.
	ClockRate uncertain.Value `json:"clock_rate"`
	// CrosstalkM is the torque shown per thrust that was taken out, N·m/N; nil where none was.
	CrosstalkM *uncertain.Value `json:"crosstalk_m,omitempty"`
	// Bend of the calibration line, nil where the weights show none.
	Bend *Bend `json:"bend,omitempty"`
	// TorqueRenewedS is the period in which a converter slower than the logger renews the torque, by its own clock, 0 where every
	// sample is fresh; TorqueRenewedAtS is where one of its values begins.
	TorqueRenewedS   float64 `json:"torque_renewed_s,omitempty"`
	TorqueRenewedAtS float64 `json:"torque_renewed_at_s,omitempty"`
	// TorqueStepNm is the step in which the torque is written, where noise does not cover it; else 0.
	TorqueStepNm float64 `json:"torque_step_nm,omitempty"`
	// SpeedStepRadPerS is that of the speed.
	SpeedStepRadPerS float64   `json:"speed_step_radps,omitempty"`
	Segments         []Segment `json:"segments"`
	Plateaus         []Plateau `json:"plateaus"`
	Runs             []Run     `json:"runs"`
	Warnings         []Warning `json:"warnings,omitempty"`
	Refusals         []Refusal `json:"refusals,omitempty"`

	// Samples is not part of any key or log: Digest stands for it.
	Samples *series.Samples `json:"-"`
}

// Plateau returns the summary of segment i, and whether there is one.
func (r *Recording) Plateau(segment int) (Plateau, bool) {
	for _, p := range r.Plateaus {
		if p.Segment == segment {
			return p, true
		}
	}
	return Plateau{}, false
}

// SpikeRel of the range of torque is the least height of a torque spike.
const SpikeRel = 0.05

// TorqueValues are times and torques of a segment, one a sample, or one a period of a converter that is slower than the logger.
func (r *Recording) TorqueValues(s Segment) (time, torque []float64) {
	time, torque = r.Samples.TimeS[s.From:s.To], r.Samples.TorqueNm[s.From:s.To]
	p := r.TorqueRenewedS
	if p <= 0 {
		return time, torque
	}
	var at, value []float64
	next := math.Inf(-1)
	for i, t := range time {
		// The middle of a period, or the first row behind it.
		if t >= next {
			at, value = append(at, t), append(value, torque[i])
			next = r.TorqueRenewedAtS + (math.Floor((t-r.TorqueRenewedAtS)/p-0.5)+1.5)*p
		}
	}
	return at, value
}
