package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Kind says how an uncertainty was stated.
type Kind string

// The ways of stating an uncertainty.
const (
	Exact    Kind = "exact"
	Standard Kind = "standard"
	Expanded Kind = "expanded"
	Limits   Kind = "limits"
)

// Parsed is a quantity as read.
type Parsed struct {
	// Value in SI; U its standard uncertainty in SI, 0 for Exact.
	Value float64
	U     float64
	Kind  Kind
	// DoF behind U; 0: infinitely many.
	DoF float64
	// K is the coverage factor of an Expanded uncertainty, 0 otherwise.
	K float64
	// Number as written, in Unit.
	Number float64
	Unit   Unit
	// Text as written, surrounding space taken off.
	Text string
}

// Fault is what is wrong with a text, and where: Offset is the byte at which it shows.
type Fault struct {
	Offset int
	Got    string
	Want   string
	Hint   string
}

// Error is "got X; want Y (hint)".
func (f *Fault) Error() string {
	s := "got " + f.Got + "; want " + f.Want
	if f.Hint != "" {
		s += " (" + f.Hint + ")"
	}
	return s
}

// Magnitudes beyond these are slips of the hand: nothing on a bench is larger
// than 1e30 or, unless zero, smaller than 1e-30 in any of the units.
const (
	largest  = 1e30
	smallest = 1e-30
	// longest text that is read, in bytes: a number of full precision with
	// uncertainty, unit and coverage has under 80.
	longest = 200
)

// Parse reads one quantity of the given kind (Any: of whatever kind its unit says).
// The error is a *Fault.
func Parse(text string, dim Dimension) (Parsed, error) {
	s := &scanner{text: text, dim: dim}
	if len(text) > longest {
		return Parsed{}, s.fault(0, fmt.Sprintf("%d characters", utf8.RuneCountInString(text)), "a number with its unit")
	}
	s.space()
	start := s.pos
	p, err := s.quantity()
	if err != nil {
		return Parsed{}, err
	}
	p.Text = strings.TrimRight(text[start:], " \t")
	return p, nil
}

// ParseSequence reads quantities of one kind with "->" (or "→") between them,
// at least low and at most high (0: any number) of them.
func ParseSequence(text string, dim Dimension, low, high int) ([]Parsed, error) {
	var out []Parsed
	for at := 0; ; {
		rest, width, end := text[at:], 0, len(text)-at
		for _, arrow := range []string{"->", "→"} {
			if i := strings.Index(rest, arrow); i >= 0 && i < end {
				end, width = i, len(arrow)
			}
		}
		p, err := Parse(rest[:end], dim)
		if err != nil {
			f := err.(*Fault)
			f.Offset += at
			return nil, f
		}
		out = append(out, p)
		if width == 0 {
			break
		}
		at += end + width
	}
	if len(out) < low || (high > 0 && len(out) > high) {
		want := fmt.Sprintf("at least %d with -> between them", low)
		if low == high {
			want = fmt.Sprintf("%d with -> between them", low)
		}
		return nil, &Fault{Got: fmt.Sprintf("%d of %q", len(out), text), Want: want}
	}
	return out, nil
}

// scanner walks over one text.
type scanner struct {
	text string
	pos  int
	dim  Dimension
}

func (s *scanner) fault(at int, got, want string) *Fault {
	return &Fault{Offset: min(at, len(s.text)), Got: got, Want: want}
}

func (s *scanner) space() {
	for s.pos < len(s.text) && (s.text[s.pos] == ' ' || s.text[s.pos] == '\t') {
		s.pos++
	}
}

// take steps over the first of the given words that stands here.
func (s *scanner) take(words ...string) bool {
	for _, w := range words {
		if strings.HasPrefix(s.text[s.pos:], w) {
			s.pos += len(w)
			return true
		}
	}
	return false
}

