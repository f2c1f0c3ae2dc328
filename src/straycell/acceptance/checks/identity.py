"""Rules of what a cell is and what happened to it: chemistry, rechargeable or not, mass, history."""

from __future__ import annotations

from collections.abc import Iterator

from straycell.acceptance.case import Case
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.cells import Chemistry
from straycell.markings import read_marking
from straycell.quantities import Dimension, show
from straycell.readings import Quantity


def chemistry(case: Case) -> Iterator[Reason]:
    """Primary is discarded, unknown is held."""
    kind = case.facts.chemistry
    if kind is Chemistry.PRIMARY:
        yield case.reason(
            "chemistry",
            Status.FAILED,
            Outcome.DISCARD,
            "not rechargeable: never charge it",
            observed=str(kind),
        )
    elif kind is Chemistry.UNKNOWN:
        yield case.reason(
            "chemistry",
            Status.UNMEASURED,
            Outcome.HOLD,
            "the chemistry is not known, so no limit can be chosen",
            observed=str(kind),
            todo="find the marking or the maker's sheet, then: cell correct CODE --chemistry ... --because ...",
        )
    else:
        yield case.reason("chemistry", Status.MET, Outcome.PACK, f"chemistry {kind}", observed=str(kind))


def rechargeable(case: Case) -> Iterator[Reason]:
    """Sizes that primaries share need a marking or a person's word; a primary's marking needs more than that."""
    facts = case.facts
    if facts.chemistry is Chemistry.PRIMARY:
        return
    todo = "make sure it is rechargeable (maker's sheet), then: cell correct CODE --confirm-rechargeable --because ..."
    if facts.marking and read_marking(facts.marking).not_rechargeable and not facts.confirmed_rechargeable:
        yield case.reason(
            "rechargeable",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"the marking '{facts.marking}' reads like a cell that is not rechargeable: do not charge it",
            observed=facts.marking,
            todo=todo,
        )
    elif str(facts.form) in case.rules.limit("rechargeable").words and not facts.marking:
        known = facts.confirmed_rechargeable
        yield case.reason(
            "rechargeable",
            Status.MET if known else Status.UNMEASURED,
            Outcome.PACK if known else Outcome.HOLD,
            f"unmarked {facts.form}: confirmed as rechargeable"
            if known
            else f"an unmarked {facts.form} may be a primary cell of that size: do not charge it",
            observed=str(facts.form),
            todo="" if known else todo,
        )


def mass(case: Case) -> Iterator[Reason]:
    """A full-size cell that is too light is not what its sleeve says."""
    limit = case.rules.limit("mass")
    grams = case.facts.mass_g
    if grams is None or not limit.has(*case.keys):
        return
    least = limit.value(*case.keys)
    fine = grams >= least
    yield case.reason(
        "mass",
        Status.MET if fine else Status.FAILED,
        Outcome.PACK if fine else Outcome.HOLD,
        f"{show(grams, Dimension.MASS)} "
        + ("is what such a cell weighs" if fine else f"is too light for a {case.facts.form}: contradictory"),
        observed=grams,
        limit=least,
        todo=""
        if fine
        else "weigh it again; a light cell is not what it says it is: discard it if it stays light",
    )


def condemned(case: Case) -> Iterator[Reason]:
    """A person's discard stands."""
    word = case.evidence.condemned
    if word is not None:
        yield case.reason(
            "condemned",
            Status.FAILED,
            Outcome.DISCARD,
            f"discarded by hand: {word.because}",
            observed=word.because,
            at=word.at,
        )


def upset(case: Case) -> Iterator[Reason]:
    """After an incident or a dismantled build: look, rest voltage and resistance anew."""
    for event in case.evidence.upsets:
        if event.severe:
            yield case.reason(
                "upset",
                Status.FAILED,
                Outcome.DISCARD,
                f"severe incident: {event.kind}",
                observed=event.kind,
                at=event.at,
            )
    mild = [event for event in case.evidence.upsets if not event.severe]
    if not mild:
        return
    latest = max(mild, key=lambda event: event.at)
    done = {
        "look": any(r.at > latest.at for r in case.of(Quantity.LOOK)),
        "rest voltage": any(r.at > latest.at for r in case.rest_voltages),
        "resistance": any(r.at > latest.at for r in case.of(Quantity.RESISTANCE)),
    }
    lacking = [name for name, there in done.items() if not there]
    if lacking:
        yield case.reason(
            "upset",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"after '{latest.kind}' the cell must be tested anew: {', '.join(lacking)} still to do",
            observed=latest.kind,
            at=latest.at,
            todo=f"record {', '.join(lacking)} anew",
            earliest=case.now,
        )
    else:
        yield case.reason(
            "upset",
            Status.MET,
            Outcome.PACK,
            f"tested anew after '{latest.kind}'",
            observed=latest.kind,
            at=latest.at,
        )
