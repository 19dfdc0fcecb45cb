"""What differs between a frozen answer and today's."""

from __future__ import annotations

import fnmatch
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from golden.documents import Golden
from golden.renamed import EXPLAINED, RENAMED
from golden.tolerances import distance, tolerance

NAMED_BY: Final = {"holes": "hole", "plumes": "id", "judged": "limit"}
"""Lists whose members have a name of their own; others go by ``row`` or their place."""

WORDING: Final = frozenset(
    {"text", "reason", "message", "hint", "source", "note", "failed_message", "failed_hint"}
)
"""Sentences: counted, but free to change."""

VERDICTS: Final = frozenset({"verdict", "exit code", "raised", "outcome"})
STATES: Final = frozenset(
    {"state", "state_before", "state_after", "change", "stage", "failed_stage"}
)

FAILING: Final = ("verdict", "state", "code", "flag", "value", "missing", "number")
FREE: Final = ("wording", "added")
"""Sorts of difference: the first fail, these two are told only."""

Step = tuple[str, str]
"""A key and, in a list, the place or name of its member in brackets: ``("holes", "[3]")``."""
Key = tuple[Step, ...]
Renames = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One difference.

    Parameters
    ----------
    document : str
        Group and name.
    sort : str
        One of `FAILING` or `FREE`.
    key : str
        Dotted, without places.
    place : str
        Dotted, with places: ``holes[3].state``.
    old, new : object
        What stood and stands there.
    ratio : float
        How far a number has moved, over what it may; NaN for anything else.
    reason : str
        Why it is all right, from `EXPLAINED`; empty when nobody says.
    """

    document: str
    sort: str
    key: str
    place: str
    old: object
    new: object
    ratio: float = math.nan
    reason: str = ""

    @property
    def fails(self) -> bool:
        """Whether it is neither free nor explained."""
        return self.sort in FAILING and not self.reason

    def __str__(self) -> str:
        far = f" ({self.ratio:.1f} times what it may)" if math.isfinite(self.ratio) else ""
        why = f" [{self.reason}]" if self.reason else ""
        return f"{self.document}: {self.sort} {self.place}: {self.old!r} -> {self.new!r}{far}{why}"


@dataclass(frozen=True, kw_only=True)
class Compared:
    """A document compared.

    Parameters
    ----------
    differences : tuple of Difference
        All of them.
    ratios : dict
        Dotted key to the greatest movement of its numbers over what they may, where any moved.
    keys : frozenset of str
        Dotted keys of the numbers compared.
    numbers, moved : int
        Numbers compared, and those that are not the same.
    """

    differences: tuple[Difference, ...]
    ratios: dict[str, float]
    keys: frozenset[str]
    numbers: int
    moved: int


@dataclass(frozen=True)
class Leaf:
    """One value of a document, and the objects it lies in."""

    value: Any
    around: tuple[dict[str, Any], ...]


def compare(
    frozen: Golden, today: Golden, *, renamed: Renames = RENAMED, explained: Renames = EXPLAINED
) -> Compared:
    """Compare a frozen answer with today's.

    Numbers compare with `tolerance`, everything else exactly, after the frozen keys and words were
    renamed.
    """
    old, new = _leaves(frozen), _leaves(today)
    tables = frozen.command == "batch"
    keys = renamed["column" if tables else "key"]
    found: list[Difference] = []
    ratios: dict[str, float] = {}
    held = set()
    numbers = moved = 0

    def tell(sort: str, key: Key, was: object, now: object, ratio: float = math.nan) -> None:
        reason = _reason(frozen.title, bare(key), explained)
        found.append(
            Difference(
                document=frozen.title, sort=sort, key=bare(key), place=_shown(key), old=was,
                new=now, ratio=ratio, reason=reason,
            )
        )  # fmt: skip

    there = {key: _key_today(key, keys, renamed["word"]) for key in old}
    new_members, old_members = _members(new), _members(there.values())
    for key in _whole({key: now for key, now in there.items() if now not in new}, new_members):
        tell("missing", key, old[key].value if key in old else "...", None)
    expected = set(there.values())
    for key in _whole({key: key for key in new if key not in expected}, old_members):
        tell("added", key, None, new[key].value if key in new else "...")
    for key, leaf in old.items():
        if there[key] not in new:
            continue
        was, now = leaf.value, new[there[key]].value
        if _is_number(was) and _is_number(now) and isinstance(was, float):
            numbers += 1
            held.add(bare(key))
            gap = distance(bare(key), was, now)
            if gap > 0:
                moved += 1
                ratio = gap / tolerance(bare(key), was, leaf.around)
                ratios[bare(key)] = max(ratio, ratios.get(bare(key), 0.0))
                if ratio > 1:
                    tell("number", key, was, now, ratio)
        elif _in_order(bare(key), _words_today(was, renamed["word"])) != _in_order(bare(key), now):
            tell(_sort(bare(key)), key, was, now)
    return Compared(
        differences=tuple(found), ratios=ratios, keys=frozenset(held), numbers=numbers, moved=moved
    )


def bare(key: Key) -> str:
    """Return a key without the places in lists."""
    return ".".join(name for name, _ in key)


def _shown(key: Key) -> str:
    return ".".join(name + place for name, place in key)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _sort(key: str) -> str:
    name = key.rpartition(".")[2]
    if name in VERDICTS:
        return "verdict"
    if name in STATES:
        return "state"
    if name in ("codes", "findings"):
        return "code"
    if name.endswith("flags"):
        return "flag"
    return "wording" if name in WORDING else "value"


def _leaves(golden: Golden) -> dict[Key, Leaf]:
    whole = {"exit code": golden.code, "raised": golden.raised, **golden.document}
    return {
        key: leaf for name in whole for key, leaf in _walk(((name, ""),), (whole,), whole[name])
    }


def _walk(key: Key, around: tuple[dict[str, Any], ...], value: Any) -> Iterator[tuple[Key, Leaf]]:
    name, place = key[-1]
    if isinstance(value, dict):
        for part in value:
            yield from _walk((*key, (part, "")), (*around, value), value[part])
    elif isinstance(value, list) and name == "findings":
        members = _findings(value)
        yield (*key, ("codes", "")), Leaf(list(members), around)
        for member, item in members.items():
            rest = {part: item[part] for part in item if part not in ("code", "hole")}
            yield from _walk((*key[:-1], (name, f"[{member}]")), around, rest)
    elif isinstance(value, list) and name.endswith("flags"):
        yield key, Leaf(_in_order(name, value), around)
    elif isinstance(value, list) and all(isinstance(item, str | int) for item in value):
        yield key, Leaf(value, around)
    elif isinstance(value, list):
        yield (*key, ("count", "")), Leaf(len(value), around)
        for number, item in enumerate(value):
            member = item if isinstance(item, dict) else {}
            called = member.get("row", member.get(NAMED_BY.get(name, ""), number))
            yield from _walk((*key[:-1], (name, f"{place}[{called}]")), around, item)
    else:
        yield key, Leaf(value, around)


def _findings(findings: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Name findings by code and hole, in their order; a second one alike gets a number."""
    members: dict[str, dict[str, Any]] = {}
    for finding in findings:
        name = f"{finding['code']} {finding['hole'] or 'card'}"
        count = sum(member.partition(" #")[0] == name for member in members)
        members[f"{name} #{count + 1}" if count else name] = finding
    return members


