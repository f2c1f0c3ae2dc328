"""Rules of look: the cell's own, and its siblings' of the same pack."""

from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from itertools import pairwise

from straycell.acceptance.case import Case, Seen, Tried, once_a_case
from straycell.acceptance.checks.pairs import long_checked
from straycell.acceptance.checks.steps import check_step
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, together
from straycell.cells import Look
from straycell.readings import Quantity, Reading

_MEND = {
    "torn-sleeve": "give it a new sleeve",
    "torn-ring": "put a new insulating ring over its positive end",
    "bare-tab": "insulate the tab",
    "wet": "with gloves and away from others, let it dry in the open for a day; an oily or sweet smell is leaking",
    "stained": "with gloves, wipe the stain off; look whence it came: from its own seal is leaking",
    "corroded": "with gloves, clean the terminal; from its own seal is leaking",
    "rust-specks": "wipe the specks off the can; at the vent or with a stain it is rust",
}
"""What to do about a look that holds; then a new look decides."""
_FAULT = {"look-mend": "an end that can short", "look-clean": "to be cleaned and looked at again"}


@once_a_case
def damage(case: Case) -> tuple[Tried, ...]:
    """Each look against the words of damage and of deformation."""
    found = []
    # Deformation is beside damage: a dent presses electrode on electrode (ADR special provision 376 note
    # c).
    for limit_id in ("look-damage", "look-deformed"):
        words = case.rules.limit(limit_id).words
        for reading in case.of(Quantity.LOOK):
            seen = ", ".join(str(w) for w in reading.look if str(w) in words)
            side = Side.BEYOND if seen else Side.CLEAR
            found.append(
                Tried(
                    limit_id,
                    side,
                    (reading,),
                    partial(_out_of_it, case, limit_id, reading, seen, f"seen: {seen}"),
                )
            )
    return tuple(found)


def look(case: Case) -> Iterator[Reason]:
    """What can be mended or cleaned holds until a later look is without it."""
    looks = case.of(Quantity.LOOK)
    # Swelling, leaks and dents show in no electrical reading of a cell that still works.
    if not looks:
        yield case.reason(
            "look-damage",
            Status.UNMEASURED,
            Outcome.HOLD,
            "nobody has looked it over",
            rule="look",
            todo=Work(WorkKind.LOOK, "look at it and record what you see"),
            earliest=case.now,
        )
        return
    latest, held = looks[-1], False
    for limit_id in ("look-mend", "look-clean"):
        found = [str(w) for w in latest.look if str(w) in case.rules.limit(limit_id).words]
        if found:
            held = True
            yield _to_mend(case, limit_id, found, latest)
    if not held and (wet := _still_wet(case, latest)) is not None:
        held = True
        yield _to_mend(case, "look-clean", ["wet"], wet)
    if not held and all(t.side is Side.CLEAR for t in damage(case)):
        seen = ", ".join(str(w) for w in latest.look)
        yield case.reason(
            "look-damage",
            Status.MET,
            Outcome.PACK,
            f"look: {seen}",
            Seen(seen, reading=latest),
            rule="look",
        )


def _to_mend(case: Case, limit_id: str, found: list[str], reading: Reading) -> Reason:
    todo = "; ".join(_MEND.get(word, f"see to it: {word}") for word in found)
    # A damp film dries within hours, electrolyte creeps out again: a day tells them apart (common practice).
    dry = reading.at + timedelta(hours=case.figure("look-dry")) if "wet" in found else None
    return case.reason(
        limit_id,
        # FAILED forbids the charge on purpose: a bare end or a leaking seal is a short in the making.
        Status.FAILED,
        Outcome.HOLD,
        f"{', '.join(found)}: {_FAULT[limit_id]}",
        Seen(", ".join(found), reading=reading),
        todo=Work(WorkKind.LOOK, f"{todo}; then record a new look", dry),
        earliest=max(case.now, dry or case.now),
    )


