package spin

import (
	"math"

	"spinledger/stages/kit/uncertain"
)

// Lag is how much later the torque channel shows what the speed channel shows:
// T(t + τ) belongs to ω(t).
type Lag struct {
	// Session the lag was pooled over.
	Session string `json:"session"`
	// TauS is the lag in s with its uncertainty (source job/session:name/lag).
	TauS uncertain.Value `json:"tau_s"`
	// Runs that took part, and their spread (robust standard deviation, s).
	Runs    int     `json:"runs"`
	SpreadS float64 `json:"spread_s"`
}

// RunEvidence is what one recording's run says of lag and torque curve.
type RunEvidence struct {
	Run string `json:"run"`
	// Condition of the settled plateau.
	Duty    float64 `json:"duty"`
	SupplyV float64 `json:"supply_v"`
	// LagS is the run's own lag and its curvature-based uncertainty; LagFound
	// is false where the search ended at the edge of its range.
	LagS     float64 `json:"lag_s"`
	LagU     float64 `json:"lag_u"`
	LagFound bool    `json:"lag_found"`
	// LoadRel is the load's rise over the step by the mean torque of the rise.
	LoadRel float64 `json:"load_rel"`
	// Passing is when the rise passes equal steps of speed.
	Passing []Passing `json:"passing,omitempty"`
	// Bins are the run's torque over speed at constant duty, zero removed.
	Bins []Bin `json:"bins,omitempty"`
	// Rise is the speed between idle and settled, Idle the idle plateau before, and Passages the
	// times at which shares of the change of speed were made: for predicting spin-up.
	Rise     []Stretch `json:"rise,omitempty"`
	Passages []Passage `json:"passages,omitempty"`
	Idle     Plateau   `json:"idle"`
	// Times in the recording at which the idle plateau ends, from which the stretches and from which
	// the passages count, at which the settled plateau begins and ends, and at which the next idle one begins; BackS
	// is 0 where there is none.
	BeginS   float64 `json:"begin_s"`
	RiseS    float64 `json:"rise_s,omitempty"`
	PassageS float64 `json:"passage_s,omitempty"`
	SettledS float64 `json:"settled_s"`
	EndS     float64 `json:"end_s"`
	BackS    float64 `json:"back_s,omitempty"`
	// OhmRise is the apparent resistance at the start of the transient over
	// that at its end less one; 0 when the channels do not give it.
	ResistanceOhm float64 `json:"resistance_ohm,omitempty"`
	ResistanceU   float64 `json:"resistance_u,omitempty"`
}

// Passing is the time at which a run passes a speed, and its load there.
type Passing struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	TimeS        float64 `json:"time_s"`
	LoadNm       float64 `json:"load_nm"`
}

// AddedBody compares a rotor with the bare one by times alone.
type AddedBody struct {
	// Rotor that carries the added parts.
	Rotor string `json:"rotor"`
	// Ratio is its inertia over the bare rotor's, from times of passage through equal speeds.
	Ratio      uncertain.Value `json:"ratio"`
	Conditions int             `json:"conditions"`
	Runs       int             `json:"runs"`
}

// Bin is a mean torque at a mean speed.
type Bin struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	TorqueNm     float64 `json:"torque_nm"`
	SE           float64 `json:"se"`
	CurrentA     float64 `json:"current_a,omitempty"`
	N            int     `json:"n"`
}

// SweepEvidence is what a sweep says of itself.
type SweepEvidence struct {
	Duty      float64 `json:"duty"`
	SupplyV   float64 `json:"supply_v"`
	Loading   []Bin   `json:"loading"`
	Unloading []Bin   `json:"unloading,omitempty"`
	// ZeroMatched is true where an unloaded stretch gave the zero.
	ZeroMatched bool `json:"zero_matched"`
	// ReturnRel is mean unloading/loading − 1 at equal speed with its standard
	// error; ReturnBins counts the speeds compared, 0: no return sweep.
	ReturnRel  float64 `json:"return_rel,omitempty"`
	ReturnSE   float64 `json:"return_se,omitempty"`
	ReturnBins int     `json:"return_bins,omitempty"`
	// OhmicRel is the relative rise of the apparent resistance over the
	// loading, with its standard error; OhmicBins 0: the channels do not give it.
	OhmicRel  float64 `json:"ohmic_rel,omitempty"`
	OhmicSE   float64 `json:"ohmic_se,omitempty"`
	OhmicBins int     `json:"ohmic_bins,omitempty"`
}

