"""What the store does for a dialogue: one transaction a cell, with everything of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from straycell.cells import CellFacts, Look, Stage, parse_code
from straycell.cli.app import clock, context
from straycell.cli.intake import script
from straycell.cli.intake.script import Bearer, Found, Kept, Opened, Start, Waiting
from straycell.cli.show import verdict_page
from straycell.errors import BadData
from straycell.meters import meter_like
from straycell.readings import Charge, Mistake, Quantity, Reading

if TYPE_CHECKING:
    from straycell.meters import Meter
    from straycell.store.reader import Reader
    from straycell.store.writer import Writer

Item = Reading | Charge
MOST_TO_COUNT = 2000
"""In a larger store the number of waiting cells is not counted before the first question."""
_IN_HOUSE = frozenset({Stage.RECEIVED, Stage.SHELVED, Stage.RESERVED})
_OUT_OF_USE = {
    Stage.CONDEMNED: "out of use for good; keep it apart, never charge it",
    Stage.HANDED_OVER: "was handed over; if it is here, check the code",
}


def do(effect: object) -> Any:
    """Carry out what a dialogue asks of the store. Raises StraycellError, and then nothing was written."""
    return _ACTS[type(effect)](effect)


def start(*, teardown: str | None, due: bool) -> Start:
    """What is known before the first question. An evening may begin without a store, unless it names one."""
    rules = context.rules()
    damaged, deformed = (
        frozenset(Look(word) for word in rules.limit(name).words) for name in ("look-damage", "look-deformed")
    )
    blank = Start(
        damaged | deformed, damaged, rules.figure("voltage-floor", "4.2V"), teardown=teardown, due=due
    )
    if not (due or teardown) and not context.store_path().exists():
        return blank
    with context.reading() as reader:
        if teardown is not None:
            reader.teardown(teardown)
        last = next(reversed(reader.teardowns()), None)
        latest = {quantity: reader.latest(quantity) for quantity in Quantity}
        charge = latest[Quantity.CHARGE]
        return replace(
            blank,
            meters={meter.name: meter for meter in reader.meters()},
            remembered={q: item for q, item in latest.items() if isinstance(item, Reading)},
            last_charge=charge if isinstance(charge, Charge) else None,
            last_teardown=None if last is None else (last.code, last.title, last.kind),
            waiting=len(_waiting(reader, None)) if len(reader.codes()) <= MOST_TO_COUNT else 0,
        )


# --- looking -------------------------------------------------------------------------------------------


def _find_code(effect: script.FindCode) -> Found:
    try:
        code = parse_code(effect.text)
    except BadData:
        with context.reading() as reader:
            code = parse_code(effect.text, [*reader.codes(), *reader.blank_codes()])
    with context.reading() as reader:
        if code in reader.blank_codes():
            return Found(code, Bearer.BLANK)
        if code not in reader.codes():
            return Found(code, Bearer.NOTHING)
        cell = reader.cell(code)
        items = [recorded.item for recorded in reader.recorded(code, with_superseded=False)]
        has = frozenset(Quantity.CHARGE if isinstance(i, Charge) else i.quantity for i in items)
        return Found(code, Bearer.CELL, cell.facts, has, _OUT_OF_USE.get(cell.stage, ""))


def _find_teardown(effect: script.FindTeardown) -> Opened:
    with context.reading() as reader:
        found = reader.teardown(effect.code)
        own = [cell for cell in reader.cells() if cell.teardown == found.code]
    known = [cell for cell in own if cell.facts != CellFacts()]
    pack = own[-1].pack if own and own[-1].pack else "1"
    return Opened(found.code, found.title, pack, known[-1].facts if known else None)


def _what_waits(effect: script.WhatWaits) -> list[Waiting]:
    with context.reading() as reader:
        return _waiting(reader, effect.code)


def _waiting(reader: Reader, code: str | None) -> list[Waiting]:
    from straycell.acceptance.rules import chemistry_keys
    from straycell.cli.intake.waiting import outlook

    rules, now = context.rules(), clock.now()
    cells = [reader.cell(code)] if code is not None else reader.cells()
    cells = [cell for cell in cells if cell.stage in _IN_HOUSE]
    codes = [cell.code for cell in cells]
    verdicts, evidences = reader.verdicts(rules, now, codes), reader.evidences(codes)
    found = []
    for cell in cells:
        lacks = outlook(verdicts[cell.code], evidences[cell.code], rules, now).now
        if lacks:
            full_v = rules.figure("full-voltage", *chemistry_keys(cell.facts.chemistry, cell.facts.form))
            found.append(Waiting(cell.code, cell.facts, lacks, cell.box, full_v))
    return found


# --- writing -------------------------------------------------------------------------------------------


def _new_code(effect: script.NewCode) -> str:
    with context.writing(create=True) as writer:
        return writer.set_aside_codes(1)[0]


def _open_teardown(effect: script.OpenTeardown) -> Opened:
    with context.writing(create=True) as writer:
        made = writer.add_teardown(effect.title, effect.kind)
    return Opened(made.code, made.title)


def _use_meter(effect: script.UseMeter) -> Meter:
    if not effect.like:
        with context.reading() as reader:
            return reader.meter(effect.name)
    with context.writing(create=True) as writer:
        return writer.add_meter(meter_like(effect.name, effect.like))


def _keep(effect: script.Keep) -> Kept:
    entry, now = effect.entry, clock.now()
    with context.writing(create=True) as writer:
        if entry.is_new:
            facts = entry.facts or CellFacts()
            writer.add_cells(facts, code=entry.code, teardown=entry.teardown, pack=entry.pack)
        elif entry.facts is not None and entry.facts != writer.cell(entry.code).facts:
            _correct(writer, entry.code, entry.facts, "completed at intake", None)
        made = _record(writer, entry.items, now)
        return _kept(writer, entry.code, made, now)


def _record(writer: Writer, items: tuple[Item, ...], now: datetime) -> list[Item]:
    timed = [_timed(item, now) for item in items]
    made: list[Item] = [writer.add_charge(item) for item in timed if isinstance(item, Charge)]
    readings = [item for item in timed if isinstance(item, Reading)]
    return [*made, *(writer.add_readings(readings) if readings else [])]


def _timed(item: Item, now: datetime) -> Item:
    return replace(item, at=now) if item.at == script.UNSET else item


def _correct(writer: Writer, code: str, facts: CellFacts, because: str, mistake: str | None) -> None:
    before, after = asdict(writer.cell(code).facts), asdict(facts)
    changes = {name: after[name] for name in after if after[name] != before[name]}
    if changes:
        writer.correct_cell(code, changes, because, mistake)


def _kept(writer: Writer, code: str, items: list[Item], now: datetime) -> Kept:
    """The cell as it stands at the end of this transaction."""
    from straycell.cli.intake.waiting import outlook

    writer.settle()
    verdict = writer.verdict(code, context.rules(), now)
    return Kept(
        code,
        writer.cell(code).facts,
        tuple(items),
        verdict.outcome,
        verdict_page.headline(verdict),
        tuple(verdict_page.why(verdict)),
        outlook(verdict, writer.evidence(code), context.rules(), now),
    )


def _amend(effect: script.Amend) -> Kept:
    """What differs is superseded as mistyped; what is no longer there is taken back; what is new is added."""
    former, entry, now = effect.former, effect.entry, clock.now()
    with context.writing() as writer:
        facts = entry.facts if entry.facts is not None else (CellFacts() if entry.is_new else former.facts)
        _correct(writer, entry.code, facts, effect.because, Mistake.MISTYPED.value)
        new = {_quantity(item): item for item in entry.items}
        made: list[Item] = []
        for old in former.items:
            made += _amend_item(writer, old, new.pop(_quantity(old), None), effect.because)
        made += _record(writer, tuple(new.values()), now)
        return _kept(writer, entry.code, made, now)


def _amend_item(writer: Writer, old: Item, new: Item | None, because: str) -> list[Item]:
    if new is None:
        electrical = not isinstance(old, Charge) and old.quantity.electrical
        mistake = Mistake.BAD_CONTACT if electrical else Mistake.WRONG_CELL
        writer.supersede(old.id, mistake.value, because)
        return []
    placed = replace(new, at=old.at) if new.at == script.UNSET else new
    if replace(placed, id=old.id) == old:
        return [old]
    return list(writer.supersede(old.id, Mistake.MISTYPED.value, because, None, [placed]))


def _quantity(item: Item) -> Quantity:
    return Quantity.CHARGE if isinstance(item, Charge) else item.quantity


def _print_labels(effect: script.PrintLabels) -> None:
    from straycell.cli.nouns.use.label import print_cells

    out = Path(effect.path).expanduser()
    if out.exists():
        raise BadData(f"{out} is there already", "name another file")
    if out.suffix.casefold() != ".pdf":
        raise BadData(f"'{effect.path}' is no PDF", "end the name in .pdf")
    print_cells(effect.codes, out)


_ACTS: dict[type, Callable[[Any], Any]] = {
    script.NewCode: _new_code,
    script.FindCode: _find_code,
    script.OpenTeardown: _open_teardown,
    script.FindTeardown: _find_teardown,
    script.UseMeter: _use_meter,
    script.Keep: _keep,
    script.Amend: _amend,
    script.WhatWaits: _what_waits,
    script.Now: lambda effect: clock.now(),
    script.PrintLabels: _print_labels,
}
