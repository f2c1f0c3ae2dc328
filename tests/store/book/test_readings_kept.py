"""Readings and charges: they come back as they went in, and are superseded, never changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.acceptance.bench import FINE, NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, charge, found, look, volts

from straycell.cells import Look
from straycell.errors import BadData, StraycellError, UsageFault
from straycell.keys import NEW, RecordKey
from straycell.meters import Accuracy, Meter, Resolution, meter_classes
from straycell.readings import Charge, Method, Quantity, Reading, Where

_CODE = "A00002M"
_times = st.datetimes(datetime(1991, 1, 1), NOW.replace(tzinfo=None)).map(lambda at: at.replace(tzinfo=UTC))  # noqa: DTZ001
_temperature = st.none() | st.floats(-60, 250)
_volts = st.floats(-1, 5)
_amps = st.floats(0, 500)


def _reading(
    quantity: Quantity, value: st.SearchStrategy[float | None], **more: object
) -> st.SearchStrategy[Reading]:
    strategies = {name: s for name, s in more.items() if isinstance(s, st.SearchStrategy)}
    return st.builds(
        Reading,
        id=st.just(0),
        cell=st.just(_CODE),
        quantity=st.just(quantity),
        at=_times,
        value=value,
        temperature_c=_temperature,
        meter=st.none() | st.just(FINE),
        **strategies,
    )


READINGS = st.one_of(
    _reading(
        Quantity.VOLTAGE,
        _volts,
        rested_s=st.none() | st.floats(0, 1e8),
        where=st.none() | st.sampled_from(Where),
    ),
    _reading(
        Quantity.AS_FOUND_VOLTAGE, _volts, as_group=st.booleans(), where=st.none() | st.sampled_from(Where)
    ),
    _reading(
        Quantity.CAPACITY,
        st.floats(0.025, 500),  # a hundredth of the rating: less is a slip of the unit
        discharge_current_a=st.none() | _amps,
        cutoff_v=st.none() | st.floats(0, 5),
    ),
    _reading(
        Quantity.RESISTANCE,
        st.floats(1e-5, 100),
        method=st.none() | st.sampled_from(Method),
        pulse_s=st.none() | st.floats(1e-3, 3600),
    ),
    _reading(Quantity.TEMPERATURE, st.floats(-60, 250)),
    _reading(Quantity.LET_DOWN, st.floats(2.5, 5)),
    _reading(
        Quantity.LOOK, st.none(), look=st.lists(st.sampled_from(Look), min_size=1, max_size=4).map(tuple)
    ),
)


def _cooled(charge: Charge) -> bool:
    """No cell cools while it is charged: such a record is refused."""
    room_c, peak_c = charge.temperature_c, charge.peak_temperature_c
    return room_c is not None and peak_c is not None and peak_c < room_c


CHARGES = st.builds(
    Charge,
    st.just(0),
    st.just(_CODE),
    _times,
    st.floats(1e-3, 500),
    st.floats(0, 5),
    st.none() | _amps,
    _temperature,
    _temperature,
    st.text(),
    st.none() | st.integers(0, 1000),
).filter(lambda charge: not _cooled(charge))


@settings(max_examples=40)
@given(st.lists(READINGS, min_size=1, max_size=12), CHARGES)
def test_readings_and_charges_come_back_as_they_went_in(readings: list[Reading], one: Charge) -> None:
    """To the last bit and the microsecond, numbered in the order given."""
    with TemporaryDirectory() as folder:
        shelf = Shelf(Path(folder) / "shelf.sqlite")
        assert shelf.cells(facts=replace(NMC, protection_board=True)) == [_CODE]
        with shelf.writing() as writer:
            writer.add_meter(FINE)
            filed = writer.add_readings(readings)
            charged = writer.add_charge(one)
        assert [replace(made, id=given.id) for made, given in zip(filed, readings, strict=True)] == readings
        assert [reading.key for reading in filed] == [f"A-{n}" for n in range(1, len(readings) + 1)]
        with shelf.reading() as reader:
            back = [record.item for record in reader.recorded(_CODE)]
            evidence = reader.evidence(_CODE)
        by_time: list[Reading | Charge] = [*filed, charged]
        by_time.sort(key=lambda item: (item.at, item.id))
        assert back == by_time
        assert list(evidence.readings) == [item for item in by_time if isinstance(item, Reading)]
        assert evidence.charges == (charged,) and evidence.last_reading == charged.key


def test_a_time_with_an_offset_is_kept_as_the_same_moment_in_utc(shelf: Shelf) -> None:
    """Printed with whatever offset the person lives in, stored once."""
    (code,) = shelf.cells()
    local = NOW.astimezone(timezone(timedelta(hours=5, minutes=30)))
    (filed,) = shelf.add(found(code, 3.6, local))
    assert filed.at == NOW and filed.at.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "reading",
    [
        volts(_CODE, 5.1),
        volts(_CODE, float("nan")),
        volts(_CODE, float("inf")),
        capacity(_CODE, 0.0),
        capacity(_CODE, -1.0),
        look(_CODE),
        replace(look(_CODE, Look.CLEAN), value=1.0),
        replace(volts(_CODE, 3.7), value=None),
        replace(volts(_CODE, 3.7), look=(Look.CLEAN,)),
        replace(volts(_CODE, 3.7), method=Method.DC_PULSE),
        replace(volts(_CODE, 3.7), as_group=True),
        replace(volts(_CODE, 3.7), rested_s=-1.0),
        replace(volts(_CODE, 3.7), temperature_c=900.0),
        replace(capacity(_CODE, 2.0), cutoff_v=37.0),
        replace(capacity(_CODE, 2.0), discharge_current_a=float("nan")),
        Reading(NEW, _CODE, Quantity.RESISTANCE, NOW, 0.05, pulse_s=0.0),
        Reading(NEW, _CODE, Quantity.CHARGE, NOW, 4.2),
        Reading(NEW, _CODE, Quantity.LET_DOWN, NOW, 2.4),
        Reading(NEW, _CODE, Quantity.LET_DOWN, NOW, 3.8, rested_s=3600.0),
        Reading(NEW, _CODE, Quantity.LET_DOWN, NOW),
        volts(_CODE, 3.7, NOW + timedelta(microseconds=1)),
        volts(_CODE, 3.7, datetime(1989, 12, 31, tzinfo=UTC)),
        replace(volts(_CODE, 3.7), meter=FINE),
        volts("A00009A", 3.7),
    ],
)
def test_one_bad_reading_refuses_the_whole_write(shelf: Shelf, reading: Reading) -> None:
    """Validated before a row exists; the good one before it is not recorded either."""
    shelf.cells()
    with pytest.raises(BadData) as caught, shelf.writing() as writer:
        writer.add_readings([found(_CODE, 3.6), reading])
    assert caught.value.remedy
    with shelf.reading() as reader:
        assert reader.recorded(_CODE) == []


@pytest.mark.parametrize(
    "bad",
    [
        replace(charge(_CODE), current_a=0.0),
        replace(charge(_CODE), until_v=-0.1),
        replace(charge(_CODE), until_v=42.0),
        replace(charge(_CODE), slot=-1),
        replace(charge(_CODE), peak_temperature_c=float("nan")),
        replace(charge(_CODE), at=NOW + timedelta(days=1)),
    ],
)
def test_a_charge_that_cannot_be_is_refused(shelf: Shelf, bad: Charge) -> None:
    """The same care as for readings."""
    shelf.cells()
    with pytest.raises(BadData), shelf.writing() as writer:
        writer.add_charge(bad)


def test_nothing_to_record_is_said(shelf: Shelf) -> None:
    """An empty list is no write."""
    shelf.cells()
    with pytest.raises(BadData, match="nothing to record"), shelf.writing() as writer:
        writer.add_readings([])


# --- meters ----------------------------------------------------------------------------------------


def test_every_shipped_meter_class_comes_back_as_it_went_in(shelf: Shelf) -> None:
    """Accuracies, and resolutions by range with their open end."""
    shipped = [entry.meter for entry in meter_classes().values()]
    with shelf.writing() as writer:
        for meter in shipped:
            writer.add_meter(meter)
    with shelf.reading() as reader:
        assert reader.meters() == sorted(shipped, key=lambda meter: meter.name)
        assert reader.meter("good-multimeter").voltage == Accuracy(0.0005, 0.002)


@pytest.mark.parametrize(
    "meter",
    [
        Meter(""),
        Meter("m", voltage=Accuracy(0.0, 0.0)),
        Meter("m", capacity=Accuracy(-0.1, 0.2)),
        Meter("m", resistance=Accuracy(float("nan"), 0.1)),
    ],
)
def test_a_meter_without_a_name_or_with_no_error_at_all_is_refused(shelf: Shelf, meter: Meter) -> None:
    """No instrument is exact."""
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.add_meter(meter)


def test_a_meter_keeps_its_figures_for_good(shelf: Shelf) -> None:
    """A reading's meter is the one declared, whatever the caller holds in hand."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.add_meter(FINE)
        with pytest.raises(BadData, match="already"):
            writer.add_meter(replace(FINE, voltage=None))
        finer = replace(FINE, voltage_resolution=Resolution())
        (filed,) = writer.add_readings([replace(found(code, 3.6), meter=finer)])
        assert filed.meter == FINE
        with pytest.raises(BadData, match="no meter 'red'"):
            writer.meter("red")


