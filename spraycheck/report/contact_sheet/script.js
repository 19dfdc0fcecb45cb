"use strict";
(() => {
const all = JSON.parse(document.getElementById("data").textContent);
const pairs = document.body.classList.contains("pairs");
const VERDICTS = ["fail", "recheck", "failed", "pass", "not-reached"];
const WORD = {pass: "pass", fail: "fail", recheck: "recheck", failed: "not measured",
  "not-reached": "not reached"};
const STATES = ["blocked", "weak", "heavy", "off-line", "misshapen", "unsure"];
const SIGN = {clear: "\u2713", weak: "\u25BC", heavy: "\u25B2", blocked: "\u2717",
  "off-line": "\u21B7", misshapen: "\u25C7", unsure: "?"};
const STEP = 48;
const $ = id => document.getElementById(id);
const make = (tag, cls, text) => {
  const e = document.createElement(tag);
  if (cls) e.className = cls;
  if (text !== undefined) e.textContent = text;
  return e;
};
const sign = verdict => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("viewBox", "0 0 24 24");
  // Copied rather than referred to: colours of a referred symbol would be those of its home.
  svg.append(...[...$("v-" + verdict).children].map(part => part.cloneNode(true)));
  return svg;
};

all.forEach((c, k) => { c.k = k; c.s = c.s || []; c.d = c.d || ""; });
let view = [], drawn = 0, looked = -1;

// -- controls
const chosen = {verdict: new Set(), state: new Set()};
function chip(where, kind, value, label, count, icon) {
  const b = make("button", "chip" + (kind === "verdict" ? " v-" + value : ""));
  b.type = "button";
  b.setAttribute("aria-pressed", "false");
  b.disabled = count === 0;
  b.append(icon, label + " ", make("small", "", String(count)));
  b.addEventListener("click", () => {
    const on = !chosen[kind].has(value);
    chosen[kind][on ? "add" : "delete"](value);
    b.setAttribute("aria-pressed", String(on));
    choose();
  });
  where.append(b);
}
const tally = f => all.reduce((n, c) => n + (!c.u && f(c) ? 1 : 0), 0);
for (const v of VERDICTS) {
  const n = tally(c => c.v === v);
  if (n || v !== "not-reached") chip($("verdicts"), "verdict", v, WORD[v], n, sign(v));
}
for (const s of STATES) chip($("states"), "state", s, s, tally(c => c.s.includes(s)),
  make("i", "", SIGN[s]));
function fill(id, key) {
  const names = [...new Set(all.map(c => c[key]).filter(Boolean))].sort(
    (a, b) => a.localeCompare(b, undefined, {numeric: true}));
  $(id).append(new Option("all", ""), ...names.map(n => new Option(n, "=" + n)));
  if (names.length && all.some(c => !c[key])) $(id).append(new Option("not named", "-"));
  document.querySelector(".for-" + id).hidden = !names.length;
}
fill("nozzle", "n");
fill("injector", "i");
const hideUnless = (cls, test) => document.querySelectorAll(cls).forEach(
  e => { e.hidden = !all.some(test); });
hideUnless(".for-date", c => c.d);
hideUnless(".for-person", c => c.h);
hideUnless(".for-double", c => c.u);
$("controls").hidden = false;
$("controls").addEventListener("input", choose);
$("controls").addEventListener("submit", e => e.preventDefault());
$("controls").addEventListener("reset", () => {
  chosen.verdict.clear();
  chosen.state.clear();
  document.querySelectorAll(".chip").forEach(b => b.setAttribute("aria-pressed", "false"));
  setTimeout(choose);
});

// -- choosing and ordering
const named = (want, name) => !want || (want === "-" ? !name : name === want.slice(1));
function choose() {
  const from = $("from").value, to = $("to").value, text = $("search").value.toLowerCase();
  const doubles = $("doubles").checked, disagree = $("disagree").checked;
  view = all.filter(c =>
    (!chosen.verdict.size || chosen.verdict.has(c.v)) &&
    (!chosen.state.size || c.s.some(s => chosen.state.has(s))) &&
    named($("nozzle").value, c.n) && named($("injector").value, c.i) &&
    (!from || (c.d && c.d.slice(0, 10) >= from)) && (!to || (c.d && c.d.slice(0, 10) <= to)) &&
    (!text || c.f.toLowerCase().includes(text)) &&
    (doubles || !c.u) && (!disagree || (c.h && c.h !== c.v)));
  const rank = c => VERDICTS.indexOf(c.v);
  const by = {
    worst: (a, b) => rank(a) - rank(b) || b.w - a.w,
    new: (a, b) => (b.d > a.d) - (b.d < a.d),
    old: (a, b) => !a.d - !b.d || (a.d > b.d) - (a.d < b.d),
    name: (a, b) => a.f.localeCompare(b.f, undefined, {numeric: true}),
  }[$("order").value];
  view.sort((a, b) => by(a, b) || a.k - b.k);
  $("count").textContent = view.length === 1 ? "1 card shown" :
    `${view.length} cards shown, of ${all.length}`;
  $("cards").replaceChildren();
  drawn = 0;
  more();
}

// -- drawing
function picture(c) {
  const p = make("div", "picture");
  for (const [src, what] of pairs ? [[c.p, "photo"], [c.t, "what was found"]] : [[c.t, ""]]) {
    if (!src) { if (what !== "photo") p.append(make("div", "none", "no picture")); continue; }
    const img = make("img");
    img.loading = "lazy";
    img.decoding = "async";
    img.alt = what;
    img.addEventListener("error", () => img.replaceWith(make("div", "none",
      "the picture is not beside this page")));
    img.src = src;
    p.append(img);
  }
  return p;
}
function holes(c) {
  const list = make("ol", "holes");
  c.s.forEach((s, k) => {
    const wrong = s !== "clear" && s !== "unsure";
    const li = make("li", wrong ? "wrong" : s === "unsure" ? "unsure" : "", `${k + 1} ${SIGN[s]}`);
    li.title = `hole ${k + 1} ${s}`;
    li.setAttribute("aria-label", li.title);
    list.append(li);
  });
  return list;
}
function draw(c, at) {
  const card = make("article", "v-" + c.v);
  const head = make("button", "verdict");
  head.type = "button";
  head.append(sign(c.v), make("span", "", WORD[c.v].toUpperCase()));
  if (c.h) head.append(make("span", "says", c.h === c.v ? "person agrees" : "person: " + c.h));
  const about = make("div", "about");
  about.append(make("div", "reason", c.r));
  if (c.s.length) about.append(holes(c));
  about.append(make("div", "meta", [c.d.slice(0, 10), c.n, c.i].filter(Boolean).join(" \u00B7 ")),
    make("div", "meta", c.f));
  if (c.u) about.append(make("div", "meta", "same content as " + c.u));
  card.append(head, picture(c), about);
  card.addEventListener("click", () => look(at));
  return card;
}
function more() {
  const next = view.slice(drawn, drawn + STEP);
  $("cards").append(...next.map((c, k) => draw(c, drawn + k)));
  drawn += next.length;
}
new IntersectionObserver(seen => {
  if (seen.some(s => s.isIntersecting) && drawn < view.length) more();
}, {rootMargin: "900px"}).observe($("end"));

// -- one card, large
function look(at) {
  if (at < 0 || at >= view.length) return;
  looked = at;
  const c = view[at];
  $("name").textContent = c.f;
  $("before").disabled = at === 0;
  $("after").disabled = at === view.length - 1;
  const pics = make("div", "pics"), text = make("div", "text v-" + c.v);
  for (const src of [c.p, c.l || c.t]) if (src) {
    const img = make("img");
    img.alt = src === c.p ? "photo" : "what was found";
    img.addEventListener("error", () => { if (c.t && img.src !== c.t) img.src = c.t; }, {once: true});
    img.src = src;
    pics.append(img);
  }
  const head = make("div", "verdict");
  head.append(sign(c.v), make("span", "", WORD[c.v].toUpperCase()));
  text.append(head, make("p", "reason", c.r));
  if (c.s.length) text.append(holes(c));
  if (c.m) {
    const notes = make("ul", "notes");
    notes.append(...c.m.map(n => make("li", "", n)));
    text.append(notes);
  }
  const list = make("dl");
  for (const [name, value] of [["Date", c.d.replace("T", " ")], ["Nozzle", c.n], ["Injector", c.i],
    ["A person said", c.h], ["Same content as", c.u]]) {
    if (value) list.append(make("dt", "", name), make("dd", "", value));
  }
  text.append(list);
  if (c.o) {
    const link = make("a", "", "Open the photo itself");
    link.href = c.o;
    link.target = "_blank";
    text.append(link);
  }
  $("shown").replaceChildren(pics, text);
  if (!$("look").open) $("look").showModal();
}
$("before").addEventListener("click", () => look(looked - 1));
$("after").addEventListener("click", () => look(looked + 1));
$("close").addEventListener("click", () => $("look").close());
$("look").addEventListener("click", e => { if (e.target === $("look")) $("look").close(); });
$("look").addEventListener("keydown", e => {
  if (e.key === "ArrowLeft") look(looked - 1);
  if (e.key === "ArrowRight") look(looked + 1);
});
choose();
})();
