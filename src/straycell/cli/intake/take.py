"""Taking the missing readings of one cell, in one record."""

from __future__ import annotations

from straycell.bench.reading_form import DEFAULT_PULSE_S
from straycell.cli.intake import due
from straycell.cli.intake.closing import outlook_lines
from straycell.cli.intake.form import Trail, fill, merged
from straycell.cli.intake.records import not_yet, record
from straycell.cli.intake.script import Entry, Now, Say, Talk, Waiting
from straycell.cli.intake.state import Evening, Logged


def take(evening: Evening, each: Waiting) -> Talk[bool]:
    """Ask for what the cell waits for and record it; False when the person went back out of it."""
    evening.in_hand = each.code
    now = yield Now()
    asked = due.questions(
        due.Taking(
            each.code, each.needs, now, each.facts, each.full_v, evening.remembered, evening.carry.bad_looks
        )
    )
    trail = yield from fill(asked)
    if trail is None:
        return False
    for quantity in due.measured(merged(trail)):
        yield from evening.meter_for(quantity)
    meters = dict(evening.meters)

    def entry_of(answered: Trail) -> Entry:
        return due.entry_of(each.code, merged(answered), meters, DEFAULT_PULSE_S)

    entry = entry_of(trail)
    evening.remembered = due.remember(merged(trail), evening.remembered)
    if not entry.items:
        evening.in_hand = ""
        yield Say(f"{each.code}: left for later")
        return True
    kept = yield from record(evening, Logged(not_yet(each.code), entry, trail, asked, entry_of))
    for line in outlook_lines([kept]):
        yield Say(f"  {line}")
    return True
