"""The rule set: every limit with its source, read from TOML, tightened or loosened by a person's own file.

A person's file may tighten anything and loosen what is not a safety rule. Its faults are reported together.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Any

from straycell.acceptance.grounds import Ground
from straycell.cells import FOUR_VOLT, Chemistry, Form, Look, members
from straycell.errors import BadData
from straycell.files.read import read_bytes, toml_document
from straycell.meters import Accuracy
from straycell.plain_text import is_plain, one_line
from straycell.readings import CautiousDefaults
from straycell.shipped import shipped_table

_SHOWN = 150
"""Characters of a fault that are shown where several are together."""
MOST_RULE_BYTES = 1_000_000
LARGEST_FIGURE = 100_000
"""No limit is larger in its unit; days beyond it lead out of the calendar."""


class Shown(StrEnum):
    """How a person reads a figure where its unit alone does not say."""

    PLAIN = ""
    TIMES = "times"
    RATE = "rate"


@dataclass(frozen=True, slots=True)
class Hold:
    """What a reason that holds a cell means: its danger in `due` (empty: nothing was seen), whether a charge may come first.

    `measured`: only a figure that was measured is that danger. `check` is the limit with the least days of the
    self-discharge check that ends it, empty where none does.
    """

    due: str = ""
    charge: bool = False
    measured: bool = False
    check: str = ""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit. `bound` is min, max or words; `values` by key (see shipped.toml), `words` for looks.

    `holds` has each reason under it that holds a cell, by its rule.
    """

    id: str
    text: str
    quantity: str
    bound: str
    decides: str
    safety: bool
    source: str
    unit: str = ""
    values: Mapping[str, float] | None = None
    words: tuple[str, ...] = ()
    feeds_safety: str = ""
    grounds: tuple[Ground, ...] = ()
    shown: Shown = Shown.PLAIN
    holds: Mapping[str, Hold] = field(default_factory=dict)

    def value(self, *keys: str) -> float:
        """The figure of the first key present. Raises KeyError when none is: callers ask `has` first."""
        values = self.values or {}
        for key in (*keys, "any"):
            if key in values:
                return values[key]
        raise KeyError(f"{self.id}: none of {keys}")

    def has(self, *keys: str) -> bool:
        """True when one of the keys (or `any`) has a figure."""
        return any(key in (self.values or {}) for key in (*keys, "any"))

    @property
    def rests_on(self) -> frozenset[str]:
        """The facts that choose between its figures: chemistry, form, both or neither."""
        return _chosen_by(tuple(self.values or ()))

    def looser(self, key: str, figure: float) -> bool:
        """True when `figure` lets more pass than the limit's own figure for `key`."""
        # A minimum is loosened downwards, a maximum upwards; which of the two a figure is says `bound`.
        own = (self.values or {})[key]
        return figure < own if self.bound == "min" else figure > own

    def bares_danger(self, key: str, figure: float) -> float | None:
        """The figure that `figure` must not pass, because a safety rule leans on it; None when it does not."""
        # Some harmless limits choose what a safety rule looks at: moved too far, a danger would not be seen
        # at all.
        own = (self.values or {}).get("light", (self.values or {})[key])
        beyond = figure > own if self.feeds_safety == "max" else figure < own
        return own if self.feeds_safety and beyond else None


@dataclass(frozen=True, slots=True)
class RuleSet:
    """A named set of limits; `hash` is over everything that can change a verdict.

    `alike` holds the limits that a person's file left as they were, where it left the cautious defaults so, too.
    """

    name: str
    limits: Mapping[str, Limit]
    hash: str
    defaults: CautiousDefaults
    alike: RuleSet | None = field(default=None, compare=False, repr=False)
    # A cache and no content: the hash and the comparison of rule sets must not see it.
    _tables: dict[tuple[str, ...], Mapping[str, float]] = field(
        init=False, default_factory=dict, compare=False, repr=False
    )

    def limit(self, limit_id: str) -> Limit:
        return self.limits[limit_id]

    def behind(self, rule: str) -> Limit | None:
        """The limit that a reason of this rule is judged under: rules are named more finely, capacity-pack under capacity."""
        stem = max(
            (known for known in self.limits if f"{rule}-".startswith(f"{known}-")), key=len, default=""
        )
        held = next((limit for limit in self.limits.values() if rule in limit.holds), None)
        return held or self.limits.get(stem)

    def figure(self, limit_id: str, *keys: str) -> float:
        """The figure of a limit for the first key present."""
        return self.limits[limit_id].value(*keys)

    def figures(self, keys: tuple[str, ...]) -> Mapping[str, float]:
        """Every limit's figure for the first key present, by id: looked up once for all cells of a kind."""
        if keys not in self._tables:
            known = {i: limit.value(*keys) for i, limit in self.limits.items() if limit.has(*keys)}
            self._tables[keys] = known
        return self._tables[keys]


@lru_cache(maxsize=1024)
def _chosen_by(keys: tuple[str, ...]) -> frozenset[str]:
    words = {word for key in keys for word in key.split("/")}
    families = {"4.2V", *Chemistry}
    return frozenset(name for name, known in (("chemistry", families), ("form", set(Form))) if words & known)


