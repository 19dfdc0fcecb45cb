"""The outcome of a batch, derived from the journal: records, tables, contact sheet, plots.

Records are read one at a time; what stays in memory for each photo is some tens of bytes. Every
file is replaced as a whole, so the outcome of the last run stays until the new one is complete.
"""

from __future__ import annotations

import contextlib
import json
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from spraycheck.batch.columns import TABLES, hole_rows, photo_row
from spraycheck.batch.files import Pictures, plain_picture, replacing
from spraycheck.batch.gallery import card_of, severity_of, shot_of, title_of
from spraycheck.batch.progress import WORDS
from spraycheck.batch.records import make_record
from spraycheck.batch.scheduler import Done, Work
from spraycheck.batch.summary import Summary
from spraycheck.batch.tables import columns_text, have_parquet, open_table, table_files
from spraycheck.errors import InputError
from spraycheck.photo.files import shown
from spraycheck.report.contact_sheet import VERDICTS, Card, Plot, contact_sheet
from spraycheck.report.trends import Trends

RECORDS: Final = "records.jsonl"
SHEET: Final = "contact-sheet.html"
DISAGREEMENTS: Final = "disagreements.html"

EMBED_MAX: Final = 500
"""Pictures put into the page itself: at some 15 kB each it stays below 10 MB and can be mailed.
With more, they are loaded from the folder beside it."""

SHEET_MAX: Final = 20_000
"""Cards on a sheet: a browser reads the data of so many in a second or two. Of a larger archive
the worst are shown."""

PAIRS_MAX: Final = 300
"""Disagreements shown side by side; photos are read again for them."""


def write_outcome(work: Work, done: Done, folder: Path, places: list[str]) -> Summary:
    """Write everything.

    Parameters
    ----------
    work, done
        Of the run.
    folder : Path
        Where to.
    places : list of str
        Where the photos come from, for the title.

    Raises
    ------
    InputError
        A file cannot be written; the journal is not touched.
    """
    try:
        return _Writer(work, done, folder).write(places)
    except OSError as error:
        raise InputError(
            f"results cannot be written to {shown(folder)} ({error.strerror or error}); the "
            "journal keeps what was finished",
            "make room and run the same command again",
        ) from None


