package spin

// What is usual of benches and motors of this size.
const (
	// RingingS is how far a fixture of 125 Hz spreads the torque in time, √2/ω_f: what rings through a rise is
	// not at the speed at which it was made.
	RingingS = 1.8e-3
	// SlowestHz is the lowest frequency of a fixture that is fit for such rotors.
	SlowestHz = 70.0
	// InductanceU is the standard uncertainty, in s, of the time constant L/R of winding and leads, 0.05 to 0.3 ms
	// (common practice, no source), by which the current follows the speed late.
	InductanceU = 1.5e-4
)
