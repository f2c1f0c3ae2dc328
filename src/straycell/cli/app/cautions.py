"""The cautions for the step at hand, on stderr: in full when the danger is new today, after that in few words.

A wall of text that comes with every command is not read, and then neither is the one line that matters. What was read in full
today is kept in a small file of the user's state folder, never in the store; whatever goes wrong with that file, every
caution is printed in full again.
"""

import contextlib
import json
from collections.abc import Iterable

from straycell.cells import CellFacts
from straycell.cli.app import clock, options, output
from straycell.errors import BadData
from straycell.files.write import write_whole
from straycell.safety import Step, added_by, spoken_cautions
from straycell.store.location import state_folder

_FILE = "cautions.json"


def read_in_full() -> frozenset[str]:
    """Ids of the cautions that were printed in full on this local day."""
    # Whatever is wrong with the file, a caution more is the safe mistake.
    folder = state_folder(options.current().env)
    if folder is None:
        return frozenset()
    try:
        kept = json.loads((folder / _FILE).read_text(encoding="utf-8"))
        return frozenset(map(str, kept["told"])) if kept["day"] == _today() else frozenset()
    except (OSError, ValueError, TypeError, KeyError):
        return frozenset()


def remember(ids: Iterable[str]) -> None:
    """Note that these were printed in full. A folder that cannot be written changes nothing."""
    folder = state_folder(options.current().env)
    known = read_in_full()
    read = sorted(known.union(ids))
    if folder is None or len(read) == len(known):
        return
    # A read-only home must not stop a measurement.
    with contextlib.suppress(OSError, BadData):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / _FILE, json.dumps({"day": _today(), "told": read}).encode(), force=True)


def _today() -> str:
    return output.day(clock.now())


BESIDE_ANSWER = 32
"""How many words of caution may stand beside the answer of a write before advice and the deferral wait."""


def talk(*steps: Step, kinds: Iterable[CellFacts] = (), room: int | None = None) -> None:
    """Say the cautions of these steps, and those that the kinds of cell at hand add; `room` as in spoken_cautions."""
    wanted = [*steps, *added_by(kinds)]
    known, quiet = read_in_full(), options.current().quiet
    texts, in_full = spoken_cautions(wanted, known, quiet=quiet, room=room)
    output.talk(*(f"caution: {text}" for text in texts))
    remember(in_full)