func (s *scanner) digits() string {
	start := s.pos
	for s.pos < len(s.text) && s.text[s.pos] >= '0' && s.text[s.pos] <= '9' {
		s.pos++
	}
	return s.text[start:s.pos]
}

// quantity is number, uncertainty, unit, coverage.
func (s *scanner) quantity() (Parsed, error) {
	p := Parsed{Kind: Exact}
	n, err := s.number(true)
	if err != nil {
		return p, err
	}
	p.Number = n.value
	spread, spreadAt := 0.0, -1
	if n.u > 0 {
		p.Kind, spread = Standard, n.u
	}
	s.space()
	if at := s.pos; s.take("±", "+/-", "+-", "+/−", "+−") {
		if p.Kind != Exact {
			return p, s.fault(at, "two uncertainties", "one")
		}
		s.space()
		spreadAt = at
		if spread, err = s.spread(); err != nil {
			return p, err
		}
		s.space()
	}
	if p.Unit, err = s.unit(n); err != nil {
		return p, err
	}
	s.space()
	c, err := s.coverage()
	if err != nil {
		return p, err
	}
	if err := p.settle(s, c, spread, spreadAt); err != nil {
		return p, err
	}
	p.Value = p.Unit.SI(p.Number)
	p.U *= p.Unit.Factor
	return p, nil
}

// settle turns the spread into a standard uncertainty by what the coverage says.
func (p *Parsed) settle(s *scanner, c coverage, spread float64, spreadAt int) error {
	switch {
	case spreadAt < 0 && (c.k > 0 || c.limits):
		return s.fault(c.at, fmt.Sprintf("%q without ±", c.text), "± before it, or neither")
	case spreadAt < 0 && p.Kind == Exact && c.dof > 0:
		return s.fault(c.at, fmt.Sprintf("%q without an uncertainty", c.text), "an uncertainty before it, or neither")
	case spreadAt < 0:
		p.U = spread
	case c.k > 0 && c.limits:
		return s.fault(c.at, fmt.Sprintf("%q", c.text), "either k or limits")
	case c.k > 0:
		p.Kind, p.U, p.K = Expanded, spread/c.k, c.k
	case c.limits:
		p.Kind, p.U = Limits, spread/math.Sqrt(3)
	default:
		f := s.fault(spreadAt, "a bare ±", "what it means behind the unit: (k=2) for an expanded uncertainty or (limits) for bounds")
		f.Hint = "a bare ± does not say how sure it is; 40.00(2) mm states a standard uncertainty"
		return f
	}
	if p.Kind != Exact && p.U < 10*smallest {
		return s.fault(max(spreadAt, 0), "an uncertainty below 1e-29", "none or a larger one")
	}
	p.DoF = c.dof
	return nil
}

// numeral is a decimal number with the uncertainty written in its brackets.
type numeral struct {
	value float64
	u     float64
	text  string
}

// number reads sign, digits, point, digits, (uncertainty), exponent.
func (s *scanner) number(brackets bool) (numeral, error) {
	start := s.pos
	negative := s.take("-", "−")
	if !negative {
		s.take("+")
	}
	whole := s.digits()
	if whole == "" {
		return numeral{}, s.notNumber(start)
	}
	if len(whole) > 1 && whole[0] == '0' {
		f := s.fault(start, fmt.Sprintf("%q", s.word(start)), "a number without leading zeros")
		return numeral{}, f
	}
	decimals := ""
	if s.pos < len(s.text) && s.text[s.pos] == '.' {
		s.pos++
		if decimals = s.digits(); decimals == "" {
			return numeral{}, s.fault(start, fmt.Sprintf("%q", s.word(start)), "digits on both sides of the decimal point")
		}
	}
	if s.pos < len(s.text) && (s.text[s.pos] == ',' || s.text[s.pos] == '_') {
		return numeral{}, s.notNumber(start)
	}
	inner, innerAt := "", s.pos
	if brackets && s.take("(") {
		end := strings.IndexByte(s.text[s.pos:], ')')
		if end < 0 {
			return numeral{}, s.fault(innerAt, fmt.Sprintf("%q", s.text[innerAt:]), "a closing bracket")
		}
		inner = s.text[s.pos : s.pos+end]
		s.pos += end + 1
	}
	exponent := s.exponent()
	n := numeral{text: s.text[start:s.pos]}
	var err error
	if n.value, err = s.float(start, whole+"."+decimals+"0"+exponent); err != nil {
		return n, err
	}
	if negative {
		n.value = -n.value
	}
	if s.pos > innerAt && s.text[innerAt:innerAt+1] == "(" {
		n.u, err = s.bracket(innerAt, inner, len(decimals), exponent)
	}
	return n, err
}

