package subtract

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

const scaleSource = "bench/desk/scale"

// runs are six chosen step runs of a rotor about j, kg·m², scattered by 0.01 %,
// with a shared torque scale of relative standard uncertainty u and a lag
// that moves every rotor by the same lagJ.
func runs(rotor spin.Rotor, j, u, lagJ float64) []spin.RunFit {
	var out []spin.RunFit
	for i, d := range []float64{-2, -1, 0, 0, 1, 2} {
		v := j * (1 + 5e-5*d)
		out = append(out, spin.RunFit{
			Job: "j", Recording: "j/" + rotor.ID, Run: fmt.Sprintf("%s#%d", rotor.ID, i+1), Kind: spin.Step,
			Rotor: rotor.ID, Mounting: rotor.ID, Session: "day", Source: spin.Recorded, Chosen: true, Duty: 0.7, SupplyV: 12,
			JKgM2:   uncertain.Exact(v).With(uncertain.Part{Source: scaleSource, Contribution: u * v}, uncertain.Part{Source: "j/session:day/lag", Contribution: lagJ}),
			RandomU: 1e-4 * j,
		})
	}
	return out
}

type body struct {
	parts []string
	j     float64
}

func adjusted(t *testing.T, u, lagJ float64, parts []spin.Part, bodies ...body) Output {
	t.Helper()
	in := Input{Job: "j", Parts: parts}
	for _, b := range bodies {
		r := spin.NewRotor(b.parts)
		in.Rotors = append(in.Rotors, r)
		in.Fits = append(in.Fits, runs(r, b.j, u, lagJ)...)
	}
	out, err := Run(in, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func find(out Output, id string) *spin.Number {
	for i := range out.Numbers {
		if out.Numbers[i].ID == id {
			return &out.Numbers[i]
		}
	}
	return nil
}

func value(t *testing.T, out Output, id string, want float64) spin.Number {
	t.Helper()
	n := find(out, id)
	if n == nil {
		t.Fatalf("no %s in %+v; refused: %+v", id, out.Numbers, out.Refusals)
	}
	if math.Abs(n.Value.Mean-want) > 1e-9*want {
		t.Errorf("%s: %.12g, want %.12g", id, n.Value.Mean, want)
	}
	return *n
}

// TestDifference: I(a+b) − I(b) = I(a); a lag that moves both rotors alike
// is gone, a scale acts on the difference alone.
func TestDifference(t *testing.T) {
	bare, disk := body{nil, 6e-5}, body{[]string{"disk"}, 2e-4}
	out := adjusted(t, 0.004, 3e-7, nil, bare, disk)
	n := value(t, out, "j/disk/inertia", 1.4e-4)
	if got := n.Value.Part("j/session:day/lag"); math.Abs(got) > 1e-15 {
		t.Errorf("lag part of the difference %g, want none", got)
	}
	if got := value(t, out, "j/bare/inertia", 6e-5).Value.Part("j/session:day/lag"); math.Abs(got-3e-7) > 1e-15 {
		t.Errorf("lag part of bare %g, want 3e-7", got)
	}
	if got, want := n.Value.Part(scaleSource), 0.004*1.4e-4; math.Abs(got-want) > 1e-9*want {
		t.Errorf("scale part %g, want %g", got, want)
	}
	// Own scatter does not cancel: quadrature of both rotors' means and floors.
	own := 0.0
	for _, p := range n.Value.Parts {
		if strings.HasSuffix(p.Source, "/scatter") || strings.HasSuffix(p.Source, "/floor") {
			own += p.Contribution * p.Contribution
		}
	}
	// Six runs −2 −1 0 0 1 2 times 5e-5: s = √2·5e-5; the floor is 0.03 %.
	if want := math.Hypot(6e-5, 2e-4) * math.Hypot(math.Sqrt2*5e-5/math.Sqrt(6), 3e-4); math.Abs(math.Sqrt(own)-want) > 1e-6*want {
		t.Errorf("own parts %g, want %g", math.Sqrt(own), want)
	}
	double := value(t, adjusted(t, 0.008, 3e-7, nil, bare, disk), "j/disk/inertia", 1.4e-4)
	if got, want := double.Value.Part(scaleSource), 2*n.Value.Part(scaleSource); math.Abs(got-want) > 1e-9*want {
		t.Errorf("scale part with twice the sigma %g, want %g", got, want)
	}
}

// TestSum: a nut and a disk that are never run apart are given as their sum.
func TestSum(t *testing.T) {
	out := adjusted(t, 0.004, 0, nil, body{nil, 6e-5}, body{[]string{"disk", "nut"}, 2e-4})
	n := value(t, out, "j/disk+nut/inertia", 1.4e-4)
	if n.Note != "sum of parts that were never run apart" {
		t.Errorf("note %q", n.Note)
	}
	if find(out, "j/disk/inertia") != nil || find(out, "j/nut/inertia") != nil {
		t.Errorf("a part of the sum was given alone: %+v", out.Numbers)
	}
	// A declared nut tells the disk.
	nut := uncertain.New(1e-6, 1e-8, 0, "parts/nut/inertia")
	out = adjusted(t, 0.004, 0, []spin.Part{{ID: "nut", Shape: "fastener", InertiaKgM2: &nut}}, body{nil, 6e-5}, body{[]string{"disk", "nut"}, 2e-4})
	if n := value(t, out, "j/disk/inertia", 1.39e-4); n.Note != "" || math.Abs(n.Value.Part("parts/nut/inertia")+1e-8) > 1e-14 {
		t.Errorf("note %q, nut's part %g, want -1e-8", n.Note, n.Value.Part("parts/nut/inertia"))
	}
}

// TestUnseparable: of a+b and b+c nothing tells a, b or c; the motor's own rotor is still given.
func TestUnseparable(t *testing.T) {
	out := adjusted(t, 0.004, 0, nil, body{nil, 6e-5}, body{[]string{"a", "b"}, 1.0e-4}, body{[]string{"b", "c"}, 1.2e-4})
	value(t, out, "j/bare/inertia", 6e-5)
	if len(out.Refusals) == 0 {
		t.Fatalf("nothing refused: %+v", out.Numbers)
	}
	for _, r := range out.Refusals {
		if r.Code != "unseparable" || r.Waivable || !strings.Contains(r.Text, "run it without them, or declare an inertia") {
			t.Errorf("%+v", r)
		}
	}
	for _, id := range []string{"a", "b", "c"} {
		if n := find(out, "j/"+id+"/inertia"); n != nil {
			t.Errorf("%s given as %g", id, n.Value.Mean)
		}
	}
}
