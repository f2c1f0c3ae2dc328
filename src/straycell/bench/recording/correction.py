"""What is recorded in the place of a superseded reading or charge."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from straycell.bench.context import Reader
from straycell.bench.recording.reading_form import Said, check_form, filled_from, readings_of
from straycell.errors import UsageFault
from straycell.keys import NEW
from straycell.readings import KINDS, OF_READING, Charge, Item, Mistake, Quantity, Reading, by_charger


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
