package campaign

import (
	"fmt"
	"math"
	"math/rand/v2"

	"spinledger/cmd/virtualbench/rig"
	"spinledger/pipeline"
	"spinledger/stages/kit/spin"
	"spinledger/stages/respond"
)

// Spun is one predicted time with what it truly is.
type Spun struct {
	What      string
	TimeS, U  float64
	Low, High float64 // Monte Carlo
	TrueS     float64
}

// Held is true where TimeS ± U holds the truth, Drawn where the Monte Carlo interval does.
func (s Spun) Held() bool  { return math.Abs(s.TimeS-s.TrueS) <= s.U }
func (s Spun) Drawn() bool { return s.Low <= s.TrueS && (s.TrueS <= s.High || s.High == 0) }

// Raced is one pair: the probability that the first is the quicker, whether it
// is, and how far apart the true times are in standard uncertainties of the difference.
type Raced struct {
	Quicker, Drawn float64
	First          bool
	Apart          float64
	Told           bool
}

// Foretold is one recorded rise against its prediction from the others, relative.
type Foretold struct {
	Rotor    string
	Residual float64
	Held     bool
}

// SpinOutcome is what one session gives.
type SpinOutcome struct {
	Spun     []Spun
	Raced    []Raced
	Foretold []Foretold
	Refused  []string
}

// asked are the conditions of the questions: the recorded ones, and a throttle between them.
var asked = append(Usual(), Condition{1, 0.62})

// SpinUps computes one session and asks for times between its recordings' speeds. timesOnly leaves Monte Carlo and
// races away: ten times as quick, for counting how often intervals hold.
func SpinUps(s Scenario, seed uint64, timesOnly bool) (SpinOutcome, error) {
	var out SpinOutcome
	session, err := Build(s, seed)
	if err != nil {
		return out, err
	}
	w := session.Work
	if timesOnly {
		w.Options.Respond.Draws = 0
	}
	for _, c := range asked {
		for _, name := range s.Rotors {
			w.Responses = append(w.Responses, question(s, name, c))
		}
	}
	f, _, err := pipeline.Compute(session.Files, w, 2, nil)
	if err != nil {
		return out, err
	}
	for _, p := range f.Predictions {
		if p.Refused == "" {
			e := p.PredictedS.Mean/p.RecordedS - 1
			out.Foretold = append(out.Foretold, Foretold{p.Rotor, e, math.Abs(e)*p.RecordedS <= p.PredictedS.Expanded().U})
		}
	}
	var usable []spin.Response
	for _, r := range f.Responses {
		if r.Refused != "" || r.Stalled {
			out.Refused = append(out.Refused, r.Request.ID+": "+r.Refused)
			continue
		}
		// Its own final share decided where it went; the truth is asked for that speed.
		truth, err := session.spinUp(s, r, r.ToRadPerS)
		if err != nil {
			out.Refused = append(out.Refused, err.Error())
			continue
		}
		fixed := r.Request
		fixed.FinalShare, fixed.To = 0, r.ToRadPerS
		again := f.Ask(fixed, w.Options.Respond)
		out.Spun = append(out.Spun, Spun{What: fixed.Part, TimeS: again.TimeS.Mean, U: again.TimeS.Expanded().U, Low: again.LowS, High: again.HighS, TrueS: truth.TimeS})
		usable = append(usable, again)
	}
	if !timesOnly {
		out.race(session, s, f, usable, w.Options.Respond, seed)
	}
	return out, nil
}

// question is from 1.25 times the idle speed to 80 % of the final one.
func question(s Scenario, rotor string, c Condition) spin.ResponseRequest {
	id := spin.NewRotor(nil)
	if rotor != "bare" {
		id = spin.NewRotor([]string{rotor})
	}
	supply := s.Class.Supply.VoltageV * c.SupplyRel
	return spin.ResponseRequest{
		ID: fmt.Sprintf("virtual/response/%.2f-%.2f.%s", c.SupplyRel, c.Duty, rotor), Part: rotor, Rotor: id.ID, SupplyV: supply, Duty: c.Duty,
		From: 1.25 * s.Class.IdleDuty * supply / s.Class.Motor.KtNmPerA, FinalShare: 0.8, Extrapolate: true,
	}
}

// spinUp is the truth of an answer, to a speed.
func (t *Session) spinUp(s Scenario, r spin.Response, to float64) (rig.Spin, error) {
	c := s.Class.Conditions()
	c.Supply.VoltageV, c.Air = r.Request.SupplyV, t.air
	return rig.SpinUp(s.Class.Motor, t.rotors[r.Request.Part], c, rig.Response{FromRadPerS: r.FromRadPerS, ToRadPerS: to, Duty: r.Request.Duty, Braking: true, LimitS: 5})
}

// race sets answers of one condition against each other, the second one's
// target moved so that the true times differ by a drawn number of standard
// uncertainties between −3 and 3, one in five by none.
func (o *SpinOutcome) race(t Session, s Scenario, f *pipeline.Findings, all []spin.Response, opt respond.Options, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 0x72616365))
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.Request.SupplyV != b.Request.SupplyV || a.Request.Duty != b.Request.Duty {
				continue
			}
			apart := 6*rng.Float64() - 3
			if rng.IntN(5) == 0 {
				apart = 0
			}
			if r, ok := t.pair(s, f, a, b, apart, opt); ok {
				o.Raced = append(o.Raced, r)
			}
		}
	}
}

func (t *Session) pair(s Scenario, f *pipeline.Findings, a, b spin.Response, apart float64, opt respond.Options) (Raced, bool) {
	truth, err := t.spinUp(s, a, a.ToRadPerS)
	if err != nil {
		return Raced{}, false
	}
	// Two rounds: the uncertainty of the difference hardly depends on where it ends.
	u, asked := 0.0, b.Request
	for range 2 {
		want := truth.TimeS - apart*u
		lo, hi := b.FromRadPerS, b.ToRadPerS*1.15
		for range 40 {
			mid := (lo + hi) / 2
			if x, err := t.spinUp(s, b, mid); err == nil && x.TimeS < want {
				lo = mid
			} else {
				hi = mid
			}
		}
		asked.To = lo
		if lo <= b.FromRadPerS || lo > 1.14*b.ToRadPerS {
			return Raced{}, false
		}
		moved := f.Ask(asked, opt)
		if moved.Refused != "" || moved.Stalled {
			return Raced{}, false
		}
		d := f.Against(a, moved, opt)
		u = d.DifferenceS.Std()
		x, err := t.spinUp(s, b, asked.To)
		if err != nil || u == 0 {
			return Raced{}, false
		}
		b2 := Raced{Quicker: d.Quicker, Drawn: d.QuickerDrawn, First: truth.TimeS < x.TimeS, Apart: (truth.TimeS - x.TimeS) / u, Told: d.Told}
		if u > 0 && math.Abs(b2.Apart-apart) < 0.3 {
			return b2, true
		}
	}
	return Raced{}, false
}
