package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"

	"spinledger/pipeline/job"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
	"spinledger/stages/kit/spin"
)

// Ledger is a ledger file as read.
type Ledger struct {
	// Name below the root it was read from.
	Name  string
	Lines []job.LedgerLine
	// data is the file as it lies on the disk, nil where there is none yet.
	data []byte
}

// Read reads a ledger. A missing file is an error.
func Read(fsys fs.FS, name string) (*Ledger, error) {
	data, _, err := store.ReadFile(fsys, name, job.LedgerBytes)
	if err != nil {
		return nil, err
	}
	lines, err := job.ParseLedger(name, data)
	if err != nil {
		return nil, err
	}
	return &Ledger{Name: name, Lines: lines, data: data}, nil
}

// Open is Read, with an empty ledger where the file does not exist yet.
func Open(fsys fs.FS, name string) (*Ledger, error) {
	if _, err := fs.Stat(fsys, name); errors.Is(err, fs.ErrNotExist) {
		return &Ledger{Name: name}, nil
	}
	return Read(fsys, name)
}

// Digest is the SHA-256 of the file; empty where there is none yet.
func (l *Ledger) Digest() string {
	if l.data == nil {
		return ""
	}
	return digest(l.data)
}

// Of are the lines of one number, oldest first.
func (l *Ledger) Of(number string) []job.LedgerLine {
	var out []job.LedgerLine
	for _, x := range l.Lines {
		if x.Number == number {
			out = append(out, x)
		}
	}
	return out
}

// State is where a number stands in a ledger.
type State struct {
	// Edition is the latest, 0 where there is none; Line its line.
	Edition int
	Line    job.LedgerLine
	// Withdrawn is true where the latest edition was withdrawn, for Because.
	Withdrawn bool
	Because   string
}

// Released is true where an edition stands.
func (s State) Released() bool { return s.Edition > 0 && !s.Withdrawn }

// States are the states of all numbers that the ledger names.
func (l *Ledger) States() map[string]State {
	out := map[string]State{}
	for _, x := range l.Lines {
		s := out[x.Number]
		if x.Withdraws > 0 {
			s.Withdrawn, s.Because = true, x.Because
		} else {
			s = State{Edition: x.Edition, Line: x}
		}
		out[x.Number] = s
	}
	return out
}

// Where is the place of a line, for messages.
func (l *Ledger) Where(line job.LedgerLine) string { return fmt.Sprintf("%s:%d", l.Name, line.Line) }

// keptName is where the result of a line is kept.
func (l *Ledger) keptName(result string) string {
	return path.Join(path.Dir(l.Name), "released", result+".jsonl")
}

// KeptFile is where the released number of a line is kept, beside the ledger; empty for a line without a result.
func (l *Ledger) KeptFile(line job.LedgerLine) string {
	if line.Result == "" {
		return ""
	}
	return l.keptName(line.Result)
}

// Kept is what the folder beside the ledger keeps of a released number; ok is false
// where it keeps nothing, as of numbers from before this program. Bytes that do not have
// the line's digests are an error.
func (l *Ledger) Kept(fsys fs.FS, line job.LedgerLine) (r Result, ok bool, err error) {
	if line.Result == "" {
		return Result{}, false, nil
	}
	name := l.keptName(line.Result)
	data, _, err := store.ReadFile(fsys, name, job.LedgerBytes)
	if err != nil {
		if _, missing := fs.Stat(fsys, name); errors.Is(missing, fs.ErrNotExist) {
			return Result{}, false, nil
		}
		return Result{}, false, err
	}
	number, basis, _ := bytes.Cut(bytes.TrimSuffix(data, []byte{'\n'}), []byte{'\n'})
	for n, x := range []struct {
		text []byte
		want string
	}{{number, line.Result}, {basis, line.Basis}} {
		if got := digest(x.text); x.want != "" && got != x.want {
			return Result{}, false, &positioned.Error{File: name, Line: n + 1, Got: "a line with SHA-256 " + got, Want: x.want + ", as " + l.Where(line) + " has it"}
		}
	}
	r.JSON = number
	if err := json.Unmarshal(number, &r.Number); err != nil {
		return Result{}, false, &positioned.Error{File: name, Line: 1, Got: "no number: " + err.Error(), Want: "a number as results have it"}
	}
	if err := json.Unmarshal(basis, &r.Basis); err != nil {
		return Result{}, false, &positioned.Error{File: name, Line: 2, Got: "no basis: " + err.Error(), Want: "a basis"}
	}
	return r, true, nil
}

// Numbers that the ledger names, sorted.
func (l *Ledger) Numbers() []string {
	var out []string
	for _, x := range l.Lines {
		out = append(out, x.Number)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// fit tells why a number may not be released; empty when it may.
func fit(n spin.Number, against []string) []string {
	why := slices.Concat(n.Blocked, against)
	if len(why) == 0 && !n.Release {
		why = []string{"not marked fit for release"}
	}
	if n.Value.Std() == 0 {
		why = append(why, "no uncertainty")
	}
	return why
}