// exponent reads e±digits where it stands, and gives it as strconv wants it.
func (s *scanner) exponent() string {
	start := s.pos
	if !s.take("e", "E") {
		return ""
	}
	sign := ""
	if s.take("-", "−") {
		sign = "-"
	} else {
		s.take("+")
	}
	d := s.digits()
	if d == "" {
		s.pos = start
		return ""
	}
	return "e" + sign + d
}

func (s *scanner) float(at int, text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if a := math.Abs(v); err != nil || a > largest || (a < smallest && strings.ContainsAny(strings.SplitN(text, "e", 2)[0], "123456789")) {
		return 0, s.fault(at, fmt.Sprintf("%q", s.word(at)), "0 or a magnitude between 1e-30 and 1e30")
	}
	return v, nil
}

// bracket is the uncertainty in brackets behind a number with the given
// decimals: whole digits count in the last place, a decimal number as it stands.
func (s *scanner) bracket(at int, inner string, decimals int, exponent string) (float64, error) {
	b := &scanner{text: inner}
	negative := b.take("-", "−")
	whole := b.digits()
	point := b.take(".")
	if point && b.digits() == "" || whole == "" || b.pos != len(inner) {
		f := s.fault(at, fmt.Sprintf("\"(%s)\"", inner), "the standard uncertainty in brackets, such as 40.00(2) or 40.00(0.02)")
		return 0, f
	}
	if negative {
		return 0, s.fault(at, fmt.Sprintf("a negative uncertainty \"(%s)\"", inner), "one above 0")
	}
	scaled := inner
	if point {
		scaled += exponent
	} else {
		e := -decimals
		if exponent != "" {
			x, err := strconv.Atoi(exponent[1:])
			if err != nil {
				return 0, s.fault(at, fmt.Sprintf("%q", exponent), "0 or a magnitude between 1e-30 and 1e30")
			}
			e += x
		}
		scaled += "e" + strconv.Itoa(e)
	}
	u, err := s.float(at, scaled)
	if err != nil {
		return 0, err
	}
	return u, s.aboveZero(at, u)
}

// spread reads what follows ±.
func (s *scanner) spread() (float64, error) {
	at := s.pos
	n, err := s.number(false)
	if err != nil {
		return 0, err
	}
	if n.value < 0 {
		return 0, s.fault(at, fmt.Sprintf("a negative uncertainty %q", n.text), "one above 0")
	}
	return n.value, s.aboveZero(at, n.value)
}

func (s *scanner) aboveZero(at int, u float64) error {
	if u > 0 {
		return nil
	}
	f := s.fault(at, "an uncertainty of 0", "one above 0")
	f.Hint = "leave it out where the value is exact"
	return f
}

// word is the text from at to the next space.
func (s *scanner) word(at int) string {
	w := s.text[at:]
	if i := strings.IndexAny(w, " \t"); i > 0 {
		w = w[:i]
	}
	return w
}

