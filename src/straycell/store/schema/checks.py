"""Checks that the tables carry into the database: ranges, enumerations, the shape of a code.

A NULL passes every one of them (SQL: an unknown check holds), so optional columns need no word of it.
"""

from collections.abc import Iterable, Iterator

from sqlalchemy import CheckConstraint

from straycell.quantities import CELL_WINDOWS, Dimension
from straycell.readings import KINDS, Field, Quantity

# 1990-01-01: the first lithium-ion cells were sold in 1991 (Science News, Century: milestone of 17 November 1991).
FIRST_US = 631_152_000_000_000
LAST_US = 4_102_444_800_000_000  # 2100-01-01
CODE_SHAPE = "[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]"


# A store may hold what an older version took: crossed leads are refused at the door, not here.
_KEPT_LOW = {Dimension.VOLTAGE: -5.0}


def check(name: str, sql: str) -> CheckConstraint:
    return CheckConstraint(sql, name=name)


def one_of(column: str, words: Iterable[str]) -> CheckConstraint:
    # The same words as in Python: a row written past this program is refused as well.
    return check(column, f"{column} IN ({', '.join(repr(str(word)) for word in words)})")


def within(column: str, low: float, high: float) -> CheckConstraint:
    return check(column, f"{column} BETWEEN {low!r} AND {high!r}")


def moment(column: str) -> CheckConstraint:
    return within(column, FIRST_US, LAST_US)


def code_shape(column: str = "code") -> CheckConstraint:
    return check(column, f"{column} GLOB '{CODE_SHAPE}'")


def key_shape(column: str = "key") -> CheckConstraint:
    # GLOB knows no repetition, so two patterns say: a letter, a dash, and only digits.
    return check(column, f"{column} GLOB '[A-Z]-[1-9]*' AND {column} NOT GLOB '??*[^0-9]*'")


def said(column: str) -> CheckConstraint:
    return check(column, f"length(trim({column})) > 0")


def flag(column: str) -> CheckConstraint:
    return check(column, f"{column} IN (0, 1)")


_COLUMNS = {"where": "where_taken", "current_a": "charge_current_a"}
"""Where a column is not called as its field."""
_ABOVE = {"pulse_s": "pulse_s > 0", "energy_wh": "energy_wh > 0", "u": "u >= 0"}
"""What a store kept of these before there was an upper end."""
_ELSEWHERE = frozenset({*(kind.key for kind in KINDS.values())} - {"temperature_c"})
"""A value has its column in common with all others (`value_windows`)."""


def held(fields: Iterable[Field]) -> Iterator[CheckConstraint]:
    """The checks that the table of what can be recorded puts on the columns of these fields."""
    for field in fields:
        if field.kind is not str and field.name not in _ELSEWHERE:
            yield _held(field)


def _held(field: Field) -> CheckConstraint:
    name, column = field.name, _COLUMNS.get(field.name, field.name)
    if name in _ABOVE:
        return check(column, _ABOVE[name])
    if field.kind is bool:
        return flag(column)
    if field.window is not None:
        return within(column, field.window.low, field.window.high)
    return one_of(column, field.kind)


def value_windows() -> CheckConstraint:
    """The value's window follows its quantity; a charge's value is its end voltage."""
    dimensions = {quantity: KINDS[quantity].dimension for quantity in Quantity}
    # One column holds all quantities, so its range depends on the row.
    arms = " ".join(_arm(q, d) for q, d in dimensions.items() if d is not None)
    return check(
        "value", f"CASE quantity {arms} ELSE value IS NULL END AND (quantity = 'look') = (value IS NULL)"
    )


def _arm(quantity: Quantity, dimension: Dimension) -> str:
    window = CELL_WINDOWS[dimension]
    low = _KEPT_LOW.get(dimension, window.low)
    return f"WHEN '{quantity}' THEN value BETWEEN {low!r} AND {window.high!r}"
