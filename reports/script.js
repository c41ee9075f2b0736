"use strict";
(() => {
  const all = (q, from) => [...(from || document).querySelectorAll(q)];
  const nf = new Intl.NumberFormat("en", {maximumSignificantDigits: 5, useGrouping: false});

  // Scales of a panel, and its series as points in displayed units.
  const scales = g => {
    const n = s => s.split(" ").map(Number), [x, y] = [n(g.dataset.x), n(g.dataset.y)];
    const unit = g.dataset.u.split("|");
    const to = s => v => s[0] + (v - s[2]) / (s[3] - s[2]) * (s[1] - s[0]);
    const from = s => p => s[2] + (p - s[0]) / (s[1] - s[0]) * (s[3] - s[2]);
    return {x, y, unit, px: to(x), py: to(y), vx: from(x), vy: from(y)};
  };
  const points = path => {
    const out = [], re = /[ML](-?[\d.]+) (-?[\d.]+)/g, d = path.getAttribute("d");
    for (let m; (m = re.exec(d));) out.push([+m[1], +m[2]]);
    return out;
  };
  const series = g => g._series ||= all("path[data-s]", g).map(p => ({name: p.dataset.s, at: points(p)})).filter(s => s.at.length);
  const nearest = (at, x) => at.reduce((b, p) => Math.abs(p[0] - x) < Math.abs(b[0] - x) ? p : b);

  // Read-out: a hair line and what stands there.
  const tip = document.createElement("div");
  tip.className = "tip"; tip.hidden = true; document.body.append(tip);
  let hair;
  const read = (g, x) => {
    const s = scales(g);
    const lines = series(g).map(o => { const p = nearest(o.at, x); return `${o.name}: ${nf.format(s.vx(p[0]))} ${s.unit[0]}, ${nf.format(s.vy(p[1]))} ${s.unit[1]}`; });
    hair?.remove();
    hair = document.createElementNS("http://www.w3.org/2000/svg", "path");
    hair.setAttribute("class", "hair");
    hair.setAttribute("d", `M${x} ${s.y[0]}V${s.y[1]}`);
    g.append(hair);
    return lines.join("\n");
  };
  const hide = () => { tip.hidden = true; hair?.remove(); };
  const local = (svg, e) => new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const panelAt = (svg, p) => all(".panel", svg).find(g => {
    const s = scales(g), [a, b] = [Math.min(s.y[0], s.y[1]), Math.max(s.y[0], s.y[1])];
    return p.x >= s.x[0] && p.x <= s.x[1] && p.y >= a && p.y <= b && series(g).length;
  });
  document.addEventListener("pointermove", e => {
    const svg = e.target.closest?.(".plot");
    if (!svg) return hide();
    const p = local(svg, e), g = panelAt(svg, p);
    if (!g) return hide();
    tip.textContent = read(g, p.x);
    tip.hidden = false;
    tip.style.left = Math.min(e.clientX + 14, innerWidth - tip.offsetWidth - 6) + "px";
    tip.style.top = Math.min(e.clientY + 14, innerHeight - tip.offsetHeight - 6) + "px";
  });

  // Enlarged plot: drag to look closer, arrows step from point to point.
  const dialog = document.querySelector("dialog");
  if (dialog) {
    const stage = dialog.querySelector(".stage"), out = dialog.querySelector("output");
    let svg, whole, step = -1;
    const open = from => {
      svg = from.cloneNode(true); whole = svg.getAttribute("viewBox"); step = -1; out.textContent = "";
      stage.replaceChildren(svg);
      dialog.showModal();
    };
    const view = (x0, x1) => {
      const b = whole.split(" ").map(Number);
      // The whole height stays: only x is stretched.
      svg.setAttribute("preserveAspectRatio", x1 - x0 < b[2] ? "none" : "xMidYMid");
      svg.setAttribute("viewBox", `${x0} ${b[1]} ${x1 - x0} ${b[3]}`);
      all("path", svg).forEach(p => p.setAttribute("vector-effect", "non-scaling-stroke"));
      svg.classList.toggle("near", x1 - x0 < b[2]);
    };
    all(".closer").forEach(b => { b.hidden = false; b.addEventListener("click", () => open(b.closest("figure").querySelector(".plot"))); });
    dialog.querySelector(".whole").addEventListener("click", () => { const b = whole.split(" ").map(Number); view(b[0], b[0] + b[2]); });
    let down;
    stage.addEventListener("pointerdown", e => { down = svg && local(svg, e); });
    stage.addEventListener("pointerup", e => {
      if (!down) return;
      const p = local(svg, e), [a, b] = [Math.min(down.x, p.x), Math.max(down.x, p.x)];
      if (b - a > 4) view(a, b);
      down = null;
    });
    dialog.addEventListener("keydown", e => {
      if (e.key !== "ArrowRight" && e.key !== "ArrowLeft") return;
      const g = all(".panel", svg).find(g => series(g).length);
      if (!g) return;
      const at = series(g).reduce((a, b) => b.at.length > a.at.length ? b : a).at;
      step = Math.max(0, Math.min(at.length - 1, step + (e.key === "ArrowRight" ? 1 : -1)));
      out.textContent = read(g, at[step][0]);
      e.preventDefault();
    });
  }

  // Copy a command.
  all(".copy").forEach(b => b.addEventListener("click", async () => {
    const text = b.parentElement.querySelector("code").textContent;
    try { await navigator.clipboard.writeText(text); } catch { getSelection().selectAllChildren(b.parentElement.querySelector("code")); }
    b.firstChild.textContent = "Copied";
    setTimeout(() => { b.firstChild.textContent = "Copy"; }, 1500);
  }));

  // Show checks of one verdict.
  all(".filter").forEach(f => {
    f.hidden = false;
    f.addEventListener("click", e => {
      const b = e.target.closest("button");
      if (!b) return;
      all("button", f).forEach(o => o.setAttribute("aria-pressed", o === b));
      all(".checks tbody tr").forEach(r => { r.hidden = b.dataset.show !== "" && !r.classList.contains("c-" + b.dataset.show); });
    });
  });

  // A link into a closed or filtered place opens it.
  const reveal = () => {
    let t = null;
    try { t = document.getElementById(decodeURIComponent(location.hash.slice(1))); } catch { return; }
    if (!t) return;
    t.hidden = false;
    for (let d = t; d; d = d.parentElement) if (d.tagName === "DETAILS") d.open = true;
    t.scrollIntoView({block: "start"});
  };
  addEventListener("hashchange", reveal);
  if (location.hash) reveal();

  // Paper has no triangle to click on.
  let closed = [];
  addEventListener("beforeprint", () => { closed = all("details:not([open])"); closed.forEach(d => { d.open = true; }); });
  addEventListener("afterprint", () => closed.forEach(d => { d.open = false; }));
})();