# --- superseding -----------------------------------------------------------------------------------


def test_a_mistyped_reading_is_replaced_and_stays_visible(shelf: Shelf) -> None:
    """Both stand in the record, only the right one in the evidence."""
    (code,) = shelf.cells()
    (wrong,) = shelf.add(found(code, 1.36))
    with shelf.writing() as writer:
        (right,) = writer.supersede(wrong.id, "mistyped", "1.36 for 3.16", None, [found(code, 3.16)])
    with shelf.reading() as reader:
        first, second = reader.recorded(code)
        assert (first.item, first.superseded_by, first.mistake) == (wrong, right.id, "mistyped")
        assert first.because == "1.36 for 3.16" and first.superseded and not first.retracted
        assert (second.item, second.superseded) == (right, False)
        assert [r.item for r in reader.recorded(code, with_superseded=False)] == [right]
        assert reader.evidence(code).readings == (right,)
        assert reader.reading(wrong.id) == first
        assert reader.history(code)[-1].verb != "readings-added"


def test_a_reading_of_the_wrong_cell_moves_to_the_right_one(shelf: Shelf) -> None:
    """With its value, time and meter; both cells have the event in their history."""
    wrong, right = shelf.cells(2)
    with shelf.writing() as writer:
        writer.add_meter(FINE)
        (old,) = writer.add_readings([replace(found(wrong, 3.3, day(2)), meter=FINE, temperature_c=19.5)])
        (moved,) = writer.supersede(old.id, "wrong-cell", "took the one beside it", right)
    assert moved == replace(old, id=moved.id, cell=right)
    with shelf.reading() as reader:
        assert reader.evidence(wrong).readings == () and reader.evidence(right).readings == (moved,)
        assert reader.recorded(wrong)[0].superseded_by == moved.id
        for code in (wrong, right):
            assert "reading-superseded" in [event.verb for event in reader.history(code)]


