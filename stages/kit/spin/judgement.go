package spin

// States of what was judged, from best to worst.
const (
	Good     = "good"
	Doubtful = "doubtful"
	Bad      = "bad"
)

// Verdicts on a recording.
const (
	Use         = "use it"
	UseWider    = "use it, with a wider interval"
	RecordAgain = "record again"
)

// Judged is one thing looked at in a recording or a session.
type Judged struct {
	Name string `json:"name"`
	// State is good, doubtful or bad.
	State string `json:"state"`
	// Text says what was seen, with numbers.
	Text string `json:"text"`
	// Advice says what to change at the bench; empty where nothing.
	Advice string `json:"advice,omitempty"`
}

// TracePoints bounds a judgement's drawing.
const TracePoints = 64

// Judgement says whether one recording can be used, and why.
type Judgement struct {
	Items   []Judged `json:"items"`
	Verdict string   `json:"verdict"`
	// SpeedRadPerS and TorqueNm are means over at most TracePoints equal stretches
	// of the recording's SpanS seconds, for a small drawing.
	SpeedRadPerS []float64 `json:"speed_radps,omitempty"`
	TorqueNm     []float64 `json:"torque_nm,omitempty"`
	SpanS        float64   `json:"span_s"`
}

// Projection is the expanded uncertainty, relative, after some more runs like those there are.
type Projection struct {
	More int     `json:"more"`
	Rel  float64 `json:"rel"`
}

// ConditionRuns is a supply and throttle with the number of runs recorded at it.
type ConditionRuns struct {
	SupplyV float64 `json:"supply_v"`
	Duty    float64 `json:"duty"`
	Runs    int     `json:"runs"`
}

// RotorJudgement says whether a rotor may come off the motor.
type RotorJudgement struct {
	Rotor      string          `json:"rotor"`
	MayComeOff bool            `json:"may_come_off"`
	Conditions []ConditionRuns `json:"conditions"`
	// InertiaKgM2 so far, in air, 0 while there is none; Rel its relative expanded uncertainty.
	InertiaKgM2 float64      `json:"inertia_kgm2,omitempty"`
	Rel         float64      `json:"rel,omitempty"`
	Then        []Projection `json:"then,omitempty"`
	// Open is what is still missing or wrong.
	Open []string `json:"open,omitempty"`
}
