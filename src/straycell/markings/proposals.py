"""What a marking proposes: chemistry, form and size, capacity, and whether the cell can be charged at all."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from straycell.cells import CellFacts, Chemistry, Form
from straycell.errors import BadData
from straycell.markings.prints import CAPACITY, NEAR_CAPACITY, Print, Size, says, tables, take_apart
from straycell.markings.sizes import form_and_size, rating_beyond_size


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a marking suggests; None means that it does not say. `note` is for the person, may be empty.

    `speaks_of` are the families of limits that anything in the print is of: "lfp", "4.2V", or "outside" all rules.
    """

    chemistry: Chemistry | None = None
    form: Form | None = None
    size: Size | None = None
    rated_capacity_ah: float | None = None
    full_voltage_v: float | None = None
    not_rechargeable: bool = False
    note: str = ""
    speaks_of: frozenset[str] = frozenset()

    @property
    def volume_cm3(self) -> float | None:
        return None if self.size is None else self.size.volume_cm3


@lru_cache(maxsize=1024)
def read_marking(text: str) -> Proposal:
    """Everything a marking proposes. Never fails: an empty or strange text proposes nothing."""
    printed = take_apart(text)
    form, size, size_note = form_and_size(printed)
    # Before all else: whatever the rest of a print says, a primary cell must never be charged.
    primary = _why_primary(printed)
    if primary:
        return Proposal(
            Chemistry.PRIMARY, form, size, not_rechargeable=True, note=f"{primary}: never charge it"
        )
    chemistry, note = _chemistry(printed)
    capacity, capacity_note = _capacity(printed)
    bare = CellFacts(
        chemistry or Chemistry.UNKNOWN,
        form or Form.OTHER,
        rated_capacity_ah=capacity,
        volume_cm3=None if size is None else size.volume_cm3,
    )
    # A rating no such cell can hold would scale every current that is a share of it.
    if (ceiling := rating_beyond_size(bare)) is not None:
        capacity, capacity_note = None, f"{ceiling.text}: not taken"
    full = [v for v in tables()["full"]["volts"] if printed.any_volts([v])]
    notes = [note, size_note, capacity_note, _battery_note(printed)]
    return Proposal(
        chemistry,
        form,
        size,
        capacity,
        # A print never raises the full voltage of lfp (`full-voltage-marked` of the acceptance rules).
        max(full) if full and chemistry is not Chemistry.LFP else None,
        note="; ".join(n for n in notes if n),
        speaks_of=frozenset(_families(printed, chemistry)),
    )


def _why_primary(printed: Print) -> str:
    """The sign that says this cell cannot be recharged; empty when there is none."""
    table = tables()["primary"]
    round_cell = rf"(?<![A-Z0-9])\d{{0,2}}[{table['letters']}]R[-\s/]?[VP]?\d[\dA-Z]*"
    plain = rf"(?<![A-Z0-9])(?:{'|'.join(table['zinc_carbon'])})(?![0-9])"
    if found := re.search(round_cell, printed.folded) or re.search(plain, printed.folded):
        return f"'{found[0]}' is the mark of a cell that is not rechargeable"
    if printed.negative == "L":
        return "a first letter L means lithium metal"
    if says(printed.folded, table):
        return "the print says that it is not rechargeable"
    recharge = tables()["rechargeable"]
    says_recharge = printed.negative == "I" or says(printed.folded, recharge)
    # 3 V and 1.5 V are weak signs, so they yield to any word or letter that says rechargeable.
    if printed.any_volts(table["volts"]) and not says_recharge and not printed.any_volts(recharge["volts"]):
        return "1.5 V or 3 V is the voltage of a cell that is not rechargeable"
    return ""


def _chemistry(printed: Print) -> tuple[Chemistry | None, str]:
    known = tables()
    if _is_outside(printed):
        return None, "not a chemistry this house has rules for: leave it unknown, do not charge it here"
    found = {Chemistry(name) for name, words in known["words"].items() if says(printed.folded, words)}
    note = ""
    if printed.negative == "I" and printed.letters is not None:
        entry = known["electrode"].get(printed.letters[3], {})
        note = entry.get("note", "")
        by_letter = Chemistry(entry["chemistry"]) if "chemistry" in entry else None
        # A word says more than the letter N, which stands for every nickel-based chemistry.
        nickel_named = by_letter is Chemistry.NMC and found and found <= {Chemistry.NCA, Chemistry.NMC}
        if by_letter and not nickel_named:
            found.add(by_letter)
    # Two chemistries on one cell have different limits: with a wrong guess one of them would be exceeded.
    if len(found) > 1 or _volts_contradict(printed, found):
        return None, "the print contradicts itself: leave the chemistry unknown until the maker's data say"
    if not found and _allows_liion(printed):
        return Chemistry.LIION, "lithium ion of 4.2 V, its kind not printed: it serves alone, never joined"
    return (found.pop() if found else None), note


