"""The store, the rules and the clock, as a command reaches for them. Nothing heavy is imported before that."""

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from straycell.acceptance import RuleSet, load_rules
from straycell.bench.context import Bench, Reader, Writer, looking
from straycell.bench.recording.record import lost_words
from straycell.cli.app import clock, options, output
from straycell.store.location import resolve_store

T = TypeVar("T")
RULES_VARIABLE = "STRAYCELL_RULES"


def store_path() -> Path:
    """The store this command works on: --store, else STRAYCELL_STORE, else the user data folder."""
    current = options.current()
    return resolve_store(current.store, current.env)


def rules() -> RuleSet:
    """The shipped rules, or a person's own file named by `STRAYCELL_RULES` on top of them."""
    name = options.current().env.get(RULES_VARIABLE)
    return _load_rules(Path(name).expanduser() if name else None)


@lru_cache(maxsize=4)
def _load_rules(path: Path | None) -> RuleSet:
    return load_rules(path)


def bench() -> Bench:
    """What a use case works on: this command's store and rules, and the moment it begins."""
    _say_when_waiting()
    return Bench(store_path(), rules(), clock.now())


def helpers() -> int:
    """How many processes may work at once: the cores this one may use."""
    # A container may own fewer cores than the machine has.
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def reading() -> AbstractContextManager[Reader]:
    """One snapshot of the store, for what needs no rules: a fault in a person's file must not hide it. Raises StoreFault."""
    return looking(store_path())


@contextmanager
def writing(*, create: bool = False, bench: str = "A", tell_lost: bool = True) -> Iterator[Writer]:
    """One transaction on the store. Only commands that add something new pass `create`.

    A project that lost a cell to what was recorded is named afterwards, unless the command does that itself.
    """
    from straycell.store.writer import open_writer

    # Taken before the lock: waiting for another writer must not date what the person did.
    moment = clock.now()
    _say_when_waiting()
    with (
        clock.held(moment),
        open_writer(store_path(), now=moment, rules=rules(), create=create, bench=bench) as writer,
    ):
        yield writer
    # After the commit: a promise of what follows is only true once it is written.
    if tell_lost:
        _talk_lost(writer.lost)


def write_long(act: Callable[[Writer], T], size_bytes: int, *, create: bool = False) -> T:
    """One write that may take long; others go on writing beside it. `size_bytes` is how much it works through."""
    from straycell.store.long_write import write_long as done_aside

    moment = clock.now()
    _say_when_waiting()
    with clock.held(moment):
        found, lost = done_aside(
            store_path(), act, now=moment, rules=rules(), size_bytes=size_bytes, create=create
        )
    _talk_lost(lost)
    return found


def size_of(file: Path) -> int:
    """Bytes of a file; 0 where there is none, which whoever reads it will say better."""
    return file.stat().st_size if file.is_file() else 0


def _say_when_waiting() -> None:
    from straycell.store.sqlite.engine import WAITING

    WAITING.set(_talk_waiting)


def _talk_waiting(path: Path) -> None:
    output.talk(f"another program is writing to {path}: waiting for it")


def _talk_lost(lost: Mapping[str, tuple[str, bool]]) -> None:
    output.talk(*lost_words(lost))
