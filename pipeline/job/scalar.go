package job

import (
	"fmt"
	"path"
	"regexp"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"

	"spinledger/stages/kit/quantity"
)

var (
	wholeForm = regexp.MustCompile(`^(0|[1-9][0-9]{0,8})$`)
	hashForm  = regexp.MustCompile(`^[0-9a-f]{64}$`)
	dateForm  = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)
)

// longestText of a remark, in bytes.
const longestText = 2000

// scalar reads one scalar by its key's type.
func (f *file) scalar(v *value) {
	if null(v.node) {
		hint := ""
		if v.text != "" {
			hint = "quote it if it is meant as text"
		}
		v.fault("nothing", v.key.wantScalar(), hint)
		return
	}
	if v.node.Kind != yaml.ScalarNode {
		v.fault(shape(v.node), v.key.wantScalar(), "")
		return
	}
	switch v.key.Type {
	case Quantity:
		f.quantity(v)
	case Sequence:
		f.sequence(v)
	case Reading:
		f.reading(v)
	case UnitName:
		f.unit(v)
	case Integer:
		f.integer(v)
	case YesNo:
		f.yesNo(v)
	default:
		f.word(v)
	}
}

// word reads the types that are texts of some form.
func (f *file) word(v *value) {
	ok, hint := true, ""
	switch k := v.key; k.Type {
	case Choice:
		ok, hint = contains(k.Choices, v.text), did(v.text, k.Choices)
	case Name, Names:
		ok, hint = k.Form.re.MatchString(v.text), lower(v.text, k.Form)
	case Date:
		ok = IsDate(v.text)
	case Hash:
		ok = hashForm.MatchString(v.text)
		if lower := strings.ToLower(v.text); !ok && hashForm.MatchString(lower) {
			hint = "did you mean the same in lower case?"
		}
	case Column:
		ok = v.text != "" && len(v.text) <= 200
		if n, err := strconv.Atoi(v.text); err == nil && v.node.Tag == "!!int" {
			ok = wholeForm.MatchString(v.text) && n >= 1 && n <= 10000
			v.integer = n
		}
	case Averaging:
		ok = f.averaging(v)
	case Path, Paths:
		ok = v.text != ""
	case Text, Reasons:
		ok = strings.TrimSpace(v.text) != "" && len(v.text) <= longestText
	default:
		panic("job: no reader for type " + string(k.Type))
	}
	if !ok && !v.bad {
		v.fault(quote(v.text), v.key.wantScalar(), hint)
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// wantScalar is what a scalar may be, in words.
func (k *Key) wantScalar() string {
	switch k.Type {
	case Quantity, Reading:
		w := "a quantity with its unit"
		if d := k.dim(); d != quantity.Any {
			w = article(d) + " such as " + k.example()
		}
		if k.Sign != AnySign {
			w += ", " + string(k.Sign)
		}
		return w
	case Sequence:
		return "quantities with -> between them, such as " + k.example()
	case UnitName:
		return "one of " + strings.Join(k.units(), ", ")
	case Integer:
		if k.Low == k.High {
			return strconv.Itoa(k.Low)
		}
		return fmt.Sprintf("a whole number from %d to %d", k.Low, k.High)
	case Choice:
		return "one of " + strings.Join(k.Choices, ", ")
	case Name, Names:
		return k.Form.What
	case Date:
		return "a date such as 2026-03-05"
	case Hash:
		return "64 hexadecimal digits in lower case"
	case YesNo:
		return "yes or no"
	case Column:
		return "the name of a column, or its number from 1"
	case Averaging:
		return "point, unknown, or such as mean over 10 ms"
	case Path, Paths:
		return "a file name, with / between folders"
	case Reasons:
		return "the reason"
	default:
		return "text"
	}
}

// article puts a or an before a kind of quantity.
func article(d quantity.Dimension) string {
	if strings.ContainsAny(string(d[:min(1, len(d))]), "aeiou") {
		return "an " + string(d)
	}
	return "a " + string(d)
}

// example of a quantity of the key's kind.
func (k *Key) example() string {
	one := map[quantity.Dimension]string{
		quantity.Acceleration: "9.8123(2) m/s2", quantity.AngularSpeed: "8000 rpm", quantity.Density: "2700(10) kg/m3", quantity.Force: "1.2 N",
		quantity.Inertia: "0.31(2) g·cm2", quantity.Length: "40.00(2) mm", quantity.Mass: "9.92(1) g", quantity.Pressure: "1009 hPa",
		quantity.Ratio: "30 %", quantity.Temperature: "21.3 °C", quantity.Time: "10 ms", quantity.Torque: "2 mN·m",
		quantity.TorquePerForce: "0.10(5) mN·m/N", quantity.Voltage: "14.8 V", quantity.Any: "2.6 %",
	}[k.dim()]
	if !k.Uncertain {
		if i, j := strings.IndexByte(one, '('), strings.IndexByte(one, ')'); i >= 0 {
			one = one[:i] + one[j+1:]
		}
	}
	if k.Type == Sequence {
		if k.dim() == quantity.AngularSpeed {
			return "8000 rpm -> 20000 rpm"
		}
		if k.dim() == quantity.Force {
			return "1.2 N -> 4.5 N"
		}
		return "30 % -> 70 % -> 30 %"
	}
	if k.dim() == quantity.Pressure && k.Name == "yield" {
		return "240 MPa"
	}
	return one
}

// units lists the unit names that a UnitName may have.
func (k *Key) units() []string {
	var out []string
	for _, d := range k.Dims {
		for _, u := range quantity.Units(d) {
			out = append(out, u.Name)
		}
	}
	return out
}

// misread reports a fault of the quantity reader at its place in the scalar.
func (f *file) misread(v *value, err error) {
	q := err.(*quantity.Fault)
	v.spoil()
	line, col := f.point(v.node, q.Offset)
	f.add(line, col, v.path, q.Got, q.Want, q.Hint)
}

func (f *file) quantity(v *value) {
	q, err := quantity.Parse(v.text, v.key.dim())
	if err != nil {
		f.misread(v, err)
		return
	}
	v.quantity = q
	if q.U > 0 && !v.key.Uncertain {
		v.fault(quote(v.text), "a value without uncertainty: none is used here", "")
		return
	}
	f.sign(v, q)
}

// sign holds a quantity against the key's bound.
func (f *file) sign(v *value, q quantity.Parsed) {
	if (v.key.Sign == Positive && !(q.Value > 0)) || (v.key.Sign == NotBelow && !(q.Value >= 0)) {
		v.fault(quote(q.Text), article(q.Unit.Dim)+" "+string(v.key.Sign), "")
	}
}

func (f *file) sequence(v *value) {
	s, err := quantity.ParseSequence(v.text, v.key.dim(), v.key.Low, v.key.High)
	if err != nil {
		f.misread(v, err)
		return
	}
	v.sequence = s
	for _, q := range s {
		if q.U > 0 {
			v.fault(quote(q.Text), "values without uncertainty: none is used here", "")
			return
		}
		if f.sign(v, q); v.bad {
			return
		}
	}
}

// reading is a quantity, or a plain number for a channel in counts.
func (f *file) reading(v *value) {
	if q, err := quantity.Parse(v.text+" count", quantity.Count); err == nil && q.Kind == quantity.Exact {
		v.quantity, v.plain = q, true
		return
	}
	q, err := quantity.Parse(v.text, quantity.Any)
	if err != nil {
		f.misread(v, err)
		return
	}
	v.quantity = q
	if q.U > 0 {
		v.fault(quote(v.text), "a reading without uncertainty: the scatter of the readings tells it", "")
	}
}

func (f *file) unit(v *value) {
	u, ok := quantity.Lookup(v.text)
	if ok {
		for _, d := range v.key.Dims {
			if u.Dim == d {
				v.unit = u
				return
			}
		}
		v.fault(fmt.Sprintf("%s (%s)", quote(v.text), u.Dim), v.key.wantScalar(), "")
		return
	}
	v.fault("an unknown unit "+quote(v.text), v.key.wantScalar(), did(v.text, v.key.units()))
}

func (f *file) integer(v *value) {
	n, err := strconv.Atoi(v.text)
	if err != nil || !wholeForm.MatchString(v.text) || n < v.key.Low || n > v.key.High {
		hint := ""
		if v.key.Name == "format" && err == nil {
			hint = "another format needs another edition of the program"
		} else if plain := strings.TrimLeft(strings.ReplaceAll(v.text, "_", ""), "0"); plain != v.text && wholeForm.MatchString(plain) {
			hint = "did you mean " + quote(plain) + "?"
		}
		v.fault(quote(v.text), v.key.wantScalar(), hint)
		return
	}
	v.integer = n
}

func (f *file) yesNo(v *value) {
	switch v.text {
	case "yes", "true":
		v.yes = true
	case "no", "false":
	default:
		v.fault(quote(v.text), v.key.wantScalar(), "")
	}
}

// averaging reads point, unknown or "mean over <time>"; false where it is neither.
func (f *file) averaging(v *value) bool {
	const mean = "mean over "
	rest, ok := strings.CutPrefix(v.text, mean)
	if !ok {
		return v.text == "point" || v.text == "unknown"
	}
	q, err := quantity.Parse(rest, quantity.Time)
	if err != nil {
		fault := err.(*quantity.Fault)
		fault.Offset += len(mean)
		f.misread(v, fault)
		return true
	}
	v.quantity = q
	return q.Value > 0 && q.U == 0
}

// IsDate tells whether s is a day of the calendar as ISO 8601 writes it.
func IsDate(s string) bool {
	if !dateForm.MatchString(s) {
		return false
	}
	y, _ := strconv.Atoi(s[:4])
	m, _ := strconv.Atoi(s[5:7])
	d, _ := strconv.Atoi(s[8:])
	days := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}
	if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
		days[1] = 29
	}
	return y >= 1 && m >= 1 && m <= 12 && d >= 1 && d <= days[m-1]
}

// rooted is the path below the root of a file named in this one; false, with a
// fault, where the name leaves the root or is none.
func (v *value) rooted() (string, bool) {
	const want = "a file name relative to this file, with / between folders, below the root folder (see --root)"
	hint := ""
	switch {
	case strings.ContainsAny(v.text, "\\\x00"):
		hint = "did you mean " + quote(strings.ReplaceAll(v.text, `\`, "/")) + "?"
	case strings.HasPrefix(v.text, "/"), len(v.text) > 1 && v.text[1] == ':':
	default:
		p := path.Join(path.Dir(v.file.name), v.text)
		if p != ".." && p != "." && !strings.HasPrefix(p, "../") {
			return p, true
		}
		if up := strings.Count(p+"/", "../"); up > 0 {
			hint = fmt.Sprintf("did you mean a --root %d %s higher?", up, map[bool]string{true: "folder", false: "folders"}[up == 1])
		}
	}
	v.fault(quote(v.text), want, hint)
	return "", false
}
