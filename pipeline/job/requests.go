package job

import (
	"slices"
	"strconv"

	"gopkg.in/yaml.v3"

	"spinledger/stages/kit/spin"
)

func (r *reader) readRespond(root *value) {
	var names []string
	for i, v := range root.get("respond").each() {
		q := r.request(v, v.get("name").str(strconv.Itoa(i+1)), r.job.ID+"/"+v.path)
		if slices.Contains(names, q.Name) {
			named := v.get("name")
			if named == nil {
				named = v
			}
			named.fault(quote(q.Name)+", the name of another", "a name of its own for each; one without counts its place in the list", "")
		}
		names = append(names, q.Name)
		r.job.Respond = append(r.job.Respond, q)
	}
}

// request reads one response block; sources of its uncertainties begin with source.
func (r *reader) request(v *value, name, source string) Request {
	q := Request{
		Key: v.path, Name: name, Parts: r.mounted(v.get("parts")),
		SupplyV: v.get("supply").num(), Duty: v.get("duty").num(), RampS: v.get("ramp").num(),
		Extrapolate: v.get("extrapolate") != nil && v.get("extrapolate").yes,
	}
	if d := v.get("duty"); d.usable() && d.num() > 1 {
		d.fault(quote(d.text), "at most 100 %", "")
	}
	q.Air = r.air(v.get("air"), source+".air.")
	if load := r.optional(v.get("added_load"), source+".added_load"); load != nil {
		q.AddedNm = *load
	}
	q.Added = r.corners(v.get("added_curve"))
	r.span(v, &q)
	r.drive(v, &q)
	return q
}

// Asked is a key of a response and its value, as a job file would have them.
type Asked struct{ Key, Value string }

// commandLine is the name of the file that a request on the command line stands for.
const commandLine = "command line"

// Ask reads a request that stands in no file, by the same keys and with the same
// faults. Sources of what it declares begin with "asked".
func (j *Job) Ask(name string, parts []string, keys []Asked) (Request, error) {
	r := newReader(nil, commandLine)
	r.job.ID = j.ID
	for _, p := range j.Parts {
		r.parts[p.ID] = &part{}
	}
	node := &yaml.Node{Kind: yaml.MappingNode}
	scalar := func(s string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s} }
	list := &yaml.Node{Kind: yaml.SequenceNode}
	for _, p := range parts {
		list.Content = append(list.Content, scalar(p))
	}
	node.Content = append(node.Content, scalar("parts"), list)
	for _, k := range keys {
		node.Content = append(node.Content, scalar(k.Key), scalar(k.Value))
	}
	f := &file{name: commandLine, kind: "response", errs: &r.errs}
	v := &value{file: f, key: &Key{Name: f.kind, Type: Map, Block: f.kind}, node: node}
	f.walkMap(v, block(f.kind))
	q := r.request(v, name, "asked")
	return q, r.errs.Err()
}

// span reads between which speeds or thrusts it goes.
func (r *reader) span(v *value, q *Request) {
	from, final := v.get("from"), v.get("to_final")
	s := v.get("speed")
	if s == nil {
		s = v.get("thrust")
		q.Thrust = s != nil
	}
	switch {
	case s != nil && from != nil:
		from.faultAtKey(quote("from")+" beside "+quote(s.name), "from only with to_final", "")
	case s.usable():
		q.From, q.To = s.sequence[0].Value, s.sequence[1].Value
		q.Coast = q.To < q.From
		if q.From == q.To {
			s.fault(quote(s.text), "two different values", "")
		}
	case final.usable():
		q.FinalShare = final.num()
		if q.FinalShare >= 1 {
			final.fault(quote(final.text), "below 100 %: the final speed itself is never reached", "")
		}
		if from == nil {
			final.faultAtKey(quote("to_final")+" without from", "the first speed too, such as from: 8000 rpm", "")
		} else {
			q.From = from.num()
		}
	}
}

// drive looks whether what drives it is stated, and only where something does.
func (r *reader) drive(v *value, q *Request) {
	if v.bad {
		return
	}
	for _, name := range []string{"supply", "duty", "ramp"} {
		k := v.get(name)
		switch {
		case q.Coast && k != nil:
			k.faultAtKey(quote(name)+" for a fall", "no supply, duty or ramp: downwards it coasts, the current cut", "")
		case !q.Coast && k == nil && name != "ramp":
			v.file.add(v.line, v.col, join(v.path, name), "nothing", block("response").key(name).wantScalar(), "")
			v.spoil()
		}
	}
}

// corners are those of an added load, in rising speed.
func (r *reader) corners(list *value) []spin.LoadStep {
	var out []spin.LoadStep
	for _, v := range list.each() {
		c := spin.LoadStep{SpeedRadPerS: v.get("speed").num(), TorqueNm: v.get("torque").num()}
		if n := len(out); n > 0 && !v.bad && c.SpeedRadPerS <= out[n-1].SpeedRadPerS {
			v.get("speed").fault(quote(v.get("speed").text), "a speed above that of the corner before", "")
		}
		out = append(out, c)
	}
	return out
}

func (r *reader) readWaivers(root *value) {
	list := root.get("waivers")
	if list == nil {
		return
	}
	var seen [][2]string
	for _, v := range list.items {
		w := Waiver{Key: v.path, Check: v.get("check").str(""), Subject: v.get("subject").str(""), Because: v.get("because").str(""), By: v.get("by").str(""), Until: v.get("until").str(""), Method: v.get("method").str("")}
		if up := v.get("up_to"); up != nil {
			w.UpTo = up.quantity
		}
		id := [2]string{w.Check, w.Subject}
		if slices.Contains(seen, id) && !v.bad {
			v.fault("a second waiver of "+quote(w.Check)+" for "+quote(w.Subject), "one for each check and subject", "")
		}
		seen = append(seen, id)
		r.job.Waivers = append(r.job.Waivers, w)
	}
}

func (r *reader) readOptions(v *value) {
	o := Options{DragForm: v.get("drag").get("form").str("auto")}
	if d := v.get("drag").get("dry_friction"); d != nil {
		o.DryFriction = d.yes
	}
	if q := v.get("fit").get("load_prior"); q.usable() {
		x := q.num()
		o.LoadPriorRel = &x
	}
	if q := v.get("fit").get("plateau"); q.usable() {
		x := q.num()
		o.PlateauS = &x
	}
	respond := v.get("respond")
	o.Seed, o.Draws = uint64(respond.get("seed").int(1)), respond.get("draws").int(2000)
	r.job.Options = o
}