// Evidence is one recording's contribution to the choice of lag and source.
type Evidence struct {
	Recording string          `json:"recording"`
	Kind      Kind            `json:"kind"`
	Rotor     string          `json:"rotor"`
	Mounting  string          `json:"mounting"`
	Session   string          `json:"session"`
	Recorded  bool            `json:"recorded"`
	Demanded  string          `json:"demanded,omitempty"`
	Scale     uncertain.Value `json:"scale"`
	Runs      []RunEvidence   `json:"runs,omitempty"`
	Sweep     *SweepEvidence  `json:"sweep,omitempty"`
	// Fall is the speed of a run-down.
	Fall []Stretch `json:"fall,omitempty"`
	// Thrust seen at settled speeds, zero not removed, and the air's density (0 unknown).
	Thrust []ThrustPoint `json:"thrust,omitempty"`
	// Levels are settled plateaus with torque less zero, for the current law.
	Levels   []OperatingPoint `json:"levels,omitempty"`
	Warnings []Warning        `json:"warnings,omitempty"`
}

// OperatingPoint is a settled operating point: torque less zero, speed, phase current.
type OperatingPoint struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	TorqueNm     float64 `json:"torque_nm"`
	PhaseA       float64 `json:"phase_a"`
	// DriveV is duty times supply voltage.
	DriveV float64 `json:"drive_v"`
	SE     float64 `json:"se"`
}

// Source kinds: where a fit takes its torque from.
const (
	Recorded    = "recorded"
	ColdCurve   = "cold"
	SweepCurve  = "sweep"
	FromCurrent = "current"
)

// TorqueSource is one torque source offered to one run.
type TorqueSource struct {
	Kind string `json:"kind"`
	// From names the recordings it is made of.
	From []string `json:"from,omitempty"`
	// Coef of the curve T = Σ Coef[i]·(ω/RefRadPerS)^i, zero removed; for the
	// current law T = Coef[0]·i − Coef[1] − Coef[2]·ω/RefRadPerS.
	Coef       []float64 `json:"coef,omitempty"`
	RefRadPerS float64   `json:"ref_radps,omitempty"`
	// Valid speeds.
	LowRadPerS  float64 `json:"low_radps,omitempty"`
	HighRadPerS float64 `json:"high_radps,omitempty"`
	// RelU is the relative standard uncertainty of the curve besides the
	// torque scale that it shares.
	RelU  float64         `json:"rel_u,omitempty"`
	Scale uncertain.Value `json:"scale"`
	// Usable, and why or why not: evidence for and against, in words and numbers.
	Usable bool     `json:"usable"`
	For    []string `json:"for,omitempty"`
	But    []string `json:"but,omitempty"`
}

// At is the torque of a curve source at speed w in rad/s, Σ Coef[i]·(w/RefRadPerS)^i, in N·m.
func (s TorqueSource) At(w float64) float64 {
	x, t := w/s.RefRadPerS, 0.0
	for i := len(s.Coef) - 1; i >= 0; i-- {
		t = t*x + s.Coef[i]
	}
	return t
}

// RunChoice is every source a run could use and the one chosen.
type RunChoice struct {
	Recording string         `json:"recording"`
	Run       string         `json:"run"`
	Sources   []TorqueSource `json:"sources"`
	// Chosen is an index into Sources, −1 when none is usable.
	Chosen int `json:"chosen"`
	// Demanded by the job file, or empty.
	Demanded string `json:"demanded,omitempty"`
}

// Choice is the outcome of the torque stage for a job.
type Choice struct {
	Lags   []Lag         `json:"lags"`
	Runs   []RunChoice   `json:"runs"`
	Sweeps []SweepResult `json:"sweeps,omitempty"`
	// Added compares rotors by times of passage.
	Added []AddedBody `json:"added,omitempty"`
	// Law of torque against phase current, nil when levels do not give it.
	Law      *CurrentLaw `json:"law,omitempty"`
	Warnings []Warning   `json:"warnings,omitempty"`
}

