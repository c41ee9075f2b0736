package pipeline

import (
	"slices"
	"strings"

	"spinledger/pipeline/job"
	"spinledger/pipeline/tables"
	"spinledger/stages/kit/spin"
	"spinledger/stages/respond"
)

// requests are one for each part of a job file's request.
func requests(id string, q job.Request, rotors []spin.Rotor) []spin.ResponseRequest {
	var out []spin.ResponseRequest
	for _, part := range q.Parts {
		out = append(out, spin.ResponseRequest{
			ID: id + "/response/" + q.Name + "." + spin.DotID(part), Name: q.Name, Part: part, Rotor: rotorWith(part, rotors),
			Coast: q.Coast, SupplyV: q.SupplyV, Duty: q.Duty, RampS: q.RampS, From: q.From, To: q.To, Thrust: q.Thrust, FinalShare: q.FinalShare,
			AddedNm: q.AddedNm, Added: q.Added, DensityKgM3: airDensity(q.Air, id+"/"+q.Key+".air.humidity"), Extrapolate: q.Extrapolate,
		})
	}
	return out
}

// rotorWith is the rotor that a part names: the motor's own with that part
// alone, else the only one that carries it; empty where there is none.
func rotorWith(part string, rotors []spin.Rotor) string {
	found := ""
	for _, r := range rotors {
		switch {
		case len(r.Parts) == 1 && r.Parts[0] == part:
			return r.ID
		case !slices.Contains(r.Parts, part):
		case found == "":
			found = r.ID
		default:
			found = "?"
		}
	}
	if found == "?" {
		return ""
	}
	return found
}

// respond predicts the changes of speed that the job asks for; without a request nothing is computed.
func (c *computation) respond() error {
	if len(c.w.Responses) == 0 {
		return nil
	}
	in := c.responseInput()
	c.out.asked = in
	d, err := do(c.around.past, "respond", c.w.Job, respond.Method, c.w.Options.Respond, in, func() (respond.Output, error) {
		return respond.Run(in, c.w.Options.Respond)
	})
	if err != nil {
		return err
	}
	c.out.Surface, c.out.Responses, c.out.Predictions = d.out.Surface, d.out.Responses, d.out.Predictions
	c.out.Warnings = append(c.out.Warnings, d.out.Warnings...)
	d.add(c.log, append([]int{c.choiceStep, c.subStep, c.checkStep}, c.fitSteps...), codes(d.out.Warnings))
	return nil
}