@lru_cache(maxsize=256)
def chemistry_keys(chemistry: Chemistry, form: Form) -> tuple[str, ...]:
    """Keys for looking up a figure, the most exact first."""
    return (f"{chemistry}/{form}", str(form), family(chemistry))


def family(chemistry: Chemistry) -> str:
    """Chemistries of one family share their limits."""
    return "4.2V" if members(chemistry)[0] in FOUR_VOLT else str(chemistry)


@lru_cache(maxsize=1)
def shipped_rules() -> RuleSet:
    """The rules inside the package."""
    document = shipped_table("acceptance/shipped.toml")
    limits = {entry["id"]: _limit(entry) for entry in document["limit"]}
    return _rule_set(document["name"], limits)


def hold_of(rule: str) -> Hold:
    """What a hold of this rule means, which no person's file changes. A rule that does not say: a doubt, and no charge."""
    return _holds().get(rule, Hold("doubt"))


@lru_cache(maxsize=1)
def _holds() -> Mapping[str, Hold]:
    return {rule: hold for limit in shipped_rules().limits.values() for rule, hold in limit.holds.items()}


def load_rules(path: Path | None = None) -> RuleSet:
    """The shipped rules, or those with a person's own file on top. Raises BadData with every fault."""
    if path is None:
        return shipped_rules()
    rules, faults = read_rules(path)
    if faults or rules is None:
        # One line on a terminal; all faults are in `rules check`.
        first, *others = [textwrap.shorten(fault, _SHOWN, placeholder=" ...") for fault in faults]
        count = f"{len(faults)} faults: " if others else ""
        more = f"and {len(faults) - 2} more, " if len(faults) > 2 else ""
        raise BadData(
            f"rule file {path}: {count}{first}",
            f"{more}in full: straycell rules check {path}",
            besides=others[0] if others else "",
        )
    return rules


