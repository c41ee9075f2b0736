package quantity

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode/utf8"
)

// near is a few roundings of a product of three factors.
const near = 1e-15

func close(a, b float64) bool { return math.Abs(a-b) <= 4*near*math.Max(math.Abs(a), math.Abs(b)) }

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text  string
		dim   Dimension
		value float64
		u     float64
		kind  Kind
		dof   float64
	}{
		{"14.8 V", Voltage, 14.8, 0, Exact, 0},
		{"-0.5 s", Time, -0.5, 0, Exact, 0},
		{"−0.5 s", Time, -0.5, 0, Exact, 0},
		{"+3 mm", Length, 3e-3, 0, Exact, 0},
		{"1.2e-3 N·m", Torque, 1.2e-3, 0, Exact, 0},
		{"30%", Ratio, 0.30, 0, Exact, 0},
		{"0.33 1", Ratio, 0.33, 0, Exact, 0},
		{"40.00(2) mm", Length, 0.04, 2e-5, Standard, 0},
		{"40.00(0.02) mm", Length, 0.04, 2e-5, Standard, 0},
		{"2700(10) kg/m3", Density, 2700, 10, Standard, 0},
		{"12.34(5)e-3 kg", Mass, 12.34e-3, 0.05e-3, Standard, 0},
		{"100.02147(35) g", Mass, 0.10002147, 3.5e-7, Standard, 0},
		{"9.92(1) g (dof=12)", Mass, 9.92e-3, 1e-5, Standard, 12},
		{"12.31 ± 0.02 g (k=2)", Mass, 12.31e-3, 1e-5, Expanded, 0},
		{"12.31 +/- 0.02 g (k=2)", Mass, 12.31e-3, 1e-5, Expanded, 0},
		{"12.31 +- 0.02 g (k = 2, dof = 60)", Mass, 12.31e-3, 1e-5, Expanded, 60},
		{"40.00 ± 0.02 mm (limits)", Length, 0.04, 2e-5 / math.Sqrt(3), Limits, 0},
		{"21.3(2) °C", Temperature, 294.45, 0.2, Standard, 0},
		{"0.10(5) mN·m/N", TorquePerForce, 1e-4, 5e-5, Standard, 0},
		{"3000 rpm", AngularSpeed, 100 * math.Pi, 0, Exact, 0},
		{"0.31(2) g·cm2", Inertia, 3.1e-8, 2e-9, Standard, 0},
		{"2.6 %", Any, 0.026, 0, Exact, 0},
		{"0 g", Mass, 0, 0, Exact, 0},
	} {
		p, err := Parse(c.text, c.dim)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if !close(p.Value, c.value) || !close(p.U, c.u) || p.Kind != c.kind || p.DoF != c.dof {
			t.Errorf("%q: got %v ± %v %s %v; want %v ± %v %s %v", c.text, p.Value, p.U, p.Kind, p.DoF, c.value, c.u, c.kind, c.dof)
		}
	}
}

