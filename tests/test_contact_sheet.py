"""The contact sheet: whole, safe against odd names, without network, and working in a browser."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from batch_tools import batch, photo
from pages import Page, check_needs_no_network

from spraycheck.batch.gallery import reason_of, severity_of
from spraycheck.judge.result import HoleState
from spraycheck.report.contact_sheet import Card, Plot, contact_sheet, data_address

CARDS = (
    Card(file="a/pass.jpg", verdict="pass", reason="all clear", states=("clear",) * 3,
         date="2020-01-02", nozzle="N1", severity=0.2),
    Card(file="a/one.jpg", verdict="fail", reason="hole 2 weak", states=("clear", "weak", "clear"),
         date="2021-01-02", nozzle="N2", severity=2.1, person_verdict="pass"),
    Card(file="a/two.jpg", verdict="fail", reason="hole 1 blocked",
         states=("blocked", "clear", "clear"), date="2019-01-02", nozzle="N2", severity=4.1),
    Card(file="a/none.jpg", verdict="failed", reason="no card found"),
    Card(file="b/pass.jpg", verdict="pass", reason="all clear", duplicate_of="a/pass.jpg"),
)  # fmt: skip
EVIL = '</script><script>alert(1)</script><img src=x onerror="alert(1)">{{7*7}} \u2028'


def page(*cards: Card, **options: Any) -> str:
    return "".join(contact_sheet(cards or CARDS, title="Cards", **options))


def data_of(text: str) -> list[dict[str, Any]]:
    body = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)
    assert body is not None
    found: list[dict[str, Any]] = json.loads(body[1])
    return found


def test_every_card_is_in_the_page_once() -> None:
    found = data_of(page())
    assert [c["f"] for c in found] == [c.file for c in CARDS]
    assert [c["v"] for c in found] == [c.verdict for c in CARDS]
    assert found[1]["s"] == ["clear", "weak", "clear"]
    assert data_of(page(replace(CARDS[0], file="x")))[0]["f"] == "x"
    assert data_of("".join(contact_sheet((), title="none"))) == []


def test_odd_names_stay_text() -> None:
    evil = Card(file=EVIL, verdict="fail", reason=EVIL, nozzle=EVIL, notes=(EVIL,))
    text = "".join(contact_sheet([evil], title=EVIL, facts=[EVIL]))
    shown = Page(text)
    assert shown.count("script") == 2
    assert shown.count("img") == 0
    assert data_of(text)[0]["f"] == EVIL
    assert "49" not in text.split("<style>")[0]


def test_nothing_comes_from_a_network() -> None:
    text = page(plots=[Plot(title="t", text="x", png=b"png")])
    assert check_needs_no_network(text).count("noscript") == 1
    assert "an aid, not a certificate" in text


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<body", '<body onload="go()"'),
        ("</head>", '<link rel="icon"></head>'),
        ("</body>", '<img src="//there/a.png"></body>'),
        ("</body>", '<img src="a.png"></body>'),
        ("</style>", "@import 'a.css';</style>"),
        ("</style>", "p{background:url(a.png)}</style>"),
        ("</script>", "fetch('//there');</script>"),
        ("default-src 'none'", "default-src *"),
    ],
)
def test_the_check_of_pages_sees_what_asks_a_network(old: str, new: str) -> None:
    assert old in page()
    with pytest.raises(AssertionError):
        check_needs_no_network(page().replace(old, new))


def test_states_are_told_by_more_than_colour() -> None:
    text = page()
    for word in ("fail", "recheck", "not measured", "pass"):
        assert f'"{word}"' in text or f"{word}:" in text
    shapes = re.findall(r'<symbol id="v-([a-z-]+)"[^>]*>(.*?)</symbol>', text, re.S)
    assert len({shape for _, shape in shapes}) == len(shapes) == 5


def test_pictures_are_inside_or_beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for k in range(4):
        photo(tmp_path / f"in/{k}.jpg", f"pass {k}")
    batch(tmp_path / "in", tmp_path / "out")
    inside = data_of((tmp_path / "out/contact-sheet.html").read_text("utf-8"))
    assert all(c["t"] == data_address(b"small") for c in inside)
    assert all((tmp_path / "out" / c["l"]).read_bytes() == b"large" for c in inside)
    assert all((tmp_path / "out" / c["o"]).is_file() for c in inside)
    monkeypatch.setattr("spraycheck.batch.outcome.EMBED_MAX", 3)
    batch(tmp_path / "in", tmp_path / "out")
    beside = data_of((tmp_path / "out/contact-sheet.html").read_text("utf-8"))
    assert all((tmp_path / "out" / c["t"]).read_bytes() == b"small" for c in beside)


def test_of_a_large_archive_the_worst_are_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for k, word in enumerate(("pass", "recheck", "pass", "fail", "blank 1", "pass")):
        photo(tmp_path / f"in/{k}.jpg", f"{word} {k}")
    monkeypatch.setattr("spraycheck.batch.outcome.SHEET_MAX", 3)
    batch(tmp_path / "in", tmp_path / "out")
    text = (tmp_path / "out/contact-sheet.html").read_text("utf-8")
    assert [c["v"] for c in data_of(text)] == ["recheck", "fail", "failed"]
    assert "The 3 worst of 6 cards are shown" in text


def test_labelled_archive(tmp_path: Path) -> None:
    rows = ["file,verdict"]
    said = ("pass pass", "pass fail", "fail fail", "blank pass", "fail pass", "recheck ")
    for k, (tool, person) in enumerate(pair.split(" ") for pair in said):
        photo(tmp_path / f"in/{k}.jpg", f"{tool} {k}")
        rows.append(f"in/{k}.jpg,{person}")
    (tmp_path / "m.csv").write_text("\n".join(rows))
    summary, _ = batch(tmp_path / "in", tmp_path / "out", manifest=str(tmp_path / "m.csv"))
    text = summary.comparison.text()
    lines = [line.split() for line in text.splitlines()]
    assert lines[1] == ["pass", "fail", "recheck", "not", "measured"]
    assert lines[2] == ["pass", "1", "1", "0", "1"]
    assert lines[3] == ["fail", "1", "1", "0", "0"]
    assert "2 of 5 photos (40%)" in text
    assert "fail and the tool pass: 1; a person pass and the tool fail: 1" in text
    disagreeing = (tmp_path / "out/disagreements.html").read_text("utf-8")
    assert 'class="pairs"' in disagreeing
    assert {Path(c["f"]).name for c in data_of(disagreeing)} == {"1.jpg", "3.jpg", "4.jpg"}
    batch(tmp_path / "in", tmp_path / "out")  # no labels any more: no page that tells old news
    assert not (tmp_path / "out/disagreements.html").exists()


def test_worst_comes_first() -> None:
    def record(*states: str, strays: int = 0) -> dict[str, Any]:
        holes = [
            {"hole": n, "state": s, "deviation_deg": 1.0, "area_ratio": 0.5}
            for n, s in enumerate(states, 1)
        ]
        result = {"holes": holes, "strays": [1] * strays, "findings": []}
        return {"outcome": "measured", "result": result}

    order = [
        record("blocked", "blocked", "clear"),
        record("blocked", "weak", "clear"),
        record("blocked", "clear", "clear"),
        record("off-line", "clear", "clear"),
        record("weak", "clear", "clear"),
        record("unsure", "clear", "clear"),
        record("clear", "clear", "clear"),
    ]
    severities = [severity_of(r) for r in order]
    clear = severity_of(record("clear", "clear", "clear"))
    for state in HoleState:
        assert (severity_of(record(state, "clear", "clear")) > clear) == (state != "clear"), state
    assert severities == sorted(severities, reverse=True)
    assert len(set(severities)) == len(order)
    assert reason_of(order[1]) == "hole 1 blocked; hole 2 weak (50%)"
    assert reason_of(order[6]) == "all 3 holes clear"


# -- in a browser


def dom(tmp_path: Path, script: str = "") -> str:
    """The page as a browser has it after its script, and ours."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("no Chromium on this machine")
    path = tmp_path / "page.html"
    path.write_text(page().replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    done = subprocess.run(
        [browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
         "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", f"--user-data-dir={tmp_path / 'browser'}", "--virtual-time-budget=2000",
         "--dump-dom", path.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return done.stdout


CHOICES = (
    ("", ["a/two.jpg", "a/one.jpg", "a/none.jpg", "a/pass.jpg"]),
    ("document.querySelector('.chip.v-pass').click()", ["a/pass.jpg"]),
    (
        "[...document.querySelectorAll('.chip')].find(b => b.textContent.includes('weak')).click()",
        ["a/one.jpg"],
    ),
    ("set('nozzle', '=N2'); set('order', 'old')", ["a/two.jpg", "a/one.jpg"]),
    ("set('from', '2020-01-01'); set('to', '2020-12-31')", ["a/pass.jpg"]),
    ("tick('disagree')", ["a/one.jpg"]),
    ("set('search', 'B/'); tick('doubles')", ["b/pass.jpg"]),
    ("set('order', 'new')", ["a/one.jpg", "a/pass.jpg", "a/two.jpg", "a/none.jpg"]),
)
"""What a person does, and the cards that are shown then; everything is undone in between."""


def test_browser_chooses_and_orders(tmp_path: Path) -> None:
    script = """
        const at = id => document.getElementById(id);
        const say = e => e.dispatchEvent(new Event("input", {bubbles: true}));
        const set = (id, v) => { at(id).value = v; say(at(id)); };
        const tick = id => { at(id).checked = true; say(at(id)); };
        const told = document.body.appendChild(document.createElement("pre"));
        const next = doings => {
            if (!doings.length) return;
            doings[0]();
            const names = [...document.querySelectorAll("article .meta")].map(e => e.textContent);
            told.append(names.filter(n => n.endsWith(".jpg") && !n.includes(" ")).join(" ") + ";");
            document.querySelector("[type=reset]").click();
            setTimeout(() => next(doings.slice(1)), 10);
        };
    """
    doings = ",".join(f"() => {{ {what} }}" for what, _ in CHOICES)
    text = dom(tmp_path, f"{script} next([{doings}]);")
    told = re.search(r"<pre>(.*?)</pre>", text)
    assert told is not None
    assert [line.split() for line in told[1].split(";")[:-1]] == [names for _, names in CHOICES]


def test_browser_looks_at_one_card(tmp_path: Path) -> None:
    text = dom(tmp_path, "document.querySelector('article .verdict').click()")
    dialog = text[text.index("<dialog") : text.index("</dialog>")]
    assert '<dialog id="look" open' in dialog
    assert "a/two.jpg" in dialog
    assert "hole 1 blocked" in dialog
