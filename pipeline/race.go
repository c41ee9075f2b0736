package pipeline

import (
	"fmt"
	"io/fs"
	"slices"

	"spinledger/pipeline/job"
	"spinledger/stages/kit/spin"
	"spinledger/stages/respond"
)

// Entry is what one job sends into a race.
type Entry struct {
	Job *job.Job
	// Requests to compare; one of each name and part.
	Requests []job.Request
}

// Heat is one comparison: the answers to requests of one name, by rank.
type Heat struct {
	Name      string          `json:"name"`
	Responses []spin.Response `json:"responses"`
	// Ranks of the responses: one more than the number of those that the data show to be quicker.
	Ranks []int `json:"ranks"`
	// Duels of every two that have an answer, the quicker first.
	Duels []spin.Duel `json:"duels"`
	// Without lists what has no answer, and why.
	Without []spin.Response `json:"without,omitempty"`
}

// contender is one answer with the draws behind it.
type contender struct {
	r     spin.Response
	draws []float64
}

// Race computes the jobs of the entries for their requests alone and sets
// answers to requests of equal names against each other. Jobs share what has
// one name in both: a calibration, a disk. Their motors share nothing. Where onto names jobs, the parts
// are put on the motors of these instead of the one they were measured on.
func Race(fsys fs.FS, entries []Entry, onto []*job.Job, workers int) ([]Heat, error) {
	var names []string
	contenders := map[string][]contender{}
	var heats []Heat
	add := func(x contender) {
		name := x.r.Request.Name
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		contenders[name] = append(contenders[name], x)
	}
	for _, e := range entries {
		own, err := asking(fsys, e.Job, e.Requests, workers)
		if err != nil {
			return nil, err
		}
		if len(onto) == 0 {
			own.enter(add)
		}
		for _, j := range onto {
			if j.ID == e.Job.ID {
				own.enter(add)
				continue
			}
			other, err := asking(fsys, j, e.Requests, workers)
			if err != nil {
				return nil, err
			}
			other.borrow(own, add)
		}
	}
	for _, name := range names {
		heats = append(heats, heat(name, contenders[name]))
	}
	return heats, nil
}

// asked is a computed job with the requests put to it, answered in order.
type asked struct {
	w Work
	f *Findings
}

// asking computes a job for requests alone.
func asking(fsys fs.FS, j *job.Job, list []job.Request, workers int) (asked, error) {
	w := Plan(j)
	w.Responses = nil
	for _, q := range list {
		for _, r := range requests(j.ID, q, w.Rotors) {
			// One question at several supplies: each answer has an id of its own.
			if slices.ContainsFunc(w.Responses, func(o spin.ResponseRequest) bool { return o.ID == r.ID }) {
				r.ID += fmt.Sprintf("@%gV", r.SupplyV)
			}
			w.Responses = append(w.Responses, r)
		}
	}
	f, _, err := Compute(fsys, w, workers, nil)
	return asked{w, f}, err
}

// enter adds the job's own answers.
func (a asked) enter(add func(contender)) {
	for i, r := range a.f.Responses {
		one := contender{r: r}
		if r.Refused == "" && !r.Stalled {
			one.draws = respond.Times(a.f.asked, a.w.Responses[i], a.w.Options.Respond)
		}
		add(one)
	}
}

// borrow adds answers with the parts of another job on this one's motor; parts that it has measured itself need no other.
func (a asked) borrow(from asked, add func(contender)) {
	for i, r := range a.f.Responses {
		one := contender{r: r}
		if theirs := from.w.Responses[i].Rotor; a.w.Responses[i].Rotor == "" && theirs != "" {
			one.r, one.draws = a.f.Borrow(from.f, theirs, a.w.Responses[i], a.w.Options.Respond)
		} else if r.Refused == "" && !r.Stalled {
			one.draws = respond.Times(a.f.asked, a.w.Responses[i], a.w.Options.Respond)
		}
		add(one)
	}
}

