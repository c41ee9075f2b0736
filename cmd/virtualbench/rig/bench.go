package rig

// Fixture is the part between stator and torque sensor: a second-order system
// x” + 2·Damping·ωf·x' + ωf²·x = ωf²·(torque + imbalance), x being the torque
// in the sensor's spring. Hz 0 makes it rigid.
type Fixture struct {
	Hz      float64 // undamped resonance
	Damping float64 // fraction of critical, 0 < Damping < 1
	// A second mode carries Share2 of the torque: an arm on a plate.
	Share2, Hz2, Damping2 float64
}

// TorqueChannel is everything between the sensor's spring and the logger. A
// reading in N·m is
//
//	Scale·(x + creep + hysteresis + CrosstalkNmPerN·thrust) + zero + noise
//
// low-passed, delayed, averaged or point-sampled, then rounded to LSBNm.
type TorqueChannel struct {
	Scale      float64 // reading per true torque; 1 is right, 1.02 reads 2 % high; 0 means 1
	ZeroNm     float64 // reading at no torque at t = 0
	DriftNmPs  float64 // linear drift of the zero, N·m/s
	WalkNmRtS  float64 // random walk of the zero, N·m/√s
	NoiseNm    float64 // white, rms per logged sample
	LSBNm      float64 // 0 means no rounding
	ClipNm     float64 // readings beyond ± this are clipped; 0 means never
	FilterS    float64 // analog first-order low-pass, time constant
	DelayS     float64 // pure delay, >= 0
	AverageS   float64 // converter: 0 samples a point, else mean over this long, ending at the sample
	Creep      float64 // share of the load that appears late, 0..0.01
	CreepS     float64 // its time constant
	Hysteresis float64 // share of the reading that follows through a play, 0..0.01
	PlayNm     float64 // half width of that play
	// CrosstalkNmPerN is the sensor's response to axial thrust.
	CrosstalkNmPerN float64
	HumNm, HumHz    float64 // amplitude and frequency of mains hum, its phase random
	FlickerNm       float64 // rms of 1/f noise in each decade from 1 ms to 10 s
	HoldS           float64 // the converter gives a value only this often, by its own clock; 0 means one for each row
}

// ThrustChannel reads the rotor's thrust in newtons.
type ThrustChannel struct {
	Present             bool
	ZeroN, NoiseN, LSBN float64
}

// SpeedMode says how speed is measured.
type SpeedMode int

const (
	// Periods times each edge: EdgesPerRev edges a revolution, the newest
	// complete period held until the next edge, so a reading is late by half a
	// period plus the age of the edge.
	Periods SpeedMode = iota
	// Instant reads the true speed at the sample: no real channel does, tests do.
	Instant
)

// SpeedChannel is the speed measurement and its way to the logger.
type SpeedChannel struct {
	Mode SpeedMode
	// EdgesPerRev is edges a mechanical revolution; 0 means one an electrical
	// period, the motor's pole pairs.
	EdgesPerRev int
	Span        int     // periods in one measurement; 0 means 1
	SpacingRMS  float64 // fixed irregularity of the edges, share of a period (tachometer marks)
	TimerS      float64 // resolution of the timer that stamps edges; 0 means perfect
	Miss        float64 // probability that an edge is missed
	TimeoutS    float64 // with no edge for this long the reading is 0; 0 means 0.1 s
	HoldS       float64 // the value given to the logger is renewed only this often; 0 means always
	LSBRadPerS  float64 // rounding of the mechanical speed (electrical rounding / pole pairs)
	NoiseRadPS  float64 // white, rms per logged sample
	SmoothS     float64 // the logger writes a running exponential mean with this time constant; 0 means none
	DelayS      float64 // pure delay, >= 0
}

// PowerChannel reads supply voltage and supply (bus) current: duty × phase current.
type PowerChannel struct {
	Present                bool
	VoltageNoiseV          float64
	VoltageLSBV            float64
	CurrentNoiseA          float64
	CurrentOffsetA         float64
	CurrentLSBA            float64
	CurrentGain            float64 // reading per true current; 0 means 1
	CurrentFilterS         float64 // first-order low-pass of both
	HideVoltage, HideDutyC bool    // leave voltage or commanded duty out of the trace
}

// TemperatureChannel reads the stator's temperature, as a sensor glued to it does.
type TemperatureChannel struct {
	Present       bool
	NoiseC, LSBC  float64
	OffsetC, LagS float64
}

// Clock is a logger's clock. Sample k is taken at true time
// Phase + k/SampleHz·(1+RateError) + jitter and stamped OriginS + k/SampleHz + stamp jitter;
// the phase is random within one interval.
type Clock struct {
	SampleHz     float64
	RateError    float64 // true interval over nominal − 1
	OriginS      float64 // stamp of sample 0
	SampleJitter float64 // rms of the true instants, s; clipped at 0.4 interval
	StampJitter  float64 // rms of the stamps, s
	StampLSB     float64 // resolution of the stamps, s; 0 means perfect
}

// Faults are blunders of the logger.
type Faults struct {
	Drop         float64 // probability that a gap starts at a row
	DropRows     int     // rows lost in a gap, 0 means 1
	Repeat       float64 // probability that a row is written twice
	Swap         float64 // probability that a row changes place with the next
	TorqueSpike  float64 // probability of a spike in a torque sample
	TorqueSpikeN float64 // its size, N·m, sign random
	SpeedSpike   float64 // probability of a wrong speed sample
	SpeedSpikeBy float64 // factor of the wrong speed; 0 gives a zero reading
}

// Bench is the rig with all its true errors.
type Bench struct {
	Clock       Clock
	Fixture     Fixture
	Torque      TorqueChannel
	Thrust      ThrustChannel
	Speed       SpeedChannel
	Power       PowerChannel
	Temperature TemperatureChannel
	// Telemetry, when set, is a second logger: speed goes to it, with its own
	// clock, and not to the main trace.
	Telemetry  *Clock
	Faults     Faults
	GravityMs2 float64 // true local gravity, for dead weights
	ArmM       float64 // true lever arm, m
}