def test_a_wrong_cell_reading_can_come_with_what_this_cell_really_has(shelf: Shelf) -> None:
    """The value moves, and the repeated measurement takes its place here."""
    wrong, right = shelf.cells(2)
    (old,) = shelf.add(found(wrong, 3.3))
    with shelf.writing() as writer:
        moved, own = writer.supersede(old.id, "wrong-cell", "mixed up", right, [found(wrong, 3.6)])
    assert (moved.cell, own.cell) == (right, wrong)


def test_a_charge_is_superseded_like_a_reading(shelf: Shelf) -> None:
    """One run of numbers for both."""
    wrong, right = shelf.cells(2)
    with shelf.writing() as writer:
        old = writer.add_charge(charge(wrong))
        (moved,) = writer.supersede(old.id, "wrong-cell", "slot 2, not 1", right)
    with shelf.reading() as reader:
        assert reader.evidence(wrong).charges == () and reader.evidence(right).charges == (moved,)


@pytest.mark.parametrize("mistake", ["wrong-cell", "bad-contact"])
def test_a_reading_can_be_taken_back_without_another(shelf: Shelf, mistake: str) -> None:
    """Whose it was is not known, or the clip hung loose: nothing takes its place."""
    (code,) = shelf.cells()
    (old,) = shelf.add(found(code, 1.0))
    with shelf.writing() as writer:
        assert writer.supersede(old.id, mistake, "the clip was on the shelf") == []
    with shelf.reading() as reader:
        (record,) = reader.recorded(code)
        assert record.retracted and record.superseded_by is None
        assert reader.evidence(code).readings == () and reader.evidence(code).last_reading == old.key


