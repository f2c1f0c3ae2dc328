"""One cell before the rules: its evidence with uncertainties worked out, and how a reason is written."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property, wraps
from typing import Any, NamedTuple, TypeVar

from straycell.acceptance.evidence import DISMANTLED, Evidence, Record
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, Work
from straycell.acceptance.rules import Limit, RuleSet, chemistry_keys
from straycell.cells import CellFacts, Chemistry, Form
from straycell.markings import most_capacity_ah, rating_beyond_size, read_marking
from straycell.quantities import Measured, amps
from straycell.readings import Charge, Quantity, Reading, Where, measured

# A charge is kept apart from these: it alone can start a check, these can only end one.
MOVES_CHARGE = (Quantity.CAPACITY, Quantity.LET_DOWN)
STEPS = (Outcome.PACK, Outcome.SOLO, Outcome.LIGHT)


T = TypeVar("T")
C = TypeVar("C", bound="Case")
_NOT_YET: Any = object()


def once_a_case(work: Callable[[C], T]) -> Callable[[C], T]:
    """What several rules ask for is worked out for the first and remembered: a case never changes."""

    @wraps(work)
    def remembered(case: C) -> T:
        found: T = case.memo.get(work, _NOT_YET)
        if found is _NOT_YET:
            found = case.memo[work] = work(case)
        return found

    return remembered


class Seen(NamedTuple):
    """What a reason looked at: the figure or the words, the limit they are held against, and the record they are of.

    A `Measured` brings its U, a record its time, where `at` is not given; `until` is when the answer runs out by age.
    `figure` is how the reason's text begins where several reasons answer one measured figure.
    """

    value: Measured | float | str | None = None
    limit: float | str | None = None
    reading: Reading | Charge | None = None
    at: datetime | None = None
    until: datetime | None = None
    unit: str | None = None
    figure: str = ""


UNSEEN = Seen()


@dataclass(frozen=True)
class Case:
    """Evidence, facts, rules and the moment; everything derived is computed once and never changes."""

    evidence: Evidence
    facts: CellFacts
    rules: RuleSet
    now: datetime
    # Not part of the value: two cases with the same evidence stay equal whatever was asked of them.
    memo: dict[object, Any] = field(default_factory=dict, compare=False, repr=False)

    # --- looking things up ---

    @property
    @once_a_case
    def keys(self) -> tuple[str, ...]:
        return chemistry_keys(self.facts.chemistry, self.facts.form)

    def figure(self, limit_id: str, *keys: str) -> float:
        """A limit's figure for this cell's chemistry and form, or for the keys given."""
        # Thousands of cells share a chemistry and form: one table for them saves the lookups by key.
        return self.rules.figure(limit_id, *keys) if keys else self._figures[limit_id]

    @cached_property
    def _figures(self) -> Mapping[str, float]:
        return self.rules.figures(self.keys)

    def known_figure(self, limit_id: str) -> float | None:
        """A limit's figure for this cell's chemistry and form; None where it has none for them. KeyError: no such limit."""
        return self._figures.get(self.rules.limit(limit_id).id)

    @property
    @once_a_case
    def readings(self) -> tuple[Reading, ...]:
        """What counts as evidence; what a trace shows and nobody has explained does not."""
        return tuple(r for r in self.evidence.readings if not r.doubt)

    @property
    def charges(self) -> tuple[Charge, ...]:
        return self.evidence.charges

    def of(self, *quantities: Quantity) -> tuple[Reading, ...]:
        """Readings of these quantities, oldest first."""
        found: tuple[Reading, ...] | None = self.memo.get(quantities)
        if found is None:
            found = self.memo[quantities] = tuple([r for r in self.readings if r.quantity in quantities])
        return found

    def measured(self, reading: Reading) -> Measured:
        """Value and standard uncertainty, by its meter or the cautious default."""
        key = id(
            reading
        )  # the evidence keeps it alive; hashing all its fields would cost more than this saves
        found: Measured | None = self.memo.get(key)
        if found is None:
            found = self.memo[key] = measured(reading, self.rules.defaults)
        return found

    def repeat_u(self, limit_id: str, a: Reading, b: Reading) -> float:
        """Standard uncertainty of a difference by what readings repeat to (a limit of error, as a share).

        Only where a trace gave one of them its own, narrow uncertainty: a meter's limits leave room for it.
        """
        if a.u is None and b.u is None:
            return 0.0
        # Limits of error are rectangular (a over root 3), and a difference of two readings has root 2 of one.
        return (
            max(self.measured(a).value, self.measured(b).value) * self.figure(limit_id) * math.sqrt(2.0 / 3.0)
        )

    @property
    @once_a_case
    def full_voltage_v(self) -> float:
        """What the chemistry is charged to; a marking may say more, up to what such markings say."""
        # Markings of cells go up to 4.40 V; a higher figure is a misprint or a misreading.
        usual, marked = self.figure("full-voltage"), self.facts.full_voltage_v
        return usual if marked is None else min(marked, self.figure("full-voltage-marked"))

    @property
    @once_a_case
    def volume_cm3(self) -> float | None:
        return self.facts.volume_cm3 or (
            read_marking(self.facts.marking).volume_cm3 if self.facts.marking else None
        )

    # --- voltages ---

    def at_board(self, reading: Reading) -> bool:
        """True when a value was, or may have been, taken over a protection board."""
        if reading.where is not None:
            return reading.where is Where.BOARD
        # A board on record and no place stated: the meter may have been on the board's outputs.
        return self.facts.protection_board

    @property
    @once_a_case
    def voltages(self) -> tuple[Reading, ...]:
        return self.of(Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE)

    @property
    @once_a_case
    def own_voltages(self) -> tuple[Reading, ...]:
        """Voltages that tell of the cell itself: at its terminals, or at a board that has not tripped."""
        return tuple(self.own(self.voltages))

    def own(self, voltages: Iterable[Reading]) -> Iterator[Reading]:
        """Those of the cell itself."""
        # Boards cut off at 2.40 ± 0.10 V (sheets): what reads above 2.5 V has passed a closed switch.
        floor = self.figure("board-voltage")
        for r in voltages:
            if not self.at_board(r) or (r.value is not None and r.value >= floor):
                yield r

    @property
    @once_a_case
    def rest_voltages(self) -> tuple[Reading, ...]:
        """Own voltages that had rested long enough to count as rest voltages, oldest first."""
        # Handbook: 90 min after charge or discharge; before, the voltage still relaxes by tens of millivolts.
        rest_s = self.figure("rest-time") * 3600.0
        rest = timedelta(seconds=rest_s)
        return tuple(
            r
            for r in self.own_voltages
            if r.quantity is Quantity.VOLTAGE and r.rested_s is not None and r.rested_s >= rest_s
            # What is stated is checked against the record: a charge within the rest makes it none.
            if not any(r.at - rest < c.at <= r.at for c in self.charges)
        )

    # --- charges and currents ---

    @property
    @once_a_case
    def reference_capacity_ah(self) -> float | None:
        """What the cell holds, for shares of it: the latest measured capacity, else rated, else the size's table."""
        return self._latest_ah or self.rate_base_ah

    @property
    @once_a_case
    def _latest_ah(self) -> float | None:
        """The latest capacity whose run was whole, else the latest."""
        capacities = self.of(Quantity.CAPACITY)
        # A run that was cut short says how much came out, not how much there is.
        whole = [r for r in capacities if not r.at_least] or capacities
        return whole[-1].value if whole else None

    @property
    @once_a_case
    def rate_base_ah(self) -> float | None:
        """What 1C of a test current means: the rated capacity, else the size's table, else the measured one."""
        return self.stated_ah or self._latest_ah

    @property
    @once_a_case
    def stated_ah(self) -> float | None:
        """The rated capacity, else the size's table, never above what the size can hold; no reading changes it."""
        # A fake print of 9900 mAh would turn a gentle current into a harsh one on paper: the size caps it.
        found, most = self.rated_ah or self.table_capacity_ah, most_capacity_ah(self.facts)
        return found if found is None or most is None else min(found, most)

    @property
    @once_a_case
    def rated_ah(self) -> float | None:
        """The maker's figure, unless it is a re-wrapped sleeve's, or more than the size can hold."""
        # A new sleeve bears whatever was printed on it, and the old print is gone.
        lie = self.facts.rewrapped or rating_beyond_size(self.facts) is not None
        return None if lie else self.facts.rated_capacity_ah

    @property
    @once_a_case
    def table_capacity_ah(self) -> float | None:
        """The size's share of the table for unrated cells, in Ah; None when the size is not known."""
        # Flat cells come in any size, so only volume can say what one should hold.
        if self.facts.form in (Form.POUCH, Form.PRISMATIC):
            volume = self.volume_cm3
            return volume * self.figure("unrated-capacity-density") if volume else None
        return self.known_figure("unrated-capacity")

    def full_from_v(self, charge: Charge) -> float:
        """Where full begins for a charge: lower only for a cell marked to end lower, and no charge above asks for that."""
        least_v = self.figure("full-charge-from")
        # Not asked where it changes nothing: a finding rests on every fact that its test asks for.
        marked_v = None if charge.until_v >= least_v else self.facts.full_voltage_v
        if marked_v is None:
            return least_v
        # As far below its own end as below the usual one (sheets: 4.20 ± 0.05 V); it is never charged beyond that end.
        slack_v = max(0.0, self.figure("full-voltage") - least_v)
        return min(least_v, max(marked_v, self.figure("full-marked-least")) - slack_v)

    def is_full(self, charge: Charge, held_ah: float | None = None) -> bool:
        """True when a recorded charge counts as full."""
        return not self.short_of_full(charge, held_ah)

    def short_of_full(self, charge: Charge, held_ah: float | None = None) -> str:
        """Why a recorded charge does not count as full; empty when it does.

        `held_ah` is what the run in question gave: it stands in for a capacity that nobody stated.
        """
        # Self-discharge is read from a steep, known start: from a partial charge the curve gives no share of
        # full.
        least_v = self.full_from_v(charge)
        if charge.until_v < least_v - DUST:
            return f"the charge of {charge.at:%Y-%m-%d} ended at {charge.until_v:g} V, below {least_v:g} V"
        # Never the latest of all runs: a finding must not hang on which runs are known by then.
        base = self.stated_ah or held_ah
        # Most chargers show no end current: they end by themselves, which counts as full.
        if charge.end_current_a is None or base is None:
            return ""
        most_a = self.figure("full-charge-tail") * base
        if charge.end_current_a <= most_a:
            return ""
        ended, most = amps(charge.end_current_a), amps(most_a)
        return f"the charge of {charge.at:%Y-%m-%d} was ended at {ended}, full means {most} or less"

    def not_full_note(self) -> str:
        """Said where a full charge is asked for and the latest one does not count as such."""
        why = self.short_of_full(self.charges[-1]) if self.charges else ""
        return f" ({why})" if why else ""

    def charge_before(self, at: datetime) -> Charge | None:
        """The latest charge that had ended at a time."""
        return next((c for c in reversed(self.charges) if c.at <= at), None)

    def disturbed(self, start: datetime, end: datetime) -> bool:
        """True when a charge, a discharge, a let-down or work in a build lies after `start`, up to `end`."""
        return any(start < moment <= end for moment in self._disturbances) or any(
            built_in < end and start < taken_out for built_in, taken_out in self._at_work
        )

    def at_work(self, reading: Reading) -> bool:
        """True for a reading of a cell that was in a build."""
        return any(built_in < reading.at < taken_out for built_in, taken_out in self._at_work)

    @property
    @once_a_case
    def _at_work(self) -> list[tuple[datetime, datetime]]:
        """From when to when it worked in a build: a cell charged in its device is emptied by the device, which nobody records."""
        ends = [upset.at for upset in self.evidence.upsets if upset.kind == DISMANTLED]
        never = datetime.max.replace(tzinfo=self.now.tzinfo)
        return [
            (at, min((end for end in ends if end > at), default=never)) for at in self.evidence.installed_at
        ]

    @property
    @once_a_case
    def _disturbances(self) -> list[datetime]:
        moments = [c.at for c in self.charges] + [r.at for r in self.of(*MOVES_CHARGE)]
        # In a build a cell is used, which nobody records: rest voltages before, in it and after are not a pair.
        return moments + [upset.at for upset in self.evidence.upsets if upset.kind == DISMANTLED]

    # --- writing reasons ---

    def reason(
        self,
        limit_id: str,
        status: Status,
        ceiling: Outcome,
        text: str,
        seen: Seen = UNSEEN,
        *,
        rule: str | None = None,
        todo: Work | None = None,
        earliest: datetime | None = None,
    ) -> Reason:
        """A reason under a limit: its safety mark, source and, unless `seen` has its own, unit come from the limit."""
        known: Limit = self.rules.limits[limit_id]
        value, limit, reading, at, until, unit, figure = seen
        expanded_uncertainty = None
        if isinstance(value, Measured):
            expanded_uncertainty = value.expanded
            value = value.value
        return Reason(
            known.id if rule is None else rule,
            status,
            ceiling,
            text,
            value,
            expanded_uncertainty,
            limit,
            known.unit if unit is None else unit,
            known.safety,
            known.source,
            None if reading is None else reading.id,
            reading.at if at is None and reading is not None else at,
            until,
            todo,
            earliest,
            figure=figure,
        )

    def age_limit(self, limit_id: str, at: datetime) -> datetime:
        """When a reading of `at` runs out."""
        return at + timedelta(days=self.figure(limit_id))


Rule = Callable[[Case], Iterator[Reason]]


class Tried(NamedTuple):
    """One condemning test of some records: BEYOND condemns, CLEAR clears the limit by U.

    It asks neither the clock nor what else is known: `records` with the facts alone give the same answer at any
    later time. `reason` writes it out.
    """

    # Three answers, since a repeatable measurement that is only close may be taken again.
    rule: str
    side: Side
    records: tuple[Record, ...]
    reason: Callable[[], Reason]


Test = Callable[[Case], Sequence[Tried]]


def known_chemistry(case: Case) -> bool:
    """True for a rechargeable cell whose chemistry is known."""
    # Primary cells have a rule of their own, and without a chemistry every limit would be a guess.
    return case.facts.chemistry not in (Chemistry.UNKNOWN, Chemistry.PRIMARY)


def default_note(reading: Reading) -> str:
    """Said beside a value taken without a meter."""
    return "" if reading.meter is not None else " (no meter named: cautious default)"