// Borrow answers a request with the parts of a rotor of another job on this one's motor, with the times of
// its draws; see [respond.Lend].
func (f *Findings) Borrow(from *Findings, rotor string, q spin.ResponseRequest, opt respond.Options) (spin.Response, []float64) {
	in, name, err := respond.Lend(f.asked, from.asked, rotor)
	if err != nil {
		return spin.Response{Request: q, Refused: err.Error()}, nil
	}
	q.Rotor = name
	r := respond.Ask(in, q, opt)
	if r.Refused != "" || r.Stalled {
		return r, nil
	}
	return r, respond.Times(in, q, opt)
}

func heat(name string, all []contender) Heat {
	h := Heat{Name: name}
	var in []contender
	for _, x := range all {
		if x.r.Refused != "" || x.r.Stalled {
			h.Without = append(h.Without, x.r)
			continue
		}
		in = append(in, x)
	}
	slices.SortStableFunc(in, func(a, b contender) int {
		switch {
		case a.r.TimeS.Mean < b.r.TimeS.Mean:
			return -1
		case a.r.TimeS.Mean > b.r.TimeS.Mean:
			return 1
		}
		return 0
	})
	var ids []string
	for i, a := range in {
		h.Responses = append(h.Responses, a.r)
		ids = append(ids, a.r.Request.ID)
		for _, b := range in[i+1:] {
			h.Duels = append(h.Duels, respond.Compare(a.r, b.r, a.draws, b.draws))
		}
	}
	h.Ranks = respond.Ranks(ids, h.Duels)
	return h
}

// Named are the requests of a job that a race without a question of its own
// compares: those of the given name (empty: all) for the given parts (none: all).
func Named(j *job.Job, name string, parts []string) []job.Request {
	var out []job.Request
	for _, q := range j.Respond {
		if name != "" && q.Name != name {
			continue
		}
		if len(parts) > 0 {
			q.Parts = slices.DeleteFunc(slices.Clone(q.Parts), func(p string) bool { return !slices.Contains(parts, p) })
		}
		if len(q.Parts) > 0 {
			out = append(out, q)
		}
	}
	return out
}

// Question is one asked on the command line: it goes to every job for those of its parts that the job knows.
type Question struct {
	Parts []string
	Keys  []job.Asked
	// Supplies to compare, each beside the others; none: no supply stated (a coast).
	Supplies []string
}

// Enter makes entries of a question. A part that no job knows is an error.
func (q Question) Enter(jobs []*job.Job) ([]Entry, error) {
	var out []Entry
	known := map[string]bool{}
	for _, j := range jobs {
		var parts []string
		for _, p := range q.Parts {
			if _, ok := j.Part(p); ok {
				parts, known[p] = append(parts, p), true
			}
		}
		if len(parts) == 0 {
			continue
		}
		e := Entry{Job: j}
		for _, supply := range orNone(q.Supplies) {
			keys := slices.Clone(q.Keys)
			if supply != "" {
				keys = append(keys, job.Asked{Key: "supply", Value: supply})
			}
			r, err := j.Ask("asked", parts, keys)
			if err != nil {
				return nil, err
			}
			e.Requests = append(e.Requests, r)
		}
		out = append(out, e)
	}
	for _, p := range q.Parts {
		if !known[p] {
			return nil, fmt.Errorf("%s: got a part that none of the jobs mounts or asks for; want one of theirs, or a file that ends in .yaml", p)
		}
	}
	return out, nil
}

func orNone(list []string) []string {
	if len(list) == 0 {
		return []string{""}
	}
	return list
}

// Ask answers one more request from what the findings' own responses came from.
func (f *Findings) Ask(q spin.ResponseRequest, opt respond.Options) spin.Response {
	return respond.Ask(f.asked, q, opt)
}

// Against sets two answers of one job against each other.
func (f *Findings) Against(a, b spin.Response, opt respond.Options) spin.Duel {
	return respond.Compare(a, b, respond.Times(f.asked, a.Request, opt), respond.Times(f.asked, b.Request, opt))
}
