"""Rules of what a cell is and what happened to it: chemistry, rechargeable or not, mass, history."""

import math
from collections.abc import Collection, Iterator
from datetime import datetime
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.checks.steps import check_step
from straycell.acceptance.evidence import DISMANTLED, Upset
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, against_min, together
from straycell.acceptance.rules import family
from straycell.cells import Chemistry
from straycell.markings import read_marking
from straycell.quantities import Dimension, Measured, show
from straycell.readings import FACTS, Quantity


def not_rechargeable(case: Case) -> tuple[Tried, ...]:
    """A primary cell."""
    # Charging a primary lithium cell is the worst error of all (shipped.toml), so its chemistry alone
    # condemns.
    primary = case.facts.chemistry is Chemistry.PRIMARY
    why = partial(_chemistry, case, Status.FAILED, Outcome.DISCARD, "not rechargeable: never charge it")
    return (Tried("chemistry", Side.BEYOND if primary else Side.CLEAR, (), why),)


def _chemistry(case: Case, status: Status, ceiling: Outcome, text: str, todo: Work | None = None) -> Reason:
    return case.reason("chemistry", status, ceiling, text, Seen(str(case.facts.chemistry)), todo=todo)


def chemistry(case: Case) -> Iterator[Reason]:
    """Unknown is held, and so is a cell of which two kinds with unlike limits were said."""
    kind = case.facts.chemistry
    if kind is Chemistry.UNKNOWN:
        text = "the chemistry is not known, so no limit can be chosen"
        words = "find the marking or the maker's sheet, and record the chemistry"
        todo = Work(WorkKind.CORRECT, words, options="--chemistry ...")
        yield _chemistry(case, Status.UNMEASURED, Outcome.HOLD, text, todo)
    # The wrong one of two limits over-charges or over-discharges, and the record does not show which it is.
    elif others := [c for c in case.evidence.other_chemistries if family(c) != family(kind)]:
        text = f"chemistry {kind}, but {' and '.join(others)} was said, too, and never withdrawn: both limits apply"
        words = f"make sure which it is; if it is {kind}, the other was a mistake"
        todo = Work(WorkKind.CORRECT, words, options=f"--chemistry {kind} --mistake mistyped")
        yield _chemistry(case, Status.UNMEASURED, Outcome.HOLD, text, todo)
    elif print_against := _print_against(case):
        text = f"chemistry {kind}, but its marking '{case.facts.marking}' speaks of {print_against}: other limits apply"
        words = "make sure which it is, and record that; a sleeve that is not its own: --rewrapped"
        todo = Work(WorkKind.CORRECT, words, options="--chemistry ...")
        yield _chemistry(case, Status.UNMEASURED, Outcome.HOLD, text, todo)
    elif kind is Chemistry.LIION:
        yield from _unknown_kind(case)
    elif kind is not Chemistry.PRIMARY:
        yield _chemistry(case, Status.MET, Outcome.PACK, f"chemistry {kind}")


def _print_against(case: Case) -> str:
    """What the print says that the chemistry on record is not; empty where nothing, or where the sleeve is not its own."""
    # 3.65 V, 4.20 V and the 2.8 V of titanate: the wrong one of them over-charges by half a volt and more.
    facts = case.facts
    said = (
        read_marking(facts.marking).speaks_of if facts.marking and not facts.rewrapped else frozenset[str]()
    )
    if facts.chemistry in (Chemistry.PRIMARY, Chemistry.UNKNOWN):
        return ""
    against = said - {"lfp" if facts.chemistry is Chemistry.LFP else "4.2V"}
    return " and ".join(sorted(_FAMILY[each] for each in against))


_FAMILY = {
    "lfp": "iron phosphate",
    "4.2V": "lithium ion of 4.2 V",
    "outside": "a chemistry that is not charged here",
}


def _unknown_kind(case: Case) -> Iterator[Reason]:
    """A 4.2 V cell whose kind nobody knows serves alone; without a print that says 4.2 V it is held."""
    facts = case.facts
    charged_v = facts.full_voltage_v
    stated = charged_v is not None and math.isclose(charged_v, case.figure("full-voltage"))
    if read_marking(facts.marking).chemistry is not Chemistry.LIION and not stated:
        text = (
            "nothing recorded of its print allows lithium ion of 4.2 V (3.7 V, 4.20 V, or 3.6 V and Li-ion)"
        )
        work = Work(WorkKind.CORRECT, "record what is printed on it", options="--marking ...")
        yield _chemistry(case, Status.UNMEASURED, Outcome.HOLD, text, work)
    # Cells of 3.6 V that must never be charged come in these sizes, with prints that are easily misread.
    elif str(facts.form) in case.rules.limit("rechargeable").words and not facts.confirmed_rechargeable:
        text = f"a {facts.form} of unknown kind may be a primary cell of that size: do not charge it"
        words = "make sure it is rechargeable (maker's sheet), and record that"
        work = Work(WorkKind.CORRECT, words, options="--confirm-rechargeable")
        yield case.reason(
            "rechargeable",
            Status.UNMEASURED,
            Outcome.HOLD,
            text,
            Seen(str(facts.form)),
            todo=work,
        )
    text = "lithium ion of 4.2 V, kind unknown: judged as the worst of its kinds, serves alone, never joined"
    work = Work(WorkKind.CORRECT, "find the maker's sheet, and record the kind", options="--chemistry ...")
    yield _chemistry(case, Status.UNMEASURED, Outcome.SOLO, text, work)


