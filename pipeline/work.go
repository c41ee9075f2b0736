package pipeline

import (
	"spinledger/stages/crosscheck"
	"spinledger/stages/drag"
	"spinledger/stages/fit"
	"spinledger/stages/ingest"
	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
	"spinledger/stages/respond"
	"spinledger/stages/subtract"
	"spinledger/stages/torque"
	"spinledger/stages/trace"
)

// Work is one job as stages need it: everything declared, nothing of files'
// lines and columns.
type Work struct {
	Job string
	// Day on which waivers are judged: that of the latest session, YYYY-MM-DD.
	Day string
	// Files that were read for it, and what they say where; for the log.
	Files         []FileDigest
	Declared      Declarations
	Recordings    []Recording
	Rotors        []spin.Rotor
	Parts         []spin.Part
	Repeatability []spin.Repeatability
	Waivers       []crosscheck.Waiver
	Unsettled     []spin.Unsettled
	// Responses asked for.
	Responses []spin.ResponseRequest
	Options   Options
}

// Recording is one recording's declaration and files.
type Recording struct {
	Declared    spin.Declared
	Bench       spin.Bench
	Calibration string
	// WeighedAfter is the calibration after the session, empty for none.
	WeighedAfter string
	// ScaleAt is where the bench file declares the calibration or scale, for errors.
	ScaleAt Position
	// DensityKgM3 of the session's air, 0 when not recorded.
	DensityKgM3 float64
	Files       []File
}

// File is one file of a recording, its path rooted in the tree that is read.
type File struct {
	Path    string
	Logger  spin.Logger
	OffsetS uncertain.Value
	// Pin is the SHA-256 that the job file demands, or empty.
	Pin string
	// Where the job file names it, for errors.
	Where Position
}

// Position in a file that a user wrote.
type Position struct {
	File      string
	Line, Col int
	Key       string
}

// Options of all stages.
type Options struct {
	Ingest     ingest.Options     `json:"ingest"`
	Drag       drag.Options       `json:"drag"`
	Torque     torque.Options     `json:"torque"`
	Fit        fit.Options        `json:"fit"`
	Subtract   subtract.Options   `json:"subtract"`
	Crosscheck crosscheck.Options `json:"crosscheck"`
	Respond    respond.Options    `json:"respond"`
	Trace      trace.Options      `json:"trace"`
}

// DefaultOptions are every stage's documented defaults.
func DefaultOptions() Options {
	return Options{
		Ingest: ingest.DefaultOptions(), Drag: drag.DefaultOptions(), Torque: torque.DefaultOptions(),
		Fit: fit.DefaultOptions(), Subtract: subtract.DefaultOptions(), Crosscheck: crosscheck.DefaultOptions(),
		Respond: respond.DefaultOptions(), Trace: trace.DefaultOptions(),
	}
}

// Findings is all that was found in one job.
type Findings struct {
	Job        string
	Recordings []spin.Recording
	Curves     []spin.LoadCurve
	Evidence   []spin.Evidence
	Choice     spin.Choice
	Fits       []spin.RunFit
	Rotors     []spin.RotorInertia
	Numbers    []spin.Number
	Scales     []subtract.ScaleRatio
	Checks     []spin.Check
	Refusals   []spin.Refusal
	Warnings   []spin.Warning
	// Surface is the motor's cold torque, nil where nothing was asked of it or the
	// runs give none; Responses answer the job's requests, and Predictions
	// compare every recorded rise with what the others say of it.
	Surface     *spin.TorqueSurface
	Responses   []spin.Response
	Predictions []spin.Prediction
	// asked is what the responses came from, kept for comparing them.
	asked respond.Input
	// Figures that pages draw.
	Figures []figure.Figure
	// Inputs read, by name.
	Inputs []FileDigest
}

// FileDigest is a file as it was parsed.
type FileDigest struct {
	Name   string
	SHA256 string
	Size   int64
}