// CurrentLaw is T = Kt·i − c₀ − c₁·ω/ω₀ and duty·V = Ke·ω + R·i over settled levels.
type CurrentLaw struct {
	// KtNmPerA and KeVs must be equal in SI but for iron and bearing losses.
	KtNmPerA   uncertain.Value `json:"kt_nmpera"`
	KeVs       uncertain.Value `json:"ke_vs"`
	ROhm       uncertain.Value `json:"r_ohm"`
	Coef       []float64       `json:"coef"`
	RefRadPerS float64         `json:"ref_radps"`
	// RelRMS is the root mean square misfit over the largest torque.
	RelRMS float64 `json:"rel_rms"`
	Levels int     `json:"levels"`
}

// SweepResult is a sweep with its verdict as a source.
type SweepResult struct {
	Recording string        `json:"recording"`
	Evidence  SweepEvidence `json:"evidence"`
	// ColdRel is sweep torque over cold step torque at equal speed, less one.
	ColdRel  float64 `json:"cold_rel,omitempty"`
	ColdSE   float64 `json:"cold_se,omitempty"`
	ColdBins int     `json:"cold_bins,omitempty"`
	// Cold is the curve of the steps that the sweep was compared with.
	Cold TorqueSource `json:"cold"`
}

// LagOf is the lag pooled over a session, and whether there is one.
func (c Choice) LagOf(session string) (Lag, bool) {
	for _, l := range c.Lags {
		if l.Session == session {
			return l, true
		}
	}
	return Lag{}, false
}

// RunFit is the inertia of a rotor from one run with one torque source.
type RunFit struct {
	Job       string `json:"job"`
	Recording string `json:"recording"`
	Run       string `json:"run"`
	Kind      Kind   `json:"kind"`
	Rotor     string `json:"rotor"`
	Mounting  string `json:"mounting"`
	Session   string `json:"session"`
	Source    string `json:"source"`
	Chosen    bool   `json:"chosen"`
	Excluded  string `json:"excluded,omitempty"`
	// Condition.
	Duty    float64 `json:"duty"`
	SupplyV float64 `json:"supply_v"`
	// JKgM2 is the inertia in air, with the parts that runs of a session
	// share (lag, load shape, load factor, torque scale); RandomU is what
	// this run alone contributes, by its own noise.
	JKgM2   uncertain.Value `json:"j_kgm2"`
	RandomU float64         `json:"random_u"`
	// ResolutionU, kg·m², is the standard uncertainty by the steps in which the torque channel is written, where the
	// noise on a plateau does not cover them: one error for all runs with the same plateaus.
	ResolutionU float64 `json:"resolution_u,omitempty"`
	// SpeedResolutionU is that of the steps in which the speed is written.
	SpeedResolutionU float64 `json:"speed_resolution_u,omitempty"`
	// ZeroNm and DriftNmPerS of the torque channel, LoadFactor on the load curve.
	ZeroNm      float64 `json:"zero_nm"`
	DriftNmPerS float64 `json:"drift_nmps"`
	LoadFactor  float64 `json:"load_factor"`
	LoadFactorU float64 `json:"load_factor_u"`
	// LoadPriorRel is the standard uncertainty of the load factor, 1 before the run tells, relative.
	LoadPriorRel float64 `json:"load_prior_rel,omitempty"`
	// ZeroGapNm is the zero seen on the settled plateau less that seen on idle
	// with the load curve as given; ZeroGapU its standard uncertainty.
	ZeroGapNm float64 `json:"zero_gap_nm"`
	ZeroGapU  float64 `json:"zero_gap_u"`
	// Plateaus used: 2 or 3.
	Plateaus int `json:"plateaus"`
	// Speeds of idle, settled and return, rad/s.
	IdleRadPerS    float64 `json:"idle_radps"`
	SettledRadPerS float64 `json:"settled_radps"`
	ReturnRadPerS  float64 `json:"return_radps"`
	RiseS          float64 `json:"rise_s"`
	SamplesInRise  float64 `json:"samples_in_rise"`
	PeakNm         float64 `json:"peak_nm"`
	// RingHz is the frequency at which the fixture was seen to ring in the recording; 0 where none stands out.
	RingHz float64 `json:"ring_hz,omitempty"`
	// Second opinions, kg·m²; 0 when not available.
	JUp        float64 `json:"j_up,omitempty"`
	JDown      float64 `json:"j_down,omitempty"`
	JEnergy    float64 `json:"j_energy,omitempty"`
	JWhole     float64 `json:"j_whole,omitempty"`
	JKept      float64 `json:"j_load_kept,omitempty"`
	JRetied    float64 `json:"j_load_retied,omitempty"`
	JLowerHalf float64 `json:"j_lower_half,omitempty"`
	JUpperHalf float64 `json:"j_upper_half,omitempty"`
	// EnergyLoadU and HalvesLoadU are the standard uncertainties, relative, that the prior of the load
	// factor leaves in JEnergy/JUp and in JLowerHalf/JUpperHalf: one doubt for all runs of a rotor.
	EnergyLoadU float64 `json:"energy_load_u,omitempty"`
	HalvesLoadU float64 `json:"halves_load_u,omitempty"`
	// SettledCreep is by how much the settled torque moves over its plateau beyond zero, drift and speed, over the load,
	// where HasSettledCreep: a loaded rotor, long enough settled.
	SettledCreep    float64 `json:"settled_creep,omitempty"`
	HasSettledCreep bool    `json:"has_settled_creep,omitempty"`
	// ElectricalRatio is mean mechanical over mean electrical power on the
	// settled plateau and in the transient, 0 when not recorded.
	ElectricalRatio float64 `json:"electrical_ratio,omitempty"`
	// Aliasing is the relative difference of the inertia from even and odd samples, halved.
	Aliasing float64 `json:"aliasing"`
	// LoadCoefPerRadPerS2 is L/ω² on the settled plateau, N·m·s².
	LoadCoefNmS2 float64 `json:"load_coef_nms2"`
	LagS         float64 `json:"lag_s"`
}

