// Package torque decides where each fit takes its torque from, and how late
// the torque channel is.
//
// Examine reduces one recording to evidence: the lag each run asks for, its
// torque over speed at constant duty, what a sweep says of its own heat, the
// settled points that tie torque to current. Choose combines the evidence of a
// job: one lag a session, the law of torque against current, and for each run
// every source it could use, with what speaks for and against it:
//
//	recorded  the torque channel of the run itself
//	cold      torque over speed from steps of other mountings at the same duty
//	          and supply; a run's own mounting never enters its own curve
//	sweep     torque over speed from a slow loaded sweep, unless it was hot
//	current   phase current (supply current over duty) through the law
//
// A loaded sweep takes seconds and heats the winding; resistance rises and the
// torque at a given speed and duty falls. Three signs are looked for: torque at
// equal speed while unloading below that while loading; sweep torque below
// that of cold steps; apparent resistance (duty·V − Ke·ω)/i rising through the
// loading. Copper's coefficient is 0.39 % per kelvin (IEC 60028:1925, 0.00393
// at 20 °C), of which the loop with supply and controller shows a part.
package torque