// JCGM 100:2008, 7.2.2: forms 2, 3 (standard uncertainty) and 7.2.4 (expanded, k = 2.26,
// ν = 9) of the 100 g weight state one thing. Memory; U/k recomputed.
func TestOneThingInThreeWays(t *testing.T) {
	for _, text := range []string{"100.02147(35) g", "100.02147(0.00035) g", "100.02147 ± 0.00079 g (k=2.26, dof=9)"} {
		p, err := Parse(text, Mass)
		if err != nil {
			t.Fatal(err)
		}
		// The print rounds U to two digits.
		if math.Abs(p.U-0.35e-6) > 0.002e-6 {
			t.Errorf("%s: u = %g kg", text, p.U)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		text   string
		dim    Dimension
		offset int
		want   string
	}{
		{"", Voltage, 0, `got nothing; want a number with its unit: V or mV (voltage)`},
		{"14.8", Voltage, 4, `got "14.8" without a unit; want V or mV (voltage)`},
		{"0.33", Ratio, 4, `got "0.33" without a unit; want 1, % or ppm (ratio) (did you mean "0.33 1" or "0.33 %"?)`},
		{"12 rpm", Voltage, 3, `got 12 rpm (angular speed); want V or mV (voltage)`},
		{"12 volt", Voltage, 3, `got an unknown unit "volt"; want V or mV (voltage)`},
		{"12 MV", Voltage, 3, `got an unknown unit "MV"; want V or mV (voltage) (did you mean "mV"?)`},
		{"1,25 V", Voltage, 0, `got "1,25"; want a decimal number written with "." (did you mean "1.25"?)`},
		{"1_000 V", Voltage, 0, `got "1_000"; want a decimal number written with "." (did you mean "1000"?)`},
		{".5 V", Voltage, 0, `got ".5"; want a decimal number written with "." (did you mean "0.5"?)`},
		{"5. V", Voltage, 0, `got "5."; want digits on both sides of the decimal point`},
		{"007 V", Voltage, 0, `got "007"; want a number without leading zeros`},
		{"NaN V", Voltage, 0, `got "NaN"; want a finite number`},
		{"-.inf V", Voltage, 0, `got "-.inf"; want a finite number`},
		{"1e99 V", Voltage, 0, `got "1e99"; want 0 or a magnitude between 1e-30 and 1e30`},
		{"abc", Voltage, 0, `got "abc"; want a decimal number written with "."`},
		{"40.00 ± 0.02 mm", Length, 6, `got a bare ±; want what it means behind the unit: (k=2) for an expanded uncertainty or (limits) for bounds (a bare ± does not say how sure it is; 40.00(2) mm states a standard uncertainty)`},
		{"40.00 ± -0.02 mm (k=2)", Length, 9, `got a negative uncertainty "-0.02"; want one above 0`},
		{"40.00(-2) mm", Length, 5, `got a negative uncertainty "(-2)"; want one above 0`},
		{"40.00(0) mm", Length, 5, `got an uncertainty of 0; want one above 0 (leave it out where the value is exact)`},
		{"40.00(2 mm", Length, 5, `got "(2 mm"; want a closing bracket`},
		{"40.00(x) mm", Length, 5, `got "(x)"; want the standard uncertainty in brackets, such as 40.00(2) or 40.00(0.02)`},
		{"40.00(2) ± 0.02 mm", Length, 9, `got two uncertainties; want one`},
		{"40.00 mm (k=2)", Length, 9, `got "(k=2)" without ±; want ± before it, or neither`},
		{"40.00 mm (dof=2)", Length, 9, `got "(dof=2)" without an uncertainty; want an uncertainty before it, or neither`},
		{"40 ± 1 mm (k=2, limits)", Length, 11, `got "(k=2, limits)"; want either k or limits`},
		{"40 ± 1 mm (k=0)", Length, 11, `got "(k=0)" behind the unit; want nothing more, or one of (k=2), (limits), (dof=12), (k=2, dof=12)`},
		{"12.31 g ± 0.02 g (k=2)", Mass, 6, `got an unknown unit "g ± 0.02 g"; want the unit once, behind the uncertainty`},
	} {
		_, err := Parse(c.text, c.dim)
		f, ok := err.(*Fault)
		if !ok {
			t.Errorf("%q: no fault but %v", c.text, err)
			continue
		}
		if f.Offset != c.offset || f.Error() != c.want {
			t.Errorf("%q:\n got %d %s\nwant %d %s", c.text, f.Offset, f, c.offset, c.want)
		}
	}
}

func TestParseSequence(t *testing.T) {
	s, err := ParseSequence("30 % -> 70 % → 30 %", Ratio, 1, 0)
	if err != nil || len(s) != 3 || !close(s[1].Value, 0.7) {
		t.Fatal(s, err)
	}
	_, err = ParseSequence("30 % -> 70", Ratio, 1, 0)
	if f, ok := err.(*Fault); !ok || f.Offset != 10 {
		t.Errorf("%v %+v", err, f)
	}
	if _, err = ParseSequence("30 %", Ratio, 2, 2); err == nil {
		t.Error("one of two was taken")
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"14.8 V", "40.00(2) mm", "12.31 ± 0.02 g (k=2)", "40.00 ± 0.02 mm (limits)", "−21.3(2)e1 °C", "9.92(1) g (dof=12)", "1 %", "1e30 K", "0(1) mg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Parse(text, Any)
		if err != nil {
			if f := err.(*Fault); f.Offset < 0 || f.Offset > len(text) || f.Got == "" || f.Want == "" {
				t.Fatalf("%q: %+v", text, f)
			}
			return
		}
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) || !(p.U >= 0) || (p.U == 0) != (p.Kind == Exact) {
			t.Fatalf("%q: %+v", text, p)
		}
		q, err := Parse(p.String(), p.Unit.Dim)
		if err != nil {
			t.Fatalf("%q -> %q: %v", text, p.String(), err)
		}
		if q.Value != p.Value || !close(q.U, p.U) || q.DoF != p.DoF {
			t.Fatalf("%q -> %q: %+v, %+v", text, p.String(), p, q)
		}
	})
}

