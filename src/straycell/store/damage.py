"""A value that cannot be is the store's damage, not a fault of the program: what falls over one is reported so.

The store is looked through only then: reading every value with a doubt would cost each command its time.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from straycell.errors import StoreFault, StraycellError
from straycell.store.check import faults
from straycell.store.sqlite.engine import checking

_FELL: tuple[type[Exception], ...] = (LookupError, ValueError, TypeError, ArithmeticError, AttributeError)
"""What code raises that meets an unknown word, a text for a number, a year 300,000."""
_ANY: tuple[type[Exception], ...] = (*_FELL, AssertionError)


@contextmanager
def damage_named(path: Path, *more: type[Exception]) -> Iterator[None]:
    """Raise StoreFault in the place of what fell, if `store check` finds something wrong; else what fell is raised.

    `more` are kinds of errors that mean damage too where the caller holds no other code.
    """
    try:
        yield
    except StraycellError:
        raise
    except _FELL + more as error:
        # Only a fault that the check confirms is the store's: anything else is ours and must be seen as such.
        found = _first_fault(path)
        if found is None:
            raise
        raise StoreFault(
            f"is damaged: {found}", "see: straycell store check; then bring back a backup", file=path
        ) from error


def _first_fault(path: Path) -> str | None:
    try:
        with checking(path) as conn:
            return next(iter(faults(conn, None)), None)
    except StraycellError as fault:
        return fault.what
    except _ANY:
        return "its values cannot be read"
