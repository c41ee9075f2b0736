package job

import (
	"io/fs"

	"spinledger/stages/kit/quantity"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// Digest is a file that was read.
type Digest struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// Job is all that job, bench and parts files say, in SI and sorted: by name or id,
// lists in the order of the file.
type Job struct {
	ID string
	// File as it was given to Read.
	File string
	// Files read, by name: the job file, its bench and parts files.
	Files []Digest
	Motor Motor
	// Sessions by name; Session.Calibration is the full id "loft/2026-03-02" or empty.
	Sessions   []spin.Session
	Benches    []spin.Bench
	Mountings  []Mounting
	Recordings []Recording
	// Parts that a mounting or a response names, by id. The others of a parts
	// file are checked and left out.
	Parts   []spin.Part
	Respond []Request
	Waivers []Waiver
	// Unsettled keys of the job file and of its bench files, sorted.
	Unsettled []spin.Unsettled
	Options   Options
	// Declarations with an uncertainty, by source.
	Declarations []Declaration

	places map[string]place
}

// Motor is the motor under test; zero fields were not stated.
type Motor struct {
	Specimen   string
	PolePairs  int
	TopRadPerS float64
}

// Mounting is one act of putting a rotor together.
type Mounting struct {
	Name    string
	Session string
	Turns   spin.Sense
	Rotor   spin.Rotor
}

// Recording is a recording as declared, with its files.
type Recording struct {
	spin.Declared
	Files []RecFile
}

// RecFile is one file of a recording.
type RecFile struct {
	// Path below the root; Key of the name in the job file, for Fault and Where.
	Path string
	Key  string
	// Logger of the session's bench.
	Logger string
	// OffsetS is added to the file's time stamps.
	OffsetS uncertain.Value
	// SHA256 is the pin, empty where there is none; PinKey its key.
	SHA256 string
	PinKey string
}

// Request is a change of speed whose time is to be predicted, for each of the parts by itself.
type Request struct {
	Key string
	// Name in number ids: as written, or the place in the list.
	Name  string
	Parts []string
	// Coast: downwards with the current cut; SupplyV and Duty are 0 then.
	Coast   bool
	SupplyV float64
	Duty    float64
	RampS   float64
	// From and To are speeds in rad/s, or thrusts in N where Thrust is true; FinalShare, where not 0,
	// stands for To.
	From, To   float64
	Thrust     bool
	FinalShare float64
	// AddedNm and Added brake besides the rotor's own load.
	AddedNm     uncertain.Value
	Added       []spin.LoadStep
	Air         spin.Air
	Extrapolate bool
}

// Waiver is a failed check that a person answers for.
type Waiver struct {
	Key     string
	Check   string
	Subject string
	// UpTo is the largest value covered, with the unit it was written in.
	UpTo    quantity.Parsed
	Because string
	By      string
	// Until is the last day, ISO 8601.
	Until string
	// Method of the check when it was waived.
	Method string
}

// Options are choices of method; nil leaves the stage's default.
type Options struct {
	// DragForm is "auto" or one of spin's load forms.
	DragForm string
	// DryFriction: a constant friction between rotor and ground.
	DryFriction  bool
	LoadPriorRel *float64
	PlateauS     *float64
	// Seed and Draws of the Monte Carlo of responses.
	Seed  uint64
	Draws int
}

// Session finds a session by name.
func (j *Job) Session(name string) (spin.Session, bool) {
	return find(j.Sessions, name, func(s spin.Session) string { return s.Name })
}

// Bench finds a bench by name.
func (j *Job) Bench(name string) (spin.Bench, bool) {
	return find(j.Benches, name, func(b spin.Bench) string { return b.Name })
}

// Part finds a part by id.
func (j *Job) Part(id string) (spin.Part, bool) {
	return find(j.Parts, id, func(p spin.Part) string { return p.ID })
}

// Mounting finds a mounting by name.
func (j *Job) Mounting(name string) (Mounting, bool) {
	return find(j.Mountings, name, func(m Mounting) string { return m.Name })
}

// Recording finds a recording by its name within the job.
func (j *Job) Recording(name string) (Recording, bool) {
	return find(j.Recordings, name, func(r Recording) string { return r.Name })
}

func find[T any](list []T, name string, of func(T) string) (T, bool) {
	for _, x := range list {
		if of(x) == name {
			return x, true
		}
	}
	var none T
	return none, false
}

// Read reads a job file and the bench and parts files it names from fsys, whose
// root no name may leave. Recordings are not opened. All faults of all files come
// back in one error, *positioned.Error each (see positioned.All), in order of file,
// line and column; the Job is nil then.
func Read(fsys fs.FS, name string) (*Job, error) {
	r := newReader(fsys, name)
	r.read()
	if err := r.errs.Err(); err != nil {
		return nil, err
	}
	r.finish()
	return r.job, nil
}