def _key_today(key: Key, keys: Mapping[str, str], words: Mapping[str, str]) -> Key:
    """Return a frozen key as it is called today."""
    key = tuple((name, _words_today(place, words)) for name, place in key)
    # A photo's document within that of several photos has the same keys.
    inner = 1 if key[0][0] in ("photos", "before", "after") and len(key) > 1 else 0
    for start in sorted({0, inner}):
        for end in range(len(key), start, -1):
            new = keys.get(bare(key[start:end]))
            if new is not None:
                return (*key[:start], *_with_places(new, key[start:end]), *key[end:])
    return key


def _with_places(new: str, old: Key) -> Key:
    """Give a new key the places of the old one, part by part; what is left over goes last."""
    names = new.split(".")
    places = [place for _, place in old] + [""] * len(names)
    last = len(names) - 1
    ends = "".join(places[last:])
    return tuple((name, ends if k == last else places[k]) for k, name in enumerate(names))


def _words_today(value: Any, words: Mapping[str, str]) -> Any:
    """Rename the stable words in a value: alone, in lists, or separated by spaces in a table."""
    if not words:
        return value
    if isinstance(value, str):
        bracket = value.startswith("[") and value.endswith("]")
        inside = value[1:-1] if bracket else value
        text = " ".join(words.get(word, word) for word in inside.split(" "))
        return f"[{text}]" if bracket else text
    if isinstance(value, list):
        return [_words_today(item, words) for item in value]
    return value


def _in_order(key: str, value: Any) -> Any:
    """Sort flags: their order says nothing."""
    if key.endswith("flags") and isinstance(value, list):
        return sorted(value)
    if key.endswith("flags") and isinstance(value, str):
        return " ".join(sorted(value.split()))
    return value


def _members(keys: Any) -> set[Key]:
    """Return all members of lists that are there."""
    return {key[: k + 1] for key in keys for k, (_, place) in enumerate(key) if place}


def _whole(gone: Mapping[Key, Key], members: set[Key]) -> list[Key]:
    """Shorten keys that are gone: a member of a list that is gone is one, not all its values.

    ``gone`` holds each key and what it is looked for as.
    """
    found = {}
    for key, looked_for in gone.items():
        ends = (k + 1 for k, (_, place) in enumerate(looked_for) if place)
        end = next((k for k in ends if looked_for[:k] not in members), None)
        if end is not None and key[end - 1][0] == "findings":
            continue  # the list of codes tells it already
        found[key if end is None else key[:end]] = True
    return list(found)


def _reason(document: str, key: str, explained: Renames) -> str:
    for pattern, keys in explained.items():
        if fnmatch.fnmatchcase(document, pattern):
            for part, reason in keys.items():
                if fnmatch.fnmatchcase(key, part):
                    return reason
    return ""
