"""Runs the notebooks from their text sources and writes the `.ipynb` beside them.

    python tests/build_notebooks.py [NAME...]

Sources are ``notebooks/*.py`` in the percent format; a notebook is always made from its source and
never edited itself. Every run is from scratch: a kernel of its own, in a temporary copy of what a
checkout holds, so that nothing a notebook writes stays behind.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

import jupytext
import nbformat
from nbclient import NotebookClient
from nbformat import NotebookNode

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "notebooks"
READ_BY_NOTEBOOKS = ("notebooks/data", "notebooks/figures", "sample_images", "tests/truth/data")
LIMIT_S = 400
"""For one cell. A whole notebook takes half a minute; a busy machine may take ten times as long."""


def sources() -> list[Path]:
    """All text sources, in the order of their names."""
    return sorted(FOLDER.glob("*.py"))


def executed(source: Path) -> NotebookNode:
    """Run one source from scratch and return the notebook with its outputs."""
    notebook = jupytext.read(source)
    with tempfile.TemporaryDirectory(prefix="spraycheck-notebook-") as place:
        for name in READ_BY_NOTEBOOKS:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, Path(place) / name)
        here = Path(place) / "notebooks"
        here.mkdir(exist_ok=True)
        client = NotebookClient(
            notebook,
            timeout=LIMIT_S,
            kernel_name="python3",
            resources={"metadata": {"path": str(here)}},
        )
        client.execute(env=_environment(place))
    return _tidy(notebook)


def _environment(place: str) -> dict[str, str]:
    """The kernel's: this checkout first, no warning hidden, its temporary files in one place."""
    return {
        **os.environ,
        **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), place),
        "PYTHONPATH": os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")])),
        "PYTHONWARNINGS": "default",
        "MPLBACKEND": "agg",
    }


def _tidy(notebook: NotebookNode) -> NotebookNode:
    """Leave out what differs from run to run, and number cells by their place."""
    notebook.metadata.pop("language_info", None)
    for number, cell in enumerate(notebook.cells, start=1):
        cell["id"] = f"cell-{number}"
        cell.metadata = NotebookNode()
    return notebook


def main(names: list[str]) -> int:
    """Build the notebooks named, or all."""
    for source in sources():
        if names and source.stem not in names:
            continue
        target = source.with_suffix(".ipynb")
        nbformat.write(executed(source), target)
        print(f"{target.relative_to(ROOT)}: {target.stat().st_size / 1e3:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