def _still_wet(case: Case, latest: Reading) -> Reading | None:
    """The last look that was wet, where the latest one came too soon after it to speak of a dry cell."""
    # An early dry look would clear a leak that had merely been wiped off.
    wet = [r for r in case.of(Quantity.LOOK) if Look.WET in r.look]
    soon = wet and latest.at < wet[-1].at + timedelta(hours=case.figure("look-dry"))
    return wet[-1] if soon else None


@once_a_case
def returned(case: Case) -> tuple[Tried, ...]:
    """A stain, wet or corrosion that was gone and is there again comes out of the cell; so does rust with a stain."""
    looks = case.of(Quantity.LOOK)
    found = []
    for word in case.rules.limit("look-returned").words:
        # Dirt from outside stays away once cleaned; what comes back has its source inside the seal.
        text = f"{word} again after it had been cleaned: it comes out of the cell"
        seen = [i for i, r in enumerate(looks) if word in r.look]
        for first, again in pairwise(seen):
            if again > first + 1:
                records = (looks[first], looks[first + 1], looks[again])
                why = partial(_out_of_it, case, "look-returned", looks[again], word, text)
                found.append(Tried("look-returned", Side.BEYOND, records, why))
    # Rust alone may be damp storage; with a stain the electrolyte that got out is eating the can (common
    # practice).
    words = set(case.rules.limit("look-rust-stain").words)
    for reading in looks:
        seen_as = " with ".join(sorted(words))
        side = Side.BEYOND if words <= {str(word) for word in reading.look} else Side.CLEAR
        why = partial(_out_of_it, case, "look-rust-stain", reading, seen_as, f"seen: {seen_as}")
        found.append(Tried("look-rust-stain", side, (reading,), why))
    return tuple(found)


def _out_of_it(case: Case, limit_id: str, reading: Reading, seen: str, text: str) -> Reason:
    return case.reason(limit_id, Status.FAILED, Outcome.DISCARD, text, Seen(seen, reading=reading))


_SIGNS = {
    "self-discharge-discard": "it lost charge by itself",
    "first-day-discard": "it lost charge within days of a full charge",
    "charge-in-discard": "far more charge went in than it holds",
    "warm-rest-discard": "it was hot at rest",
}
"""What a finding on a sibling means, in words."""


def siblings(case: Case) -> Iterator[Reason]:
    """A sibling that leaked, swelled, burnt, vented, smelt, lost charge or got hot: one more look, and 28 days of check.

    A check of that length that already ran out of the pack counts, and a second leaker restarts nothing.
    """
    words = case.rules.limit("sibling-look").words
    signs = [s for s in case.evidence.sibling_signs if s.look in words]
    if not signs:
        return
    # The oldest sign: counted from the newest, each further leaker would start the 28 days again.
    latest = min(signs, key=lambda s: (s.at, s.code))
    looked = any(r.at > latest.at for r in case.of(Quantity.LOOK))
    days = case.figure("sibling-check")
    # One pack has had one history of charge, heat and storage: what broke one cell worked on all.
    checked = long_checked(case, days)
    lacking = [] if looked else ["one more look"]
    lacking += [] if checked else [f"a self-discharge check over {days:g} days, begun out of its pack"]
    sign = f"{latest.code} of the same pack: {_SIGNS.get(latest.look, latest.look)}"
    if lacking:
        kinds = [] if looked else [WorkKind.LOOK]
        kind, at = check_step(case)
        kinds += [] if checked else [kind]
        yield case.reason(
            "sibling-look",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{sign}; {' and '.join(lacking)} still to do",
            Seen(latest.look, at=latest.at),
            todo=together(f"record {' and '.join(lacking)}", kinds, not_before=None if not looked else at),
            earliest=case.now,
            # What broke the other one may show on this one: a look costs a minute, and comes before any charge.
            rule=None if looked else "sibling-look-first",
        )
    else:
        yield case.reason(
            "sibling-look",
            Status.MET,
            Outcome.PACK,
            f"{sign}; looked at and checked again",
            Seen(latest.look, at=latest.at),
        )