def test_a_reading_is_superseded_only_once(shelf: Shelf) -> None:
    """Its successor can be; a chain stays a chain."""
    (code,) = shelf.cells()
    (old,) = shelf.add(found(code, 3.0))
    with shelf.writing() as writer:
        (new,) = writer.supersede(old.id, "mistyped", "slip", None, [found(code, 3.1)])
        with pytest.raises(BadData, match="was superseded before") as caught:
            writer.supersede(old.id, "mistyped", "slip", None, [found(code, 3.2)])
        assert str(new.id) in caught.value.remedy
        writer.supersede(new.id, "mistyped", "slip again", None, [found(code, 3.2)])
    with shelf.reading() as reader:
        assert [str(record.superseded_by) for record in reader.recorded(code)] == ["A-2", "A-3", "None"]


def _bad_contact_look(shelf: Shelf, code: str) -> Reading:
    return shelf.add(look(code, Look.SWOLLEN))[0]


@pytest.mark.parametrize(
    ("mistake", "because", "right", "place", "error", "told"),
    [
        ("bad-contact", "x", None, [], BadData, "a bad contact cannot falsify"),
        ("mistyped", "x", None, [], BadData, "what it should be is missing"),
        ("mistyped", "x", None, ["volts"], BadData, "what should take its place a voltage"),
        ("mistyped", "x", "other", ["look"], UsageFault, "a right cell does not go with"),
        ("wrong-cell", "x", "self", [], UsageFault, "already"),
        ("wrong-cell", "x", "absent", [], BadData, "there is no cell"),
        ("wrong-cell", "x", None, ["look-other"], BadData, "is of"),
        ("wrong-cell", " ", None, [], BadData, "no reason"),
        ("oops", "x", None, [], UsageFault, "not a mistake"),
    ],
)
def test_a_supersession_that_makes_no_sense_changes_nothing(
    shelf: Shelf,
    mistake: str,
    because: str,
    right: str | None,
    place: list[str],
    error: type[StraycellError],
    told: str,
) -> None:
    """A look has no contact, a slip has a right value, a value moves to another cell that exists."""
    code, other = shelf.cells(2)
    old = _bad_contact_look(shelf, code)
    items = {"volts": volts(code, 3.7), "look": look(code, Look.CLEAN), "look-other": look(other, Look.CLEAN)}
    cells = {None: None, "other": other, "self": code, "absent": "A00009A"}
    with pytest.raises(error, match=told), shelf.writing() as writer:
        writer.supersede(old.id, mistake, because, cells[right], [items[name] for name in place])
    with shelf.reading() as reader:
        assert [record.superseded for record in reader.recorded(code)] == [False]


@pytest.mark.parametrize("number", [0, -1, 2, 2**63, 10**30])
def test_a_number_that_is_no_reading_is_told(shelf: Shelf, number: int) -> None:
    """Also numbers that fit no database column."""
    (code,) = shelf.cells()
    shelf.add(found(code, 3.6))
    with shelf.writing() as writer, pytest.raises(BadData, match="there is no reading"):
        writer.supersede(RecordKey("A", number), "wrong-cell", "x")


def test_a_reading_at_a_board_needs_a_board(shelf: Shelf) -> None:
    """0.4 V at a board that is not on record would hide a dead cell: refused, also in another one's place."""
    (bare,) = shelf.cells()
    (boarded,) = shelf.cells(facts=replace(NMC, protection_board=True))
    low = replace(found(bare, 0.4), where=Where.BOARD)
    with pytest.raises(BadData, match="no protection board on record"):
        shelf.add(low)
    (filed,) = shelf.add(replace(low, cell=boarded))
    assert filed.where is Where.BOARD
    (at_tabs,) = shelf.add(found(bare, 3.4))
    with pytest.raises(BadData, match="no protection board"), shelf.writing() as writer:
        writer.supersede(at_tabs.id, "mistyped", "a slip", None, [low])