// SameCondition tells whether two runs were recorded at one supply and throttle: a duty that
// rounds by 1 % and a supply that sags by 3 % make no other condition.
func SameCondition(a, b RunFit) bool {
	return SameSetting(a.Duty, a.SupplyV, b.Duty, b.SupplyV, 0.01, 0.03)
}

// SameSetting tells whether two duties differ by no more than duty and two
// supplies by no more than supplyRel of the larger.
func SameSetting(d1, v1, d2, v2, duty, supplyRel float64) bool {
	return math.Abs(d1-d2) <= duty && math.Abs(v1-v2) <= supplyRel*math.Max(v1, v2)
}

// RotorInertia is the inertia of a rotor from all its usable runs of one job.
type RotorInertia struct {
	Rotor  string `json:"rotor"`
	Source string `json:"source"`
	// JKgM2 in air on the torque scale of the weights; JBodyKgM2 with inflow and
	// entrained air taken out (equal where no propeller turns).
	JKgM2      uncertain.Value `json:"j_kgm2"`
	JBodyKgM2  uncertain.Value `json:"j_body_kgm2"`
	Runs       int             `json:"runs"`
	Mountings  int             `json:"mountings"`
	Conditions int             `json:"conditions"`
	// ScatterRel is the relative standard deviation of single runs; Pooled is
	// true where conditions agree (p > 0.25) and runs are pooled.
	ScatterRel float64 `json:"scatter_rel"`
	ScatterDoF float64 `json:"scatter_dof"`
	Pooled     bool    `json:"pooled"`
	// ConditionF and ConditionP: F test between conditions; P = 1 where there is only one.
	ConditionF float64 `json:"condition_f,omitempty"`
	ConditionP float64 `json:"condition_p"`
	// ConditionSpreadRel is the relative standard deviation of condition means.
	ConditionSpreadRel float64 `json:"condition_spread_rel,omitempty"`
	// Birge ratio of the runs against their own stated uncertainties; reported, never gated on.
	Birge float64 `json:"birge,omitempty"`
	// Declared repeatability used, relative; 0 when none applied.
	DeclaredRunRel float64 `json:"declared_run_rel,omitempty"`
	// Flagged runs differ from the median by more than 4 robust deviations; they stay in.
	Flagged []string `json:"flagged,omitempty"`
	// WithExcluded is the mean with the excluded runs put back, 0 when none was excluded.
	WithExcluded float64 `json:"with_excluded,omitempty"`
}

