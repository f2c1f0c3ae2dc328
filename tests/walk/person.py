"""A person who works at the bench on Saturdays: logs, measures, obeys `due` most of the time, and slips now and then."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import fmean
from typing import Any

from tests.walk.hands import CHARGER, METER, Hands, moment
from tests.walk.truth import Kind, TrueCell

from straycell.acceptance import Outcome, load_rules
from straycell.bench.candidates import candidates
from straycell.bench.recording.inspection import Taken, inspect_groups, look_at_groups
from straycell.cells import Stage
from straycell.errors import BadData, NegativeAnswer
from straycell.keys import NEW
from straycell.matching import UseLimits, match_project
from straycell.projects import parse_project
from straycell.readings import Charge, Quantity, Reading, measured
from straycell.readings.charger import Charger
from straycell.safety.due.gather import due_now, survey
from straycell.safety.due.survey import DueItem
from straycell.store.reader import Reader, open_reader
from straycell.store.writer import Writer, open_writer

WEEKS = 52
INTAKE_WEEKS = 10
OBEYS = 0.85
CHECKING = {"charge", "first", "second", "retain"}
Steps = list[tuple[float, str]]
LAMP = """
name = "{name}"
priority = {priority}
[load]
current = "{current}"
[need]
runtime = "{runtime}"
cutoff = "3.0V"
temperature = "20C"
[pack]
forms = ["18650"]
chemistries = ["nmc", "lco", "nca", "lfp"]
[protection]
fitted = true
cutoff = "2.5V"
trip_current = "3A"
"""
PROJECTS = {
    "lamp": LAMP.format(name="lamp", priority=1, current="150mA", runtime="8h"),
    "radio": LAMP.format(name="radio", priority=2, current="60mA", runtime="20h"),
    "torch": LAMP.format(name="torch", priority=3, current="900mA", runtime="1.5h"),
}
PACKS = ("lantern pack", "pump pack")


@dataclass
class Week:
    """What was seen at the end of one Saturday."""

    day: float
    due: list[DueItem]
    offered: set[str]
    matched: set[str]
    outcomes: dict[str, Outcome]
    stages: dict[str, Stage]
    boxes: dict[str, str | None]
    in_packs: set[str]


@dataclass
class Person(Hands):
    """A bench with its letter, the truth, and what is planned. `known_bad` is when the records first told of a danger."""

    path: Path = Path()
    bench: str = "A"
    crate: int = 30
    matches_every: int = 2
    cells: list[TrueCell] = field(default_factory=list)
    by_code: dict[str, TrueCell] = field(default_factory=dict)
    plan: dict[str, Steps] = field(default_factory=lambda: defaultdict(list))
    cleared: set[str] = field(default_factory=set)
    matched: set[str] = field(default_factory=set)
    undecided: Counter[str] = field(default_factory=Counter)
    weeks: list[Week] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    lists: list[dict[str, Any]] = field(default_factory=list)
    mixed_refusals: int = 0
    acted: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        super().__post_init__()
        self.rules = load_rules()

    def writing(self, day: float) -> Any:
        return open_writer(self.path, now=moment(day), rules=self.rules, bench=self.bench)

    # --- a Saturday ----------------------------------------------------------------------------

    def year(self) -> Person:
        with self.writing(0.0) as writer:
            writer.add_meter(METER)
            self.measure_charger(writer, 0.0)
            for name, kind in (
                ("tin", "metal box"),
                ("drum", "hand-over drum"),
                ("yard", "outdoors, under a roof"),
            ):
                writer.add_box(name, kind)
            for number, text in enumerate(PROJECTS.values(), 1):
                writer.add_project(list(PROJECTS)[number - 1], text, number)
            for name in PACKS:
                writer.add_project(name, LAMP.format(name=name, priority=9, current="500mA", runtime="4h"), 9)
        for week in range(WEEKS):
            self.saturday(week)
        return self

    def saturday(self, week: int) -> None:
        day = 7.0 * week
        if week < INTAKE_WEEKS:
            self.intake(week, day)
        self.accidents(week, day)
        self.obey(day + 0.05)
        self.shelve(day + 0.08)
        self.work(day)
        self.build(week, day + 1.6)
        self.close_book(day + 1.7)

    def intake(self, week: int, day: float) -> None:
        batch = self.cells[week * self.crate : (week + 1) * self.crate]
        if not batch:
            return
        with self.writing(day + 0.02) as writer:
            source = writer.add_teardown(f"crate {week}", "battery packs", objects=5)
            for number, cell in enumerate(batch):
                (made,) = writer.add_cells(cell.facts, teardown=source.code, pack=str(number // 6))
                cell.code = made.code
                self.by_code[made.code] = cell
            writer.add_readings([r for cell in batch for r in self.first_readings(cell, day + 0.01)])
            writer.settle()
        for cell in batch:
            self.plan[cell.code] = [(day, "measure"), *self.check(cell, day)]

    def check(self, cell: TrueCell, day: float) -> Steps:
        """What follows a full charge: two rest voltages; where those tell nothing, a run after four weeks too."""
        pair = [(day + 7, "first"), (day + 21, "second")]
        return [*pair, (day + 35, "retain")] if cell.lfp else pair

    def again(self, code: str, day: float) -> Steps:
        """Look, charge and check anew; on a flat curve with a run to compare the later one with."""
        cell = self.by_code[code]
        return [(day, "look"), (day, "measure" if cell.lfp else "charge"), *self.check(cell, day)]

    def shelve(self, day: float) -> None:
        """Whatever is good and lies in no box goes into the tin; a condemned cell in there is refused company."""
        with self.writing(day) as writer:
            for cell in writer.cells():
                if cell.box is None and cell.stage in (Stage.RECEIVED, Stage.SHELVED):
                    try:
                        writer.move_cell(cell.code, "tin")
                    except BadData:
                        self.mixed_refusals += 1
                        return

    def accidents(self, week: int, day: float) -> None:
        """In week 14 some cells fall, in week 18 some are shorted; slips are noticed in weeks 3 to 13."""
        if week == 14:
            self.incident(Kind.DROPPED, "drop", day, severe=False)
        if week == 18:
            self.incident(Kind.SHORTED, "short-circuit", day, severe=True)
        if week % 2 == 0:
            self.notice_slips(day)

    def incident(self, kind: Kind, word: str, day: float, *, severe: bool) -> None:
        codes = [c.code for c in self.cells if c.kind is kind]
        with self.writing(day + 0.03) as writer:
            stages = {cell.code: cell.stage for cell in writer.cells()}
            there = [code for code in codes if stages[code] in (Stage.RECEIVED, Stage.SHELVED)]
            if there:
                writer.add_incident(word, there, "off the shelf", severe)
        for code in there if severe else ():
            self.bad(self.by_code[code], day, "shorted")

    def notice_slips(self, day: float) -> None:
        """A wrong as-found voltage is superseded when it is noticed: good ones come back, deep ones go."""
        with self.writing(day + 0.03) as writer:
            for cell in self.cells:
                if not cell.code or cell.kind not in (Kind.MIS_GOOD, Kind.MIS_DEEP):
                    continue
                for entry in writer.recorded(cell.code, with_superseded=False):
                    item = entry.item
                    if isinstance(item, Charge) or item.quantity is not Quantity.AS_FOUND_VOLTAGE:
                        continue
                    true = self.reads(cell.found_v)
                    if item.value is None or abs(item.value - true) < 0.05:
                        continue
                    fresh = Reading(NEW, cell.code, Quantity.AS_FOUND_VOLTAGE, item.at, true, 21.0, METER)
                    mistake = "mistyped" if cell.kind is Kind.MIS_DEEP else "bad-contact"
                    writer.supersede(item.id, mistake, "found in the notes", None, [fresh])
                    if cell.deep and true + 0.004 < cell.floor_v:
                        self.bad(cell, day, "found deeply discharged")
            writer.settle()
            back = [c for c in self.cells if c.code and c.kind is Kind.MIS_GOOD]
            for cell in back:
                held = writer.cell(cell.code)
                if held.stage is Stage.RECEIVED and held.code not in self.cleared:
                    self.cleared.add(held.code)
                    writer.move_cell(held.code, None)
                    self.plan[cell.code] = [(day, "measure"), *self.check(cell, day)]

    # --- obeying due ---------------------------------------------------------------------------

    def obey(self, day: float) -> None:
        with open_reader(self.path) as reader:
            found = due_now(survey(reader.household(self.rules, moment(day))), moment(day))
        with self.writing(day + 0.01) as writer:
            gather = False
            for item in found:
                if self.dice.random() > OBEYS:
                    continue
                gather |= item.kind.id.startswith("handover")
                self.do(writer, item, day)
            if gather:
                self.hand_over(writer)

    def do(self, writer: Writer, item: DueItem, day: float) -> None:
        """What `due` asks for: done at once, or put on today's list of things to measure. It knows every kind."""
        kind, code = item.kind.id, item.subject
        self.acted[kind] += 1
        if kind in DEEDS:
            DEEDS[kind](self, writer, code, day)
        elif kind in PLANS:
            # While a check runs it is not disturbed: `due` says the same again on another Saturday.
            if not (PLANS[kind].waits and {step for _, step in self.plan[code]} & CHECKING):
                self.plan[code] = PLANS[kind].steps(self, code, day)
        else:
            assert kind.startswith("handover"), f"nobody acts on '{kind}'"

    def more(self, code: str, day: float, *steps: str) -> Steps:
        return [*self.plan[code], *((day + 0.1 * number, step) for number, step in enumerate(steps))]

    def slowly(self, code: str, day: float) -> Steps:
        """A check over 28 days."""
        return [(at + 14 if name == "second" else at, name) for at, name in self.again(code, day)]

    def settle_voltage(self, writer: Writer, code: str, day: float) -> None:
        """Too close to a safety limit, and there is no better meter here: discarded by hand."""
        writer.discard(code, "its voltage cannot be settled")

    def measure_charger(self, writer: Writer, day: float) -> None:
        """Its float at a cell's terminals: this one never drifts."""
        shown = Reading(NEW, "", Quantity.VOLTAGE, moment(day), self.reads(4.2), meter=METER)
        writer.add_charger(Charger(CHARGER, moment(day), None, measured(shown, self.rules.defaults)))

    def measure_groups(self, writer: Writer, project: str, day: float) -> None:
        """Cells in parallel share one voltage; `due` says again who is to be taken out after that."""
        build = writer.live_build(project)
        if build is not None:
            volts = [self.reads(fmean(self.by_code[c].volts(day) for c in group)) for group in build.groups]
            seen = look_at_groups(writer, project, Taken(volts, METER.name), self.rules, writer.pen.now)
            inspect_groups(writer, seen)

    def decide(self, writer: Writer, code: str, day: float) -> None:
        """Undecided for a month: the check again; what two more checks cannot settle is discarded by hand."""
        rules = {r.rule for r in writer.verdict(code, self.rules, moment(day)).deciding}
        if self.plan[code] or not any(rule.startswith(("self-discharge", "shelf-loss")) for rule in rules):
            return
        self.undecided[code] += 1
        if self.undecided[code] <= 2:
            self.plan[code] = self.again(code, day)
        else:
            writer.discard(code, "its self-discharge cannot be settled")
            writer.settle()
            writer.add_readings([self.look(self.by_code[code], day + 0.005)])

    def take_apart(self, writer: Writer, code: str, day: float) -> None:
        build = next((b for b in writer.builds() if code in b.codes), None)
        if build is not None:
            writer.dismantle(build.project)
            for each in build.codes:
                self.plan[each] = [(day, "retest")]

    def inspect(self, writer: Writer, project: str, day: float) -> None:
        build = writer.live_build(project)
        if build is not None:  # it may have been taken apart a moment ago
            writer.add_readings([self.look(self.by_code[code], day) for code in build.codes])

    def hand_over(self, writer: Writer) -> None:
        for entry in writer.handovers():
            if entry.closed_at is None:
                closed = writer.close_handover(entry.id)
                assert closed.body is not None
                self.lists.append(closed.body)
        inside = {code for build in writer.builds() for code in build.codes if build.finished_at}
        waiting = [c for c in writer.cells(stage=Stage.CONDEMNED) if c.code not in inside]
        if waiting:
            writer.add_handover("recycling yard")

    # --- the work that is planned --------------------------------------------------------------

    def work(self, day: float) -> None:
        """Everything planned up to today, for cells that are still good enough to be handled."""
        now = day + 1.5
        with self.writing(now) as writer:
            stages = {cell.code: cell.stage for cell in writer.cells()}
            readings: list[Reading] = []
            charges: list[Charge] = []
            for code, plan in self.plan.items():
                ready = [step for at, step in plan if at <= now]
                self.plan[code] = [(at, step) for at, step in plan if at > now]
                if stages[code] not in (Stage.RECEIVED, Stage.SHELVED):
                    continue
                for step in dict.fromkeys(ready):
                    self.step(self.by_code[code], step, day, readings, charges)
            if readings:
                writer.add_readings(readings)
            for charge in charges:
                writer.add_charge(charge)

    def step(
        self, cell: TrueCell, step: str, day: float, readings: list[Reading], charges: list[Charge]
    ) -> None:
        if step == "measure":
            charges.append(self.charge(cell, day + 0.4))
            readings += [self.run(cell, day + 0.8), self.ohms(cell, day + 0.85)]
            charges.append(self.charge(cell, day + 1.2))
        elif step == "look":
            readings.append(self.look(cell, day + 0.3))
        elif step == "charge":
            charges.append(self.charge(cell, day + 1.2))
        elif step == "first":
            readings.append(self.rest(cell, day + 0.3))
            if (
                readings[-1].value or 0.0
            ) < 4.13 and not cell.lfp:  # the verdict says: a low start needs 28 days
                later = [(at + 14 if name == "second" else at, name) for at, name in self.plan[cell.code]]
                self.plan[cell.code] = later
        elif step == "second":
            readings.append(self.rest(cell, day + 0.3))
            if not cell.lfp:
                self.leaked(cell, day, 14.0)
                charges.append(self.charge(cell, day + 1.0, full=False))
        elif step == "retain":
            readings.append(self.run(cell, day + 0.3))
            self.leaked(cell, day, 28.0)
            charges.append(self.charge(cell, day + 1.0, full=False))
        elif step == "store":
            charges.append(self.charge(cell, day + 1.3, full=False))
        elif step == "check":
            readings += [self.look(cell, day + 0.3), self.rest(cell, day + 0.31)]
        elif step == "retest":
            readings += [self.look(cell, day + 0.3), self.rest(cell, day + 0.31), self.ohms(cell, day + 0.32)]

    def leaked(self, cell: TrueCell, day: float, days: float) -> None:
        """A check that spanned so many days shows what it lost."""
        if cell.loss >= 7.0 or (cell.later_loss >= 7.0 and cell.turned(day - days)):
            self.bad(cell, day + 0.3, f"lost {max(cell.loss, cell.later_loss):.0f} % a month in a check")

    # --- building ------------------------------------------------------------------------------

    def build(self, week: int, day: float) -> None:
        """From week 8 on projects are matched; the offered cells go in, packs out of the pack cells."""
        if week < 8:
            return
        with self.writing(day) as writer:
            if week % self.matches_every == 0:
                self.match(writer, day)
            if week in (10, 20):
                self.build_pack(writer, PACKS[week // 20], day)
        self.try_dangerous(day)

    def match(self, writer: Writer, day: float) -> None:
        limits = UseLimits.from_rules(self.rules)
        now = moment(day)
        offers = candidates(writer, self.rules, now)
        self.matched = set()
        for name, text in PROJECTS.items():
            found = match_project(parse_project(text, source=name, base=None), offers, limits, now=now)
            codes = {code for group in found.groups for code in group}
            self.matched |= codes
            taken = [b for b in writer.builds() if b.project == name]
            if found.served and not taken and not codes & {c for b in writer.builds() for c in b.codes}:
                writer.reserve(name, found.groups, found.plan or "plan")
                writer.finish(name)

    def build_pack(self, writer: Writer, name: str, day: float) -> None:
        fit = [
            offer
            for offer in candidates(writer, self.rules, moment(day))
            if offer.outcome is Outcome.PACK and offer.stage is Stage.SHELVED
        ]
        # cells that will swell are in it on purpose: the danger must be found from inside a device
        fit.sort(key=lambda o: (self.by_code[o.code].kind is not Kind.SWOLLEN_LATER, o.code))
        groups = [[fit[0].code, fit[4].code], [fit[1].code, fit[5].code]]
        writer.reserve(name, groups, "by hand")
        writer.finish(name)

    def try_dangerous(self, day: float) -> None:
        """Nobody can promise a dangerous cell to a project, not even by hand; a refused write leaves nothing."""
        with open_reader(self.path) as reader:
            here = (Stage.RECEIVED, Stage.SHELVED, Stage.CONDEMNED)
            there = {c.code for c in reader.cells() if c.stage in here}
            project = next((p.name for p in reader.projects() if p.state == "pending"), None)
        for code in sorted(set(self.known_bad) & there)[:2] if project else []:
            try:
                with self.writing(day) as writer:
                    writer.reserve(str(project), [[code]], "by hand")
            except NegativeAnswer:
                self.refused.append(code)
            else:
                raise AssertionError(f"{code} was reserved: {self.known_bad[code]}")

    def close_book(self, day: float) -> None:
        with open_reader(self.path) as reader:
            self.weeks.append(self.seen(reader, day))

    def seen(self, reader: Reader, day: float) -> Week:
        now = moment(day)
        cells = reader.cells()
        outcomes = dict(reader.outcomes(self.rules, now))
        stages = {cell.code: cell.stage for cell in cells}
        free = (Stage.RECEIVED, Stage.SHELVED)
        return Week(
            day=day,
            due=due_now(survey(reader.household(self.rules, now)), now),
            offered={c for c, o in outcomes.items() if o >= Outcome.LIGHT and stages[c] in free},
            matched=self.matched,
            outcomes=outcomes,
            stages=stages,
            boxes={cell.code: cell.box for cell in cells},
            in_packs={c for b in reader.builds() if len(b.codes) > 1 for c in b.codes},
        )


@dataclass(frozen=True)
class Planned:
    """What goes on the list for a kind of `due`; `waits`: not while a check is running."""

    steps: Callable[[Person, str, float], Steps]
    waits: bool = True


DEEDS: dict[str, Callable[[Person, Writer, str, float], object]] = {
    "isolate": lambda person, writer, code, day: _put(writer, code, "yard"),
    "set-apart": lambda person, writer, code, day: _put(writer, code, "drum"),
    "in-device": Person.take_apart,
    "voltage": Person.settle_voltage,
    "inspection": Person.inspect,
    "group-voltages": Person.measure_groups,
    "meter": lambda person, writer, name, day: writer.compare_meter(name, moment(day).date()),
    "charger": lambda person, writer, name, day: person.measure_charger(writer, day),
    "forgotten": Person.decide,
}
PLANS = {
    "warm": Planned(lambda person, code, day: [(day, "retest"), *person.again(code, day)]),
    "incident": Planned(lambda person, code, day: [(day, "retest"), *person.again(code, day)]),
    "doubt": Planned(lambda person, code, day: [(day, "retest"), *person.again(code, day)]),
    "sibling": Planned(Person.slowly),
    "falling": Planned(Person.again),
    "sinking": Planned(Person.again),
    "sinks-soon": Planned(lambda person, code, day: person.more(code, day, "store")),
    "storage-voltage": Planned(lambda person, code, day: person.more(code, day, "store")),
    "full": Planned(lambda person, code, day: person.more(code, day, "store")),
    "empty": Planned(lambda person, code, day: person.more(code, day, "store")),
    "ages": Planned(lambda person, code, day: person.more(code, day, "measure", "store")),
    "trend": Planned(lambda person, code, day: person.more(code, day, "check"), waits=False),
    "recheck": Planned(lambda person, code, day: person.more(code, day, "check"), waits=False),
    "recheck-late": Planned(lambda person, code, day: person.more(code, day, "check"), waits=False),
    "first-recheck": Planned(lambda person, code, day: person.more(code, day, "check"), waits=False),
}


def _put(writer: Writer, code: str, box: str) -> None:
    writer.move_cell(code, box)
