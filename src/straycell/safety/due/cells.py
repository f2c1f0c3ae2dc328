"""The questions that `due` asks of one cell; each is a small function that yields what it finds."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from straycell.acceptance import Case, Outcome, Reason, Verdict, WorkKind, charge_refusal
from straycell.acceptance.checks.capacity import current_run
from straycell.acceptance.checks.resistance import current_resistances, usable
from straycell.acceptance.checks.retention import runs
from straycell.cells import Chemistry, Stage
from straycell.quantities import Dimension, show
from straycell.readings import Quantity
from straycell.safety import storage
from straycell.safety.boxes import fit_for_damaged
from straycell.safety.due.survey import DueItem, Household, Kept, due_kinds
from straycell.safety.due.trends import trend
from straycell.safety.handover.listing import Condition, condition_of
from straycell.safety.storage import Level

_KEPT_STAGES = (Stage.RECEIVED, Stage.SHELVED, Stage.RESERVED)


def cells_due(household: Household) -> Iterator[DueItem]:
    """Everything there is to do about cells that are still in the house."""
    family = _families(household)
    good_in = {k.cell.box for k in household.kept if k.cell.box and k.cell.stage in _KEPT_STAGES}
    for kept in household.kept:
        if kept.cell.stage is Stage.CONDEMNED:
            yield from _condemned(kept, household, kept.cell.box in good_in)
        elif kept.cell.stage in _KEPT_STAGES:
            for question in _QUESTIONS:
                yield from question(kept)
            yield from _falling_faster(kept, family)


def _item(kind: str, kept: Kept, at: datetime, why: str, *, charge: bool = False, **fill: str) -> DueItem:
    known = due_kinds()[kind]
    instead = ""
    # A list that asks for a charge the verdict forbids would be followed by somebody in a hurry.
    if known.charge or charge:
        refusal = charge_refusal(kept.verdict, kept.case.facts.chemistry)
        instead = "; ".join(filter(None, [refusal.why, refusal.first])) if refusal else ""
    return DueItem(known, kept.code, at, why, kept.cell.box, fill=fill, instead=instead)


def _families(household: Household) -> dict[tuple[str, str | None], list[Kept]]:
    """Cells of the same pack of the same tear-down, by code."""
    groups: dict[tuple[str, str | None], list[Kept]] = {}
    for kept in household.kept:
        if kept.cell.teardown is not None:
            groups.setdefault((kept.cell.teardown, kept.cell.pack), []).append(kept)
    return groups


# --- condemned cells -------------------------------------------------------------------------------


def _condemned(kept: Kept, household: Household, mixed: bool) -> Iterator[DueItem]:
    since = kept.since(kept.condemned_at or kept.cell.added_at)
    condition, why = condition_of(kept.evidence, kept.verdict)
    damaged = condition is Condition.DAMAGED
    # It is in a device, perhaps on charge: taking it out comes before any box.
    if kept.build is not None:
        text = f"condemned ({why}) and still built in"
        yield _item("in-device", kept, since, text, project=kept.build)
        return
    box = kept.cell.box
    apart = box is not None and not mixed
    if damaged and not (apart and fit_for_damaged(household.box_kinds.get(box or "", ""))):
        yield _item("isolate", kept, since, f"{why}; {_place(box, mixed)}")
    elif not apart:
        yield _item("set-apart", kept, since, f"{why}; {_place(box, mixed)}")
    kind = due_kinds()["handover-damaged" if damaged else "handover"]
    listed = f", on hand-over {kept.handover}" if kept.handover is not None else ""
    # A pile of condemned cells grows into the largest fire load of a house (longest wait: common practice).
    at = since + timedelta(days=kind.days["longest"])
    yield _item(kind.id, kept, at, f"condemned since {since:%Y-%m-%d}: {why}{listed}")


def _place(box: str | None, mixed: bool) -> str:
    if box is None:
        return "it lies in no box"
    return f"box '{box}' holds good cells too" if mixed else f"box '{box}' is not for damaged cells"


# --- dangers of cells in use or on the shelf -------------------------------------------------------


def _seen(kept: Kept) -> Iterator[DueItem]:
    """Of each danger the first open reason: nothing that was seen of a cell and holds it is left out of the list."""
    for kind, reasons in kept.dangers.items():
        # One that was answered must not hide one that was seen since.
        reason = next((r for r in reasons if not _check_began(kept, kind, r)), None)
        if reason is None:
            continue
        at = kept.since(reason.at)
        # While the check runs nothing can be done, and a list that nags for it is soon not read.
        if kind == "sibling" and (reason.todo is None or WorkKind.LOOK not in reason.todo.kinds):
            at = storage.check_ends(kept.case, kept.verdict, kept.standing) or at
        step = reason.todo.words if reason.todo else f"then: straycell verdict show {kept.code}"
        yield _item(kind, kept, at, reason.text, step=step)


def _check_began(kept: Kept, kind: str, reason: Reason) -> bool:
    """True once a charge lifted a low cell, or began the check of one that leaks: that is waited for elsewhere."""
    charged = kept.case.charge_before(kept.now)
    if kind not in ("sinking", "falling") or charged is None or charged.at <= kept.since(reason.at):
        return False
    return kind == "sinking" or kept.case.is_full(charged)


def _falling_faster(kept: Kept, family: dict[tuple[str, str | None], list[Kept]]) -> Iterator[DueItem]:
    """A loss within every limit that grew is worth a look, and no danger."""
    if "falling" in kept.dangers:
        return
    group = family.get((kept.cell.teardown or "", kept.cell.pack), [])
    # Siblings age alike in one box: a cell that falls faster than they do has a reason of its own.
    others = [other.case for other in group if other.code != kept.code]
    found = trend(kept.case, others)
    if found is not None:
        yield _item("trend", kept, kept.since(found.fall.at), found.text)


# --- storage ---------------------------------------------------------------------------------------


def _level(kept: Kept) -> Iterator[DueItem]:
    """Left full, left empty, or out of the window."""
    stands = kept.standing
    if stands.since is None or stands.level in (Level.STORED, Level.UNKNOWN):
        return
    volts = _volts(kept.case, stands)
    aim = storage.target(kept.case)
    if stands.level is Level.FULL:
        yield _full(kept, stands, volts, aim)
        return
    kind = due_kinds()["empty" if stands.level is Level.EMPTY else "storage-voltage"]
    high = stands.level is Level.HIGH
    record = _let_down(kept) if high else _charge_to(kept)
    word = {Level.EMPTY: "empty", Level.HIGH: "above the window", Level.LOW: "below the window"}[stands.level]
    at = stands.since + timedelta(days=kind.days["grace"])
    why = f"{word} since {stands.since:%Y-%m-%d}{volts}"
    yield _item(kind.id, kept, at, why, charge=not high, target=aim, record=record)


def _full(kept: Kept, stands: storage.Standing, volts: str, aim: str) -> DueItem:
    ends = storage.check_ends(kept.case, kept.verdict, stands)
    assert stands.since is not None
    done_at = stands.rest.at if stands.rest is not None else stands.since
    if ends is None:
        why = f"full since {stands.since:%Y-%m-%d}{volts}: its check has run out"
        return _item("full", kept, done_at, why, target=aim, record=_let_down(kept))
    last = "capacity run" if kept.cell.facts.chemistry is Chemistry.LFP else "rest voltage"
    why = f"full since {stands.since:%Y-%m-%d}{volts}: the check can end, take its last {last} first"
    return _item("full", kept, ends, why, target=aim, record=_let_down(kept))


def _let_down(kept: Kept) -> str:
    return f"straycell charge let-down {kept.code} --until {storage.storage_voltage(kept.case):.2f}V"


def _charge_to(kept: Kept) -> str:
    return f"straycell charge add {kept.code} --current ... --until {storage.storage_voltage(kept.case):.2f}V"


def _volts(case: Case, stands: storage.Standing) -> str:
    if stands.rest is None:
        return ""
    value = case.measured(stands.rest)
    return f", {show(value.value, Dimension.VOLTAGE, u=value.u)} on {stands.rest.at:%Y-%m-%d}"


def _rest_is_open(verdict: Verdict) -> bool:
    return any(r.rule == "rest-voltage" and r.ceiling <= Outcome.HOLD for r in verdict.reasons)


def _sinks_soon(kept: Kept) -> Iterator[DueItem]:
    """It may reach its shelf limit before the next check and its grace are over."""
    stands = kept.standing
    if stands.rest is None or stands.level in (Level.FULL, Level.HIGH) or _rest_is_open(kept.verdict):
        return
    low_at = storage.sinks_at(kept.case, kept.verdict, stands)
    # A cell that reaches 3.0 V between two checks would be found too late (cell sheets: pre-charge below 3.0
    # V).
    if low_at is None or low_at >= _next_check(kept, stands.rest.at) + _grace(kept):
        return
    why = (
        f"{_volts(kept.case, stands).removeprefix(', ')}; at up to "
        f"{storage.loss_percent_month(kept.verdict, kept.case):.1f} % a month it may be too low from {low_at:%Y-%m-%d}"
    )
    yield _item("sinks-soon", kept, stands.rest.at, why, target=storage.target(kept.case))


# --- checks ----------------------------------------------------------------------------------------


def _next_check(kept: Kept, at: datetime) -> datetime:
    return at + timedelta(days=kept.case.figure("age-rest-voltage"))


def _grace(kept: Kept) -> timedelta:
    return timedelta(days=kept.case.figure("age-rest-voltage-grace"))


def _check(kept: Kept) -> Iterator[DueItem]:
    """The first check two weeks after storing, then one every three months; overdue after the grace."""
    stands = kept.standing
    rests = kept.case.rest_voltages
    first = due_kinds()["first-recheck"]
    begun = stands.stored_at or (kept.cell.added_at if not rests else None)
    after = timedelta(days=first.days["after"])
    if begun is not None:
        # A few days early counts: otherwise a bench that measures weekly would always miss the fortnight.
        enough = begun + after - timedelta(days=first.days["early"])
        if not any(r.at >= enough for r in rests):
            why = (
                f"stored {begun:%Y-%m-%d}"
                if rests
                else f"here since {begun:%Y-%m-%d}, never measured at rest"
            )
            yield _item("first-recheck", kept, begun + after, why)
    last = rests[-1].at if rests else kept.cell.added_at
    if last is None:
        return
    text = f"last rest voltage {last:%Y-%m-%d}" if rests else f"no rest voltage, here since {last:%Y-%m-%d}"
    at = _next_check(kept, last)
    kind = "recheck-late" if kept.now >= at + _grace(kept) else "recheck"
    yield _item(kind, kept, at, text)


def _ages(kept: Kept) -> Iterator[DueItem]:
    """Told ahead: when the rules stop accepting its capacity or resistance, it would fall back on hold."""
    if charge_refusal(kept.verdict, kept.case.facts.chemistry) is not None:
        return
    # A charge and a run take days: reported ahead, a cell need not fall on hold first (30 days, common practice).
    kind = due_kinds()["ages"]
    ends = {word: end for word in ("capacity", "resistance") if (end := _too_old_at(kept.case, word))}
    if not ends:
        return
    at = min(end for _, end in ends.values()) - timedelta(days=kind.days["ahead"])
    near = max(at, kept.now) + timedelta(days=kind.days["ahead"])
    old = {word: found for word, found in ends.items() if found[1] <= near}
    words = {True: "is too old to count since", False: "counts until"}
    why = ", ".join(
        f"{word} of {taken:%Y-%m-%d} {words[end <= kept.now]} {end:%Y-%m-%d}"
        for word, (taken, end) in old.items()
    )
    first = ", a full charge before it, attended" if "capacity" in old else ""
    yield _item("ages", kept, at, why, first=first, options=" ".join(_TAKEN[word] for word in old))


_TAKEN = {
    "capacity": "--capacity ... --discharge-current ... --cutoff ... --temperature ...",
    "resistance": "--resistance ... --resistance-method ...",
}


def _too_old_at(case: Case, word: str) -> tuple[datetime, datetime] | None:
    """(when the reading that counts longest was taken, when it runs out); the latest one where none counts now."""
    if word == "capacity":
        run = current_run(case) or next(reversed(runs(case)), None)
        taken = [] if run is None else [run.reading.at]
    else:
        taken = [r.at for r in current_resistances(case) or usable(case)]
    return (max(taken), case.age_limit(f"age-{word}", max(taken))) if taken else None


def _forgotten(kept: Kept) -> Iterator[DueItem]:
    """On hold for a month with nothing done that could end it: checks on the shelf are not a step forward."""
    if kept.verdict.outcome is not Outcome.HOLD or not kept.verdict.missing:
        return
    # Cells on hold are the ones of which least is known: forgotten, they are the danger in the drawer.
    last = max(_steps_forward(kept), default=kept.cell.added_at)
    if last is None:
        return
    step = kept.verdict.missing[0]
    at = last + timedelta(days=due_kinds()["forgotten"].days["after"])
    running = storage.check_ends(kept.case, kept.verdict, kept.standing)
    # Not when its answer is there at the earliest: of a check that nobody begins that moves on with the clock.
    waits = [moment for moment in (step.todo.not_before, running) if moment and moment > kept.now]
    yield _item("forgotten", kept, max([at, *waits]), f"waits for: {step.what}")


def _steps_forward(kept: Kept) -> Iterator[datetime]:
    """When something was recorded that a verdict waits for."""
    shelf = (Quantity.VOLTAGE, Quantity.LOOK, Quantity.LET_DOWN)
    yield from (r.at for r in kept.case.readings if r.quantity not in shelf)
    yield from (c.at for c in kept.case.charges if kept.case.is_full(c))
    if kept.cell.added_at is not None:
        yield kept.cell.added_at


_QUESTIONS: tuple[Callable[[Kept], Iterator[DueItem]], ...] = (
    _seen,
    _level,
    _sinks_soon,
    _check,
    _ages,
    _forgotten,
)
