"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const setup = JSON.parse($("setup").textContent);
  const questions = JSON.parse($("questions").textContent);
  const records = [];
  let name = "", began = "", at = 0, shown = 0, waiting = false, saved = false;

  // Text only, never markup: names and answers stay inert.
  const make = (tag, text, parent, kind) => {
    const node = document.createElement(tag);
    if (text) node.textContent = text;
    if (kind) node.className = kind;
    if (parent) parent.append(node);
    return node;
  };
  const clock = (deg) => {
    const quarters = Math.round(deg / 7.5) % 48;
    return `${Math.floor(quarters / 4) || 12}:${String((quarters % 4) * 15).padStart(2, "0")}`;
  };
  const stamp = () => {
    const now = new Date(), off = -now.getTimezoneOffset(), two = (n) => String(n).padStart(2, "0");
    const local = new Date(now.getTime() + off * 60000).toISOString().slice(0, 19);
    const far = Math.abs(off);
    return `${local}${off < 0 ? "-" : "+"}${two(Math.floor(far / 60))}:${two(far % 60)}`;
  };

  // -- marking: the same rule as in the program -------------------------------------------------
  const away = (target, deg) =>
    Math.min(...target.at.map((a) => Math.abs(((deg - a + 540) % 360) - 180)));
  const owner = (jets, one) => {
    let best = -1, least = Infinity;
    jets.forEach((target, k) => {
      if (one.kind === "stray" && target.hole !== 0) return;
      const far = away(target, one.clock_deg);
      if (far < least) { least = far; best = k; }
    });
    return best;
  };
  const mark = (q, verdict, named) => {
    const faulty = q.jets.flatMap((target, k) => (target.kind ? [k] : []));
    const owners = named.map((one) => [owner(q.jets, one), one.kind]);
    const hit = new Set(owners.map(([k]) => k));
    return {
      right: verdict === (faulty.length ? "faulty" : "good"),
      found: faulty.map((k) => hit.has(k)),
      kindRight: faulty.map((k) => owners.some(([o, kind]) => o === k && kind === q.jets[k].kind)),
      falseHoles: [...hit].filter((k) => k >= 0 && !q.jets[k].kind).length,
      falseStray: hit.has(-1),
      faulty: faulty.map((k) => q.jets[k]),
    };
  };
  const inWords = (m) => {
    if (!m.right) return `Wrong: this card is ${m.faulty.length ? "faulty" : "good"}.`;
    if (!m.faulty.length) return "Right: this card is good.";
    const missed = m.faulty.filter((_, k) => !m.found[k]).map((t) => t.words);
    if (missed.length)
      return `Right: this card is faulty, but the place is not: ${missed.join(" and ")}.`;
    const wrong = m.faulty.filter((_, k) => !m.kindRight[k]).map((t) => t.kind);
    if (wrong.length)
      return `Right: this card is faulty and so is the place, but the kind is ${wrong.join(" and ")}.`;
    if (m.falseHoles || m.falseStray)
      return "Right: this card is faulty, but a healthy place was named too.";
    return "Right: this card is faulty, and you found where and how.";
  };

  // -- asking -----------------------------------------------------------------------------------
  const ask = () => {
    const q = questions[at];
    for (const id of ["named", "mark", "told", "next"]) $(id).hidden = true;
    $("answer").hidden = false;
    $("places").replaceChildren();
    $("faulty").setAttribute("aria-pressed", "false");
    $("picture").src = q.picture;
    $("picture").alt = `Sprayed card ${at + 1}, with a clock round the pattern`;
    $("nozzle").textContent = `A nozzle with ${q.holes} equal holes.`;
    $("where").textContent = `${name}: card ${at + 1} of ${questions.length}`;
    shown = performance.now();
    waiting = true;
    window.scrollTo(0, 0);
    $("good").focus({ preventScroll: true });
  };
  const choose = (parent, label, options) => {
    const select = make("select", "", parent);
    select.setAttribute("aria-label", label);
    for (const [value, text] of options) make("option", text, select).value = value;
    return select;
  };
  const addPlace = (deg) => {
    $("named").hidden = false;
    $("faulty").setAttribute("aria-pressed", "true");
    const twin = [...$("places").children].find((r) => r.children[0].value === String(deg));
    if (twin) { twin.children[1].focus({ preventScroll: true }); return; }
    const row = make("div", "", $("places"), "place");
    const halves = Array.from({ length: 24 }, (_, k) => [String(k * 15), clock(k * 15)]);
    const where = choose(row, "place on the clock", [["", "where?"], ...halves]);
    const kinds = setup.kinds.map((k) => [k, k]);
    choose(row, "kind of fault", [[setup.unnamed, "what? (not sure)"], ...kinds]);
    const drop = make("button", "\u00d7", row);
    drop.type = "button";
    drop.setAttribute("aria-label", "take this place out");
    drop.addEventListener("click", () => row.remove());
    if (deg === undefined) { where.focus(); return; }
    where.value = String(deg);
    row.children[1].focus({ preventScroll: true }); // the picture stays in view for the next click
  };
  const answer = (verdict, named) => {
    if (!waiting) return;
    waiting = false;
    const q = questions[at], m = mark(q, verdict, named);
    records.push({
      schema: setup.schema, trainee: name, sitting: began, mode: setup.exam ? "exam" : "practice",
      paper: setup.paper, question: at + 1, at: stamp(), seconds: Math.round((performance.now() - shown) / 100) / 10,
      seed: q.seed, holes: q.holes, look_alike: q.lookAlike,
      faults: m.faulty.map((t, k) => ({
        kind: t.kind, severity: t.severity, clock_deg: t.at[0], found: m.found[k],
        kind_right: m.kindRight[k], tool_found: q.tool.found[k],
      })),
      verdict, named, right: m.right, false_holes: m.falseHoles, false_stray: m.falseStray,
      tool_verdict: q.tool.verdict, tool_false_holes: q.tool.falseHoles,
      tool_false_stray: q.tool.falseStray, results_version: setup.version,
    });
    if (setup.exam) { next(); return; }
    $("answer").hidden = true;
    $("told").replaceChildren();
    sayMark($("mark"), m);
    tell($("told"), q);
    for (const id of ["mark", "told", "next"]) $(id).hidden = false;
    $("next").textContent = at + 1 < questions.length ? "Next card" : "See the result";
    if (q.overlay) {
      $("picture").src = q.overlay;
      $("picture").alt = `Card ${at + 1}: what the tool found`;
    }
    window.scrollTo(0, 0);
    $("next").focus({ preventScroll: true });
  };
  // A sign and words, so that colour is not needed.
  const sayMark = (node, m) => {
    node.textContent = `${m.right ? "\u2713" : "\u2717"} ${inWords(m)}`;
    node.className = `verdict ${m.right ? "right" : "wrong"}`;
  };
  const tell = (parent, q) => {
    make("p", `On the card: ${q.truth}`, parent);
    for (const [title, text] of q.explain) {
      make("h3", title, parent);
      make("p", text, parent);
    }
    make("h3", "The tool", parent);
    make("p", q.tool.lines[0], parent);
    if (q.tool.lines.length > 1) make("pre", q.tool.lines.slice(1).join("\n"), parent);
  };
  const next = () => {
    at += 1;
    if (at < questions.length) ask(); else finish();
  };
  const finish = () => {
    $("ask").hidden = true;
    $("end").hidden = false;
    const right = records.filter((r) => r.right).length;
    const bad = records.filter((r) => r.faults.length), good = records.filter((r) => !r.faults.length);
    $("where").textContent = `${name}, paper ${setup.paper}, ${began}`;
    $("score").textContent = `${right} of ${records.length} verdicts right: ` +
      `${bad.filter((r) => r.right).length} of ${bad.length} faulty cards found, ` +
      `${good.filter((r) => !r.right).length} of ${good.length} good cards called faulty.`;
    records.forEach((r, k) => {
      const q = questions[k], box = make("article", "", $("review"), "question");
      make("h2", `Card ${k + 1}`, box);
      sayMark(make("p", "", box), mark(q, r.verdict, r.named));
      const named = r.named.map((n) => `${n.kind} at ${clock(n.clock_deg)}`).join(", ");
      make("p", `You said: ${r.verdict}${named ? `: ${named}` : ""}`, box);
      const pair = make("div", "", box, "pair");
      for (const [src, alt] of [[q.picture, "the card"], [q.overlay, "what the tool found"]]) {
        if (!src) continue;
        const image = make("img", "", pair);
        image.src = src;
        image.alt = `Card ${k + 1}: ${alt}`;
      }
      tell(box, q);
    });
    window.scrollTo(0, 0);
    $("save").focus({ preventScroll: true });
  };

  // -- what is pressed --------------------------------------------------------------------------
  $("start").addEventListener("submit", (event) => {
    event.preventDefault();
    name = $("name").value.replace(/[\p{C}\p{Z}]+/gu, " ").trim().slice(0, 60);
    if (!name) return;
    began = stamp();
    $("start").hidden = true;
    $("ask").hidden = false;
    ask();
  });
  $("good").addEventListener("click", () => answer("good", []));
  $("faulty").addEventListener("click", () => { if ($("named").hidden) addPlace(); });
  $("more").addEventListener("click", () => addPlace());
  $("answer").addEventListener("submit", (event) => {
    event.preventDefault();
    if ($("named").hidden) return;
    const rows = [...$("places").children].map((row) => row.querySelectorAll("select"));
    const named = rows.filter(([where]) => where.value !== "")
      .map(([where, what]) => ({ kind: what.value, clock_deg: Number(where.value) }));
    if (!named.length) { rows.length ? rows[0][0].focus() : addPlace(); return; }
    answer("faulty", named);
  });
  $("picture").addEventListener("click", (event) => {
    if (!waiting) return;
    // The nearest hour or half hour of the dial as it lies in the picture.
    const box = $("picture").getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width, y = (event.clientY - box.top) / box.height;
    const hours = questions[at].hours;
    const middle = [0, 1].map((i) => hours.reduce((sum, h) => sum + h[i], 0) / 12);
    const angle = (px, py) => Math.atan2((py - middle[1]) * box.height, (px - middle[0]) * box.width);
    const mine = angle(x, y);
    const gap = (h) => Math.abs(((angle(...h) - mine + 3 * Math.PI) % (2 * Math.PI)) - Math.PI);
    const order = hours.map((h, k) => [gap(h), k + 1]).sort((a, b) => a[0] - b[0]);
    const [[near, one], [far, two]] = order;
    const half = near > far / 3;
    // 1 and 12 are neighbours: the half hour between them is 12:30.
    const low = Math.abs(one - two) === 11 ? 12 : Math.min(one, two);
    addPlace(((half ? low + 0.5 : one) * 30) % 360);
  });
  $("next").addEventListener("click", next);
  $("print").addEventListener("click", () => window.print());
  $("save").addEventListener("click", () => {
    const text = records.map((r) => JSON.stringify(r) + "\n").join("");
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/x-ndjson" }));
    link.download = `quiz-${name.replace(/[^\p{L}\p{N}]+/gu, "-")}-${setup.paper}.jsonl`;
    link.click();
    saved = true;
  });
  window.addEventListener("beforeunload", (event) => {
    if (records.length && !saved) event.preventDefault();
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !waiting) return;
    if (["INPUT", "SELECT"].includes(event.target.tagName)) return;
    const key = event.key.toLowerCase();
    if (key === "g") $("good").click();
    else if (key === "f") $("faulty").click();
    else if (key === "a") $("more").click();
    else return;
    event.preventDefault();
  });
  $("start").hidden = false;
  $("name").focus();
})();
