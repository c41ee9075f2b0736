//go:build external

package fit

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"spinledger/stages/kit/numeric"
	"spinledger/stages/kit/spin"
)

// byScipy is what .ci/scipy/step.py prints.
type byScipy struct {
	Ms   float64            `json:"ms"`
	J    map[string]float64 `json:"j"`
	LagS float64            `json:"lag_s"`
}

func scipy(t testing.TB, in Input, rounds int) (out byScipy) {
	t.Helper()
	s, windows := in.Recording.Samples, [][2]float64{}
	for _, g := range in.Recording.Segments {
		windows = append(windows, [2]float64{g.FromS, g.ToS})
	}
	text, err := json.Marshal(map[string]any{"time_s": s.TimeS, "speed_rad_s": s.SpeedRadPerS, "torque_nm": s.TorqueNm,
		"lag_s": in.Lag.TauS.Mean, "lag_u_s": in.Lag.TauS.Std(), "load": in.Curve.Coef[0].Mean / 1e6, "windows": windows})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "run.json")
	if err := os.WriteFile(name, text, 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("python3", filepath.Join("..", "..", ".ci", "scipy", "step.py"), name, strconv.Itoa(rounds))
	cmd.Env = append(os.Environ(), "OPENBLAS_NUM_THREADS=1", "OMP_NUM_THREADS=1")
	cmd.Stderr = os.Stderr
	text, err = cmd.Output()
	if err != nil {
		t.Fatalf("python3 with scipy (Debian: python3-scipy): %v", err)
	}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestStepBySciPy: regressions by SciPy on the same samples, which share no code with this package, give the same inertia.
func TestStepBySciPy(t *testing.T) {
	for _, lag := range []float64{0, 0.003} {
		in := input(1, 0, lag, 0.004)
		f, other := fitted(t, in), scipy(t, in, 1)
		for form, ours := range map[string]float64{"momentum": f.JKgM2.Mean, "energy": f.JEnergy, "up": f.JUp, "down": f.JDown, "whole": f.JWhole} {
			near(t, form, ours, other.J[form], 1e-4)
		}
		near(t, "lag", 1+lag, 1+other.LagS, 2e-4)
	}
}

// BenchmarkStepAgainstSciPy fits one step run with all second opinions here and by SciPy, in turns, on one core, in processor
// time of SciPy's part without Python's start:
//
//	go test ./stages/fit -tags external -run xxx -bench AgainstSciPy -benchtime 5x -cpu 1
func BenchmarkStepAgainstSciPy(b *testing.B) {
	in := input(1, 0, 1e-3, 0.005)
	rows := float64(len(in.Recording.Samples.TimeS)) / 10_000
	var ours, theirs []float64
	for b.Loop() {
		const rounds = 20
		start := time.Now()
		for range rounds {
			if out, err := Run(in, DefaultOptions()); err != nil || len(out.Fits) != 1 || out.Fits[0].Kind != spin.Step {
				b.Fatal(err, out.Refusals)
			}
		}
		ours = append(ours, time.Since(start).Seconds()*1e3/rounds)
		theirs = append(theirs, scipy(b, in, rounds).Ms)
	}
	b.ReportMetric(numeric.Median(ours)/rows, "ms/10k-rows")
	b.ReportMetric(numeric.Median(theirs)/rows, "scipy-ms/10k-rows")
	b.ReportMetric(numeric.Median(ours)/numeric.Median(theirs), "of-scipy")
	b.ReportMetric(0, "ns/op")
}
