// Package respond predicts how quickly a rotor changes its speed, from what
// the other stages found: inertia in air, load curve, and the motor's cold
// torque.
//
// # Torque
//
// The cold torque surface comes from the constant-duty part of all step runs
// of all rotors of a motor. A stretch of a run with the acceleration α says
//
//	T = J·α + L(ω)
//
// so T, J and L stand on one scale, and an error of that scale leaves every
// time alone. Over the stretches the surface
//
//	T = Gain·x + Slope·ω + Offset + Bend·u² − Lag·dT/dt,   x = duty·V,  u = x − BackEMF·ω
//
// is fitted by least squares: the direct-current equivalent of a brushless
// machine (Fitzgerald, Kingsley, Umans, Electric Machinery, ch. 7; from
// memory), with bearing and iron drag in Slope and Offset, since the reaction
// shows the torque less these; Bend, for saturation, enters only where the evidence asks for it
// (AICc falls by more than 6, and the bend is three of its uncertainties from 0). V is the voltage at the terminals where it was recorded, and the
// supply is V0 − SupplyOhm·I.
//
// Settled levels, where nothing accelerates, say Gain·x + Slope·ω + Offset = L(ω): they tell the
// drag and the speed at which the torque vanishes, which rises alone tell poorly.
//
// # Warmth
//
// The windings' loss ∫i²·R dt of earlier runs and of a rise itself raises their resistance, by Warmth a joule; Gain and
// Slope are divided by it, so that what is fitted is the cold motor. Warmth comes from the apparent
// resistances (x − BackEMF·ω)/i of runs at one duty and supply against the losses before and in them; one number for the motor, because a light rotor's
// quick rises leave its own resistance unsure to a per cent. How quickly the windings cool is not known: several
// time constants count by how well they explain the resistances, and their spread is in the budget.
//
// # Throttle
//
// The duty may take its time, and what is recorded of it may be the command. Rises whose beginning does not lie on the
// surface, while what follows does, are used from where they do; with what remains the Lag cannot be told.
//
// # Motion
//
//	J·dω/dt = T − L(ω)·ρ/ρ₀ − added,   Lag·dT/dt = T(ω, duty, supply, warmth) − T
//
// from the speed held before, up to the speed asked for; charge and energy by
// the current law of the torque stage. A coast has the drag of bearings and iron,
// found from run-downs as −(J·α + L), in place of T.
//
// A propeller's inflow v follows its speed: L becomes L·(1 − f·(1 − v/ω)), dv/dt = ω·(ω − v)/c, and
// J the inertia in air with the virtual inertia f·c·∫L/ω² dω/Δω that the settling of the inflow took from it.
// f and c have the ranges of spin.UsualInflow. A propeller's own rises, on which the inflow
// acts, hardly count for the surface where other rotors tell it.
//
// # Uncertainty
//
// Every cause has a name, and a time moves with all that the cause moves: J, L
// and, through the surface's least squares, T. Times by central differences,
// one cause at a time; and by Monte Carlo with the same causes, since a speed
// near the final one answers crookedly.
package respond
