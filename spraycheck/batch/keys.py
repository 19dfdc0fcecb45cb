"""The key of a result: the same key, the same numbers.

A later run takes over what has the same key and scores the rest, so everything that can change a
value goes into it: the photo's content, the version of the results, every stage with its
parameters, layout, limits and sheet.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from spraycheck.card.spec import CardSpec
from spraycheck.constants import RESULTS_VERSION
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.report.document import plain
from spraycheck.report.document.shared import limits_entry

FORM = "spraycheck.record/1"
"""Form of the records; another form is another key, so that old journals are scored anew."""

KEY_BYTES = 16
# Chosen because two of a billion photos share 128 bits with a chance below 1e-20.


def settings_digest(
    layout: Layout | AxialNozzle, limits: LimitSet, spec: CardSpec, stages: dict[str, Any]
) -> bytes:
    """Return the digest of everything but the photo.

    Parameters
    ----------
    layout, limits, spec
        What is expected, tolerated and known of the sheet.
    stages : dict
        ``describe()`` of the pipeline for this kind of nozzle, without the versions of libraries.
    """
    text = json.dumps(
        [
            FORM,
            RESULTS_VERSION,
            plain(asdict(layout)),
            limits_entry(limits),
            plain(asdict(spec)),
            plain(stages),
        ],
        sort_keys=True,
    )
    return hashlib.sha256(text.encode()).digest()


def result_key(sha256: str, settings: bytes) -> bytes:
    """Return the key of a photo's content under these settings."""
    return hashlib.sha256(bytes.fromhex(sha256) + settings).digest()[:KEY_BYTES]


def place_key(file: str, settings: bytes) -> bytes:
    """Return the key of a file whose content could not be read."""
    place = file.encode("utf-8", "surrogateescape")
    return hashlib.sha256(b"place" + place + b"\0" + settings).digest()[:KEY_BYTES]
