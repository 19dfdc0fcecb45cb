"""The report as a page of HTML that needs nothing else: verdict, picture, rows, what to do."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from typing import Final

from spraycheck.report.looks import BADGES, Badge, Colour, Look
from spraycheck.report.model import Headline, ReportModel, Row, Table
from spraycheck.report.words.sentences import say

_POLICY: Final = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
"""Nothing is fetched and nothing runs."""

_STYLE: Final = """\
body { font: 16px/1.45 system-ui, sans-serif; margin: 0 auto; max-width: 60rem; padding: 1rem;
       color: #14191f; background: #fff; }
header { padding: .8rem 1rem; border-radius: .4rem; border: 2px solid; }
header b { font-size: 1.9rem; margin-right: .6rem; }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem; }
img { max-width: 100%; margin-top: 1rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; margin-top: 1rem; }
th, td { padding: .15rem .7rem .15rem 0; text-align: right; white-space: nowrap; }
th { font-weight: 400; color: #55606b; }
.words { text-align: left; }
.sign { display: inline-block; width: 1.3em; }
.alarm { font-weight: 700; }
.note, .about { color: #55606b; font-size: .9rem; }
.caution { border-top: 2px solid #8c1410; margin-top: 1.6rem; padding-top: .4rem; }
"""


def html_report(report: ReportModel, pictures: Sequence[bytes] = ()) -> str:
    """Write a report as a page of its own.

    Parameters
    ----------
    report : ReportModel
        What is told.
    pictures : sequence of bytes
        PNG or JPEG of the report's pictures, in their order; fewer leave the last ones out.

    Returns
    -------
    str
        HTML. Everything that came from outside is escaped, and nothing is fetched.
    """
    headline = report.headline
    parts = [
        f"<title>{escape(headline.title)}</title>",
        f"<style>{_STYLE}</style>",
        _headline(headline),
        *(
            _picture(picture.caption, data)
            for picture, data in zip(report.pictures, pictures, strict=False)
        ),
        *(_table(table) for table in report.tables),
    ]
    if report.findings:
        parts.append(_heading("findings"))
    for number, finding in enumerate(report.findings, start=1):
        parts.append(f"<h3>{number}. {escape(finding.title)}</h3><p>{escape(finding.text)}</p>")
        if finding.causes:
            parts.append(f'<p class="note">{escape(finding.causes)}</p>')
    if report.certainty:
        lines = "".join(f"<li>{escape(line)}</li>" for line in report.certainty)
        parts.append(f"{_heading('certainty')}<ul>{lines}</ul>")
    cautions = "".join(f"<p>{escape(caution)}</p>" for caution in report.cautions)
    parts.append(f'<section class="caution">{_heading("safety")}{cautions}</section>')
    body = "\n".join(parts)
    return (
        '<!doctype html>\n<html lang="en"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        f"{body}\n</html>\n"
    )


def _heading(key: str) -> str:
    return f"<h2>{escape(say(key))}</h2>"


def _headline(headline: Headline) -> str:
    look = ""
    if headline.verdict is not None:
        badge: Badge = BADGES[headline.verdict]
        look = f' style="background: {_colour(badge.back)}; color: {_colour(badge.ink)}"'
    return (
        f"<header{look}><b>{escape(headline.title)}</b> {escape(headline.reason)}</header>"
        f'<p class="about">{escape(headline.about)}</p>'
    )


def _picture(caption: str, data: bytes) -> str:
    kind = "png" if data.startswith(b"\x89PNG") else "jpeg"
    source = f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"
    return f'<img src="{source}" alt="{escape(caption)}">'


def _table(table: Table) -> str:
    heads = [_cell("th", column.head, words=column.left) for column in table.columns]
    if table.state:  # beside the hole's number, where a phone shows it
        heads.insert(1, _cell("th", table.state, words=True))
    rows = "".join(f"<tr>{_row(table, row)}</tr>" for row in table.rows)
    notes = "".join(f'<p class="note">{escape(note)}</p>' for note in table.notes)
    return f'<div class="wide"><table><tr>{"".join(heads)}</tr>{rows}</table></div>{notes}'


def _row(table: Table, row: Row) -> str:
    cells = [
        _cell("td", f"{cell.text} ±{cell.u}" if cell.u else cell.text, words=column.left)
        for column, cell in zip(table.columns, row.cells, strict=True)
    ]
    if table.state:
        cells.insert(1, _state(row.wide_word or row.word, row.look))
    return "".join(cells)


def _state(word: str, look: Look | None) -> str:
    sign = escape(look.mark) if look else ""
    alarm = " alarm" if look and look.alarm else ""
    return f'<td class="words{alarm}"><span class="sign">{sign}</span>{escape(word)}</td>'


def _cell(tag: str, text: str, *, words: bool) -> str:
    return f"<{tag}{' class=words' if words else ''}>{escape(text)}</{tag}>"


def _colour(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