// riseAir is the mean density of a rotor's step recordings, 0 where one of them does not state it.
func (c *computation) riseAir(rotor string) float64 {
	sum, n := 0.0, 0.0
	for _, r := range c.w.Recordings {
		if r.Declared.Rotor.ID != rotor || r.Declared.Kind != spin.Step {
			continue
		}
		if r.DensityKgM3 <= 0 {
			return 0
		}
		sum, n = sum+r.DensityKgM3, n+1
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// responseInput is what the job found, for the respond stage.
func (c *computation) responseInput() respond.Input {
	in := respond.Input{
		Job: c.w.Job, Evidence: c.out.Evidence, Law: c.out.Choice.Law, Curves: c.out.Curves, Rotors: c.out.Rotors,
		Fits: c.out.Fits, Requests: c.w.Responses,
	}
	for _, r := range c.w.Rotors {
		if fitInAir(r, c.out.Numbers) {
			in.Fit = append(in.Fit, r.ID)
		}
		if spin.HasPropeller(r.Parts, c.w.Parts) {
			in.Propellers = append(in.Propellers, r.ID)
		}
		if rho := c.riseAir(r.ID); rho > 0 {
			in.RiseAir = append(in.RiseAir, respond.RotorAir{Rotor: r.ID, DensityKgM3: rho})
		}
	}
	return in
}

// fitInAir is true where every number that the rotor's runs stand behind is fit
// for release: a response rests on its inertia in air.
func fitInAir(r spin.Rotor, numbers []spin.Number) bool {
	found := false
	for _, n := range numbers {
		if slices.Contains(n.Rotors, r.ID) && (n.Subject == spin.Bare) == (len(r.Parts) == 0) {
			if !n.Release {
				return false
			}
			found = true
		}
	}
	return found
}

// responseNumbers are the times, energies, charges and peak accelerations as
// numbers with ids: job/response/name.part and the quantity.
func (f *Findings) ResponseNumbers() []spin.Number {
	var out []spin.Number
	for _, r := range f.Responses {
		if r.Refused != "" || r.Stalled {
			continue
		}
		add := func(quantity, unit string, n spin.Number) {
			n.ID, n.Job, n.Quantity, n.Unit = r.Request.ID+"/"+quantity, f.Job, quantity, unit
			n.Subject = strings.TrimPrefix(r.Request.ID, f.Job+"/")
			n.Rotors, n.Release, n.Note = []string{r.Request.Rotor}, r.Release && len(r.Outside) == 0, strings.Join(r.Outside, "; ")
			out = append(out, n)
		}
		add("time", "s", spin.Number{Value: r.TimeS})
		if r.Powered {
			add("energy", "J", spin.Number{Value: r.EnergyJ})
			add("charge", "C", spin.Number{Value: r.ChargeC})
		}
		add("peak-acceleration", "rad/s²", spin.Number{Value: r.PeakRadPerS2})
	}
	return out
}

func (f *Findings) responses() tables.Table {
	type row = spin.Response
	u := func(v interface{ Std() float64 }) float64 { return v.Std() }
	return newTable("responses", "changes of speed predicted, one row a request and part", f.Responses).
		text("number", "id: job/response/name.part; the table of response budgets adds the quantity", func(r row) string { return r.Request.ID }).
		text("rotor", "motor's own rotor and parts", func(r row) string { return r.Request.Rotor }).
		text("refused", "why there is no answer, or empty", func(r row) string { return r.Refused }).
		flag("stalled", "the speed asked for is never reached", func(r row) bool { return r.Stalled }).
		float("stall_radps", "rad/s", "where the speed stays then, else 0", func(r row) float64 { return r.StallRadPerS }).
		flag("coast", "the current cut", func(r row) bool { return r.Request.Coast }).
		float("supply_v", "V", "at no load; 0 for a coast", func(r row) float64 { return r.Request.SupplyV }).
		float("duty", "1", "0 for a coast", func(r row) float64 { return r.Request.Duty }).
		float("ramp_s", "s", "of the duty", func(r row) float64 { return r.Request.RampS }).
		float("from_radps", "rad/s", "", func(r row) float64 { return r.FromRadPerS }).
		float("to_radps", "rad/s", "", func(r row) float64 { return r.ToRadPerS }).
		float("time_s", "s", "from the command to the first passage", func(r row) float64 { return r.TimeS.Mean }).
		float("u_time_s", "s", "standard uncertainty", func(r row) float64 { return u(r.TimeS) }).
		float("expanded_time_s", "s", "expanded uncertainty, 95 %", func(r row) float64 { return r.TimeS.Expanded().U }).
		float("low_time_s", "s", "Monte Carlo, 2.5 % of draws are below", func(r row) float64 { return r.LowS }).
		float("high_time_s", "s", "Monte Carlo, 97.5 % of draws are below; 0 where fewer reach the speed", func(r row) float64 { return r.HighS }).
		float("reached", "1", "share of draws that reach the speed", func(r row) float64 { return r.Reached }).
		flag("bent", "the two intervals differ by more than the draws' noise", func(r row) bool { return r.Bent }).
		float("energy_j", "J", "at the supply's terminals; 0 without a current channel", func(r row) float64 { return r.EnergyJ.Mean }).
		float("u_energy_j", "J", "standard uncertainty, that of the current channel's own scale not counted", func(r row) float64 { return u(r.EnergyJ) }).
		float("charge_c", "C", "", func(r row) float64 { return r.ChargeC.Mean }).
		float("u_charge_c", "C", "standard uncertainty, as for the energy", func(r row) float64 { return u(r.ChargeC) }).
		float("peak_radps2", "rad/s²", "largest acceleration", func(r row) float64 { return r.PeakRadPerS2.Mean }).
		float("u_peak_radps2", "rad/s²", "standard uncertainty", func(r row) float64 { return u(r.PeakRadPerS2) }).
		float("solver_s", "s", "stated error of the solver", func(r row) float64 { return r.SolverS }).
		flag("fit_for_release", "the inertia in air behind it is, and nothing is extrapolated", func(r row) bool { return r.Release && len(r.Outside) == 0 }).
		text("outside", "what lies outside the recordings", func(r row) string { return strings.Join(r.Outside, "; ") }).out
}

type curveRow struct {
	id string
	p  spin.TracePoint
}

func (f *Findings) responseTraces() tables.Table {
	var rows []curveRow
	for _, r := range f.Responses {
		for _, p := range r.Trace {
			rows = append(rows, curveRow{r.Request.ID, p})
		}
	}
	return newTable("response-curves", "speed against time of each response", rows).
		text("number", "id of the response", func(r curveRow) string { return r.id }).
		float("time_s", "s", "first passage through the speed", func(r curveRow) float64 { return r.p.TimeS.Mean }).
		float("u_time_s", "s", "standard uncertainty", func(r curveRow) float64 { return r.p.TimeS.Std() }).
		float("speed_radps", "rad/s", "", func(r curveRow) float64 { return r.p.SpeedRadPerS }).
		float("thrust_n", "N", "0 where none was recorded", func(r curveRow) float64 { return r.p.ThrustN }).out
}

func (f *Findings) predictions() tables.Table {
	type row = spin.Prediction
	return newTable("predictions", "recorded rises against what is predicted without them", f.Predictions).
		text("run", "", func(r row) string { return r.Run }).
		text("recording", "", func(r row) string { return r.Recording }).
		text("rotor", "", func(r row) string { return r.Rotor }).
		text("mounting", "", func(r row) string { return r.Mounting }).
		float("duty", "1", "", func(r row) float64 { return r.Duty }).
		float("supply_v", "V", "at no load", func(r row) float64 { return r.SupplyV }).
		float("from_radps", "rad/s", "10 % of the change from idle to settled", func(r row) float64 { return r.FromRadPerS }).
		float("to_radps", "rad/s", "90 % of it", func(r row) float64 { return r.ToRadPerS }).
		float("recorded_s", "s", "time between these speeds", func(r row) float64 { return r.RecordedS }).
		float("predicted_s", "s", "the same, predicted; 0 where refused", func(r row) float64 { return r.PredictedS.Mean }).
		float("u_predicted_s", "s", "standard uncertainty", func(r row) float64 { return r.PredictedS.Std() }).
		text("left_out", "what the prediction has not seen: the mounting, or the recording", func(r row) string { return r.LeftOut }).
		float("ohmic", "1", "apparent resistance over that of the coldest run; the prediction is for this", func(r row) float64 { return r.Ohmic }).
		text("refused", "why there is no prediction, or empty", func(r row) string { return r.Refused }).out
}

func (f *Findings) surface() tables.Table {
	var rows []spin.SurfacePoint
	if f.Surface != nil {
		rows = f.Surface.Points
	}
	type row = spin.SurfacePoint
	return newTable("surface", "cold torque of the motor at the stretches of all rises", rows).
		text("run", "", func(r row) string { return r.Run }).
		text("rotor", "", func(r row) string { return r.Rotor }).
		float("duty", "1", "", func(r row) float64 { return r.Duty }).
		float("voltage_v", "V", "at the terminals, or as declared", func(r row) float64 { return r.VoltageV }).
		float("speed_radps", "rad/s", "", func(r row) float64 { return r.SpeedRadPerS }).
		float("torque_nm", "N·m", "inertia times acceleration between the neighbours, and load", func(r row) float64 { return r.TorqueNm }).
		float("surface_nm", "N·m", "the fitted surface", func(r row) float64 { return r.SurfaceNm }).
		float("rel", "1", "misfit of the momentum over that of the rise", func(r row) float64 { return r.Rel }).
		float("ohmic", "1", "apparent resistance over that of the coldest run", func(r row) float64 { return r.Ohmic }).out
}

// responseTables are written for jobs that ask for responses.
func (f *Findings) responseTables() []tables.Table {
	if len(f.Responses) == 0 {
		return nil
	}
	return []tables.Table{f.responses(), f.responseTraces(), f.responseBudget(), f.predictions(), f.surface()}
}

func (f *Findings) responseBudget() tables.Table {
	var rows []budgetRow
	for _, n := range f.ResponseNumbers() {
		for _, p := range n.Value.Parts {
			rows = append(rows, budgetRow{n.ID, p.Source, p.Contribution, p.DoF})
		}
	}
	return newTable("response-budget", "signed contributions to each response's numbers, in the unit of the number", rows).
		text("number", "id of the response and the quantity", func(r budgetRow) string { return r.id }).
		text("source", "the physical cause", func(r budgetRow) string { return r.source }).
		float("contribution", "as the number", "one standard deviation, signed", func(r budgetRow) float64 { return r.c }).
		float("dof", "1", "degrees of freedom, 0 for infinitely many", func(r budgetRow) float64 { return r.dof }).out
}
