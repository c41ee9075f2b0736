package job

import "slices"

func (r *reader) readRespond(root *value) {
	list := root.get("respond")
	if list == nil {
		return
	}
	for _, v := range list.items {
		q := Request{Key: v.path, Parts: r.mounted(v.get("parts")), SupplyV: v.get("supply").num(), Duty: v.get("duty").num(), AddedLoadNm: v.get("added_load").num()}
		if d := v.get("duty"); d.usable() && d.num() > 1 {
			d.fault(quote(d.text), "at most 100 %", "")
		}
		q.Air = r.air(v.get("air"), r.job.ID+"/"+v.path+".air.")
		s := v.get("speed")
		if s == nil {
			s, q.Thrust = v.get("thrust"), true
		}
		if s.usable() {
			q.From, q.To = s.sequence[0].Value, s.sequence[1].Value
			if q.From == q.To {
				s.fault(quote(s.text), "two different values", "")
			}
		}
		r.job.Respond = append(r.job.Respond, q)
	}
}

func (r *reader) readWaivers(root *value) {
	list := root.get("waivers")
	if list == nil {
		return
	}
	var seen [][2]string
	for _, v := range list.items {
		w := Waiver{Key: v.path, Check: v.get("check").str(""), Subject: v.get("subject").str(""), Because: v.get("because").str(""), By: v.get("by").str(""), Until: v.get("until").str("")}
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
	r.job.Options = o
}
