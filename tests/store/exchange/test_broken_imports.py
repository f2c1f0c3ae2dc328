"""Every file of tests/broken/imports is named after its one defect: where it is, what is said, and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.store.store_bench import NOW, Shelf, found

from straycell.cells import CellFacts, make_code
from straycell.store.exchange.cells import import_cells
from straycell.store.exchange.readings import import_readings
from straycell.store.exchange.table import Imported

BROKEN = Path(__file__).parents[2] / "broken" / "imports"
HERE = make_code("B", 1)

# file: the line and words of the fault; words of the remedy
SAID = """
cells-empty-file                      1 | the file is empty                     | its first line names the columns
cells-only-a-header                   1 | no line under the header              | one line for each
cells-utf-16                          1 | UTF-16                                | UTF-8
cells-latin-1                         2 | byte 0xfc is not UTF-8 text           | UTF-8
cells-a-spreadsheet                   1 | a spreadsheet or an archive           | CSV
cells-nul-character                   3 | NUL                                   | UTF-8
cells-quote-never-closed              2 | not readable as CSV                   | quotes
cells-unknown-column                  1 | unknown column 'chemistri'            | nearest: chemistry
cells-column-twice                    1 | column 'form' is there twice      | leave one of them out
cells-nothing-that-names-a-cell       1 | a column is missing: form or marking  | --template
cells-too-many-fields                 2 | 3 fields where the header has 2       | decimal comma
cells-too-few-fields                  2 | 2 fields where the header has 3       | leave fields empty
cells-mixed-separators                2 | 1 fields where the header has 3       | leave fields empty
cells-decimal-comma                   2 | rated_capacity_ah: '2,6' has a decimal comma  | 2.6
cells-both-decimal-marks              4 | '2,600' has a comma that can be read  | 2600 or 2.600
cells-point-among-decimal-commas      204 | '2.6' has a point                    | all of them alike
cells-no-unit                         2 | mass: '45' has no unit                | 45g
cells-wrong-unit                      2 | '2600mV' is a voltage, not a capacity | Ah, mAh
cells-letter-for-digit                2 | '26OO'                                | units that fit here
cells-not-a-number                    2 | volume_cm3: 'big' is not a number        | 3.7
cells-implausible                     2 | '2600000' cannot be right             | decimal point
cells-negative                        2 | '-2600' is negative                   | zero or more
cells-two-columns-of-one-figure       2 | is in two columns                 | fill one of them
cells-unknown-word                    2 | chemistry: 'nmcc' is not known        | nearest: nmc
cells-neither-yes-nor-no              2 | 'perhaps' is neither yes nor no       | yes or no
cells-wrong-check-character           2 | 'A00001P' has a wrong check character | again
cells-no-code-at-all                  2 | 'cell one' is not a cell code            | again
cells-code-twice                      4 | A00001O is on line 2 too          | one line for each cell
cells-code-of-a-cell-that-is-here     2 | is a cell already                     | take another
cells-no-such-teardown                2 | there is no tear-down AT99            | teardown add
cells-no-teardown-code                2 | 'lamp' is not a tear-down code           | teardown list
cells-pack-of-no-teardown             2 | '2' is a pack of no tear-down         | fill the column teardown
cells-no-such-box                     2 | there is no box 'biscuit tin'         | box add
cells-mark-of-a-primary               2 | never charge it                       | confirm
cells-control-character               2 | maker: control characters             | plain text
cells-text-too-long                   2 | maker: 600 characters                 | at most 500
readings-no-time                      2 | at: nothing is there              | when it was measured
readings-no-time-column               1 | a column is missing: at               | --template
readings-not-iso-time                 2 | '1.5.2026' is not an ISO 8601 time        | 2026-05-01T18:30
readings-in-the-future                2 | in the future                         | check the date
readings-before-such-cells            2 | before 1990                           | year
readings-cell-that-is-not-here        2 | there is no cell B00009I              | nearest in the store
readings-no-code                      2 | code: nothing is there            | which cell
readings-nothing-measured             2 | nothing was measured on this line     | fill one figure
readings-unknown-quantity             2 | 'volts' is not known                  | one of: voltage
readings-quantity-without-value       2 | it needs a number                     | reading add --help
readings-unit-of-another-quantity     2 | value: '3.7' has no unit              | 3.7V
readings-value-without-unit           2 | value: '3.7' has no unit              | 3.7V
readings-millivolts-as-volts          2 | voltage_v: '3700' cannot be right     | unit
readings-unknown-look                 2 | look: 'shiny' is not known            | one of: clean
readings-unknown-method               2 | method: 'guess' is not known          | dc-pulse
readings-no-such-meter                2 | there is no meter 'golden meter'      | meter add
readings-charge-without-end-voltage   2 | needs its current and its end voltage | charge_until
readings-warmest-below-the-room       2 | lies below the room's                 | reading add --help
readings-no-slot                      2 | slot: 'left' is not a slot               | like 2
readings-same-reading-twice           3 | is on line 2 too                  | leave the line out
readings-reading-recorded-before      2 | is recorded already                   | leave the line out
"""
CASES = {
    line.split()[0]: [part.strip() for part in line.partition(" ")[2].split("|")]
    for line in SAID.strip().splitlines()
}


@pytest.fixture
def stocked(shelf: Shelf) -> Shelf:
    """One cell of another bench, found at 3.5 V."""
    with shelf.writing(NOW) as writer:
        writer.add_cells(CellFacts(), code=HERE)
        at = NOW.replace(year=2026, month=2, day=1, hour=10, minute=0, second=0, microsecond=0)
        writer.add_readings([found(HERE, 3.5, at)])
    return shelf


def taken(shelf: Shelf, file: Path, *, partial: bool = False) -> Imported:
    with shelf.writing(NOW) as writer:
        take = import_cells if file.name.startswith("cells") else import_readings
        return writer.write(take, file, partial=partial)


def count(shelf: Shelf) -> tuple[int, int, int]:
    with shelf.bare() as conn:
        return tuple(
            conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in ("cell", "reading", "event")
        )


def test_every_broken_file_has_its_words_here() -> None:
    """And none is missing."""
    assert {file.stem for file in BROKEN.glob("*.csv")} == set(CASES)


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_broken_file_is_refused_with_its_line_its_fault_and_a_remedy(stocked: Shelf, name: str) -> None:
    """One defect, one fault; nothing of the file is taken, and nothing is written for it."""
    line, said, remedy = CASES[name]
    before = count(stocked)
    result = taken(stocked, BROKEN / f"{name}.csv")
    (fault,) = result.refused
    assert (result.taken, fault.line) == (0, int(line))
    assert said in fault.said, fault
    assert remedy in fault.remedy, fault
    assert count(stocked) == before


def test_with_partial_the_lines_without_a_fault_are_taken(stocked: Shelf) -> None:
    """A faulty line keeps its fault; a fault of the header keeps everything out."""
    first = taken(stocked, BROKEN / "cells-code-twice.csv", partial=True)
    assert (first.taken, [fault.line for fault in first.refused]) == (2, [4])
    again = taken(stocked, BROKEN / "readings-same-reading-twice.csv", partial=True)
    assert (again.taken, [fault.line for fault in again.refused]) == (1, [3])
    assert taken(stocked, BROKEN / "cells-unknown-column.csv", partial=True).taken == 0


def test_all_faults_of_a_file_are_told_in_one_pass(stocked: Shelf, tmp_path: Path) -> None:
    """Several on one line, several lines: correcting is done once."""
    file = tmp_path / "cells.csv"
    file.write_text("form,chemistry,mass\n1865,nmcc,45\n18650,nmc,45g\n18650,lico,45g,old\nx,nmc,45g\n")
    faults = [(fault.line, fault.column) for fault in taken(stocked, file).refused]
    assert sorted(faults) == [(2, "chemistry"), (2, "form"), (2, "mass"), (4, ""), (5, "form")]
