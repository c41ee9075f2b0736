"use strict";
(() => {
  const table = document.querySelector(".sortable");
  if (!table) return;
  const $ = q => document.querySelector(q);
  const body = table.tBodies[0], tools = $(".tools"), more = $(".more"), count = $(".count");
  const PAGE = 200, MOST = 8;

  // One object a row; the row itself stays what the page was written with.
  const rows = [...body.rows].map((tr, i) => {
    const c = tr.cells, d = tr.dataset;
    return {tr, i, id: d.id, of: d.id.slice(0, d.id.lastIndexOf("/")), subject: c[1].textContent, quantity: c[2].textContent, value: c[3].textContent,
      mean: +d.mean, u: +d.u, rel: +d.rel, state: c[6].textContent.replace(/^\S /, ""),
      scale: c[7].textContent, runs: +d.runs, job: c[9].textContent, text: (d.id + " " + c[6].textContent).toLowerCase(), chosen: false};
  });
  for (const r of rows) r.tr.cells[0].append(Object.assign(document.createElement("input"), {type: "checkbox", ariaLabel: "choose " + r.id}));

  let shown = rows, limit = PAGE, key = "", down = false;
  const draw = () => {
    body.replaceChildren(...shown.slice(0, limit).map(r => r.tr));
    more.hidden = shown.length <= limit;
    more.textContent = `Show ${Math.min(PAGE, shown.length - limit)} more of ${shown.length}`;
    count.textContent = `${shown.length} of ${rows.length}`;
  };
  const order = new Intl.Collator("en", {numeric: true});
  const update = () => {
    const words = tools.q.value.toLowerCase().split(/\s+/).filter(Boolean), q = tools.quantity.value, s = tools.state.value;
    shown = rows.filter(r => (!q || r.quantity === q) && (!s || r.state === s) && words.every(w => r.text.includes(w)));
    if (key) shown.sort((a, b) => ((typeof a[key] === "number" ? a[key] - b[key] : order.compare(a[key], b[key])) || a.i - b.i) * (down ? -1 : 1));
    limit = PAGE;
    draw();
  };
  tools.hidden = false;
  tools.addEventListener("input", update);
  tools.addEventListener("submit", e => e.preventDefault());
  more.addEventListener("click", () => { limit += PAGE; draw(); });
  new IntersectionObserver(e => { if (e[0].isIntersecting && !more.hidden && scrollY > 0) { limit += PAGE; draw(); } }).observe(more);
  let before;
  addEventListener("beforeprint", () => { before = limit; limit = shown.length; draw(); });
  addEventListener("afterprint", () => { limit = before; draw(); });

  for (const th of table.tHead.querySelectorAll("th[data-k]")) {
    const b = document.createElement("button");
    b.type = "button"; b.textContent = th.textContent; th.replaceChildren(b);
    b.addEventListener("click", () => {
      down = key === th.dataset.k && !down;
      key = th.dataset.k;
      for (const o of table.tHead.querySelectorAll("th")) o.removeAttribute("aria-sort");
      th.setAttribute("aria-sort", down ? "descending" : "ascending");
      update();
    });
  }

  // CSV of what is shown, in the order in which it is shown.
  $(".csv").addEventListener("click", () => {
    const cell = v => /[",\n]/.test(v) ? `"${String(v).replaceAll('"', '""')}"` : v;
    const lines = ["number,quantity,inertia_kgm2,expanded_kgm2,runs,scale,state", ...shown.map(r => [r.id, r.quantity, r.mean, r.u, r.runs, r.scale, r.state].map(cell).join(","))];
    const a = Object.assign(document.createElement("a"), {href: URL.createObjectURL(new Blob([lines.join("\n") + "\n"], {type: "text/csv"})), download: "numbers.csv"});
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 1000);
  });

  // Compare.
  const curves = JSON.parse($("#curves").textContent) || [];
  const roles = ["measured", "second", "third", "fourth", "fifth", "sixth", "declared", "doubt"];
  const chosen = [], place = $(".compare"), said = $(".chosen"), pick = $(".condition select");
  body.addEventListener("change", e => {
    const r = rows.find(r => r.tr === e.target.closest("tr"));
    if (e.target.checked && chosen.length === MOST) { e.target.checked = false; said.textContent = `At most ${MOST} at once.`; return; }
    if (e.target.checked) chosen.push(r); else chosen.splice(chosen.indexOf(r), 1);
    compare();
  });
  pick.addEventListener("change", () => compare(pick.value));

  const NS = "http://www.w3.org/2000/svg";
  const el = (name, attrs, ...kids) => {
    const e = document.createElementNS(NS, name);
    for (const k in attrs) e.setAttribute(k, attrs[k]);
    e.append(...kids);
    return e;
  };
  const ticks = (a, b, n) => {
    const raw = (b - a) / n, p = 10 ** Math.floor(Math.log10(raw)), step = [1, 2, 5, 10].find(k => k * p >= raw) * p, out = [];
    for (let i = Math.ceil(a / step - 1e-9); i * step <= b + 1e-9 * step; i++) out.push(i * step);
    return {at: out, dec: Math.max(0, -Math.floor(Math.log10(step) + 1e-9))};
  };
  const label = (v, dec) => v.toFixed(dec).replace(/^-/, "−").replace(/\B(?=(\d{3})+(?!\d))(?<!\.\d*)/g, v >= 1e4 ? "\u2009" : "");
  const frame = (title, h, x, y, alt) => {
    const top = 25, left = x.left || 56, right = 400;
    const px = v => left + (v - x.from) / (x.to - x.from) * (right - left), py = v => top + h - (v - y.from) / (y.to - y.from) * h;
    const g = el("g", {class: "panel", "data-x": `${left} ${right} ${x.from} ${x.to}`, "data-y": `${top + h} ${top} ${y.from} ${y.to}`, "data-u": `${x.unit}|${y.unit}`},
      el("rect", {class: "bg", x: left, y: top, width: right - left, height: h}), el("text", {class: "t", x: 2, y: top - 6}, title));
    const tx = ticks(x.from, x.to, 5);
    for (const v of tx.at) g.append(el("path", {class: "g", d: `M${px(v)} ${top}V${top + h}`}), el("text", {class: "m", x: px(v), y: top + h + 14}, label(v, tx.dec)));
    g.append(el("text", {class: "e", x: right, y: top + h + 29}, `${x.name}, ${x.unit}`));
    if (!y.rows) {
      const ty = ticks(y.from, y.to, 4);
      for (const v of ty.at) g.append(el("path", {class: "g", d: `M${left} ${py(v)}H${right}`}), el("text", {class: "e", x: left - 5, y: py(v) + 4}, label(v, ty.dec)));
    } else y.rows.forEach((n, i) => g.append(el("text", {class: "e", x: left - 6, y: py(i) + 4}, n.length > 19 ? n.slice(0, 18) + "…" : n)));
    return {svg: el("svg", {class: "plot", viewBox: `0 0 420 ${top + h + 36}`, role: "img", "aria-label": alt}, g), g, px, py};
  };
  const figure = (title, see, svg, keys) => {
    const f = document.createElement("figure"), c = document.createElement("figcaption"), b = document.createElement("b"), t = document.createElement("bdi"), ul = document.createElement("ul");
    b.textContent = title; t.textContent = see; c.append(b, t); ul.className = "legend";
    for (const [name, role] of keys) {
      const li = document.createElement("li"), n = document.createElement("bdi");
      n.textContent = name;
      li.append(el("svg", {viewBox: "0 0 22 12", "aria-hidden": "true"}, el("path", {class: `line r-${role}`, d: "M1 6H21"})), n);
      ul.append(li);
    }
    f.append(c, svg, ul);
    return f;
  };
  const wide = (lo, hi) => { const p = (hi - lo || Math.abs(hi) || 1) / 20; return [lo - p, hi + p]; };

  const intervals = () => {
    const k = 1e7, [from, to] = wide(Math.min(...chosen.map(r => k * (r.mean - r.u))), Math.max(...chosen.map(r => k * (r.mean + r.u))));
    const twice = r => chosen.some(o => o !== r && o.subject === r.subject && o.job !== r.job);
    const names = chosen.map(r => `${twice(r) ? r.job + " " : ""}${r.subject}${r.quantity === "inertia" ? "" : ", " + r.quantity.replace("inertia-", "")}`);
    const f = frame("inertia with U", 26 * chosen.length, {from, to, left: 132, name: "inertia", unit: "g·cm²"}, {from: chosen.length - 0.5, to: -0.5, unit: "", rows: names},
      "Inertias with expanded uncertainty: " + chosen.map(r => `${r.id} ${r.value} g·cm²`).join("; "));
    f.g.dataset.y = "0 0 0 0";
    chosen.forEach((r, i) => {
      const y = f.py(i);
      f.g.append(el("path", {class: `whisker r-${roles[i]}`, d: `M${f.px(k * (r.mean - r.u))} ${y}H${f.px(k * (r.mean + r.u))}`}),
        el("path", {class: "dots r-measured", style: `stroke:var(--c${i % 6 + 1})`, d: `M${f.px(k * r.mean)} ${y}h0`}));
    });
    return figure("Inertia", chosen.map(r => `${r.id}: ${r.value} g·cm²`).join("; ") + ".", f.svg, []);
  };
  const overTime = (title, of, unit, own) => {
    const keys = own.map(([r, c], i) => [`${r.subject} (${r.job})${c.predicted ? ", predicted" : ""}`, roles[i]]);
    const end = Math.max(...own.map(([, c]) => c.ms * (of(c).length - 1))), top = Math.max(...own.flatMap(([, c]) => of(c)));
    const f = frame(`${title}, ${unit}`, 220, {from: 0, to: end, name: "time from the step", unit: "ms"}, {from: 0, to: 1.05 * top, unit},
      `${title} over time: ` + own.map(([r, c]) => `${r.id} from ${of(c)[0]} to ${of(c).at(-1)} ${unit}`).join("; "));
    own.forEach(([r, c], i) => f.g.append(el("path", {class: `line r-${roles[i]}`, "data-s": r.subject, d: of(c).map((v, k) => `${k ? "L" : "M"}${f.px(c.ms * k).toFixed(1)} ${f.py(v).toFixed(1)}`).join("")})));
    return figure(`${title} over time`, own[0][1].predicted ? "As predicted." : "As recorded, from the step on.", f.svg, keys);
  };
  const compare = wanted => {
    said.textContent = chosen.length ? `Chosen: ${chosen.map(r => r.id).join(", ")}.` : "Nothing chosen.";
    place.replaceChildren();
    const mine = curves.filter(c => chosen.some(r => r.of === c.of)), conditions = [...new Set(mine.map(c => c.at))];
    const shares = c => new Set(mine.filter(m => m.at === c).map(m => m.of)).size;
    conditions.sort((a, b) => shares(b) - shares(a));
    pick.replaceChildren(...conditions.map(c => new Option(`${c} (${shares(c)})`, c)));
    if (conditions.includes(wanted)) pick.value = wanted;
    pick.parentElement.hidden = chosen.length < 2 || !conditions.length;
    if (chosen.length < 2) { if (chosen.length) said.textContent += " Choose one more."; return; }
    place.append(intervals());
    const seen = new Set(), own = chosen.map(r => [r, mine.find(c => c.of === r.of && c.at === pick.value)]).filter(([r, c]) => c && !seen.has(c.of) && seen.add(c.of));
    if (own.length) place.append(overTime("Speed", c => c.rpm, "rpm", own));
    const thrust = own.filter(([, c]) => c.mn);
    if (thrust.length) place.append(overTime("Thrust", c => c.mn, "mN", thrust));
  };
  update();
})();