func TestNearest(t *testing.T) {
	keys := []string{"supply", "source", "sha256", "kind", "command"}
	for word, want := range map[string]string{"suply": "supply", "supplly": "supply", "Kind": "kind", "knid": "kind", "comand": "command", "xyz": "", "": ""} {
		if got := Nearest(word, keys); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
	// One edit each, and an exchange of neighbours counts as one.
	for _, c := range []struct {
		a, b string
		d    int
	}{{"abc", "abc", 0}, {"abc", "acb", 1}, {"abc", "ab", 1}, {"abc", "xabc", 1}, {"abc", "abd", 1}, {"kitten", "sitting", 3}} {
		if d := edits([]rune(c.a), []rune(c.b)); d != c.d {
			t.Errorf("edits(%s, %s) = %d, want %d", c.a, c.b, d, c.d)
		}
	}
}

func TestUnits(t *testing.T) {
	seen := map[string]string{}
	for _, u := range Units(Any) {
		if u.Source == "" || u.Dim == Any || !(u.Factor > 0) {
			t.Errorf("%s: a row without source, kind or factor", u.Name)
		}
		for _, s := range append([]string{u.Name}, u.Aliases...) {
			if !utf8.ValidString(s) || strings.ContainsAny(s, "(,") {
				t.Errorf("%q cannot be read as a unit", s)
			}
			if other, twice := seen[s]; twice {
				t.Errorf("%q is both %s and %s", s, other, u.Name)
			}
			seen[s] = u.Name
			p, err := Parse("7 "+s, u.Dim)
			if err != nil || p.Unit.Name != u.Name {
				t.Errorf("%q: %v, read as %s", s, err, p.Unit.Name)
			}
		}
		if got := u.Number(u.SI(12.5)); math.Abs(got-12.5) > 1e-12 {
			t.Errorf("%s: 12.5 comes back as %v", u.Name, got)
		}
	}
}

// Factors against printed conversion factors: NIST SP 811 (2008), appendix B.8, memory,
// to the digits printed there.
func TestFactorsAgainstPrint(t *testing.T) {
	for unit, want := range map[string]string{"kgf·cm": "9.80665E-02", "ozf·in": "7.061552E-03", "ozf": "2.780139E-01", "rpm": "1.047198E-01", "in": "2.540000E-02", "mbar": "1.000000E+02"} {
		u, _ := Lookup(unit)
		digits := len(strings.Split(want, "E")[0]) - 2
		if got := fmt.Sprintf("%.*E", digits, u.Factor); got != want {
			t.Errorf("%s: %s, want %s", unit, got, want)
		}
	}
}

func TestConstantsHaveSources(t *testing.T) {
	for _, c := range Constants() {
		if c.Source == "" || c.Symbol == "" || c.Name == "" || c.Unit == "" || !(c.Value > 0) || c.U < 0 {
			t.Errorf("incomplete: %+v", c)
		}
		if u, ok := Lookup(c.Unit); !ok || u.Factor != 1 {
			t.Errorf("%s is not in SI units: %s", c.Name, c.Unit)
		}
	}
}

func TestFormat(t *testing.T) {
	mNm, _ := Lookup("mN·m")
	if got := Format(0.0125, mNm); got != "12.5 mN·m" {
		t.Error(got)
	}
}