def read_rules(path: Path) -> tuple[RuleSet | None, list[str]]:
    """(the rules, their faults): every fault of a person's file in one pass; rules are None when there are any."""
    # A person's file may be anything: bounded before it is parsed.
    raw = read_bytes(path, f"rule file {path}", MOST_RULE_BYTES)
    try:
        document = toml_document(raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8"))
    except UnicodeDecodeError:
        return None, ["the file is not UTF-8 text"]
    except BadData as fault:
        return None, [fault.what]
    return merge_rules(shipped_rules(), document)


def merge_rules(base: RuleSet, document: Mapping[str, Any]) -> tuple[RuleSet | None, list[str]]:
    """A person's parsed file on top of `base`: (rules, faults)."""
    faults: list[str] = []
    name = document.get("name")
    # Verdicts are recorded under the name: two rule sets called alike could not be told apart later.
    if not isinstance(name, str) or not name.strip() or name == base.name or not is_plain(name):
        found = "there is none" if "name" not in document else f"found {_shown(repr(name))}"
        faults.append(
            f"name: {found}; give the file a name of its own, verdicts are recorded under it: "
            'name = "my bench"'
        )
    faults += [
        f"{_shown(key)}: unknown; a rule file holds name and [[limit]] entries"
        for key in document
        if key not in ("name", "limit")
    ]
    entries = document.get("limit", [])
    if not isinstance(entries, list):
        return None, [*faults, "limit: write each one as [[limit]] with double brackets"]
    limits = dict(base.limits)
    seen: set[str] = set()
    for number, entry in enumerate(entries, 1):
        faults += _apply(limits, base, entry, number, seen)
    if faults:
        return None, faults
    made = _rule_set(str(name), limits)
    kept = {i: limit for i, limit in limits.items() if limit == base.limits[i]}
    alike = RuleSet(base.name, kept, base.hash, base.defaults) if made.defaults == base.defaults else None
    return replace(made, alike=alike), []


def _shown(word: str) -> str:
    return one_line(word[:_SHOWN])


def _apply(limits: dict[str, Limit], base: RuleSet, entry: Any, number: int, seen: set[str]) -> list[str]:
    """Put one [[limit]] entry onto `limits`; returns its faults."""
    limit_id = entry.get("id") if isinstance(entry, dict) else None
    if not isinstance(limit_id, str):
        return [f'limit {number}: expected an id = "..." naming a shipped limit']
    if limit_id not in base.limits:
        near = difflib.get_close_matches(limit_id[:_SHOWN], base.limits, 1)
        hint = f"; did you mean {near[0]}?" if near else "; see: straycell rules show"
        return [f"limit {number}: unknown id '{_shown(limit_id)}'{hint}"]
    # The second would win silently, perhaps over a tighter first one.
    if limit_id in seen:
        return [f"limit {number} ({limit_id}): named twice"]
    seen.add(limit_id)
    shipped = base.limits[limit_id]
    faults = [
        f"limit {number} ({limit_id}): '{_shown(key)}' cannot be set; only value, values, words and source can"
        for key in entry
        if key not in ("id", "value", "values", "words", "source")
    ]
    source = entry.get("source", shipped.source)
    if not isinstance(source, str) or not is_plain(source):
        faults.append(f"limit {number} ({limit_id}): source is one line of text")
    if shipped.bound == "words":
        changed, more = _new_words(shipped, entry, f"limit {number} ({limit_id})")
    else:
        changed, more = _new_values(shipped, entry, f"limit {number} ({limit_id})")
    limits[limit_id] = replace(changed, source=str(source), grounds=(Ground.PERSON,))
    return faults + more


def _new_words(shipped: Limit, entry: Mapping[str, Any], label: str) -> tuple[Limit, list[str]]:
    words = entry.get("words")
    if shipped.quantity != "look":
        return shipped, [f"{label}: this rule has no figures or words to set"]
    known = {str(look) for look in Look} - {str(Look.CLEAN)}
    if not isinstance(words, list) or any(word not in known for word in words):
        return shipped, [f"{label}: words is a list out of {', '.join(sorted(known))}"]
    # More words are stricter: a sign taken off the list would let a damaged cell pass.
    dropped = [word for word in shipped.words if word not in words]
    if dropped and shipped.safety:
        return shipped, [f"{label}: a safety rule cannot be loosened: {', '.join(dropped)} must stay"]
    return replace(shipped, words=tuple(words)), []


def _new_values(shipped: Limit, entry: Mapping[str, Any], label: str) -> tuple[Limit, list[str]]:
    own = dict(shipped.values or {})
    given = entry.get("values")
    if given is None and "value" in entry:
        given = dict.fromkeys(own, entry["value"])
    if not isinstance(given, dict):
        return shipped, [
            f"{label}: expected value = a number, or values = {{ ... }} with keys {', '.join(own)}"
        ]
    faults, loose = [], []
    for key, figure in given.items():
        if key not in own:
            faults.append(f"{label}: unknown key '{_shown(key)}'; it has {', '.join(own)}")
        # In Python True is an int: it would pass as the limit 1.0.
        elif (
            isinstance(figure, bool)
            or not isinstance(figure, int | float)
            or not abs(figure) <= LARGEST_FIGURE
        ):
            faults.append(
                f"{label}: {key} is {_shown(repr(figure))}; expected a number in {shipped.unit or 'its unit'}, "
                f"{LARGEST_FIGURE} at most"
            )
        elif shipped.safety and shipped.looser(key, figure):
            bound = "at least" if shipped.bound == "min" else "at most"
            loose.append(f"{key} is {figure:g}, {bound} {own[key]:g} {shipped.unit}".rstrip())
        elif (furthest := shipped.bares_danger(key, figure)) is not None:
            bound = "at most" if shipped.feeds_safety == "max" else "at least"
            loose.append(f"{key} is {figure:g}, {bound} {furthest:g} {shipped.unit}".rstrip())
        else:
            own[key] = float(figure)
    # A safety rule cannot be loosened, by nobody: a wrongly kept cell burns a house.
    if loose:
        faults.append(f"{label}: a safety rule cannot be loosened: {'; '.join(loose)} ({shipped.source})")
    return replace(shipped, values=own), faults


def _limit(entry: Mapping[str, Any]) -> Limit:
    values = {"any": entry["value"]} if "value" in entry else entry.get("values", {})
    read = {
        "values": {key: float(value) for key, value in values.items()} or None,
        "words": tuple(entry.get("words", ())),
        "grounds": tuple(map(Ground, entry["grounds"])),
        "shown": Shown(entry.get("shown", "")),
        "holds": {rule: Hold(**said) for rule, said in entry.get("holds", {}).items()},
    }
    return Limit(**{name: said for name, said in entry.items() if name != "value"} | read)


def _rule_set(name: str, limits: Mapping[str, Limit]) -> RuleSet:
    def accuracy(limit_id: str) -> Accuracy:
        return Accuracy(limits[limit_id].value("gain"), limits[limit_id].value("offset"))

    defaults = CautiousDefaults(
        voltage=accuracy("error-voltage"),
        capacity=accuracy("error-capacity"),
        resistance=accuracy("error-resistance"),
        resistance_unknown_method=accuracy("error-resistance-unknown"),
        temperature=accuracy("error-temperature"),
        mass=accuracy("error-mass"),
    )
    # Texts and sources are left out: a better wording must not make every recorded verdict stale.
    canonical = {
        limit.id: [limit.bound, dict(sorted((limit.values or {}).items())), sorted(limit.words), limit.safety]
        for limit in limits.values()
    }
    # 16 hex digits are 64 bits, far beyond the number of rule sets anybody will make.
    digest = hashlib.sha256(json.dumps([ENGINE, name, canonical], sort_keys=True).encode()).hexdigest()
    return RuleSet(name, dict(limits), digest[:16], defaults)


# The figures may stay while a function changes: without this number its old verdicts would still be trusted.
ENGINE = 22
"""Raise when the rule functions change what they answer: recorded verdicts are then computed again."""