def disputed(case: Case) -> Iterator[Reason]:
    """Two benches corrected the same fact differently since they last met: nobody knows which is right."""
    # Of two words about one cell at most one is right; the newer one is not the better one.
    for name in case.evidence.disputed:
        yield case.reason(
            "facts-disputed",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"two benches said different things of its {name.replace('_', ' ')}",
            Seen(name),
            todo=Work(
                WorkKind.CORRECT, "look at the cell and record which is right", options=_said_again(name)
            ),
            earliest=case.now,
        )


def _said_again(name: str) -> str:
    """The option that states a fact of a cell once more."""
    field = FACTS.get(name)
    option = field.option if field else f"--{name.replace('_', '-')}"
    return option if field and field.kind is bool else f"{option} ..."


def rechargeable(case: Case) -> Iterator[Reason]:
    """Sizes that primaries share need a marking or a person's word; a primary's marking needs more than that."""
    facts = case.facts
    if facts.chemistry is Chemistry.PRIMARY:
        return
    words = "make sure it is rechargeable (maker's sheet), and record that"
    todo = Work(WorkKind.CORRECT, words, options="--confirm-rechargeable")
    # A print may be misread, but never into a charge: a person has to confirm against the maker's sheet.
    if facts.marking and read_marking(facts.marking).not_rechargeable and not facts.confirmed_rechargeable:
        yield case.reason(
            "rechargeable",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"the marking '{facts.marking}' reads like a cell that is not rechargeable: do not charge it",
            Seen(facts.marking),
            todo=todo,
        )
    # 16340, 14500 and 10440 are also sizes of primary lithium cells, which look the same without a sleeve.
    elif str(facts.form) in case.rules.limit("rechargeable").words and not facts.marking:
        known = facts.confirmed_rechargeable
        yield case.reason(
            "rechargeable",
            Status.MET if known else Status.UNMEASURED,
            Outcome.PACK if known else Outcome.HOLD,
            f"unmarked {facts.form}: confirmed as rechargeable"
            if known
            else f"an unmarked {facts.form} may be a primary cell of that size: do not charge it",
            Seen(str(facts.form)),
            todo=None if known else todo,
        )


def mass(case: Case) -> Iterator[Reason]:
    """A full-size cell that is too light is not what its sleeve says."""
    least = case.known_figure("mass")
    # Sleeve and tabs only add to it, so the latest weighing speaks like the bare mass on record.
    weighed = [case.measured(r) for r in case.of(Quantity.MASS)[-1:]]
    weighed += [Measured(case.facts.mass_g, 0.0)] if case.facts.mass_g is not None else []
    if not weighed or least is None:
        return
    lightest = min(weighed, key=lambda mass: mass.low)
    grams = lightest.value
    # 18650 sheets say 44 to 48 g: below 38 g something else is under the sleeve, or electrolyte is gone.
    fine = against_min(lightest, least) is Side.CLEAR
    light = "weigh it again; a light cell is not what it says it is: discard it if it stays light"
    yield case.reason(
        "mass",
        Status.MET if fine else Status.FAILED,
        Outcome.PACK if fine else Outcome.HOLD,
        f"{show(grams, Dimension.MASS)} "
        + ("is what such a cell weighs" if fine else f"is too light for a {case.facts.form}: contradictory"),
        Seen(grams, least),
        todo=None if fine else Work(WorkKind.MASS, light, also=(WorkKind.DISCARD,)),
    )


def condemned(case: Case) -> Iterator[Reason]:
    """A person's discard holds."""
    word = case.evidence.condemned
    # A person saw, smelt or knew something that no reading holds: no measurement overrules that.
    if word is not None:
        yield case.reason(
            "condemned",
            Status.FAILED,
            Outcome.DISCARD,
            f"discarded by hand: {word.because}",
            Seen(word.because, at=word.at),
        )


def severe_incidents(case: Case) -> tuple[Tried, ...]:
    """What a cell does not survive, whatever it measures afterwards."""
    # Heat, puncture or a short changes the inside for good; a normal voltage afterwards proves nothing.
    return tuple(
        Tried("upset", Side.BEYOND if u.severe else Side.CLEAR, (u,), partial(_severe, case, u))
        for u in case.evidence.upsets
    )


