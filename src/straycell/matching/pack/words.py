"""The words around a pack: why these cells, why not the others, what an unserved one is missing."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from statistics import median

from straycell.acceptance import Outcome
from straycell.cells import CellFacts, Chemistry, Stage
from straycell.matching.explain import kept, nearest_first
from straycell.matching.pack.kinds import PackKind, least_fitting
from straycell.matching.pack.plan import PackPlan, Refusal
from straycell.matching.pack.shape_search import shape_words
from straycell.matching.screen import (
    DEVICE_TESTS,
    Candidate,
    Screen,
    Screened,
    Why,
    protection_trip,
    screen_candidate,
)
from straycell.matching.sheet.data import PackData
from straycell.physics.derating import assumed_resistance
from straycell.quantities import Dimension, Measured, amp_hours, ohms, volts
from straycell.readings import Method
from straycell.safe_side import at_least, at_most

MORE = (1.0, 1.1, 1.25, 1.5, 2.0)
"""A missing cell that does by itself may still not do beside the others: how much more is tried."""

Serves = Callable[[Sequence[Candidate]], bool]
ROOM_OHM = 1.3
"""A missing cell may have this much more resistance than the usual of its kind: the 1.3 of the pack limit."""


def pack_reasons(screen: Screen, plan: PackPlan) -> tuple[Why, ...]:
    """What holds for the pack as a whole, then each cell with its place and its figures."""
    chosen = [(n, c) for n, group in enumerate(plan.groups, 1) for c in group]
    some = chosen[0][1]
    whole = screen_candidate(screen, some).reasons
    shared = {"chemistry", "form", "temperature", "voltage", "protection"}
    of_pack = [replace(w, code="pack") for w in whole if w.test in shared]
    of_pack += [replace(test.judge(screen, some), code="pack") for test in DEVICE_TESTS]
    kind = Why("pack", "kind", True, f"all of one kind: {plan.kind.words}", plan.kind.words)
    return (kind, *of_pack, *(_place(n, c) for n, c in chosen))


def _place(number: int, c: Candidate) -> Why:
    assert c.capacity is not None and c.resistance is not None
    rest = f", at rest {volts(c.rest.measured.value)}" if c.rest else ", no rest voltage that still holds"
    text = f"{c.outcome.word}, {amp_hours(c.capacity.value)}, {ohms(c.resistance.value)}{rest}: in group {number}"
    return Why(c.code, "place", True, text, c.capacity.value, unit="Ah")


def pack_warnings(screen: Screen, plan: PackPlan, data: PackData) -> tuple[str, ...]:
    """What must be said aloud of the chosen cells: bounds of their figures, fuses."""
    cells = [c for group in plan.groups for c in group]
    notes = []
    if bounds := [c.code for c in cells if c.at_least]:
        notes.append(f"{', '.join(bounds)}: at least this capacity was measured, it may run longer")
    if rough := [c.code for c in cells if c.resistance_method is Method.AC_1KHZ]:
        notes.append(f"{', '.join(rough)}: resistance taken at a.c. 1 kHz; a d.c. pulse would be surer")
    if data.trips_late:
        notes.append(data.overload)
    # What one cell lacks in protection is said with the project; a trip current that is not known endangers packs.
    elif screen.joined and not screen.demand.project.protection.fitted:
        notes.append("no protection: add a board against over-charge, over-discharge, over-current")
    elif screen.joined and protection_trip(screen.demand.project.protection) is None:
        notes.append("trip current unknown: look up the two transistors' resistance")
    return tuple(notes)


def others_of(screen: Screen, plan: PackPlan, screened: Sequence[Screened]) -> tuple[Why, ...]:
    """Why each other cell was not taken, those that would do first, then the nearest."""
    left = [s for s in screened if s.candidate.code not in plan.codes]
    failing = sorted((s for s in left if not s.fits), key=nearest_first)
    return (*(_spare(screen, plan, s) for s in left if s.fits), *(s.last for s in failing))


def _spare(screen: Screen, plan: PackPlan, screened: Screened) -> Why:
    """A cell that would do: kept, or of a kind that cannot join the chosen ones."""
    kind, chosen = PackKind.of(screened.candidate), plan.kind
    if kind == chosen or not screen.joined:
        return kept(screened, screen.demand.project.need.runtime_h)
    text = f"{kind.difference(chosen)}: this pack is made of {chosen.words} alone"
    return Why(screened.candidate.code, "kind", False, text, kind.words, chosen.words)


def too_few(screened: Screened) -> Why:
    """A cell that would do among others like it, of which there are too few."""
    c = screened.candidate
    assert c.capacity is not None
    text = (
        f"would do ({c.outcome.word}, {amp_hours(c.capacity.value)}), but there are too few to join it with"
    )
    return Why(c.code, "too-few", True, text)


# --- what is missing -------------------------------------------------------------------------------


def wanted_pack(
    screen: Screen,
    fitting: Sequence[Screened],
    kinds: Mapping[PackKind, Sequence[Candidate]],
    refusals: Mapping[PackKind, Refusal],
    serves: Serves,
) -> tuple[str, bool]:
    """What an unserved pack lacks, in plain numbers, and whether that says how many groupings were tried.

    `serves` says whether just these cells would do.
    """
    good = Counter(PackKind.of(s.candidate) for s in fitting)
    # The nearest kind: of which the most cells would do, then of which there are the most.
    kind = min(kinds, key=lambda k: (-good[k], -len(kinds[k]), k), default=None)
    refusal = refusals.get(kind) if kind is not None and good[kind] >= screen.demand.cells else None
    # Cells enough of the nearest kind, and no pack: another thing to say than that they are too few.
    if refusal is not None:
        return _apart(screen, refusal), not refusal.proven
    members = kinds.get(kind, ()) if kind else ()
    return _wanted(screen, kind, members, good[kind] if kind else 0, serves), False


def _apart(screen: Screen, refusal: Refusal) -> str:
    """Cells enough, and no pack: proven to be none, or only not found, with what stood in the way of the last one."""
    shape = shape_words(screen.demand.series, screen.demand.parallel)
    cause = refusal.reason or "the groups do not last long enough"
    named = f" ({', '.join(refusal.cells[:12])})" if refusal.cells else ""
    remedies = dict.fromkeys(why.remedy for why in refusal.failed if why.remedy)
    change = f"; {'; '.join(remedies)}" if remedies else ""
    if refusal.proven:
        return f"enough cells, and no choice of them makes {shape}: every one was tested; the last: {cause}{named}{change}"
    return (
        f"enough cells, but no {shape} found in {refusal.tried} groupings tried (more even resistances, more capacity); "
        f"that there is none is not proven; the last: {cause}{named}{change}"
    )


def _wanted(
    screen: Screen, kind: PackKind | None, members: Sequence[Candidate], good: int, serves: Serves
) -> str:
    """The cells that would do, with the least capacity and the most resistance; put through the match before it is said."""
    demand = screen.demand
    shape = shape_words(demand.series, demand.parallel)
    chemistry = members[0].facts.chemistry if members else demand.project.pack.chemistries[0]
    like = _like(screen, chemistry, members)
    count = demand.cells - good if good < demand.cells else demand.cells
    beside = sorted(members, key=lambda c: -(c.capacity.value if c.capacity else 0.0))[: demand.cells - count]
    most_ah = screen.limits.most_ah.get(str(like.facts.form), math.inf)
    least_ah = least_fitting(screen, chemistry, partial(_of, like))

    def enough(new: Candidate, number: int, ah: float) -> bool:
        cells = [replace(_of(new, ah), code=f"new {n}") for n in range(number)]
        return serves([*(beside if number == count else ()), *cells])

    # Beside the cells at hand, with a little more resistance than theirs or with theirs; else all of them new.
    usual = _like(screen, chemistry, members, 1.0)
    wanted_ah = None
    for new, number in ((like, count), (usual, count), (like, demand.cells)):
        sizes = (float(f"{factor * least_ah:.3g}") for factor in MORE)
        wanted_ah = next((ah for ah in sizes if ah <= most_ah and enough(new, number, ah)), None)
        if wanted_ah is not None:
            like, count = new, number
            break
    if wanted_ah is None:
        last = screen_candidate(screen, _of(like, min(most_ah, 400.0))).last
        why = f"{last.text}{f'; {last.remedy}' if last.remedy else ''}"
        if last.passed:
            why = f"not even with {count} of {amp_hours(most_ah)}, the most that a {like.facts.form} holds"
        return f"{shape}: no cell of this size was found to serve it: {why}"
    assert like.resistance is not None
    more = "more " if count < demand.cells else ""
    what = kind.words if kind else "of one chemistry, form and marking"
    plural = "s" if count != 1 else ""
    return (
        f"missing for {shape}: {count} {more}free pack cell{plural}, {what}, of at least "
        f"{at_least(wanted_ah, Dimension.CAPACITY)} below {at_most(like.resistance.value, Dimension.RESISTANCE)}"
    )


def _like(
    screen: Screen, chemistry: Chemistry, members: Sequence[Candidate], room: float = ROOM_OHM
) -> Candidate:
    """A pack cell as they are measured here, with `room` times the usual resistance."""
    known = [c.resistance for c in members if c.resistance is not None]
    if known:
        figure = Measured(room * median(r.value for r in known), room * median(r.u for r in known))
        return replace(members[0], code="", resistance=figure, own_trace=None)
    need_ah = max(0.1, screen.steady_a(chemistry) * screen.demand.project.need.runtime_h)
    figure = Measured(room * assumed_resistance(need_ah)[0], 0.0)
    facts = CellFacts(chemistry=chemistry, form=screen.demand.project.pack.forms[0])
    return Candidate(
        "", facts, Stage.SHELVED, Outcome.PACK, Measured(1.0, 0.01), False, figure, Method.DC_PULSE
    )


def _of(like: Candidate, capacity_ah: float) -> Candidate:
    assert like.capacity is not None
    share = like.capacity.u / like.capacity.value
    figure = Measured(capacity_ah, share * capacity_ah)
    return replace(like, capacity=figure, verdict_valid_until=None, stage=Stage.SHELVED)
