"""The table of what can be recorded: it knows every attribute, and every reader of it asks the same of a value."""

from __future__ import annotations

from dataclasses import fields

import pytest
from tests.cli.bench import Bench

from straycell.cells import CellFacts
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.quantities import parse_quantity
from straycell.readings import FACTS, FIELDS, KINDS, Charge, Quantity, Reading
from straycell.readings.fields import OF_CHARGE, OF_READING, Field

OF_THE_RECORD = {"id", "cell", "quantity", "at", "value", "meter", "trace"}
"""What says of which cell, when and with what; not what was measured."""


def test_every_attribute_of_a_reading_and_a_charge_stands_in_the_table() -> None:
    """A new attribute without a line would reach neither option, column, validation nor page."""
    attributes = {f.name for kind in (Reading, Charge) for f in fields(kind)} - OF_THE_RECORD
    values = {kind.key for kind in KINDS.values()}
    assert attributes <= set(FIELDS)
    assert set(FIELDS) - attributes <= values


def test_every_fact_of_a_cell_stands_in_the_table() -> None:
    """And no line of it names a fact that no cell has."""
    assert set(FACTS) == {f.name for f in fields(CellFacts)}


@pytest.mark.parametrize("quantity", Quantity)
def test_a_kind_takes_only_what_the_table_knows(quantity: Quantity) -> None:
    """What it cannot do without is among what it takes."""
    kind = KINDS[quantity]
    assert set(kind.takes) <= set(FIELDS) and set(kind.needs) <= {kind.key, *kind.takes}


@pytest.mark.parametrize("field", [*FIELDS.values(), *FACTS.values()], ids=lambda field: field.name)
def test_what_may_be_typed_may_be_kept(field: Field) -> None:
    """A window of the command line lies within that of a row: else a value is taken, then refused as a fault."""
    if field.typed is not None and field.window is not None:
        assert field.window.low <= field.typed.low <= field.typed.high <= field.window.high


@pytest.mark.parametrize(
    "field", [f for f in [*FIELDS.values(), *FACTS.values()] if f.dimension and f.example]
)
def test_the_example_in_the_help_can_be_typed(field: Field) -> None:
    """The metavar of an option is a value that it takes."""
    assert field.dimension is not None
    parse_quantity(field.example, field.dimension, window=field.typed)


NOUNS = {"reading add CODE": OF_READING, "charge add CODE": OF_CHARGE, "cell add": FACTS}


@pytest.mark.parametrize("command", NOUNS)
def test_a_command_offers_every_option_of_its_table(command: str, tmp_path: object) -> None:
    """Read from its own help."""
    bench = Bench(tmp_path / "s.sqlite")  # type: ignore[operator]
    page = bench.run(f"{command.removesuffix(' CODE')} --help").out
    assert not [f.option for f in NOUNS[command].values() if f.help and f.option not in page]


def test_a_condition_of_another_quantity_is_refused(tmp_path: object) -> None:
    """An energy goes with a capacity; whoever writes it into a resistance meant another line."""
    from datetime import UTC, datetime

    from straycell.store.schema.validation import require_item

    at = datetime(2026, 3, 1, tzinfo=UTC)
    with pytest.raises(BadData, match="a resistance has no energy"):
        require_item(Reading(NEW, "A00001O", Quantity.RESISTANCE, at, 0.05, energy_wh=7.0), at)
    require_item(Reading(NEW, "A00001O", Quantity.CAPACITY, at, 2.0, energy_wh=7.0), at)
