// Package rig simulates, forward in time, a reaction-torque bench for small
// brushless motors: what its loggers write, and what was true. It judges the
// program that works backwards, so it imports the standard library only, and
// no line of the program that it judges.
//
// # Order of work
//
//  1. A [Motor] carries parts and becomes a [Rotor]; [Classes] has three
//     invented motors with disk and propeller.
//  2. A [Plan] says what is commanded: [StepPlan], [SteadyPlan], [SweepPlan],
//     [CoastPlan], or any list of [Segment].
//  3. A [Bench] says what each channel does to the truth. [Draw] takes the
//     errors of one session from the uncertainties that are declared.
//  4. [Record] integrates and samples; [Session] makes a day's recordings.
//  5. [WriteText] writes a [Trace] in a logger's [Dialect]. [DeadWeights]
//     gives the calibration, [SpinUp] the truth for a predicted spin-up.
//
// Equal arguments give equal bytes. Each disturbance has a random stream of
// its own (PCG), so switching one on leaves the rest as it was.
//
// # Motor, supply, controller
//
// One phase current i at duty d, speed ω, supply source V behind Rs:
//
//	L·di/dt = d·V − d²·Rs·i − R(θ)·i − k(i)·ω        supply current = d·i
//	Te      = k(i)·i,  k = Kt·(1 − 0.001/K·(magnet − 25 °C)) / (1 + (i/Isat)²)
//	R(θ)    = R25·(1 + 0.00393/K·(θ − 25 °C)) + Rextra
//
// The direct-current equivalent of a brushless machine is textbook matter
// (Fitzgerald, Kingsley, Umans, Electric Machinery; from memory). The form of
// the saturation is common practice, no source. k is the same in torque and
// back-emf, so power balances. Duty changes at once or in a linear ramp. With
// braking the current may reverse (and feed the supply); without, it stops at
// zero and the rotor coasts. A cut disconnects the phases. Heat: two
// capacities, winding (I²R) and stator, to the air; the magnets follow the
// stator slowly.
//
// # Rotor
//
//	J·dω/dt = Te + ripple − drag(ω) − L(ω)
//	sensor  = Te + ripple − drag(ω) = J·dω/dt + L(ω)
//
// Drag of bearings and iron acts between rotor and stator, hence cancels. J
// holds the bodies and the entrained air. L is windage c1·ω + c2·ω², propeller
// k·ωⁿ (both but c1 in proportion to the air's density), dry friction against
// the ground, and an eddy-current brake B(t)·ω in a sweep. At rest friction
// holds, the bearings first.
//
// Inflow: the induced flow lags the blades by c radians, dv/dθ = (ω − v)/c,
// and the propeller's torque is k·ωⁿ·(1 − f·(1 − v/ω)). In a steady
// acceleration v = ω − (c/ω)·dω/dt, so to first order the load is below the
// static curve by f·c·k·ωⁿ⁻²·dω/dt: a virtual inertia −f·k·c for n = 2. The
// sign and size are those of the study this bench was planned from; common
// practice, no other source. [Transition] gives the exact value.
//
// # From stator to logger
//
// Torque: fixture (second order, gain 1 at rest, driven also by imbalance
// ∝ ω²), creep, play, thrust cross-talk, first-order filter, pure delay, point
// sample or mean over a window, scale, zero with drift and random walk, white
// noise, clipping, rounding, in this order. Speed: edges of the rotor, each
// with its own fixed offset, stamped by a timer, some missed; the newest whole
// period is held until the next edge, or until a renewal that comes only every
// so often; delay, noise, rounding. Nothing is read until the first periods
// are complete, nor after a timeout. Clocks: random phase, rate error, jitter
// of instants and of stamps; gaps, repeats, swapped rows, spikes. Speed may go
// to a second logger with a clock of its own.
//
// # Integration
//
// Fixed step, 25 µs (40 µs for slow recordings). Current and inflow are kept
// half a step before speed and angle, so that each sees the other's midpoint:
// second order. The current's decay and the fixture are exact exponentials,
// hence right for any L/R and resonance. Torque pulsations enter as their mean
// over the step, so those beyond the step's rate do not alias in the
// integrator; they alias in the sampler, as they should.
//
// # Left out
//
// The stator's own motion on the fixture and its trace in the speed; pulses of
// the switching; commutation failures and the start from rest of a sensorless
// controller (the rotor simply starts); eddy currents and iron loss beyond
// drag in ω; thrust's own inflow lag; noise other than white; tilt and bending
// of shaft and propeller.
package rig