// Disagreement is the size of a comparison's value from which its two sides are said to
// disagree, in expanded uncertainties of the comparison. At 1 every twentieth sound
// comparison would be called a fault; 1.4 times 1.96 standard deviations is 0.6 % of them.
const Disagreement = 1.4

// Scale choices of a number.
const (
	ScaleWeights = "weights"
	ScaleDisk    = "disk"
	ScaleBoth    = "both"
)

// Quantities of numbers.
const (
	Inertia       = "inertia"
	InertiaDirect = "inertia-direct"
	InertiaInAir  = "inertia-in-air"
)

// Number is a result with an id: what may be released.
type Number struct {
	ID       string          `json:"id"`
	Job      string          `json:"job"`
	Subject  string          `json:"subject"`
	Quantity string          `json:"quantity"`
	Unit     string          `json:"unit"`
	Value    uncertain.Value `json:"value"`
	Scale    string          `json:"scale,omitempty"`
	// Runs, Mountings and Conditions behind it.
	Runs       int `json:"runs,omitempty"`
	Mountings  int `json:"mountings,omitempty"`
	Conditions int `json:"conditions,omitempty"`
	// Rotors whose runs enter.
	Rotors []string `json:"rotors,omitempty"`
	// Release is true when every gating check passes or is waived.
	Release bool `json:"release"`
	// Blocked names the checks that stand against release; Waived those that a waiver covers.
	Blocked []string `json:"blocked,omitempty"`
	Waived  []string `json:"waived,omitempty"`
	// Note says what a reader must know: an estimable sum, a missing scale.
	Note string `json:"note,omitempty"`
}

// Verdicts.
const (
	Pass       = "pass"
	Fail       = "fail"
	CannotTell = "cannot tell"
)

// Check is one comparison with a subject, a value, a limit and a verdict.
type Check struct {
	// Name of the comparison; with Subject it is unique in a job.
	Name    string `json:"name"`
	Job     string `json:"job"`
	Subject string `json:"subject"`
	// Value d and its expanded uncertainty U, both in Unit; Limit G.
	Value   float64 `json:"value"`
	U       float64 `json:"u"`
	Limit   float64 `json:"limit"`
	Unit    string  `json:"unit"`
	Verdict string  `json:"verdict"`
	// Gates is true where a fail blocks release of the numbers that depend on Subject.
	Gates bool `json:"gates"`
	// Sees lists the faults that this comparison can see.
	Sees []string `json:"sees,omitempty"`
	// Numbers it stands behind.
	Numbers []string `json:"numbers,omitempty"`
	// Text is the finding in one sentence with its numbers.
	Text string `json:"text"`
	// Sources that enter, with how far each alone would have to move, in its
	// own standard uncertainties, to bring the value to zero; nearest first.
	Suspects []Suspect `json:"suspects,omitempty"`
	// Places in the files where Subject is declared, or demanded as it is.
	Places   []string `json:"places,omitempty"`
	Waivable bool     `json:"waivable"`
	// WaivedBecause is the reason of the waiver that covers it, or empty.
	WaivedBecause string `json:"waived_because,omitempty"`
}

// Suspect is a declaration or effect that enters a comparison.
type Suspect struct {
	Source string `json:"source"`
	// Sigmas by which it alone would have to be off.
	Sigmas float64 `json:"sigmas"`
	// Place in the files, "parts/disks.yaml:7:12", where it is declared.
	Place string `json:"place,omitempty"`
	// Written is the declaration as the file has it.
	Written string `json:"written,omitempty"`
}
