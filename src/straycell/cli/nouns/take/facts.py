"""The facts of a cell on the command line, and what its marking proposes where nothing was said."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any

from straycell.cells import CellFacts, Chemistry, Form
from straycell.cli.app import values
from straycell.errors import UsageFault
from straycell.markings import Proposal, rating_beyond_size, read_marking
from straycell.quantities import Dimension, show
from straycell.readings import FACTS

SAID = [field for field in FACTS.values() if field.help]
"""What `cell add` and `cell correct` take."""
TeardownOption = Annotated[
    str | None, values.text_option("--teardown", "The tear-down it came out of, like AT3.", metavar="CODE")
]
PackOption = Annotated[
    str | None, values.text_option("--pack", "Which pack of that tear-down; siblings share it.", metavar="K")
]
BoxOption = Annotated[str | None, values.text_option("--box", "The box it lies in.", metavar="BOX")]


def stated(**options: object) -> dict[str, object]:
    """Only what the person said; an option that was not given is None."""
    return {name: value for name, value in options.items() if value is not None}


def with_marking(said: Mapping[str, object], marking: str) -> tuple[dict[str, object], list[str]]:
    """(the facts with the marking's proposals where nothing was said, what to tell the person).

    Raises UsageFault when the mark of a cell that is not rechargeable meets a rechargeable chemistry that
    was not confirmed: charging such a cell is the worst error of all.
    """
    facts, notes = dict(said), []
    proposal = read_marking(marking)
    if proposal.not_rechargeable:
        _check_primary(facts, proposal)
    # What a person says wins over what the print proposes: sleeves are swapped, and prints lie.
    taken = {name: value for name, value in _proposed(proposal, facts).items() if name not in facts}
    # More charge than the volume can hold (Ah/cm3) is a false print, common on recovered and on cheap cells.
    lie = rating_beyond_size(build_facts({**facts, **taken})) if "rated_capacity_ah" in taken else None
    if lie is not None:
        del taken["rated_capacity_ah"]
        notes.append(f"marking: {lie.text}: kept as the marking, the cell counts as unrated")
    facts.update(taken)
    words = [text for text in (_tell(name, value) for name, value in taken.items()) if text]
    if words:
        notes.append(f"from the marking: {', '.join(words)} (say it with an option if that is wrong)")
    # Said even where nothing was taken: it may be the only sign of a cell that must not be charged.
    if proposal.note:
        notes.append(f"marking: {proposal.note}")
    return facts, notes


def from_new_marking(known: CellFacts, said: dict[str, object], *, mistyped: bool) -> list[str]:
    """Put what a corrected marking brings along into `said`; what it also speaks of comes back as words.

    Its size always; a rated capacity only where the old one came from a marking that was mistyped.
    """
    marking = str(said["marking"])
    proposal, former = read_marking(marking), read_marking(known.marking)
    # The volume decides what rating is possible, so it always follows the print in force.
    if proposal.volume_cm3 is not None:
        said["volume_cm3"] = proposal.volume_cm3
    notes = []
    rated, old = proposal.rated_capacity_ah, known.rated_capacity_ah
    from_the_slip = mistyped and old == former.rated_capacity_ah
    if from_the_slip and rated not in (None, old) and "rated_capacity_ah" not in said:
        said["rated_capacity_ah"] = rated
        before = (
            "none was recorded"
            if old is None
            else f"{show(old, Dimension.CAPACITY)} came from the old marking"
        )
        notes.append(f"taken along from the marking: {_tell('rated_capacity_ah', rated)} ({before})")
    return notes + _left_as_they_were(known, said, proposal, "--mistake mistyped " if mistyped else "")


def _left_as_they_were(
    known: CellFacts, said: Mapping[str, object], proposal: Proposal, mistake: str
) -> list[str]:
    """What the new marking speaks of otherwise than the record: what stays, and the command that corrects it."""
    words, options = [], []
    for name, value in _proposed(proposal, said).items():
        recorded = getattr(known, name)
        if name in said or name not in _CORRECTABLE or value == recorded:
            continue
        field = FACTS[name]
        stays, new = _tell(name, recorded) or f"{field.noun} unknown", _plain(value, field.dimension)
        words.append(f"{stays} stays as recorded, the new marking says {new}")
        options.append(f"{field.option} {new.replace(' ', '')}")
    if not words:
        return []
    command = f"straycell cell correct CODE {' '.join(options)} {mistake}--because TEXT"
    return [f"{'; '.join(words)}. To correct that too: {command}"]


_CORRECTABLE = ("chemistry", "form", "rated_capacity_ah", "full_voltage_v")


def _plain(value: object, dimension: Dimension | None) -> str:
    return show(value, dimension) if dimension is not None and isinstance(value, float) else str(value)


def _check_primary(facts: Mapping[str, object], proposal: Proposal) -> None:
    # Lithium primaries share sizes with rechargeable cells and can burn on a charger.
    rechargeable = facts.get("chemistry") not in (None, Chemistry.PRIMARY, Chemistry.UNKNOWN)
    if rechargeable and not facts.get("confirmed_rechargeable"):
        raise UsageFault(
            f"the marking speaks against chemistry {facts['chemistry']}: {proposal.note}",
            "say --chemistry primary, or add --confirm-rechargeable if you know better from the maker's data",
        )


def _proposed(proposal: Proposal, facts: Mapping[str, object]) -> dict[str, object]:
    chemistry: Chemistry | None = proposal.chemistry
    if proposal.not_rechargeable and facts.get("confirmed_rechargeable"):
        chemistry = None
    return stated(
        chemistry=chemistry,
        form=proposal.form,
        rated_capacity_ah=proposal.rated_capacity_ah,
        full_voltage_v=proposal.full_voltage_v,
        volume_cm3=proposal.volume_cm3,
    )


def _tell(name: str, value: object) -> str:
    if isinstance(value, Chemistry | Form):
        return f"{name} {value}"
    if name == "rated_capacity_ah" and isinstance(value, float):
        return f"rated {show(value, Dimension.CAPACITY)}"
    if name == "full_voltage_v" and isinstance(value, float):
        return f"full at {show(value, Dimension.VOLTAGE)}"
    return ""


def build_facts(fields: Mapping[str, Any]) -> CellFacts:
    """CellFacts from named fields."""
    return replace(CellFacts(), **fields)
