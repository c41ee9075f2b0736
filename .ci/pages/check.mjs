// Opens every page below a folder in headless Chromium, uses it, and prints
// what it found as one JSON object: path → list of faults.
//
//   node check.mjs FOLDER
import puppeteer from "puppeteer-core";
import { existsSync, readFileSync, readdirSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { launch } from "./browser.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const root = resolve(process.argv[2]);
const pages = readdirSync(root, { recursive: true }).filter(f => f.endsWith(".html") && !readFileSync(join(root, f), "utf8").includes("<title>stand-in")).sort();
const faults = {}, seconds = {};
const browser = await launch(puppeteer);

async function open(file, width, scheme, say) {
  const page = await browser.newPage();
  await page.setBypassCSP(true); // axe is put into the page from outside
  page.on("console", m => m.type() === "error" && say(`console: ${m.text()}`));
  page.on("pageerror", e => say(`error: ${e}`));
  page.on("request", r => /^(file|data|blob):/.test(r.url()) || say(`request: ${r.url()}`));
  page.on("dialog", d => { say(`dialog: ${d.message()}`); d.dismiss(); });
  await page.setViewport({ width, height: 768 });
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
  await page.goto(pathToFileURL(join(root, file)).href, { timeout: 240000 });
  return page;
}

async function accessible(page, say, what) {
  await page.evaluate(axe);
  const r = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  for (const v of r.violations) if (v.impact === "serious" || v.impact === "critical") say(`axe ${what}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map(n => n.target.join(" ")).join(" | ")}`);
}

async function linked(page, file, say) {
  const links = await page.evaluate(() => [...document.querySelectorAll("a[href]")].map(a => a.getAttribute("href")));
  for (const l of new Set(links)) {
    const [path, hash] = l.split("#");
    const target = path ? join(root, dirname(file), decodeURIComponent(path)) : join(root, file);
    if (!existsSync(target)) say(`link to nothing: ${l}`);
    else if (hash && target.endsWith(".html") && !readFileSync(target, "utf8").includes(`id="${decodeURIComponent(hash)}"`)) say(`anchor of nothing: ${l}`);
  }
}

async function useJob(page, say) {
  const want = async (ok, text) => { if (!(await ok)) say(text); };
  await page.keyboard.press("Tab");
  await want(page.evaluate(() => document.activeElement.className === "skip"), "the first Tab does not reach the skip link");
  if (await page.$(".closer:not([hidden])")) {
    await page.focus(".closer:not([hidden])");
    await page.keyboard.press("Enter");
    await want(page.evaluate(() => document.querySelector("dialog").open), "Enter on Enlarge opens nothing");
    await page.keyboard.press("ArrowRight");
    await page.keyboard.press("ArrowRight");
    await want(page.evaluate(() => /\d/.test(document.querySelector("dialog output").textContent)), "arrow keys read nothing out");
    await page.keyboard.press("Escape");
    await want(page.evaluate(() => !document.querySelector("dialog").open), "Escape does not close the plot");
    const plot = await page.$("figure .plot");
    await plot.scrollIntoView();
    const middle = await plot.evaluate(svg => {
      const g = [...svg.querySelectorAll(".panel")].find(g => g.querySelector("path[data-s]"));
      const n = s => s.split(" ").map(Number), [x, y] = [n(g.dataset.x), n(g.dataset.y)];
      const p = new DOMPoint((x[0] + x[1]) / 2, (y[0] + y[1]) / 2).matrixTransform(svg.getScreenCTM());
      return {x: p.x, y: p.y, there: document.elementFromPoint(p.x, p.y)?.outerHTML.slice(0, 80)};
    });
    await page.mouse.move(middle.x, middle.y);
    await want(page.evaluate(() => !document.querySelector(".tip").hidden), `hovering a plot at ${JSON.stringify(middle)} reads nothing out`);
    const drawn = await page.$eval("figure .plot", s => s.getAttribute("viewBox"));
    await page.focus(".closer:not([hidden])");
    await page.keyboard.press("Enter");
    const big = await (await page.$("dialog .plot")).boundingBox();
    await page.mouse.move(big.x + big.width * 0.4, big.y + 60);
    await page.mouse.down();
    await page.mouse.move(big.x + big.width * 0.6, big.y + 60);
    await page.mouse.up();
    await want(page.evaluate(v => document.querySelector("dialog .plot").getAttribute("viewBox") !== v, drawn), "dragging looks no closer");
    await page.keyboard.press("Escape");
  }
  const audit = await page.evaluate(() => {
    const d = document.querySelector("#budget details");
    if (!d) return "none";
    location.hash = "#" + d.id;
    return new Promise(r => setTimeout(() => r(d.open ? d.querySelector("code").textContent : "closed"), 50));
  });
  if (!audit.startsWith("spinledger audit ") && audit !== "none") say(`a link to a budget shows ${audit}`);
  await page.click('.filter button[data-show="fail"]');
  await want(page.evaluate(() => [...document.querySelectorAll(".checks tbody tr")].every(r => r.hidden !== r.classList.contains("c-fail"))), "the filter of checks shows others");
}

async function useCatalogue(page, say, name) {
  const want = async (ok, text) => { if (!(await ok)) say(text); };
  const time = (key, f) => page.evaluate(f).then(ms => { seconds[`${name}: ${key}`] = ms; });
  const column = k => page.evaluate(k => [...document.querySelectorAll(".sortable tbody tr")].map(r => k === "id" ? r.dataset.id : +r.dataset[k]), k);
  const rows = (await column("id")).length;
  if (rows === 0 || rows > 200) say(`${rows} rows are drawn at first`);
  await time("sort", () => new Promise(r => { const t = performance.now(); document.querySelector("th[data-k=mean] button").click(); requestAnimationFrame(() => setTimeout(() => r(performance.now() - t))); }));
  let v = await column("mean");
  if (v.some((x, i) => i && x < v[i - 1])) say("not sorted by inertia");
  await page.focus("th[data-k=mean] button");
  await page.keyboard.press("Enter");
  v = await column("mean");
  if (v.some((x, i) => i && x > v[i - 1])) say("Enter does not sort the other way");
  await want(page.$eval("th[data-k=mean]", h => h.getAttribute("aria-sort") === "descending"), "aria-sort is not told");
  await time("filter", () => new Promise(r => { const t = performance.now(), q = document.querySelector("input[name=q]"); q.value = "prop-"; q.dispatchEvent(new Event("input", { bubbles: true })); requestAnimationFrame(() => setTimeout(() => r(performance.now() - t))); }));
  const ids = await column("id");
  if (!ids.length || ids.some(i => !i.includes("prop-"))) say(`filter for prop- shows ${ids.length}: ${ids.filter(i => !i.includes("prop-")).slice(0, 3)}`);
  await page.select("select[name=quantity]", "inertia");
  const csv = await page.evaluate(() => new Promise(r => {
    const make = URL.createObjectURL;
    URL.createObjectURL = b => { b.text().then(r); return make.call(URL, b); };
    HTMLAnchorElement.prototype.click = () => {};
    document.querySelector(".csv").click();
  }));
  const shown = await page.evaluate(() => document.querySelector(".count").textContent.split(" ")[0]);
  if (csv.trimEnd().split("\n").length !== +shown + 1) say(`CSV of ${shown} numbers has ${csv.trimEnd().split("\n").length} lines`);
  const boxes = await page.$$(".sortable tbody input");
  await boxes[0].focus();
  await page.keyboard.press("Space");
  await boxes[1].click();
  const plots = await page.$$eval(".compare .plot", p => p.map(s => s.querySelectorAll(".panel path[class^=line], .panel path[class^=whisker]").length));
  if (plots.length < 2 || plots.some(n => n < 2)) say(`two chosen numbers draw ${JSON.stringify(plots)} series`);
}

for (const file of pages) {
  const say = text => { const l = (faults[file] ||= []); if (!l.includes(text)) l.push(text); };
  faults[file] = [];
  for (const [width, scheme] of [[360, "light"], [1024, "dark"], [1600, "light"]]) {
    const page = await open(file, width, scheme, say);
    const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    if (over > 0) say(`${over} px wider than a screen of ${width}`);
    await accessible(page, say, `${width} ${scheme}`);
    await page.close();
  }
  const page = await open(file, 1024, "light", say);
  await linked(page, file, say);
  const kind = await page.evaluate(() => document.body.className);
  if (kind === "catalogue") await useCatalogue(page, say, file);
  if (kind === "job") await useJob(page, say);
  await page.close();
  if (file.includes("faulty")) {
    const first = await open(file, 1024, "light", say);
    const end = await first.evaluate(() => document.querySelector(".against tbody tr:nth-child(2)").getBoundingClientRect().bottom);
    if (end > 768) say(`the fault ends at ${end} px, below the first screen`);
    await first.close();
  }
}
await browser.close();
console.log(JSON.stringify({ faults, seconds }));
