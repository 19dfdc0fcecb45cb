"""Nothing that users hold on to has disappeared since the first freeze."""

from __future__ import annotations

import copy
import functools
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest
from golden import surface
from golden.documents import SHIPPED
from golden.renamed import RENAMED

FROZEN = surface.frozen()
today = functools.cache(surface.surface)


def lost(
    frozen: Mapping[str, Any], now: Mapping[str, Any], renamed: Mapping[str, Mapping[str, str]]
) -> list[str]:
    """What is frozen and no longer there."""
    word = renamed["word"]
    gone = [f"name {n}" for n in frozen["names"] if renamed["name"].get(n, n) not in now["names"]]
    for name, wanted in frozen["parameters"].items():
        there = now["parameters"].get(name, ())
        gone += [f"parameter {name}({p}=)" for p in wanted if p not in there]
    for command, options in frozen["commands"].items():
        there = now["commands"].get(renamed["command"].get(command, command))
        if there is None:
            gone.append(f"command {command}")
            continue
        for option, about in options.items():
            new = renamed["option"].get(f"{command} {option}", option)
            gone += [f"{command} {option}: {why}" for why in _changed(about, there.get(new))]
    for code, fields in frozen["findings"].items():
        there = now["findings"].get(word.get(code, code))
        if there is None:
            gone.append(f"finding {code}")
        else:
            renamed_fields = {renamed["field"].get(f"{code}.{one}", one) for one in fields}
            gone += [f"finding {code}: field {one}" for one in sorted(renamed_fields - {*there})]
    gone += _gone("flag", frozen["flags"], now["flags"], word)
    for kind, keys in frozen["schemas"].items():
        there = now["schemas"].get(word.get(kind, kind), {})
        for key, values in keys.items():
            new = _longest(renamed["key"], key)
            if new not in there:
                gone.append(f"schema {kind}: {key}")
            elif there[new]:
                gone += _gone(f"schema {kind}: {key} =", values, there[new], word)
    for what, code in frozen["exit codes"].items():
        if now["exit codes"].get(what) != code:
            gone.append(f"exit code of {what}: {code}, now {now['exit codes'].get(what)}")
    return gone


def _gone(
    what: str, frozen: Iterable[str], now: Iterable[str], words: Mapping[str, str]
) -> list[str]:
    there = {*now}
    return [f"{what} {one}" for one in frozen if words.get(one, one) not in there]


def _changed(about: Mapping[str, Any], now: Mapping[str, Any] | None) -> list[str]:
    if now is None:
        return ["gone"]
    found = [
        f"{key} {about[key]!r}, now {now.get(key)!r}"
        for key in ("takes", "default", "repeats")
        if about.get(key) != now.get(key)
    ]
    if now.get("choices"):
        found += [f"choice {c}" for c in about.get("choices", ()) if c not in now["choices"]]
    return found


def _longest(keys: Mapping[str, str], key: str) -> str:
    parts = key.split(".")
    for end in range(len(parts), 0, -1):
        new = keys.get(".".join(parts[:end]))
        if new is not None:
            return ".".join([new, *parts[end:]])
    return key


def test_nothing_frozen_has_disappeared() -> None:
    assert lost(FROZEN, today(), RENAMED) == []


def test_every_frozen_column_is_in_the_tables_of_a_batch(tmp_path: Path) -> None:
    shutil.copy(SHIPPED[1] / "not-a-card.jpg", tmp_path)
    now = surface.columns(tmp_path)
    assert set(FROZEN["columns"]) == {"photos", "holes"}
    for table, columns in FROZEN["columns"].items():
        renamed = (RENAMED["column"].get(f"{table}.{one}", f"{table}.{one}") for one in columns)
        assert [one for one in renamed if one.rpartition(".")[2] not in now[table]] == []


@pytest.mark.parametrize(
    ("where", "what", "says"),
    [
        (("names",), "measure_photo", "name measure_photo"),
        (("commands",), "nozzle check", "command nozzle check"),
        (("commands", "measure"), "--lined-up", "measure --lined-up: gone"),
        (("commands", "batch", "--out"), "default", "batch --out: default"),
        (("commands", "card", "--paper"), "choices", ""),
        (("findings",), "stray-spray", "finding stray-spray"),
        (("findings", "hole-weak"), "u", "finding hole-weak: field u"),
        (("flags",), "sheet-curled", "flag sheet-curled"),
        (("schemas", "holes"), "plumes.reach_mm", "schema holes: plumes.reach_mm"),
        (("schemas", "holes", "holes.state"), "misshapen", "schema holes: holes.state = misshapen"),
        (("exit codes",), "unreadable photo", "exit code of unreadable photo: 2, now None"),
    ],
)
def test_what_disappears_is_told(where: tuple[str, ...], what: str, says: str) -> None:
    less = copy.deepcopy(FROZEN)
    holder = less
    for step in where:
        holder = holder[step]
    if isinstance(holder, list):
        holder.remove(what)
    else:
        holder.pop(what, None)
    told = lost(FROZEN, less, {sort: {} for sort in RENAMED})
    assert (len(told) == 1 and told[0].startswith(says)) if says else told == []


def test_what_is_renamed_is_looked_for_under_its_new_name() -> None:
    new = copy.deepcopy(FROZEN)
    new["names"][new["names"].index("Photo")] = "Picture"
    new["flags"][new["flags"].index("thing-on-card")] = "occluder-on-card"
    schema = new["schemas"]["holes"]
    schema["plumes.outer_radius_mm"] = schema.pop("plumes.reach_mm")
    empty: dict[str, dict[str, str]] = {sort: {} for sort in RENAMED}
    assert len(lost(FROZEN, new, empty)) == 3
    renamed = empty | {
        "name": {"Photo": "Picture"},
        "word": {"thing-on-card": "occluder-on-card"},
        "key": {"plumes.reach_mm": "plumes.outer_radius_mm"},
    }
    assert lost(FROZEN, new, renamed) == []
