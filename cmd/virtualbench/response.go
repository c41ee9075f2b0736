package main

import (
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"spinledger/cmd/virtualbench/campaign"
	"spinledger/cmd/virtualbench/rig"
)

// responses measures predicted spin-up times and races on sessions whose truth is known.
func responses(args []string, stdout, stderr io.Writer) error {
	set := flag.NewFlagSet("response", flag.ContinueOnError)
	set.SetOutput(stderr)
	sessions := set.Int("sessions", 20, "of each motor class")
	seed := set.Uint64("seed", 1, "of the first one")
	class := expression(set, "class", "", "regular expression; empty: all three motor classes")
	runs := set.Int("runs", 3, "of each condition")
	hz := set.Float64("hz", 2000, "sampling rate")
	times := set.Bool("times", false, "count times alone, without Monte Carlo and races: ten times as quick")
	if err := set.Parse(args); err != nil {
		return err
	}
	var every []campaign.SpinOutcome
	for _, c := range rig.Classes() {
		if !class.MatchString(c.Name) {
			continue
		}
		s := campaign.Nominal(c, *hz)
		s.Runs = *runs
		var all []campaign.SpinOutcome
		for i := range *sessions {
			o, err := campaign.SpinUps(s, *seed+uint64(i), *times)
			if err != nil {
				return err
			}
			all = append(all, o)
			every = append(every, o)
			fmt.Fprintf(stderr, "%s: session %d\n", c.Name, i+1)
		}
		printResponses(stdout, c.Name, all)
	}
	printTimes(stdout, "all classes", every)
	return nil
}

// held counts the answers of a session whose interval holds the truth.
func held(o campaign.SpinOutcome, what string) (n, held int) {
	for _, x := range o.Spun {
		if what == "" || x.What == what {
			n, held = n+1, held+count(x.Held())
		}
	}
	return n, held
}

// heldBetween is the 99 % interval of the share of answers held with whole sessions drawn again (bootstrap percentiles;
// Efron, Ann. Statist. 7 (1979) 1, from memory): answers of one session err together.
func heldBetween(all []campaign.SpinOutcome, what string) (lo, hi float64) {
	const draws = 2000
	rng := rand.New(rand.NewPCG(1, 99))
	shares, of, holds := make([]float64, draws), make([]int, len(all)), make([]int, len(all))
	for i, o := range all {
		of[i], holds[i] = held(o, what)
	}
	for d := range shares {
		n, h := 0, 0
		for range all {
			i := rng.IntN(len(all))
			n, h = n+of[i], h+holds[i]
		}
		if n > 0 {
			shares[d] = float64(h) / float64(n)
		}
	}
	slices.Sort(shares)
	return shares[draws/200], shares[draws-1-draws/200]
}

func printResponses(w io.Writer, class string, all []campaign.SpinOutcome) {
	printTimes(w, class, all)
	reliability(w, all)
	for _, rotor := range []string{"bare", "bare+disk", "bare+prop"} {
		var e []float64
		worst, held := 0.0, 0
		for _, o := range all {
			for _, x := range o.Foretold {
				if x.Rotor == rotor {
					e, worst, held = append(e, x.Residual), math.Max(worst, math.Abs(x.Residual)), held+count(x.Held)
				}
			}
		}
		if len(e) > 0 {
			mean, sd := moments(e)
			fmt.Fprintf(w, "  left out %-10s %4d: mean %+.2f %%, scatter %.2f %%, worst %.2f %%, within U %.1f %%\n", rotor, len(e), 100*mean, 100*sd, 100*worst, 100*float64(held)/float64(len(e)))
		}
	}
	refused := 0
	for _, o := range all {
		refused += len(o.Refused)
	}
	fmt.Fprintf(w, "  without an answer: %d\n", refused)
}

func printTimes(w io.Writer, class string, all []campaign.SpinOutcome) {
	fmt.Fprintf(w, "%s, %d sessions\n", class, len(all))
	for _, what := range []string{"bare", "disk", "prop", ""} {
		n, within, drawn, drawings := 0, 0, 0, 0
		var e, u []float64
		for _, o := range all {
			for _, x := range o.Spun {
				if what == "" || x.What == what {
					n++
					within, drawn = within+count(x.Held()), drawn+count(x.Drawn())
					drawings += count(x.High > 0)
					e, u = append(e, x.TimeS/x.TrueS-1), append(u, x.U/x.TrueS)
				}
			}
		}
		if n == 0 {
			continue
		}
		simulated := ""
		if drawings > 0 {
			simulated = fmt.Sprintf("Monte Carlo %.1f %%; ", 100*float64(drawn)/float64(n))
		}
		lo, hi := heldBetween(all, what)
		if what == "" {
			what = "all"
		}
		mean, sd := moments(e)
		mu, _ := moments(u)
		fmt.Fprintf(w, "  times %-5s %5d: held %.1f %% (%.1f to %.1f, sessions drawn again); %sbias %+.2f %%, scatter %.2f %%, mean U %.2f %%\n",
			what, n, 100*float64(within)/float64(n), 100*lo, 100*hi, simulated, 100*mean, 100*sd, 100*mu)
	}
}

// reliability sets stated probabilities against how often they came true.
func reliability(w io.Writer, all []campaign.SpinOutcome) {
	edges := []float64{0, 0.025, 0.1, 0.3, 0.5, 0.7, 0.9, 0.975, 1.0000001}
	for i := 0; i+1 < len(edges); i++ {
		n, first, sum, drawn := 0, 0, 0.0, 0.0
		for _, o := range all {
			for _, x := range o.Raced {
				if math.Abs(x.Apart) > 1e-3 && x.Quicker >= edges[i] && x.Quicker < edges[i+1] {
					n, first, sum, drawn = n+1, first+count(x.First), sum+x.Quicker, drawn+x.Drawn
				}
			}
		}
		if n > 0 {
			lo, hi := campaign.Interval(first, n, 0.99)
			fmt.Fprintf(w, "  stated %.3f to %.3f (mean %.3f, drawn %.3f): %4d pairs, first quicker in %.3f (%.3f to %.3f)\n", edges[i], math.Min(1, edges[i+1]), sum/float64(n), drawn/float64(n), n, float64(first)/float64(n), lo, hi)
		}
	}
	n, told := 0, 0
	for _, o := range all {
		for _, x := range o.Raced {
			if math.Abs(x.Apart) <= 0.05 {
				n, told = n+1, told+count(x.Told)
			}
		}
	}
	if n > 0 {
		lo, hi := campaign.Interval(told, n, 0.99)
		fmt.Fprintf(w, "  equal pairs: a difference is claimed in %d of %d, %.3f (%.3f to %.3f; 0.05 is right)\n", told, n, float64(told)/float64(n), lo, hi)
	}
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func moments(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / math.Max(1, float64(len(x)-1))
	}
	return mean, math.Sqrt(sd)
}
