package job

import (
	"slices"

	"spinledger/stages/kit/quantity"
)

// The kinds of file: the names of their outermost blocks.
const (
	JobFile    = "job file"
	BenchFile  = "bench file"
	PartsFile  = "parts file"
	LedgerFile = "ledger file"
	MovesFile  = "moves file"
)

func dims(d ...quantity.Dimension) []quantity.Dimension { return d }

var formatKey = Key{Name: "format", Type: Integer, Low: 1, High: 1, Required: true, Doc: "Format of the file; 1 is the only one."}

// blocks is the one table of keys: it drives the parser, the JSON Schemas, KEYS.md and
// the package comment. Order is the order of pages and messages.
var blocks = slices.Concat(jobBlocks(), benchBlocks(), partsBlocks(), ledgerBlocks())

const unsettledDoc = "Keys of this file whose values are guesses, by path, each with what is open; while one is left, no number is fit for release."

func jobBlocks() []Block {
	return []Block{
		{Name: JobFile, Doc: "A job says which recordings belong together: one motor, its sessions, mountings and recordings.", Keys: []Key{
			formatKey,
			{Name: "job", Type: Name, Form: nameForm, Required: true, Doc: "Name of the job; number ids begin with it."},
			{Name: "parts", Type: Paths, Doc: "Parts files that define the parts mounted."},
			{Name: "motor", Type: Map, Block: "motor", Doc: "The motor under test."},
			{Name: "session", Type: Map, Block: "session", Doc: "The only session, which is then named session."},
			{Name: "sessions", Type: Named, Form: nameForm, Block: "session", Low: 1, Doc: "The sessions by name."},
			{Name: "mountings", Type: Named, Form: nameForm, Block: "mounting", Low: 1, Required: true, Doc: "The mountings by name: each act of putting a rotor together is one."},
			{Name: "recordings", Type: Named, Form: nameForm, Block: "recording", Low: 1, Required: true, Doc: "The recordings by name."},
			{Name: "exclude", Type: Reasons, Form: runForm, Doc: "Runs set aside, each with the reason; results say what they would change."},
			{Name: "respond", Type: List, Block: "response", Doc: "Spin-up times to predict."},
			{Name: "unsettled", Type: Reasons, Form: pathForm, Doc: unsettledDoc},
			{Name: "waivers", Type: List, Block: "waiver", Doc: "Failed checks that a person answers for. An unused waiver is an error."},
			{Name: "options", Type: Map, Block: "options", Doc: "Choices of method; absent ones take the defaults."},
		}, OneOf: []Group{{[]string{"session", "sessions"}, true}}},
		{Name: "motor", Doc: "The motor under test.", Keys: []Key{
			{Name: "specimen", Type: Name, Form: partForm, Doc: "Which motor: model and specimen."},
			{Name: "pole_pairs", Type: Integer, Low: 1, High: 100, Doc: "Pole pairs, half the number of magnets; required when a speed channel is electrical."},
			{Name: "top_speed", Type: Quantity, Dims: dims(quantity.AngularSpeed), Sign: Positive, Doc: "Fastest speed to be driven; the stress in every disk is checked at it."},
		}},
		{Name: "session", Doc: "A bench, one of its calibrations, a day, a person, the air, the controller and its settings.", Keys: []Key{
			{Name: "bench", Type: Path, Required: true, Doc: "The bench file."},
			{Name: "calibration", Type: Name, Form: calOrNo, Doc: "Date of the calibration to use; may be left out where the bench has one or none. none means: measured without."},
			{Name: "weighed_after", Type: Name, Form: calForm, Doc: "Date of the calibration whose weights were hung after the session's recordings. The scale is the mean of both then; half of what they differ by bounds what the scale of each mounting may be off by."},
			{Name: "date", Type: Date, Required: true, Doc: "Day of the session."},
			{Name: "by", Type: Text, Doc: "Who recorded."},
			{Name: "controller", Type: Text, Doc: "Motor controller, its firmware and settings."},
			{Name: "air", Type: Map, Block: "air", Doc: "State of the air; with it loads are referred to a density."},
		}},
		{Name: "air", Doc: "State of the air.", Keys: []Key{
			{Name: "temperature", Type: Quantity, Dims: dims(quantity.Temperature), Uncertain: true, Doc: "Air temperature."},
			{Name: "pressure", Type: Quantity, Dims: dims(quantity.Pressure), Sign: Positive, Uncertain: true, Doc: "Pressure at the bench, not reduced to sea level."},
			{Name: "humidity", Type: Quantity, Dims: dims(quantity.Ratio), Sign: NotBelow, Uncertain: true, Doc: "Relative humidity."},
		}},
		{Name: "mounting", Doc: "One act of putting a rotor together. Runs of one mounting share its error.", Keys: []Key{
			{Name: "session", Type: Name, Form: nameForm, Doc: "The session; may be left out where there is one."},
			{Name: "turns", Type: Choice, Choices: []string{"ccw", "cw"}, Default: "ccw", Doc: "Sense of rotation seen from the propeller side."},
			{Name: "parts", Type: Names, Form: partForm, Doc: "Parts mounted on the motor's own rotor; none: the bare rotor."},
		}},
		{Name: "recording", Doc: "One or more files recorded together.", Keys: []Key{
			{Name: "mounting", Type: Name, Form: nameForm, Required: true, Doc: "The mounting."},
			{Name: "file", Type: Path, Doc: "The file: CSV or TSV, plain, gzip or zstd, or Parquet."},
			{Name: "files", Type: List, Block: "recording file", Low: 1, Doc: "The files where several loggers recorded together."},
			{Name: "kind", Type: Choice, Choices: []string{"step", "steady", "sweep", "coast"}, Required: true, Doc: "step: hard throttle steps between plateaus; steady: a staircase of settled speeds; sweep: speed drawn slowly through its range by a brake; coast: current cut, the rotor runs down."},
			{Name: "supply", Type: Quantity, Dims: dims(quantity.Voltage), Sign: Positive, Doc: "Supply voltage; a voltage channel takes precedence."},
			{Name: "command", Type: Sequence, Dims: dims(quantity.Ratio), Sign: NotBelow, Low: 1, Doc: "Throttle levels in order, such as 30 % -> 70 % -> 30 %."},
			{Name: "logger", Type: Name, Form: nameForm, Doc: "Logger that wrote the file; may be left out where the bench has one."},
			{Name: "sha256", Type: Hash, Doc: "Pin: the file must have this SHA-256."},
			{Name: "torque", Type: Choice, Choices: []string{"use", "ignore"}, Default: "use", Doc: "ignore: the torque channel of this recording is not used."},
			{Name: "source", Type: Choice, Choices: []string{"recorded", "cold", "sweep", "current"}, Doc: "Torque source demanded for the runs; absent: chosen by evidence."},
		}, OneOf: []Group{{[]string{"file", "files"}, true}}},
		{Name: "recording file", Doc: "One file of a recording by several loggers.", Keys: []Key{
			{Name: "file", Type: Path, Required: true, Doc: "The file."},
			{Name: "logger", Type: Name, Form: nameForm, Required: true, Doc: "Logger that wrote it."},
			{Name: "offset", Type: Quantity, Dims: dims(quantity.Time), Uncertain: true, Default: "0 s", Doc: "Added to its time stamps to bring them to the clock of the first file."},
			{Name: "sha256", Type: Hash, Doc: "Pin: the file must have this SHA-256."},
		}},
		{Name: "response", Doc: "A change of speed whose time is to be predicted, for each of the parts by itself: upwards by the motor, downwards by coasting.", Keys: []Key{
			{Name: "name", Type: Name, Form: nameForm, Doc: "Name of the request in number ids; absent: its place in the list, from 1."},
			{Name: "parts", Type: Names, Form: partForm, Low: 1, Required: true, Doc: "Parts, each in turn on this motor; a mounting must carry it."},
			{Name: "supply", Type: Quantity, Dims: dims(quantity.Voltage), Sign: Positive, Doc: "Supply voltage at no load; required unless it coasts."},
			{Name: "duty", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Doc: "Throttle that is stepped to; required unless it coasts."},
			{Name: "ramp", Type: Quantity, Dims: dims(quantity.Time), Sign: NotBelow, Default: "0 s", Doc: "Time in which the throttle rises, linearly, from that which holds the first speed."},
			{Name: "speed", Type: Sequence, Dims: dims(quantity.AngularSpeed), Sign: NotBelow, Low: 2, High: 2, Doc: "From one speed to another, such as 8000 rpm -> 20000 rpm; a lower second one is reached by coasting."},
			{Name: "thrust", Type: Sequence, Dims: dims(quantity.Force), Sign: NotBelow, Low: 2, High: 2, Doc: "From one thrust to another; needs a thrust channel in a steady recording."},
			{Name: "to_final", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Doc: "To this share of the speed at which the rotor ends up, with from."},
			{Name: "from", Type: Quantity, Dims: dims(quantity.AngularSpeed), Sign: NotBelow, Doc: "The first speed, with to_final."},
			{Name: "added_load", Type: Quantity, Dims: dims(quantity.Torque), Sign: NotBelow, Uncertain: true, Default: "0 N·m", Doc: "Constant torque that brakes besides the rotor's own load."},
			{Name: "added_curve", Type: List, Block: "load corner", Low: 2, Doc: "Torque that brakes besides the rotor's own load, against speed: straight lines between these corners."},
			{Name: "air", Type: Map, Block: "air", Doc: "Air in which it turns; absent: that of the recordings."},
			{Name: "extrapolate", Type: YesNo, Default: "no", Doc: "yes: speeds, throttles and supplies outside the recordings are answered too, and marked."},
		}, OneOf: []Group{{[]string{"speed", "thrust", "to_final"}, true}}},
		{Name: "load corner", Doc: "One corner of an added load.", Keys: []Key{
			{Name: "speed", Type: Quantity, Dims: dims(quantity.AngularSpeed), Sign: NotBelow, Required: true, Doc: "Speed, above that of the corner before."},
			{Name: "torque", Type: Quantity, Dims: dims(quantity.Torque), Sign: NotBelow, Required: true, Doc: "Braking torque there."},
		}},
		{Name: "waiver", Doc: "A failed check that a person answers for, up to a value and a day.", Keys: []Key{
			{Name: "check", Type: Text, Required: true, Doc: "Name of the check as results print it."},
			{Name: "subject", Type: Text, Required: true, Doc: "Subject of the check as results print it."},
			{Name: "up_to", Type: Quantity, Sign: Positive, Required: true, Doc: "Largest value covered; a larger one fails again."},
			{Name: "because", Type: Text, Required: true, Doc: "The reason."},
			{Name: "by", Type: Text, Required: true, Doc: "Who answers for it."},
			{Name: "until", Type: Date, Required: true, Doc: "Last day on which it holds, judged on the day of the job's latest session."},
			{Name: "method", Type: Name, Form: methodForm, Required: true, Doc: "Version of the check's method when it was waived; another one ends the waiver."},
		}},
		{Name: "options", Doc: "Choices of method.", Keys: []Key{
			{Name: "drag", Type: Map, Block: "drag options", Doc: "How the load of a rotor is described."},
			{Name: "fit", Type: Map, Block: "fit options", Doc: "How a run is evaluated."},
			{Name: "respond", Type: Map, Block: "respond options", Doc: "How spin-up times are predicted."},
		}},
		{Name: "drag options", Doc: "How the load of a rotor is described.", Keys: []Key{
			{Name: "form", Type: Choice, Choices: []string{"auto", "none", "square", "linear+square", "linear+square+cubic", "power"}, Default: "auto", Doc: "Load against speed; auto chooses by evidence, which needs steady recordings."},
			{Name: "dry_friction", Type: YesNo, Default: "no", Doc: "Whether a constant friction acts between rotor and ground; steady recordings must begin or end at rest, which tells it from the torque zero."},
		}},
		{Name: "fit options", Doc: "How a run is evaluated.", Keys: []Key{
			{Name: "load_prior", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Default: "3 %", Doc: "How well, as a standard uncertainty, a load curve holds in another recording."},
			{Name: "plateau", Type: Quantity, Dims: dims(quantity.Time), Sign: Positive, Default: "0.8 s", Doc: "Longest stretch of a plateau that is used, nearest the transient."},
		}},
		{Name: "respond options", Doc: "How spin-up times are predicted.", Keys: []Key{
			{Name: "seed", Type: Integer, Low: 1, High: 999999999, Default: "1", Doc: "Seed of the Monte Carlo; another gives other draws of the same."},
			{Name: "draws", Type: Integer, Low: 0, High: 1000000, Default: "2000", Doc: "Draws of the Monte Carlo; 0: none."},
		}},
	}
}

