package spin

import "spinledger/stages/kit/uncertain"

// Stretch is a short piece of a rise or fall: means over its readings, so that
// an equation integrated from the first reading on can be averaged over it:
// speeds enter, no acceleration does.
type Stretch struct {
	// TimeS is the mean time from the first reading of the rise, SpanS from the
	// stretch's own first reading to its last.
	TimeS float64 `json:"time_s"`
	SpanS float64 `json:"span_s"`
	// MeanS is the time over which each reading is itself a mean about its date, as one of
	// a whole period is; 0 for one of an instant.
	MeanS float64 `json:"mean_s,omitempty"`
	// SpeedRadPerS is the mean speed with its standard error, SpeedVar the
	// variance in (rad/s)² of the speed that it is the mean of: of the readings, and within each.
	SpeedRadPerS float64 `json:"speed_radps"`
	SpeedSE      float64 `json:"speed_se"`
	SpeedVar     float64 `json:"speed_var"`
	// AngleRad is the mean of ∫ω dt from the first reading of the rise.
	AngleRad float64 `json:"angle_rad"`
	// VoltageV and CurrentA: 0 where not recorded.
	VoltageV float64 `json:"voltage_v,omitempty"`
	CurrentA float64 `json:"current_a,omitempty"`
	N        int     `json:"n"`
}

// Passage is when a share of the change from idle to settled speed was made.
type Passage struct {
	Share        float64 `json:"share"`
	SpeedRadPerS float64 `json:"speed_radps"`
	// TimeS from the first passage listed.
	TimeS float64 `json:"time_s"`
}

// ThrustPoint is a settled level's speed and thrust reading.
type ThrustPoint struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	ThrustN      float64 `json:"thrust_n"`
	Rest         bool    `json:"rest,omitempty"`
}

// LoadStep is one corner of an added load that depends on speed; between
// corners it is a straight line.
type LoadStep struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	TorqueNm     float64 `json:"torque_nm"`
}

// ResponseRequest asks for the time that one rotor takes from one speed to another.
type ResponseRequest struct {
	// ID is job/response/name.part; Name the name in the job file, Part the part asked for.
	ID    string `json:"id"`
	Name  string `json:"name"`
	Part  string `json:"part"`
	Rotor string `json:"rotor"`
	// Coast: from a higher to a lower speed with the current cut; Supply and Duty are 0 then.
	Coast   bool    `json:"coast,omitempty"`
	SupplyV float64 `json:"supply_v,omitempty"`
	Duty    float64 `json:"duty,omitempty"`
	// RampS is the time in which the duty rises, linearly, from that which holds the first speed.
	RampS float64 `json:"ramp_s,omitempty"`
	// From and To are speeds in rad/s or, where Thrust is true, thrusts in N. FinalShare, where
	// not 0, stands for To: that share of the final speed.
	From       float64 `json:"from"`
	To         float64 `json:"to,omitempty"`
	Thrust     bool    `json:"thrust,omitempty"`
	FinalShare float64 `json:"final_share,omitempty"`
	// AddedNm brakes besides the rotor's own load, in true N·m; Added is a curve of the same.
	AddedNm uncertain.Value `json:"added_nm"`
	Added   []LoadStep      `json:"added,omitempty"`
	// DensityKgM3 of the air asked for, mean 0: that of the recordings.
	DensityKgM3 uncertain.Value `json:"density_kgm3"`
	// Extrapolate allows speeds, duties and supplies outside what was recorded.
	Extrapolate bool `json:"extrapolate,omitempty"`
}

// Response is the answer.
type Response struct {
	Request ResponseRequest `json:"request"`
	// Refused says why there is no answer, or is empty. Stalled: the target is
	// not reached, and StallRadPerS is where the speed stays.
	Refused      string  `json:"refused,omitempty"`
	Stalled      bool    `json:"stalled,omitempty"`
	StallRadPerS float64 `json:"stall_radps,omitempty"`
	// FromRadPerS and ToRadPerS are the speeds between which the time was taken.
	FromRadPerS float64 `json:"from_radps,omitempty"`
	ToRadPerS   float64 `json:"to_radps,omitempty"`
	// TimeS from the command to the first passage through the speed reached; for a
	// coast from the first speed to the second.
	TimeS uncertain.Value `json:"time_s"`
	// EnergyJ at the supply's terminals and ChargeC drawn from it; Powered is false where no
	// current was recorded, or none flows.
	Powered      bool            `json:"powered,omitempty"`
	EnergyJ      uncertain.Value `json:"energy_j"`
	ChargeC      uncertain.Value `json:"charge_c"`
	PeakRadPerS2 uncertain.Value `json:"peak_radps2"`
	// LowS and HighS are the 95 % interval of the time by Monte Carlo, Draws the number of draws, 0: none
	// were made; Reached the share of draws that reach the target. Bent is true where that
	// interval and TimeS ± U differ by more than the draws' own noise.
	LowS    float64 `json:"low_s,omitempty"`
	HighS   float64 `json:"high_s,omitempty"`
	Draws   int     `json:"draws,omitempty"`
	Reached float64 `json:"reached,omitempty"`
	Bent    bool    `json:"bent,omitempty"`
	// SolverS is the solver's own stated error of the time.
	SolverS float64 `json:"solver_s,omitempty"`
	// Outside names what lies outside the recordings, where the job file allows it.
	Outside []string `json:"outside,omitempty"`
	// Release is true when the inertia in air behind it is fit for release.
	Release bool `json:"release"`
	// Trace of speed against time, with the uncertainty of the time at each speed.
	Trace []TracePoint `json:"trace,omitempty"`
}

