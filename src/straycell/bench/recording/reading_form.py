"""What was said of one cell on one line, turned into readings, also in the place of superseded ones; the rest it states.

Several quantities give one reading each.

What is said is a mapping from the names of `readings.fields` to values in base units.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from straycell.acceptance import Case
from straycell.bench.context import Reader
from straycell.cells import Look
from straycell.errors import UsageFault
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.quantities import Dimension, show
from straycell.readings import (
    KINDS,
    OF_READING,
    Charge,
    Field,
    Item,
    Kind,
    Method,
    Mistake,
    Quantity,
    Reading,
    by_charger,
    reading_of,
    said_of,
)

Said = Mapping[str, Any]
DEFAULT_PULSE_S = 1.0
"""`--resistance-method dc-pulse` means a pulse of about one second unless --pulse says otherwise."""


def kinds_of(said: Said) -> list[Kind]:
    """What was measured; a temperature counts as a reading of its own only when no electrical one has it."""
    found = [kind for kind in KINDS.values() if kind.key in said and kind.key in OF_READING]
    electrical = any(kind.by_contact for kind in found)
    return [kind for kind in found if not (electrical and kind.quantity is Quantity.TEMPERATURE)]


def check_form(said: Said) -> None:
    """Raise UsageFault when what was said does not fit together."""
    kinds = kinds_of(said)
    if not said:
        raise UsageFault(
            "no reading was given", "add one of --voltage --as-found-voltage --capacity --resistance --look"
        )
    for field in (OF_READING[name] for name in said):
        if not any(field.name in (kind.key, *kind.takes) for kind in kinds):
            raise UsageFault(f"{field.option} is given alone", f"it belongs to {_owners(field)}")
    for kind in kinds:
        if any(name not in said for name in kind.needs):
            raise UsageFault(
                "a capacity without its current and cut-off cannot be compared with anything",
                "add --discharge-current 0.5A --cutoff 3.0V",
            )
    if "pulse_s" in said and said.get("method") is not Method.DC_PULSE:
        raise UsageFault("--pulse is the length of a d.c. pulse", "add --resistance-method dc-pulse")
    look = said.get("look", ())
    if Look.CLEAN in look and len(look) > 1:
        others = ", ".join(word for word in look if word is not Look.CLEAN)
        raise UsageFault(f"look: a cell cannot be clean and {others}", "leave clean out")


def _owners(field: Field) -> str:
    return " or ".join(
        kind.value.option for kind in KINDS.values() if kind.value and field.name in kind.takes
    )


def readings_of(said: Said, cell: str, at: datetime, meter: Meter | None) -> list[Reading]:
    """One reading for each quantity of what was said and checked."""
    return [_completed(reading_of(kind, said, cell, at, meter)) for kind in kinds_of(said)]


def _completed(item: Reading) -> Reading:
    if item.look:
        return replace(item, look=tuple(dict.fromkeys(item.look)))
    if item.quantity is not Quantity.RESISTANCE:
        return item
    method = item.method or Method.UNKNOWN
    pulse_s = (item.pulse_s or DEFAULT_PULSE_S) if method is Method.DC_PULSE else None
    return replace(item, method=method, pulse_s=pulse_s)


def notes_of(said: Said) -> Iterator[str]:
    """What a person should know about what was just recorded."""
    if "voltage_v" in said and "rested_s" not in said:
        yield "not a rest voltage without --rested"
    if "resistance_ohm" in said and "method" not in said:
        yield "resistance method: unknown, so it gives at best solo; say --resistance-method dc-pulse or ac-1khz"
    if "capacity_ah" in said and "temperature_c" not in said:
        yield "no --temperature: at what temperature was the capacity measured?"


def filled_from(said: Said, old: Reading) -> dict[str, Any]:
    """A correction of `old`: what is left out keeps its old value.

    When the same quantity is named, or none, the old conditions (and value) fill the gaps; when another
    quantity is named, only the temperature is carried over.
    """
    room = {} if old.temperature_c is None else {"temperature_c": old.temperature_c}
    kinds = [kind.quantity for kind in kinds_of(said)]
    if kinds and old.quantity not in kinds and kinds != [Quantity.TEMPERATURE]:
        return {**room, **said}
    former = form_of(old)
    filled = {**room, **former, **said}
    if said.get("method") not in (None, former.get("method")) and "pulse_s" not in said:
        filled.pop("pulse_s", None)
    return filled


def form_of(reading: Reading) -> dict[str, Any]:
    """What would have recorded this reading."""
    said = {field.name: value for field, value in said_of(reading) if field.name in OF_READING}
    return said if reading.value is None else {**said, KINDS[reading.quantity].key: reading.value}


@dataclass(frozen=True, slots=True)
class RestOnRecord:
    """What ended last before a moment (None: nothing on record), and by how much a stated rest may differ from it.

    It may by `slack_s` or by `slack_share` of the longer; `needs_s` are the rests that rules ask for. All in s.
    """

    moved: tuple[str, datetime] | None = None
    slack_s: float = 0.0
    slack_share: float = 0.0
    needs_s: tuple[float, ...] = ()

    def against(self, stated_s: float, at: datetime) -> tuple[str, float] | None:
        """(what ended, how long before `at`) where it contradicts a stated rest and it matters which is true.

        It matters where a rule needs a rest that the longer of the two reaches and the shorter does not.
        """
        if self.moved is None:
            return None
        name, ended = self.moved
        counted_s = max(0.0, (at - ended).total_seconds())
        shorter, longer = sorted((stated_s, counted_s))
        # People round and forget minutes: only a difference that changes what the reading counts for is asked
        # about.
        differs = longer - shorter > max(self.slack_s, self.slack_share * longer)
        matters = any(shorter < need <= longer for need in self.needs_s)
        return (name, counted_s) if differs and matters else None


NOTHING_ON_RECORD = RestOnRecord()


def rest_on_record(case: Case, at: datetime) -> RestOnRecord:
    """The last charge or discharge on record up to a moment."""
    moved = [("the charge", c.at) for c in case.charges] + [
        ("the discharge", r.at) for r in case.of(Quantity.CAPACITY, Quantity.LET_DOWN)
    ]
    return RestOnRecord(
        max((each for each in moved if each[1] <= at), key=lambda each: each[1], default=None),
        3600.0 * case.figure("rest-stated"),
        case.figure("rest-stated-share"),
        tuple(3600.0 * case.figure(limit) for limit in ("rest-time", "pair-rest")),
    )


def require_rest(case: Case, reading: Reading) -> None:
    """Raise UsageFault where the rest that is stated and the one on record differ, and it matters which is true."""
    if reading.quantity is not Quantity.VOLTAGE or reading.rested_s is None:
        return
    against = rest_on_record(case, reading.at).against(reading.rested_s, reading.at)
    if against is not None:
        name, counted_s = against
        stated, counted = show(reading.rested_s, Dimension.DURATION), show(counted_s, Dimension.DURATION)
        raise UsageFault(
            f"--rested {stated}: {name} on record ended {counted} before",
            "give the rest since the last current, or record the charge or discharge that is missing first",
        )


# --- what is recorded in the place of a superseded one


@dataclass(frozen=True, slots=True)
class Correction:
    """What the person said of the mistake, and what was measured instead (by the names of `readings.fields`)."""

    mistake: Mistake
    said: Said
    meter: str | None
    at: datetime | None
    now: datetime

    @property
    def measured_again(self) -> bool:
        """True when something was said that takes the place of the old one."""
        return bool(self.said) or self.meter is not None or self.at is not None

    def check(self, right_cell: str | None) -> None:
        """Raise UsageFault when the mistake and the cell named do not fit together."""
        # Mistyped and bad-contact say the cell was the right one.
        if right_cell is not None and self.mistake is not Mistake.WRONG_CELL:
            raise UsageFault(
                f"--right-cell does not go with --mistake {self.mistake}", "say --mistake wrong-cell"
            )
        if self.mistake is Mistake.WRONG_CELL and self.measured_again and right_cell is None:
            raise UsageFault(
                "which cell is the new reading of?",
                "add --right-cell CODE, or record it with: straycell reading add",
            )
        if self.mistake is Mistake.MISTYPED and not self.measured_again:
            raise UsageFault(
                "mistyped, but what it should be is missing", "add the right value, like --voltage 3.71V"
            )

    def replacements(self, old: Item, right: str | None, reader: Reader) -> list[Item]:
        """The new items: none, the old one on the right cell, or what was said again."""
        if not self.measured_again:
            if right is None:
                return []
            # A reading moved to its true cell was not taken of that cell's group.
            moved = replace(old, id=NEW, cell=right)
            return [replace(moved, as_group=False) if isinstance(moved, Reading) else moved]
        # A bad contact means measured again, now; a typing mistake keeps the moment of the measurement.
        again = self.mistake is Mistake.BAD_CONTACT
        cell, moment = right or old.cell, self.at or (self.now if again else old.at)
        if isinstance(old, Charge):
            return [self._charge(replace(old, id=NEW, cell=cell, at=moment), reader)]
        if old.quantity is Quantity.LET_DOWN:
            said = self._only("charge let-down", old)
            value = {"value": said.pop("until_v")} if "until_v" in said else {}
            return [replace(old, id=NEW, cell=cell, at=moment, **value, **said)]
        if self.said.keys() - OF_READING.keys():
            raise UsageFault(f"{old.id} is a reading, not a charge", "use the options of reading add")
        said = dict(self.said) if again else filled_from(self.said, old)
        check_form(said)
        meter = reader.meter(self.meter) if self.meter is not None else None if again else old.meter
        return [self._as_derived(new, old) for new in readings_of(said, cell, moment, meter)]

    def _charge(self, old: Charge, reader: Reader) -> Charge:
        """A charge with what was said of it; a figure typed again has no longer the uncertainty of the old one."""
        said = self._only("charge add", old)
        until_said = "until_v" in said or old.u is None
        new = replace(old, **said, u=None if until_said else old.u, put_in_u=None)
        return by_charger(reader.chargers(), new, until_said=until_said)

    def _only(self, command: str, old: Item) -> dict[str, Any]:
        """What was said, when all of it goes with what `command` records. Raises UsageFault."""
        kind = KINDS[old.quantity]
        if self.meter is not None or self.said.keys() - {kind.key, *kind.takes}:
            raise UsageFault(f"{old.id} is a {old.quantity}, not a reading", f"use the options of {command}")
        return dict(self.said)

    def _as_derived(self, new: Reading, old: Reading) -> Reading:
        """What a trace gave for the old reading stays with the same value under other words; a new value is typed."""
        same = (
            new.quantity is old.quantity
            and new.value == old.value
            and self.mistake is not Mistake.BAD_CONTACT
        )
        # The narrow u of a trace belongs to the value that the trace gave, not to one typed in its place.
        if not same:
            return new
        return replace(
            new,
            soc=old.soc,
            at_least=old.at_least,
            from_full=old.from_full,
            u=old.u if new.meter == old.meter else None,
            trace=old.trace,
        )