def _severe(case: Case, event: Upset) -> Reason:
    return case.reason(
        "upset",
        Status.FAILED,
        Outcome.DISCARD,
        f"severe incident: {event.kind}",
        Seen(event.kind, at=event.at),
    )


def tested_since(case: Case, at: datetime, but: Collection[str] = ()) -> dict[str, bool]:
    """What a cell is tested by after something happened to it, and whether that was done after a time.

    `but` are keys of readings that do not count.
    """
    # These three cost minutes and show what a blow does at once: shape, an open or short cell, a torn tab.
    by = {
        "look": case.of(Quantity.LOOK),
        "rest voltage": case.rest_voltages,
        "resistance": case.of(Quantity.RESISTANCE),
    }
    return {name: any(r.at > at and r.key not in but for r in taken) for name, taken in by.items()}


_TESTS = {"look": WorkKind.LOOK, "rest voltage": WorkKind.REST, "resistance": WorkKind.RESISTANCE}


def tested_by(case: Case, lacking: list[str]) -> list[WorkKind]:
    """The work of the tests that `tested_since` names, and of the next step of a self-discharge check."""
    return [_TESTS[name] if name in _TESTS else check_step(case)[0] for name in lacking]


def clock(case: Case) -> Iterator[Reason]:
    """A record later than now: one of the two clocks was wrong, and every age and rest counts from it."""
    evidence = case.evidence
    # Ages, rests and the days of a check all count from these times: a fast clock makes a check look longer
    # than it was.
    moments = [r.at for r in case.evidence.readings] + [c.at for c in case.charges]
    moments += [u.at for u in evidence.upsets] + [f.recorded for f in evidence.findings]
    latest = max((at for at in moments if at > case.now), default=None)
    if latest is not None:
        yield case.reason(
            "clock",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"a record of {latest:%Y-%m-%d %H:%M} UTC lies later than now: a clock is or was wrong",
            # When that moment has come the record may be right after all: judged then, and not believed as recorded.
            Seen(latest.isoformat(), at=latest, until=latest),
            todo=Work(
                WorkKind.SUPERSEDE,
                "set the clock; supersede what was recorded under a wrong one (store check names it)",
            ),
            earliest=latest,
        )


def unexplained(case: Case) -> Iterator[Reason]:
    """A trace shows what nobody has explained yet: no finding, and no pass."""
    doubts = [r for r in case.evidence.readings if r.doubt]
    # 0 V in a trace may be a dead cell or an empty holder: one condemns, the other is nothing.
    if doubts:
        latest = doubts[-1]
        yield case.reason(
            "unexplained",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{latest.doubt}: say what happened",
            Seen(latest.value, reading=latest),
            todo=Work(
                WorkKind.WAIT,
                f"say what happened: straycell trace keep {latest.id} --because ... if the cell was there, "
                f"straycell trace trim {latest.id} --because ... if it had been taken out",
            ),
            earliest=case.now,
        )


def upset(case: Case) -> Iterator[Reason]:
    """After an incident or a dismantled build: look, rest voltage and resistance again."""
    mild = [event for event in case.evidence.upsets if not event.severe]
    if not mild:
        return
    latest = max(mild, key=lambda event: event.at)
    # A fast clock gave readings times that the incident has yet to reach: they were taken before it all the same.
    before = frozenset[str]().union(*(event.before for event in mild))
    lacking = [name for name, there in tested_since(case, latest.at, before).items() if not there]
    # A blow, heat or an unknown charge may leave a soft short, which shows only over days; words of one's own may mean
    # any of these. Taking a build apart neither drops nor heats a cell.
    shaken = [event for event in mild if event.kind != DISMANTLED]
    if shaken and not checked_after(case, max(event.at for event in shaken), but=before):
        lacking.append("self-discharge check")
    if lacking:
        yield case.reason(
            "upset",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"after '{latest.kind}' the cell must be tested again: {', '.join(lacking)} still to do",
            Seen(latest.kind, at=latest.at),
            todo=together(f"record {', '.join(lacking)} again", tested_by(case, lacking)),
            earliest=case.now,
        )
        if "look" in lacking and latest.kind != DISMANTLED:
            # Without a look no charge either: the test charge of a cell that was hurt may be its last.
            yield case.reason(
                "upset-look",
                Status.UNMEASURED,
                Outcome.HOLD,
                f"nobody has looked at it since '{latest.kind}': no charge before that",
                Seen(latest.kind, at=latest.at),
                todo=Work(WorkKind.LOOK, "look at it and record what you see"),
                earliest=case.now,
            )
    else:
        yield case.reason(
            "upset",
            Status.MET,
            Outcome.PACK,
            f"tested again after '{latest.kind}'",
            Seen(latest.kind, at=latest.at),
        )
