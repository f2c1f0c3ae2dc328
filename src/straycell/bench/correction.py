"""What is recorded in the place of a superseded reading or charge."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from straycell.bench.reading_form import ReadingForm, check_form, filled_from, readings_of
from straycell.errors import UsageFault
from straycell.keys import NEW
from straycell.readings import Charge, Mistake, Quantity, Reading

if TYPE_CHECKING:
    from straycell.store.reader import Reader


@dataclass(frozen=True, slots=True)
class ChargeForm:
    """The options of `charge add` that were given; None where nothing was said."""

    current_a: float | None = None
    until_v: float | None = None
    end_current_a: float | None = None
    temperature_c: float | None = None
    peak_temperature_c: float | None = None
    charger: str | None = None
    slot: int | None = None

    def said(self) -> dict[str, Any]:
        return {name: value for name, value in asdict(self).items() if value is not None}


@dataclass(frozen=True, slots=True)
class Correction:
    """What the person said of the mistake, and what was measured instead."""

    mistake: Mistake
    form: ReadingForm
    charged: ChargeForm
    meter: str | None
    at: datetime | None
    now: datetime

    @property
    def anew(self) -> bool:
        """True when something was said to stand in the old one's place."""
        return not (self.form.empty and not self.charged.said() and self.meter is None and self.at is None)

    def check(self, right_cell: str | None) -> None:
        """Raise UsageFault when the mistake and the cell named do not fit together."""
        if right_cell is not None and self.mistake is not Mistake.WRONG_CELL:
            raise UsageFault(
                f"--right-cell does not go with --mistake {self.mistake}", "say --mistake wrong-cell"
            )
        if self.mistake is Mistake.WRONG_CELL and self.anew and right_cell is None:
            raise UsageFault(
                "which cell is the new reading of?",
                "add --right-cell CODE, or record it with: straycell reading add",
            )
        if self.mistake is Mistake.MISTYPED and not self.anew:
            raise UsageFault(
                "mistyped, but what it should be was not said", "add the right value, like --voltage 3.71V"
            )

    def replacements(
        self, old: Reading | Charge, right: str | None, reader: Reader
    ) -> list[Reading | Charge]:
        """The new items: none, the old one on the right cell, or what was said anew."""
        if not self.anew:
            if right is None:
                return []
            moved = replace(old, id=NEW, cell=right)
            return [replace(moved, as_group=False) if isinstance(moved, Reading) else moved]
        again = self.mistake is Mistake.BAD_CONTACT
        cell, moment = right or old.cell, self.at or (self.now if again else old.at)
        if isinstance(old, Charge):
            return [self._charge(old, cell, moment)]
        if old.quantity is Quantity.LET_DOWN:
            return [self._let_down(old, cell, moment)]
        if set(self.charged.said()) - {"temperature_c"}:
            raise UsageFault(f"{old.id} is a reading, not a charge", "use the options of reading add")
        form = self.form if again else filled_from(self.form, old)
        check_form(form)
        meter = reader.meter(self.meter) if self.meter is not None else None if again else old.meter
        return [self._as_derived(new, old) for new in readings_of(form, cell, moment, meter)]

    def _as_derived(self, new: Reading, old: Reading) -> Reading:
        """What a trace told of the old reading stays with the same value under other words; a new value is typed."""
        same = (
            new.quantity is old.quantity
            and new.value == old.value
            and self.mistake is not Mistake.BAD_CONTACT
        )
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

    def _let_down(self, old: Reading, cell: str, moment: datetime) -> Reading:
        other = set(self.charged.said()) - {"until_v", "temperature_c"}
        if other or self.meter is not None or not replace(self.form, temperature=None).empty:
            raise UsageFault(f"{old.id} is a let-down", "use the options of charge let-down")
        until_v, room_c = self.charged.until_v, self.charged.temperature_c
        return replace(
            old,
            id=NEW,
            cell=cell,
            at=moment,
            value=old.value if until_v is None else until_v,
            temperature_c=old.temperature_c if room_c is None else room_c,
        )

    def _charge(self, old: Charge, cell: str, moment: datetime) -> Charge:
        if not replace(self.form, temperature=None).empty or self.meter is not None:
            raise UsageFault(f"{old.id} is a charge, not a reading", "use the options of charge add")
        return replace(old, id=NEW, cell=cell, at=moment, **self.charged.said())
