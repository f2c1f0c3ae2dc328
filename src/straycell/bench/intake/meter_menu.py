"""Asking once what a quantity is measured with: a meter known here, or a shipped class."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from straycell.bench.intake.script import Ask, Key, Say, Talk, Tone, act, fault
from straycell.bench.intake.store_actions import use_meter
from straycell.bench.intake.words import begun
from straycell.errors import BadData, StraycellError
from straycell.meters import Accuracy, Meter, meter_classes
from straycell.readings import KINDS, Quantity

_NO_METER = "none of these"
_WHY = (
    "A meter's accuracy decides how near to a limit a cell may be. A number or a name; Enter for what is "
    "in brackets; - for none: then cautious figures hold. Your own meter's sheet is better: straycell meter add."
)


def choose(
    known: Mapping[str, Meter], quantity: Quantity, remembered: str | None, ask: Callable[[Ask], Talk[str]]
) -> Talk[Meter | None]:
    """The meter for a quantity, declared when it is a class chosen for the first time; None for no meter."""
    choices = choices_for(known, quantity)
    listed = "\n".join(f"  {number}  {text}" for number, (_, text) in enumerate(choices, 1))
    default = remembered if remembered in known else _only(known, quantity)
    yield Say(f"What do you measure {_what(quantity)} with?")
    if not default:
        yield Say(listed)
    while True:
        text = yield from ask(Ask("meter", default or _NO_METER, f"{_WHY}\n{listed}"))
        if text == Key.BACK:
            yield Say("what came before it is recorded: a number, a name, or - for none", Tone.FAULT)
            continue
        try:
            name = _named(text or default or Key.NONE, [name for name, _ in choices])
            if name is None:
                return None
            return (yield from act(use_meter, name, "" if name in known else name))
        except StraycellError as error:
            yield fault(error)


def choices_for(known: Mapping[str, Meter], quantity: Quantity) -> list[tuple[str, str]]:
    """(name, what it is), meters of this bench first; only those that can tell the quantity."""
    own = [
        (meter.name, meter.name + (f"  (like {meter.like})" if meter.like not in ("", meter.name) else ""))
        for meter in known.values()
        if accuracy(meter, quantity) is not None
    ]
    shipped = [
        (kind.name, f"{kind.name}  {kind.text}")
        for kind in meter_classes().values()
        if kind.name not in known and accuracy(kind.meter, quantity) is not None
    ]
    return own + shipped


def accuracy(meter: Meter, quantity: Quantity) -> Accuracy | None:
    """What a meter is known to be good for."""
    found: Accuracy | None = getattr(meter, KINDS[quantity].accuracy)
    return found


def _what(quantity: Quantity) -> str:
    return "voltages" if quantity in (Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE) else f"the {quantity}"


def _only(known: Mapping[str, Meter], quantity: Quantity) -> str:
    fit = [meter.name for meter in known.values() if accuracy(meter, quantity) is not None]
    return fit[0] if len(fit) == 1 else ""


def _named(text: str, names: list[str]) -> str | None:
    if text in (Key.NONE, _NO_METER):
        return None
    if text.isascii() and text.isdigit() and 1 <= int(text) <= len(names):
        return names[int(text) - 1]
    found = begun(text, names)
    if len(found) == 1:
        return found[0]
    raise BadData(f"meter '{text[:40]}' is not known", f"a number from 1 to {len(names)}, or - for none")