// TracePoint is one point of a speed-time curve: the time at which a speed is reached.
type TracePoint struct {
	SpeedRadPerS float64         `json:"speed_radps"`
	TimeS        uncertain.Value `json:"time_s"`
	ThrustN      float64         `json:"thrust_n,omitempty"`
}

// TorqueSurface is the cold torque of a motor against speed, duty and supply,
// as the reaction sensor would show it, with x = duty·V and u = x − BackEMFVs·ω:
//
//	T = Gain·x + Slope·ω + Offset + Bend·u² − LagS·dT/dt,   V = V0 − SupplyOhm·I
type TorqueSurface struct {
	// Coef are Gain (N·m/V), Slope (N·m·s/rad), Offset (N·m), LagS (s) and Bend (N·m/V²).
	Coef      [5]uncertain.Value `json:"coef"`
	BackEMFVs float64            `json:"back_emf_vs"`
	// SupplyOhm behind the voltage channel, 0 where none was recorded.
	SupplyOhm uncertain.Value `json:"supply_ohm"`
	// VoltageSeen: the voltage was recorded, so that any duty between those recorded is covered.
	VoltageSeen bool `json:"voltage_seen"`
	// The region: speeds, duties, supply voltages at no current.
	LowRadPerS  float64 `json:"low_radps"`
	HighRadPerS float64 `json:"high_radps"`
	LowDuty     float64 `json:"low_duty"`
	HighDuty    float64 `json:"high_duty"`
	LowV        float64 `json:"low_v"`
	HighV       float64 `json:"high_v"`
	// WarmthPerJ is the relative rise of the windings' resistance by a joule lost in them, 0 unknown.
	WarmthPerJ uncertain.Value `json:"warmth_per_j"`
	// Runs, stretches, settled levels and recordings it rests on; Left are runs set aside and why.
	Runs       int      `json:"runs"`
	Stretches  int      `json:"stretches"`
	Levels     int      `json:"levels"`
	Recordings []string `json:"recordings"`
	Left       []string `json:"left,omitempty"`
	// RMSRel is the misfit of the momentum over that of a rise.
	RMSRel float64        `json:"rms_rel"`
	Points []SurfacePoint `json:"points,omitempty"`
}

// SurfacePoint is one stretch of one run on the surface.
type SurfacePoint struct {
	Run          string  `json:"run"`
	Rotor        string  `json:"rotor"`
	Duty         float64 `json:"duty"`
	VoltageV     float64 `json:"voltage_v"`
	SpeedRadPerS float64 `json:"speed_radps"`
	// TorqueNm is J·Δω/Δt + L between the stretches on either side, SurfaceNm the surface there.
	TorqueNm  float64 `json:"torque_nm"`
	SurfaceNm float64 `json:"surface_nm"`
	// Rel is what the surface leaves of the momentum, over that of the whole rise.
	Rel float64 `json:"rel"`
	// Ohmic is the run's apparent resistance over that of the coldest run of its rotor and duty, 0 unknown.
	Ohmic float64 `json:"ohmic,omitempty"`
}

// Prediction compares a recorded rise with that predicted without it.
type Prediction struct {
	Run       string  `json:"run"`
	Recording string  `json:"recording"`
	Rotor     string  `json:"rotor"`
	Mounting  string  `json:"mounting"`
	Duty      float64 `json:"duty"`
	SupplyV   float64 `json:"supply_v"`
	// Between these speeds, 10 % and 90 % of the change.
	FromRadPerS float64 `json:"from_radps"`
	ToRadPerS   float64 `json:"to_radps"`
	// RecordedS and PredictedS, with the uncertainty to which they should agree; neither the surface nor the
	// inertia has seen anything of the mounting (LeftOut "mounting") or, where its rotor has
	// no other mounting, of the recording (LeftOut "recording"). How warm the windings were is taken from all
	// runs' voltages and currents, and how much rises of one recording differ from the predictions.
	RecordedS  float64         `json:"recorded_s"`
	PredictedS uncertain.Value `json:"predicted_s"`
	LeftOut    string          `json:"left_out"`
	// Ohmic as in SurfacePoint: a warm run rises more slowly than a cold one is predicted to.
	Ohmic   float64 `json:"ohmic,omitempty"`
	Refused string  `json:"refused,omitempty"`
}

// Duel sets two responses against each other.
type Duel struct {
	A string `json:"a"`
	B string `json:"b"`
	// DifferenceS is A's time less B's, causes that both share taken out.
	DifferenceS uncertain.Value `json:"difference_s"`
	// Quicker is the probability that A is the quicker, Told whether the data
	// show a difference at all (95 %).
	Quicker float64 `json:"quicker"`
	Told    bool    `json:"told"`
	// The same by Monte Carlo: 95 % interval and share of draws; Bent where these count,
	// because one of the times is no straight line of its causes.
	LowS         float64 `json:"low_s,omitempty"`
	HighS        float64 `json:"high_s,omitempty"`
	QuickerDrawn float64 `json:"quicker_drawn,omitempty"`
	Draws        int     `json:"draws,omitempty"`
	Bent         bool    `json:"bent,omitempty"`
	// Turns of the lead on the way.
	Turns []Turn `json:"turns,omitempty"`
}

// Turn is where the lead changes.
type Turn struct {
	SpeedRadPerS float64 `json:"speed_radps"`
	ThrustN      float64 `json:"thrust_n,omitempty"`
	LeadsThen    string  `json:"leads_then"`
}
