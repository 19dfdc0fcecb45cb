"""Every notebook runs from its text source without an error or a warning, and the copy with
pictures that is kept beside it belongs to that source.
"""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from build_notebooks import FOLDER, executed, sources
from nbformat import NotebookNode

MOST_BYTES = 1_000_000
NAMES = [source.stem for source in sources()]
EACH = pytest.mark.parametrize("name", NAMES)


def _kept(name: str) -> NotebookNode:
    return nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)


def _kinds(cell: NotebookNode) -> list[str]:
    """What a cell shows: printed text, and the richest form of everything else."""
    kinds = []
    for output in cell.get("outputs", ()):
        data = set(output.get("data", ()))
        rich = data - {"text/plain"}
        kinds.append(min(rich or data, default=f"{output.output_type} {output.get('name', '')}"))
    return kinds


def test_there_is_a_notebook_for_each_source_and_no_other() -> None:
    assert {path.stem for path in FOLDER.glob("*.ipynb")} == set(NAMES)
    assert len(NAMES) >= 5


@EACH
def test_the_kept_notebook_is_small_shows_pictures_and_belongs_to_its_source(name: str) -> None:
    import jupytext

    path = FOLDER / f"{name}.ipynb"
    assert path.stat().st_size < MOST_BYTES
    kept, source = _kept(name), jupytext.read(path.with_suffix(".py"))
    assert [(c.cell_type, c.source) for c in kept.cells] == [
        (c.cell_type, c.source) for c in source.cells
    ], "the notebook is out of date: run python tests/build_notebooks.py"
    shown = [kind for cell in kept.cells for kind in _kinds(cell)]
    assert sum(kind.startswith("image/") for kind in shown) >= 3
    assert kept.cells[0].cell_type == "markdown"
    assert kept.cells[0].source.startswith("# ")
    # Text first: more words to read, tables included, than words of code.
    code = [cell for cell in kept.cells if cell.cell_type == "code"]
    tables = [output.get("data", {}).get("text/markdown", "") for cell in code
              for output in cell.outputs]  # fmt: skip
    text = [cell.source for cell in kept.cells if cell.cell_type == "markdown"] + tables
    assert len(" ".join(text).split()) > len(" ".join(cell.source for cell in code).split())


@EACH
def test_every_picture_is_described_for_those_who_do_not_see_it(name: str) -> None:
    for cell in _kept(name).cells:
        for output in cell.get("outputs", ()):
            for kind in output.get("data", ()):
                if kind.startswith("image/"):
                    assert output.metadata[kind]["alt"]


@EACH
def test_no_cell_holds_logic(name: str) -> None:
    for cell in _kept(name).cells:
        if cell.cell_type == "code":
            lines = [line.strip() for line in cell.source.splitlines()]
            assert len(lines) <= 40  # tables of values one to a line, mostly
            assert not any(line.startswith(("if ", "while ", "class ", "try:")) for line in lines)


@pytest.mark.slow
@EACH
def test_a_notebook_runs_afresh_and_shows_what_the_kept_one_shows(name: str) -> None:
    fresh = executed(FOLDER / f"{name}.py")  # raises where a cell does
    noise = [
        output.text
        for cell in fresh.cells
        for output in cell.get("outputs", ())
        if output.get("name") == "stderr"
    ]
    assert noise == []  # warnings come that way
    assert [_kinds(cell) for cell in fresh.cells] == [_kinds(cell) for cell in _kept(name).cells]
    if name == "checked-against-published-values":
        table = fresh.cells[-1].outputs[0].data["text/markdown"]
        good, count = table.rsplit("**", 2)[1].split(" of ")
        assert good == count
        assert int(count) >= 80


def test_a_failing_cell_is_an_error(tmp_path: Path) -> None:
    from nbclient.exceptions import CellExecutionError

    source = tmp_path / "bad.py"
    source.write_text("# %% [markdown]\n# # Bad\n\n# %%\n1 / 0\n")
    with pytest.raises(CellExecutionError, match="ZeroDivisionError"):
        executed(source)
