package reports

import (
	"fmt"
	"io"
	"math"
	"strings"

	"spinledger/stages/kit/spin"
)

// Triage is the judgement on recordings just made.
type Triage struct {
	// Guesses on which it rests, and what was left out and why.
	Guesses []string `json:"guesses,omitempty"`
	Left    []string `json:"left,omitempty"`
	// Recordings in the order of their names.
	Recordings []TriagedRecording `json:"recordings"`
	// Rotors are judged where several recordings were.
	Rotors []spin.RotorJudgement `json:"rotors,omitempty"`
	// Session holds what concerns the whole of it: scale, disk, weights.
	Session []spin.Judged `json:"session,omitempty"`
}

// TriagedRecording is one recording and what was seen in it.
type TriagedRecording struct {
	Name      string         `json:"name"`
	File      string         `json:"file"`
	Rotor     string         `json:"rotor"`
	Kind      spin.Kind      `json:"kind"`
	Note      string         `json:"note,omitempty"`
	Judgement spin.Judgement `json:"judgement"`
	Warnings  []spin.Warning `json:"warnings,omitempty"`
}

// marks of states, which a reader without colour can tell apart.
var marks = map[string]string{spin.Good: "  ", spin.Doubtful: "? ", spin.Bad: "! "}

// Write lays a triage out: each recording in full, unless there are several, of which all
// shows every item and otherwise only what is not good.
func (t *Triage) Write(w io.Writer, all bool) error {
	b := &strings.Builder{}
	full := all || len(t.Recordings) == 1
	for _, r := range t.Recordings {
		r.write(b, full)
	}
	if len(t.Rotors) > 0 {
		b.WriteString("\n")
		for _, r := range t.Rotors {
			rotor(b, r)
		}
		for _, i := range t.Session {
			item(b, i)
		}
	}
	for _, g := range t.Guesses {
		wrap(b, "guessed: ", g)
	}
	for _, l := range t.Left {
		wrap(b, "left out: ", l)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (r TriagedRecording) write(b *strings.Builder, full bool) {
	kind := string(r.Kind)
	if kind == "" {
		kind = "unknown kind"
	}
	fmt.Fprintf(b, "%s (%s): %s\n", r.File, kind, r.Judgement.Verdict)
	if full && len(r.Judgement.SpeedRadPerS) > 0 {
		trace(b, "speed ", r.Judgement.SpeedRadPerS, 30/math.Pi, "rpm")
		if len(r.Judgement.TorqueNm) > 0 {
			trace(b, "torque", r.Judgement.TorqueNm, 1e3, "mN·m")
		}
		fmt.Fprintf(b, "          0 s%*s\n", len(r.Judgement.SpeedRadPerS)-3, fmt.Sprintf("%.3g s", r.Judgement.SpanS))
	}
	if full && r.Note != "" {
		wrap(b, "  ", r.Note)
	}
	for _, i := range r.Judgement.Items {
		if full || i.State != spin.Good {
			item(b, i)
		}
	}
	if full {
		for _, w := range r.Warnings {
			wrap(b, "  note: ", w.Text)
		}
	}
}

// item is one line of what was looked at, wrapped, with what to do about it.
func item(b *strings.Builder, i spin.Judged) {
	wrap(b, fmt.Sprintf("%s%-15s ", marks[i.State], i.Name), i.Text)
	if i.Advice != "" {
		wrap(b, strings.Repeat(" ", 18)+"→ ", i.Advice)
	}
}

// wrap writes text within 80 columns, continued below where it began; a head
// longer than most is not waited for.
func wrap(b *strings.Builder, head, text string) {
	indent := len([]rune(head))
	if indent > 24 {
		indent = 18
	}
	paragraph(b, head, strings.Repeat(" ", indent), text)
}

// trace draws one line of a course between its least and largest value.
func trace(b *strings.Builder, name string, x []float64, factor float64, unit string) {
	const bars = "▁▂▃▄▅▆▇█"
	steps := []rune(bars)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	fmt.Fprintf(b, "  %s  ", name)
	for _, v := range x {
		k := 0
		if hi > lo {
			k = int(math.Round((v - lo) / (hi - lo) * float64(len(steps)-1)))
		}
		b.WriteRune(steps[k])
	}
	fmt.Fprintf(b, "\n          %.4g to %.4g %s\n", lo*factor, hi*factor, unit)
}

func rotor(b *strings.Builder, r spin.RotorJudgement) {
	state := "may come off"
	if !r.MayComeOff {
		state = "must stay on"
	}
	text := state
	if r.InertiaKgM2 > 0 {
		text += fmt.Sprintf("; in air about %.4g g·cm², U %.2g %% now", r.InertiaKgM2/gcm2, 100*r.Rel)
		gain := false
		for _, p := range r.Then {
			// A tenth of U is what a reader of two digits would notice.
			if p.Rel < 0.9*r.Rel {
				gain = true
				text += fmt.Sprintf(", %.2g %% after %d more runs", 100*p.Rel, p.More)
			}
		}
		if !gain {
			text += ", and more runs would not help"
		}
	}
	wrap(b, fmt.Sprintf("rotor %s: ", r.Rotor), text)
	for _, c := range r.Conditions {
		fmt.Fprintf(b, "    %.3g V, throttle %.0f %%: %d runs\n", c.SupplyV, 100*c.Duty, c.Runs)
	}
	for _, o := range r.Open {
		wrap(b, "  ! ", o)
	}
}