class _Writer:
    def __init__(self, work: Work, done: Done, folder: Path) -> None:
        self.work, self.done, self.folder = work, done, folder
        self.pictures = Pictures(folder)
        self.summary = Summary(folder=folder, stopped=done.stopped, alike=done.alike)
        self.rank = array("d")  # per photo, larger is worse
        self.disagree: set[int] = set()
        self.trends = Trends()

    def write(self, places: list[str]) -> Summary:
        self._tables()
        text = columns_text()
        with replacing(self.folder / "columns.txt") as path:
            path.write_text(text, "utf-8")
        plots = self._plots()
        title = title_of(places)
        self._sheet(title, plots)
        self._disagreements(title)
        names = [file for name in TABLES for file in table_files(name)]
        if not have_parquet():
            self.summary.notes.append(
                "no Parquet tables: run pip install 'spraycheck[parquet]' to have them"
            )
        self.summary.files = [*names, "columns.txt", SHEET, *self.summary.files]
        return self.summary

    # -- records and tables ---------------------------------------------------------------------

    def _records(self) -> Iterator[dict[str, Any]]:
        """Give the record of every photo, in order."""
        first: dict[bytes, int] = {}
        for index, path in enumerate(self.work.paths):
            key = self.done.keys[index]
            # What happens to be known of a photo that was not reached depends on chance.
            sha256 = self.done.sha256[index] if key is not None else b""
            origin = first.setdefault(sha256, index) if sha256 else index
            yield make_record(
                path,
                sha256.hex(),
                self.work.expected(path),
                result=self.work.journal.read(key) if key is not None else None,
                key=key.hex() if key is not None else "",
                duplicate_of=self.work.paths[origin] if origin != index else None,
            )

    def _tables(self) -> None:
        with contextlib.ExitStack() as stack:
            add = {name: stack.enter_context(open_table(self.folder, name)) for name in TABLES}
            for index, record in enumerate(self._records()):
                row = photo_row(record)
                add["records"](record)
                add["photos"](row)
                for hole in hole_rows(record):
                    add["holes"](hole)
                self._note(index, record)
                if record["outcome"] == "measured" and not record["duplicate_of"]:
                    self.trends.add(shot_of(row))

    def _note(self, index: int, record: dict[str, Any]) -> None:
        verdict = record["result"]["verdict"] or record["outcome"]
        self.summary.counts[verdict] += 1
        self.summary.duplicates += record["duplicate_of"] is not None
        order = len(VERDICTS) - VERDICTS.index(verdict)
        self.rank.append(1000.0 * order + min(severity_of(record), 999.0))
        if self.summary.comparison.add(record):
            self.disagree.add(index)

    # -- pages ----------------------------------------------------------------------------------

    def _read_back(self, wanted: set[int] | None) -> Iterator[tuple[int, dict[str, Any]]]:
        with open(self.folder / RECORDS, encoding="ascii") as lines:
            for index, line in enumerate(lines):
                if wanted is None or index in wanted:
                    yield index, json.loads(line)

    def _plots(self) -> list[Plot]:
        plots = []
        for name, title, text, png in self.trends.plots():
            place = self.folder / "plots" / f"{name}.png"
            place.parent.mkdir(exist_ok=True)
            with replacing(place) as path:
                path.write_bytes(png)
            self.summary.files.append(f"plots/{name}.png")
            plots.append(Plot(title=title, text=text, png=png))
        return plots

    def _sheet(self, title: str, plots: list[Plot]) -> None:
        wanted = None
        facts = self._facts()
        if len(self.rank) > SHEET_MAX:
            # Sorting numbers, not cards: a million of them are eight megabytes.
            order = sorted(range(len(self.rank)), key=self.rank.__getitem__, reverse=True)
            wanted = set(order[:SHEET_MAX])
            facts.append(
                f"The {SHEET_MAX} worst of {len(self.rank)} cards are shown; the table photos.csv "
                "holds them all."
            )
        embed = min(len(self.rank), SHEET_MAX) <= EMBED_MAX
        self._page(SHEET, title, wanted, facts, plots, embed=embed, pairs=False)

    def _disagreements(self, title: str) -> None:
        page = self.folder / DISAGREEMENTS
        if not self.disagree:
            page.unlink(missing_ok=True)
            return
        worst = sorted(self.disagree, key=self.rank.__getitem__, reverse=True)[:PAIRS_MAX]
        facts = [
            f"A person and the tool disagree about {len(self.disagree)} photos"
            + (f"; {PAIRS_MAX} are shown." if len(worst) < len(self.disagree) else ".")
        ]
        self._page(
            DISAGREEMENTS, f"Disagreements. {title}", set(worst), facts, [], embed=True, pairs=True
        )
        self.summary.files.append(DISAGREEMENTS)

    def _page(
        self,
        name: str,
        title: str,
        wanted: set[int] | None,
        facts: list[str],
        plots: list[Plot],
        *,
        embed: bool,
        pairs: bool,
    ) -> None:
        def cards() -> Iterator[Card]:
            for index, record in self._read_back(wanted):
                path = self.work.paths[index]
                yield card_of(
                    record,
                    path,
                    pictures=self.pictures,
                    embed=embed,
                    plain=plain_picture(path) if pairs else b"",
                )

        with (
            replacing(self.folder / name) as path,
            open(path, "w", encoding="utf-8", errors="backslashreplace") as page,
        ):
            for part in contact_sheet(cards(), title=title, facts=facts, plots=plots, pairs=pairs):
                page.write(part)

    def _facts(self) -> list[str]:
        from spraycheck import __version__
        from spraycheck.constants import RESULTS_VERSION

        counts = self.summary.counts
        said = [f"{counts[v]} {WORDS[v]}" for v in VERDICTS if counts[v]]
        photos = counts.total()
        line = f"{photos} photo{'' if photos == 1 else 's'}: {', '.join(said)}"
        if self.summary.duplicates:
            line += f"; {self.summary.duplicates} of them duplicates"
        facts = [f"{line}.", f"spraycheck {__version__}, results version {RESULTS_VERSION}."]
        if self.summary.stopped:
            facts.append("The batch ended before all photos had their turn.")
        return facts