// notNumber says what stands where a number is due.
func (s *scanner) notNumber(at int) *Fault {
	w := s.word(at)
	if w == "" {
		return s.fault(at, "nothing", "a number with its unit: "+names(s.dim))
	}
	f := s.fault(at, fmt.Sprintf("%q", w), `a decimal number written with "."`)
	switch lower := strings.ToLower(strings.TrimLeft(w, "+-−.")); {
	case strings.HasPrefix(lower, "nan"), strings.HasPrefix(lower, "inf"):
		f.Want = "a finite number"
	case strings.Contains(w, ","):
		f.Hint = "did you mean " + strconv.Quote(strings.ReplaceAll(w, ",", ".")) + "?"
	case strings.Contains(w, "_"):
		f.Hint = "did you mean " + strconv.Quote(strings.ReplaceAll(w, "_", "")) + "?"
	case strings.HasPrefix(w, "."):
		f.Hint = "did you mean " + strconv.Quote("0"+w) + "?"
	}
	return f
}

// unit reads the unit up to the coverage brackets or the end.
func (s *scanner) unit(n numeral) (Unit, error) {
	start := s.pos
	end := len(s.text)
	if i := strings.IndexByte(s.text[start:], '('); i >= 0 {
		end = start + i
	}
	word := strings.TrimRight(s.text[start:end], " \t")
	s.pos = start + len(word)
	if word == "" {
		f := s.fault(start, fmt.Sprintf("%q without a unit", n.text), names(s.dim))
		if s.dim == Ratio {
			f.Hint = fmt.Sprintf("did you mean %q or %q?", n.text+" 1", n.text+" %")
		}
		return Unit{}, f
	}
	u, ok := Lookup(word)
	if !ok {
		f := s.fault(start, fmt.Sprintf("an unknown unit %q", word), names(s.dim))
		if near := nearestUnit(word, s.dim); near != "" {
			f.Hint = fmt.Sprintf("did you mean %q?", near)
		}
		if i := strings.IndexAny(word, "±+"); i >= 0 {
			f.Want, f.Hint = "the unit once, behind the uncertainty", ""
		}
		return Unit{}, f
	}
	if s.dim != Any && u.Dim != s.dim {
		return Unit{}, s.fault(start, fmt.Sprintf("%s %s (%s)", n.text, word, u.Dim), names(s.dim))
	}
	return u, nil
}

// nearestUnit is the unit of the kind whose spelling is nearest.
func nearestUnit(word string, d Dimension) string {
	var spellings []string
	for _, u := range Units(d) {
		spellings = append(spellings, u.Name)
		spellings = append(spellings, u.Aliases...)
	}
	return Nearest(word, spellings)
}

// coverage is what stands in the brackets behind the unit.
type coverage struct {
	at     int
	text   string
	k      float64
	dof    float64
	limits bool
}

// coverage reads (k=2), (limits), (dof=12) and their combinations.
func (s *scanner) coverage() (coverage, error) {
	c := coverage{at: s.pos, text: s.text[s.pos:]}
	if s.pos == len(s.text) {
		return c, nil
	}
	body, ok := strings.CutPrefix(strings.TrimRight(c.text, " \t"), "(")
	body, closed := strings.CutSuffix(body, ")")
	wrong := s.fault(c.at, fmt.Sprintf("%q behind the unit", c.text), "nothing more, or one of (k=2), (limits), (dof=12), (k=2, dof=12)")
	if !ok || !closed {
		return c, wrong
	}
	for _, item := range strings.Split(body, ",") {
		name, value, has := strings.Cut(strings.TrimSpace(item), "=")
		name = strings.TrimSpace(name)
		if name == "limits" && !has && !c.limits {
			c.limits = true
			continue
		}
		v := &scanner{text: strings.TrimSpace(value)}
		n, err := v.number(false)
		switch {
		case err != nil || v.pos != len(v.text):
			return c, wrong
		case name == "k" && c.k == 0 && n.value >= 1 && n.value <= 100:
			c.k = n.value
		case name == "dof" && c.dof == 0 && n.value >= 1 && n.value <= 1e6:
			c.dof = n.value
		default:
			return c, wrong
		}
	}
	return c, nil
}