def _families(printed: Print, chemistry: Chemistry | None) -> Iterator[str]:
    """Every family of limits that a word, a letter or a voltage of the print belongs to."""
    known = tables()
    letter = (
        known["electrode"].get(printed.letters[3], {})
        if printed.negative == "I" and printed.letters
        else None
    )
    if (
        _is_outside(printed)
        or printed.any_volts(known["nominal"]["outside"])
        or (letter and "chemistry" not in letter)
    ):
        yield "outside"
    by_letter = letter.get("chemistry") if letter else None
    if (
        by_letter == "lfp"
        or says(printed.folded, known["words"]["lfp"])
        or printed.any_volts(known["nominal"]["lfp"])
    ):
        yield "lfp"
    if chemistry not in (None, Chemistry.LFP):
        yield "4.2V"


def _is_outside(printed: Print) -> bool:
    outside = tables()["outside"]
    letters = rf"(?<![A-Z0-9])(?:{'|'.join(outside['letters'])})\d"
    return says(printed.folded, outside) or re.search(letters, printed.rest) is not None


def _allows_liion(printed: Print) -> bool:
    """Whether the print says 4.2 V lithium ion without its kind. Vanadium and titanium end lower."""
    table = tables()["liion"]
    if printed.any_volts(table["never_beside"]) or (printed.negative == "I" and printed.letters is not None):
        return False
    by_word = says(printed.folded, table) and printed.any_volts(table["with_word"])
    return by_word or printed.any_volts(table["volts"])


def _volts_contradict(printed: Print, found: set[Chemistry]) -> bool:
    nominal = tables()["nominal"]
    if not found:
        return False
    return printed.any_volts(nominal["others"] if Chemistry.LFP in found else nominal["lfp"])


def _battery_note(printed: Print) -> str:
    series, parallel = printed.cells
    if series * parallel == 1:
        return ""
    return f"the mark of a battery ({series} in series, {parallel} in parallel): read for one cell of it"


def _capacity(printed: Print) -> tuple[float | None, str]:
    """The printed capacity in Ah, unless it is a battery's or disputed."""
    found = {_ah(*match) for match in CAPACITY.findall(printed.folded)}
    values = {value for value in found if value is not None and 0.001 <= value <= 500}
    if not values or len(values) < len(found):
        return None, _unread(printed)
    # The print is of the whole battery; a share of it is only an average of cells that are no longer alike.
    if printed.cells[1] > 1:
        return None, "the capacity is the battery's"
    most, least = max(values), min(values)
    # Minimum and typical capacity differ by a few per cent; further apart, one of them belongs to something else.
    if most > 1.1 * least:
        return None, "two capacities are printed: none is proposed"
    return most, ""


def printed_capacity_ah(text: str) -> float | None:
    """The capacity that a marking prints, possible or not; None where there is none or two disagree."""
    return _capacity(take_apart(text))[0]


def _unread(printed: Print) -> str:
    """What is like a capacity and was not taken for one: `13OOmAh`, `2,600Ah`."""
    near = NEAR_CAPACITY.search(printed.folded)
    if near is None:
        return ""
    unit = "mAh" if near["unit"] == "MAH" else "Ah"
    return f"capacity not read: '{near['figure']}{near['gap']}{unit}'"


def _ah(whole: str, mark: str, part: str, unit: str) -> float | None:
    """`2,600mAh` is 2600, `2,6Ah` is 2.6; `2,600Ah` could be either and is None."""
    # `2,600Ah` may be a decimal comma or thousands; in mAh only thousands make sense.
    if mark == "," and len(part) == 3:
        return float(whole + part) / 1000 if unit == "MAH" else None
    number = float(f"{whole}.{part or 0}")
    return number / 1000 if unit == "MAH" else number


def fill(facts: CellFacts, proposal: Proposal) -> CellFacts:
    """The facts with what the marking proposes where the person said nothing.

    Raises BadData when the marking is of a cell that is not rechargeable and the person named a
    rechargeable chemistry without confirming it.
    """
    chemistry = facts.chemistry
    # Charging a primary cell is the worst mistake here, so the person must say aloud that it is not one.
    if proposal.not_rechargeable and not facts.confirmed_rechargeable:
        if chemistry not in (Chemistry.UNKNOWN, Chemistry.PRIMARY):
            raise BadData(
                f"marking '{facts.marking}' against chemistry {chemistry}: {proposal.note}",
                "leave the chemistry out, or confirm that it is rechargeable (--confirm-rechargeable)",
            )
        chemistry = Chemistry.PRIMARY
    elif chemistry is Chemistry.UNKNOWN and proposal.chemistry not in (None, Chemistry.PRIMARY):
        chemistry = proposal.chemistry
    filled = replace(
        facts,
        chemistry=chemistry,
        # What the person said wins; the print only fills what is empty.
        form=proposal.form if facts.form is Form.OTHER and proposal.form else facts.form,
        volume_cm3=proposal.volume_cm3 if facts.volume_cm3 is None else facts.volume_cm3,
        rated_capacity_ah=_first(facts.rated_capacity_ah, proposal.rated_capacity_ah),
        full_voltage_v=_first(facts.full_voltage_v, proposal.full_voltage_v),
    )
    printed_only = facts.rated_capacity_ah is None
    return unrated_beyond_size(filled) if printed_only else filled


def unrated_beyond_size(facts: CellFacts) -> CellFacts:
    """A printed rating that the size cannot hold stays in the marking; the cell counts as unrated."""
    return replace(facts, rated_capacity_ah=None) if rating_beyond_size(facts) else facts


def _first(said: float | None, proposed: float | None) -> float | None:
    return proposed if said is None else said
