"""What has changed since the first freeze, stated one by one; the freeze itself is never rebuilt.

A step that renames something adds a line to `RENAMED`; a step that changes an answer adds the
documents, the keys and the reason to `EXPLAINED`.
"""

from __future__ import annotations

from typing import Final

RENAMED: Final[dict[str, dict[str, str]]] = {
    "key": {},
    "word": {},
    "field": {},
    "column": {},
    "command": {},
    "option": {},
    "name": {},
}
"""Old to new, by sort.

``key``
    Keys of documents, dotted without list places: ``"patch.roundness": "patch.ellipse_ratio"``. A
    leading part stands for everything below it; the longest that fits counts. Keys of a photo's
    document are the same within the document of several photos.
``word``
    Stable words that are values: finding codes, flags, states, limits' names, ways of finding.
``field``
    Fields of a finding: ``"hole-weak.u": "u_ratio"``.
``column``
    Columns of a batch's tables: ``"photos.roundness": "photos.ellipse_ratio"``.
``command``, ``option``
    Of the command line: ``"schema": "schemas"``, ``"measure --json": "measure --document"``.
``name``
    Public names of the package.
"""

EXPLAINED: Final[dict[str, dict[str, str]]] = {}
"""Document (or a pattern such as ``plain/*``) to key (or a pattern, as in the report: dotted,
frozen names) to the reason. What is explained is still counted, but apart."""