func benchBlocks() []Block {
	out := []Block{
		{Name: BenchFile, Doc: "The rig: gravity, loggers with their channels, dated calibrations, repeatability.", Keys: []Key{
			formatKey,
			{Name: "bench", Type: Name, Form: nameForm, Required: true, Doc: "Name of the bench."},
			{Name: "gravity", Type: Quantity, Dims: dims(quantity.Acceleration), Sign: Positive, Uncertain: true, Required: true, Doc: "Acceleration of free fall where the bench stands; dead weights need it."},
			{Name: "logger", Type: Map, Block: "logger", Doc: "The only logger, which is then named logger."},
			{Name: "loggers", Type: Named, Form: nameForm, Block: "logger", Low: 1, Doc: "The loggers by name."},
			{Name: "torque_scale", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Uncertain: true, Doc: "Scale of the torque channel, used where a session has no calibration."},
			{Name: "unsettled", Type: Reasons, Form: pathForm, Doc: unsettledDoc},
			{Name: "calibrations", Type: Named, Form: calForm, Block: "calibration", Doc: "Calibrations by date; one is never edited, only followed by another."},
			{Name: "repeatability", Type: List, Block: "repeatability", Doc: "What the bench is known to repeat to, by rotor class from small to large."},
		}, OneOf: []Group{{[]string{"logger", "loggers"}, true}}},
		{Name: "logger", Doc: "One instrument that writes files on a clock of its own.", Keys: []Key{
			{Name: "dialect", Type: Map, Block: "dialect", Doc: "How its text files are laid out."},
			{Name: "converter", Type: Averaging, Default: "unknown", Doc: "What a torque sample is: point, mean over a time such as mean over 10 ms, or unknown, which counts as point. Of a converter slower than the logger it is what each of its values is: its period is found."},
			{Name: "clock_rate", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Uncertain: true, Default: "1 1", Doc: "True seconds per second on its time stamps."},
			{Name: "channels", Type: Map, Block: "channels", Required: true, Doc: "Which column holds which channel."},
		}},
		{Name: "dialect", Doc: "How text files are laid out.", Keys: []Key{
			{Name: "delimiter", Type: Choice, Choices: []string{"comma", "semicolon", "tab", "space", "pipe"}, Default: "comma", Doc: "What stands between columns."},
			{Name: "decimal", Type: Choice, Choices: []string{"point", "comma"}, Default: "point", Doc: "Decimal mark."},
			{Name: "header_rows", Type: Integer, Low: 0, High: 1, Default: "1", Doc: "Rows of column names."},
			{Name: "unit_rows", Type: Integer, Low: 0, High: 1, Default: "0", Doc: "Rows of units below the names; they are compared with the units here."},
			{Name: "comment", Type: Text, Doc: "Lines that begin with this are passed over."},
			{Name: "skip_lines", Type: Integer, Low: 0, High: 10000, Default: "0", Doc: "Lines passed over before anything is read."},
		}},
		{Name: "channels", Doc: "Which column holds which channel.", Keys: []Key{
			{Name: "time", Type: Map, Block: "time channel", Required: true, Doc: "Time stamps."},
			{Name: "speed", Type: Map, Block: "speed channel", Doc: "Speed of rotation."},
			{Name: "torque", Type: Map, Block: "torque channel", Doc: "Reaction torque, as a torque or in counts."},
			{Name: "force", Type: Map, Block: "force channel", Doc: "Reaction torque, as a force on a lever arm."},
			{Name: "thrust", Type: Map, Block: "thrust channel", Doc: "Thrust."},
			{Name: "throttle", Type: Map, Block: "throttle channel", Doc: "Throttle command."},
			{Name: "voltage", Type: Map, Block: "voltage channel", Doc: "Supply voltage."},
			{Name: "current", Type: Map, Block: "current channel", Doc: "Supply current."},
			{Name: "temperature", Type: Map, Block: "temperature channel", Doc: "Temperature of the motor."},
		}, OneOf: []Group{{[]string{"torque", "force"}, false}}},
		channel("time", dims(quantity.Time)),
		channel("speed", dims(quantity.AngularSpeed),
			Key{Name: "reading", Type: Choice, Choices: []string{"mechanical", "electrical", "pulses"}, Required: true, Doc: "What is counted: turns of the rotor, electrical periods (divided by the pole pairs) or pulses (divided by per_turn)."},
			Key{Name: "per_turn", Type: Integer, Low: 1, High: 10000, Doc: "Pulses in a turn; with reading: pulses only, and required there."},
			Key{Name: "timing", Type: Choice, Choices: []string{"instant", "period", "unknown"}, Default: "unknown", Doc: "instant: speed at the time stamp; period: that of the last complete period, held until the next."}),
		channel("torque", dims(quantity.Torque, quantity.Count), signKey),
		channel("force", dims(quantity.Force),
			Key{Name: "arm", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Lever arm between rotor axis and force sensor."}, signKey),
		channel("thrust", dims(quantity.Force)),
		channel("throttle", dims(quantity.Ratio, quantity.Time, quantity.Count),
			Key{Name: "zero", Type: Quantity, Dims: nil, Doc: "Reading at no throttle, in the channel's unit; required unless the unit is a ratio."},
			Key{Name: "full", Type: Quantity, Dims: nil, Doc: "Reading at full throttle, in the channel's unit; required unless the unit is a ratio."}),
		channel("voltage", dims(quantity.Voltage)),
		channel("current", dims(quantity.Current)),
		channel("temperature", dims(quantity.Temperature)),
	}
	return append(out, calibrationBlocks()...)
}

var signKey = Key{Name: "sign", Type: Choice, Choices: []string{"positive", "negative"}, Default: "positive", Doc: "Sign of the reading when a ccw rotor speeds up."}

// channel is the block of one channel.
func channel(name string, d []quantity.Dimension, more ...Key) Block {
	keys := []Key{
		{Name: "column", Type: Column, Required: true, Doc: "Name of the column in the header, or its number from 1."},
		{Name: "unit", Type: UnitName, Dims: d, Required: true, Doc: "Unit of the numbers in the column."},
	}
	return Block{Name: name + " channel", Doc: "The " + name + " channel.", Keys: append(keys, more...)}
}

func calibrationBlocks() []Block {
	return []Block{
		{Name: "calibration", Doc: "Dead weights hung on an arm, and what the torque channel showed.", Keys: []Key{
			{Name: "by", Type: Text, Doc: "Who calibrated."},
			{Name: "logger", Type: Name, Form: nameForm, Doc: "Logger whose torque channel was read; may be left out where one has a torque channel."},
			{Name: "arm", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Arm from rotor axis to the line of the weights."},
			{Name: "crosstalk", Type: Quantity, Dims: dims(quantity.TorquePerForce), Uncertain: true, Doc: "Torque shown per thrust applied."},
			{Name: "ccw", Type: List, Block: "reading", Low: 3, Doc: "Weights that imitate the reaction of a ccw rotor, with one reading at no weight."},
			{Name: "cw", Type: List, Block: "reading", Low: 3, Doc: "The same for a cw rotor."},
		}},
		{Name: "reading", Doc: "One dead weight and its reading.", Keys: []Key{
			{Name: "mass", Type: Quantity, Dims: dims(quantity.Mass), Sign: NotBelow, Uncertain: true, Required: true, Doc: "Mass hung."},
			{Name: "reading", Type: Reading, Required: true, Doc: "What the channel showed: a torque or force with its unit, or a plain number where the channel is in counts."},
		}},
		{Name: "repeatability", Doc: "What the bench is known to repeat to for rotors up to an inertia.", Keys: []Key{
			{Name: "up_to", Type: Quantity, Dims: dims(quantity.Inertia), Sign: Positive, Doc: "Largest inertia of the class; absent in the last one: all larger rotors."},
			{Name: "run", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Required: true, Doc: "Relative standard deviation of the inertia from one run to the next."},
			{Name: "mounting", Type: Quantity, Dims: dims(quantity.Ratio), Sign: NotBelow, Required: true, Doc: "Relative standard deviation from one mounting to the next."},
			{Name: "dof", Type: Integer, Low: 1, High: 1000000, Doc: "Degrees of freedom behind them; absent: many."},
		}},
	}
}

func partsBlocks() []Block {
	return []Block{
		{Name: PartsFile, Doc: "Parts by id: bodies that turn, each one specimen in one state.", Keys: []Key{formatKey},
			Rest: &Key{Name: "part", Type: Named, Form: partForm, Block: "part", Doc: "A part."}},
		{Name: "part", Doc: "A body that turns. {} is a body known only by its run.", Keys: []Key{
			{Name: "model", Type: Text, Doc: "Model that it is a specimen of; the catalogue groups by it."},
			{Name: "batch", Type: Text, Doc: "Batch that it came with."},
			{Name: "reference", Type: Map, Block: "reference", Doc: "Makes it a reference; its inertia must follow from what is declared."},
			{Name: "material", Type: Map, Block: "material", Doc: "What a disk is made of."},
			{Name: "layers", Type: List, Block: "layer", Low: 1, Doc: "A disk: rings on one axis."},
			{Name: "fastener", Type: Map, Block: "fastener", Doc: "Screws, nuts, washers."},
			{Name: "propeller", Type: Map, Block: "propeller", Doc: "A propeller."},
			{Name: "inertia", Type: Quantity, Dims: dims(quantity.Inertia), Sign: Positive, Uncertain: true, Doc: "Moment of inertia about the spin axis, where it is known."},
			{Name: "mass", Type: Quantity, Dims: dims(quantity.Mass), Sign: Positive, Uncertain: true, Doc: "Mass as weighed; a disk with mass and density takes the mass, and density × volume checks the drawing."},
			{Name: "top_speed", Type: Quantity, Dims: dims(quantity.AngularSpeed), Sign: Positive, Doc: "Fastest speed allowed for it."},
		}, OneOf: []Group{{[]string{"layers", "fastener", "propeller", "inertia"}, false}}},
		{Name: "reference", Doc: "What a reference is used for.", Keys: []Key{
			{Name: "role", Type: Choice, Choices: []string{"scale", "check", "both"}, Required: true, Doc: "scale: it helps to fix the torque scale; check: it tests the result independently; both: first checked, then used."},
		}},
		{Name: "material", Doc: "What a disk is made of.", Keys: []Key{
			{Name: "density", Type: Quantity, Dims: dims(quantity.Density), Sign: Positive, Uncertain: true, Doc: "Density."},
			{Name: "yield", Type: Quantity, Dims: dims(quantity.Pressure), Sign: Positive, Doc: "Yield strength, for the stress check."},
			{Name: "poisson", Type: Quantity, Dims: dims(quantity.Ratio), Sign: NotBelow, Default: "0.33 1", Doc: "Poisson's ratio, for the stress check."},
		}},
		{Name: "layer", Doc: "A ring of one thickness.", Keys: []Key{
			{Name: "outer_diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Outer diameter."},
			{Name: "bore_diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: NotBelow, Uncertain: true, Default: "0 mm", Doc: "Diameter of the bore."},
			{Name: "thickness", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Thickness along the axis."},
			{Name: "holes", Type: OneOrList, Block: "holes", Doc: "Rings of through holes."},
		}},
		{Name: "holes", Doc: "Equal through holes evenly spaced on a circle.", Keys: []Key{
			{Name: "count", Type: Integer, Low: 1, High: 1000, Required: true, Doc: "How many."},
			{Name: "diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Diameter of a hole."},
			{Name: "pitch_diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: NotBelow, Uncertain: true, Required: true, Doc: "Diameter of the circle on which they lie."},
		}},
		{Name: "fastener", Doc: "Equal round bodies on the axis or on a circle.", Keys: []Key{
			{Name: "count", Type: Integer, Low: 1, High: 1000, Default: "1", Doc: "How many."},
			{Name: "mass_each", Type: Quantity, Dims: dims(quantity.Mass), Sign: Positive, Uncertain: true, Required: true, Doc: "Mass of one."},
			{Name: "diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Uncertain: true, Required: true, Doc: "Outer diameter; for a hexagon 1.054 times the width across flats, which has the same inertia at the same mass."},
			{Name: "bore_diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: NotBelow, Uncertain: true, Default: "0 mm", Doc: "Diameter of the bore, of a nut or washer."},
			{Name: "pitch_diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: NotBelow, Uncertain: true, Default: "0 mm", Doc: "Diameter of the circle on which they sit; 0 mm: on the axis."},
		}},
		{Name: "propeller", Doc: "A propeller.", Keys: []Key{
			{Name: "diameter", Type: Quantity, Dims: dims(quantity.Length), Sign: Positive, Required: true, Doc: "Diameter over the tips."},
			{Name: "blades", Type: Integer, Low: 1, High: 100, Doc: "Number of blades."},
			{Name: "shrouded", Type: YesNo, Default: "no", Doc: "Whether a ring joins the tips; it puts mass where the plausibility bound m·R²/3 does not hold."},
		}},
	}
}
