// Package job reads the files a user writes: a job file and the bench and parts files
// it names. Read gives a Job in SI, or every fault of every file with file, line, column, key,
// what was given and what is allowed.
//
// One table of keys (keys.go) drives the parser, the JSON Schemas beside it, KEYS.md and this
// comment; a test keeps them equal. Order of work: load.go (bytes to a strict YAML tree), walk.go and
// scalar.go (the tree against the table), bench.go, parts.go, sessions.go, recordings.go, requests.go
// (what refers to what), ledger.go (the two files that stand alone), where.go (from a key or a source of uncertainty back to its line).
//
// The smallest job:
//
//	format: 1
//	job: mini
//	motor: {pole_pairs: 7}
//	session: {bench: mini-bench.yaml, date: 2026-03-05}
//	mountings: {bare: {}}
//	recordings:
//	  a: {mounting: bare, file: a.csv, kind: step}
//
// # Keys of job file
//
// A job says which recordings belong together: one motor, its sessions, mountings and recordings.
//
//   - format (required): Format of the file; 1 is the only one.
//   - job (required): Name of the job; number ids begin with it.
//   - parts: Parts files that define the parts mounted.
//   - motor: The motor under test.
//   - session: The only session, which is then named session.
//   - sessions: The sessions by name.
//   - mountings (required): The mountings by name: each act of putting a rotor together is one.
//   - recordings (required): The recordings by name.
//   - exclude: Runs set aside, each with the reason; results say what they would change.
//   - respond: Spin-up times to predict.
//   - unsettled: Keys of this file whose values are guesses, by path, each with what is open; while one is left, no number is fit for release.
//   - waivers: Failed checks that a person answers for. An unused waiver is an error.
//   - options: Choices of method; absent ones take the defaults.
//
// # Keys of motor
//
// The motor under test.
//
//   - specimen: Which motor: model and specimen.
//   - pole_pairs: Pole pairs, half the number of magnets; required when a speed channel is electrical.
//   - top_speed: Fastest speed to be driven; the stress in every disk is checked at it.
//
// # Keys of session
//
// A bench, one of its calibrations, a day, a person, the air, the controller and its settings.
//
//   - bench (required): The bench file.
//   - calibration: Date of the calibration to use; may be left out where the bench has one or none. none means: measured without.
//   - weighed_after: Date of the calibration whose weights were hung after the session's recordings. The scale is the mean of both then; half of what they differ by bounds what the scale of each mounting may be off by.
//   - date (required): Day of the session.
//   - by: Who recorded.
//   - controller: Motor controller, its firmware and settings.
//   - air: State of the air; with it loads are referred to a density.
//
// # Keys of air
//
// State of the air.
//
//   - temperature: Air temperature.
//   - pressure: Pressure at the bench, not reduced to sea level.
//   - humidity: Relative humidity.
//
// # Keys of mounting
//
// One act of putting a rotor together. Runs of one mounting share its error.
//
//   - session: The session; may be left out where there is one.
//   - turns (default ccw): Sense of rotation seen from the propeller side.
//   - parts: Parts mounted on the motor's own rotor; none: the bare rotor.
//
// # Keys of recording
//
// One or more files recorded together.
//
//   - mounting (required): The mounting.
//   - file: The file: CSV or TSV, plain, gzip or zstd, or Parquet.
//   - files: The files where several loggers recorded together.
//   - kind (required): step: hard throttle steps between plateaus; steady: a staircase of settled speeds; sweep: speed drawn slowly through its range by a brake; coast: current cut, the rotor runs down.
//   - supply: Supply voltage; a voltage channel takes precedence.
//   - command: Throttle levels in order, such as 30 % -> 70 % -> 30 %.
//   - logger: Logger that wrote the file; may be left out where the bench has one.
//   - sha256: Pin: the file must have this SHA-256.
//   - torque (default use): ignore: the torque channel of this recording is not used.
//   - source: Torque source demanded for the runs; absent: chosen by evidence.
//
// # Keys of recording file
//
// One file of a recording by several loggers.
//
//   - file (required): The file.
//   - logger (required): Logger that wrote it.
//   - offset (default 0 s): Added to its time stamps to bring them to the clock of the first file.
//   - sha256: Pin: the file must have this SHA-256.
//
// # Keys of response
//
// A change of speed whose time is to be predicted, for each of the parts by itself: upwards by the motor, downwards by coasting.
//
//   - name: Name of the request in number ids; absent: its place in the list, from 1.
//   - parts (required): Parts, each in turn on this motor; a mounting must carry it.
//   - supply: Supply voltage at no load; required unless it coasts.
//   - duty: Throttle that is stepped to; required unless it coasts.
//   - ramp (default 0 s): Time in which the throttle rises, linearly, from that which holds the first speed.
//   - speed: From one speed to another, such as 8000 rpm -> 20000 rpm; a lower second one is reached by coasting.
//   - thrust: From one thrust to another; needs a thrust channel in a steady recording.
//   - to_final: To this share of the speed at which the rotor ends up, with from.
//   - from: The first speed, with to_final.
//   - added_load (default 0 N·m): Constant torque that brakes besides the rotor's own load.
//   - added_curve: Torque that brakes besides the rotor's own load, against speed: straight lines between these corners.
//   - air: Air in which it turns; absent: that of the recordings.
//   - extrapolate (default no): yes: speeds, throttles and supplies outside the recordings are answered too, and marked.
//
// # Keys of load corner
//
// One corner of an added load.
//
//   - speed (required): Speed, above that of the corner before.
//   - torque (required): Braking torque there.
//
// # Keys of waiver
//
// A failed check that a person answers for, up to a value and a day.
//
//   - check (required): Name of the check as results print it.
//   - subject (required): Subject of the check as results print it.
//   - up_to (required): Largest value covered; a larger one fails again.
//   - because (required): The reason.
//   - by (required): Who answers for it.
//   - until (required): Last day on which it holds, judged on the day of the job's latest session.
//   - method (required): Version of the check's method when it was waived; another one ends the waiver.
//
// # Keys of options
//
// Choices of method.
//
//   - drag: How the load of a rotor is described.
//   - fit: How a run is evaluated.
//   - respond: How spin-up times are predicted.
//
// # Keys of drag options
//
// How the load of a rotor is described.
//
//   - form (default auto): Load against speed; auto chooses by evidence, which needs steady recordings.
//   - dry_friction (default no): Whether a constant friction acts between rotor and ground; steady recordings must begin or end at rest, which tells it from the torque zero.
//
// # Keys of fit options
//
// How a run is evaluated.
//
//   - load_prior (default 3 %): How well, as a standard uncertainty, a load curve holds in another recording.
//   - plateau (default 0.8 s): Longest stretch of a plateau that is used, nearest the transient.
//
// # Keys of respond options
//
// How spin-up times are predicted.
//
//   - seed (default 1): Seed of the Monte Carlo; another gives other draws of the same.
//   - draws (default 2000): Draws of the Monte Carlo; 0: none.
//
// # Keys of bench file
//
// The rig: gravity, loggers with their channels, dated calibrations, repeatability.
//
//   - format (required): Format of the file; 1 is the only one.
//   - bench (required): Name of the bench.
//   - gravity (required): Acceleration of free fall where the bench stands; dead weights need it.
//   - logger: The only logger, which is then named logger.
//   - loggers: The loggers by name.
//   - torque_scale: Scale of the torque channel, used where a session has no calibration.
//   - unsettled: Keys of this file whose values are guesses, by path, each with what is open; while one is left, no number is fit for release.
//   - calibrations: Calibrations by date; one is never edited, only followed by another.
//   - repeatability: What the bench is known to repeat to, by rotor class from small to large.
//
// # Keys of logger
//
// One instrument that writes files on a clock of its own.
//
//   - dialect: How its text files are laid out.
//   - converter (default unknown): What a torque sample is: point, mean over a time such as mean over 10 ms, or unknown, which counts as point. Of a converter slower than the logger it is what each of its values is: its period is found.
//   - clock_rate (default 1 1): True seconds per second on its time stamps.
//   - channels (required): Which column holds which channel.
//
// # Keys of dialect
//
// How text files are laid out.
//
//   - delimiter (default comma): What stands between columns.
//   - decimal (default point): Decimal mark.
//   - header_rows (default 1): Rows of column names.
//   - unit_rows (default 0): Rows of units below the names; they are compared with the units here.
//   - comment: Lines that begin with this are passed over.
//   - skip_lines (default 0): Lines passed over before anything is read.
//
// # Keys of channels
//
// Which column holds which channel.
//
//   - time (required): Time stamps.
//   - speed: Speed of rotation.
//   - torque: Reaction torque, as a torque or in counts.
//   - force: Reaction torque, as a force on a lever arm.
//   - thrust: Thrust.
//   - throttle: Throttle command.
//   - voltage: Supply voltage.
//   - current: Supply current.
//   - temperature: Temperature of the motor.
//
// # Keys of time channel
//
// The time channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//
// # Keys of speed channel
//
// The speed channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//   - reading (required): What is counted: turns of the rotor, electrical periods (divided by the pole pairs) or pulses (divided by per_turn).
//   - per_turn: Pulses in a turn; with reading: pulses only, and required there.
//   - timing (default unknown): instant: speed at the time stamp; period: that of the last complete period, held until the next.
//
// # Keys of torque channel
//
// The torque channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//   - sign (default positive): Sign of the reading when a ccw rotor speeds up.
//
// # Keys of force channel
//
// The force channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//   - arm (required): Lever arm between rotor axis and force sensor.
//   - sign (default positive): Sign of the reading when a ccw rotor speeds up.
//
// # Keys of thrust channel
//
// The thrust channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//
// # Keys of throttle channel
//
// The throttle channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//   - zero: Reading at no throttle, in the channel's unit; required unless the unit is a ratio.
//   - full: Reading at full throttle, in the channel's unit; required unless the unit is a ratio.
//
// # Keys of voltage channel
//
// The voltage channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//
// # Keys of current channel
//
// The current channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//
// # Keys of temperature channel
//
// The temperature channel.
//
//   - column (required): Name of the column in the header, or its number from 1.
//   - unit (required): Unit of the numbers in the column.
//
// # Keys of calibration
//
// Dead weights hung on an arm, and what the torque channel showed.
//
//   - by: Who calibrated.
//   - logger: Logger whose torque channel was read; may be left out where one has a torque channel.
//   - arm (required): Arm from rotor axis to the line of the weights.
//   - crosstalk: Torque shown per thrust applied.
//   - ccw: Weights that imitate the reaction of a ccw rotor, with one reading at no weight.
//   - cw: The same for a cw rotor.
//
// # Keys of reading
//
// One dead weight and its reading.
//
//   - mass (required): Mass hung.
//   - reading (required): What the channel showed: a torque or force with its unit, or a plain number where the channel is in counts.
//
// # Keys of repeatability
//
// What the bench is known to repeat to for rotors up to an inertia.
//
//   - up_to: Largest inertia of the class; absent in the last one: all larger rotors.
//   - run (required): Relative standard deviation of the inertia from one run to the next.
//   - mounting (required): Relative standard deviation from one mounting to the next.
//   - dof: Degrees of freedom behind them; absent: many.
//
// # Keys of parts file
//
// Parts by id: bodies that turn, each one specimen in one state.
//
//   - format (required): Format of the file; 1 is the only one.
//   - any other: A part.
//
// # Keys of part
//
// A body that turns. {} is a body known only by its run.
//
//   - model: Model that it is a specimen of; the catalogue groups by it.
//   - batch: Batch that it came with.
//   - reference: Makes it a reference; its inertia must follow from what is declared.
//   - material: What a disk is made of.
//   - layers: A disk: rings on one axis.
//   - fastener: Screws, nuts, washers.
//   - propeller: A propeller.
//   - inertia: Moment of inertia about the spin axis, where it is known.
//   - mass: Mass as weighed; a disk with mass and density takes the mass, and density × volume checks the drawing.
//   - top_speed: Fastest speed allowed for it.
//
// # Keys of reference
//
// What a reference is used for.
//
//   - role (required): scale: it helps to fix the torque scale; check: it tests the result independently; both: first checked, then used.
//
// # Keys of material
//
// What a disk is made of.
//
//   - density: Density.
//   - yield: Yield strength, for the stress check.
//   - poisson (default 0.33 1): Poisson's ratio, for the stress check.
//
// # Keys of layer
//
// A ring of one thickness.
//
//   - outer_diameter (required): Outer diameter.
//   - bore_diameter (default 0 mm): Diameter of the bore.
//   - thickness (required): Thickness along the axis.
//   - holes: Rings of through holes.
//
// # Keys of holes
//
// Equal through holes evenly spaced on a circle.
//
//   - count (required): How many.
//   - diameter (required): Diameter of a hole.
//   - pitch_diameter (required): Diameter of the circle on which they lie.
//
// # Keys of fastener
//
// Equal round bodies on the axis or on a circle.
//
//   - count (default 1): How many.
//   - mass_each (required): Mass of one.
//   - diameter (required): Outer diameter; for a hexagon 1.054 times the width across flats, which has the same inertia at the same mass.
//   - bore_diameter (default 0 mm): Diameter of the bore, of a nut or washer.
//   - pitch_diameter (default 0 mm): Diameter of the circle on which they sit; 0 mm: on the axis.
//
// # Keys of propeller
//
// A propeller.
//
//   - diameter (required): Diameter over the tips.
//   - blades: Number of blades.
//   - shrouded (default no): Whether a ring joins the tips; it puts mass where the plausibility bound m·R²/3 does not hold.
//
// # Keys of ledger file
//
// Which numbers were released, by whom and when. Lines are added at the end, by release and withdraw or by hand, and never changed.
//
//   - format (required): Format of the file; 1 is the only one.
//   - lines: The lines, oldest first.
//
// # Keys of ledger line
//
// An edition of a number, or the withdrawal of one.
//
//   - number (required): Id of the number.
//   - edition: Edition released: 1 for a number's first line, one more for each that follows.
//   - withdraws: Edition withdrawn.
//   - value: Value with its expanded uncertainty and coverage factor, such as 12.340 ± 0.150 g·cm² (k=2.13, dof=15).
//   - result: SHA-256 of the number's line in the results; its bytes are kept in released/ beside the ledger.
//   - basis: SHA-256 of what it was computed from: recordings, files, methods, program; kept likewise.
//   - source: Where a number from before this program was published.
//   - waived: Checks that stood against the number and were waived, divided by semicolons.
//   - replaces: Edition that this one replaces: the one before, unless that was withdrawn.
//   - because: Why: of a withdrawal, or of an edition that replaces another.
//   - day (required): Day of release or withdrawal.
//   - by (required): Who answers for it.
//
// # Keys of moves file
//
// Moves of numbers that a person accepts, for drift. One that accepts nothing is an error.
//
//   - format (required): Format of the file; 1 is the only one.
//   - moves: The moves.
//
// # Keys of move
//
// A number that may differ from what it is compared with.
//
//   - number (required): Id of the number.
//   - edition: Edition of the ledger that it differs from; a newer edition ends the acceptance.
//   - up_to: Largest shift accepted, relative to the value compared with.
//   - gone: yes: the number is no longer computed.
//   - because (required): The reason.
//   - by (required): Who answers for it.
package job
