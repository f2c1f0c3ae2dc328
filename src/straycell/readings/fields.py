"""The one table of what can be recorded: every number, word and flag of a reading, a charge and a cell.

Options of the command line, columns of a CSV file, bench notes, the guided intake, validation and the CHECKs of the
database read it. A new quantity is one line in FIELDS, one in KINDS, and its rule.
"""

import re
from dataclasses import dataclass
from typing import Any

from straycell.cells import Chemistry, Form, Look
from straycell.quantities import CELL_WINDOWS, Dimension, Window
from straycell.readings.words import Method, Where

_D = Dimension
_UNIT = re.compile(r"_(v|a|ah|ohm|s|c|wh|g|cm3)$")


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that can be said. `name` is the attribute of a Reading, Charge or CellFacts, with its unit.

    `kind` is a dimension, a set of words, or bool, int, float, str; `help` is the option's text (empty: no option).
    `typed` is what can be meant where a person types it, `kept` what a row may hold (both default to the window of
    the dimension). `note` is the word before it in a bench note, `words` how a page tells it as a condition (one that
    begins with a blank belongs to the condition before it).
    """

    name: str
    kind: Any
    noun: str
    help: str = ""
    typed: Window | None = None
    kept: Window | None = None
    example: str = ""
    note: str = ""
    flag: str = ""
    heading: str = ""
    words: str = ""

    @property
    def stem(self) -> str:
        """The name without its unit, as it is in options and columns."""
        return _UNIT.sub("", self.name)

    @property
    def option(self) -> str:
        return self.flag or "--" + self.stem.replace("_", "-")

    @property
    def column(self) -> str:
        """The column of a CSV file; that of a figure may have the unit behind it."""
        return self.heading or self.stem

    @property
    def dimension(self) -> Dimension | None:
        return self.kind if isinstance(self.kind, Dimension) else None

    @property
    def window(self) -> Window | None:
        """What a row may hold; None where no range is meant."""
        # A row may hold more than a person may type, so that older rows stay valid when the typed window narrows.
        return self.kept or (CELL_WINDOWS.get(self.dimension) if self.dimension else None)


def _fields(*fields: Field) -> dict[str, Field]:
    return {field.name: field for field in fields}


# A tenth of a milliampere is below any charger's or load's setting: typed, it is a slip of the unit.
_SOME_CURRENT = Window(1e-4, 500.0)
_NOT_NONE = Window(1e-6, 500.0)
# Above the energy that 500 Ah at 5 V hold, no single cell delivers (the windows of `quantities`).
_ENERGY = Window(1e-6, 2500.0)

OF_READING = _fields(
    Field("look", Look, "look", "What you see; repeat the option for more."),
    Field(
        "as_found_voltage_v",
        _D.VOLTAGE,
        "as-found voltage",
        "Voltage of the cell as it came out of the object.",
    ),
    Field("voltage_v", _D.VOLTAGE, "voltage", "Voltage at the cell; with --rested a rest voltage."),
    Field(
        "rested_s",
        _D.DURATION,
        "rest",
        "How long the cell had rested without current.",
        note="rested",
        words="rested {}",
    ),
    Field(
        "capacity_ah", _D.CAPACITY, "capacity", "Capacity from full; needs --discharge-current and --cutoff."
    ),
    Field(
        "discharge_current_a",
        _D.CURRENT,
        "discharge current",
        "Current of the capacity run.",
        typed=_SOME_CURRENT,
        note="at",
        words="{}",
    ),
    Field(
        "cutoff_v",
        _D.VOLTAGE,
        "cut-off",
        "Voltage at which the run ended.",
        # Sheets end between 2.5 V and 3.0 V; outside 1.0 V to 4.5 V the figure belongs to another field.
        typed=Window(1.0, 4.5),
        kept=Window(0.0, 5.0),
        example="3.0V",
        note="to",
        words=" to {}",
    ),
    Field(
        "energy_wh",
        _D.ENERGY,
        "energy",
        "Energy delivered in that run, if the meter shows it.",
        typed=Window(0.001, 2500.0),
        kept=_ENERGY,
        words="{}",
    ),
    Field("resistance_ohm", _D.RESISTANCE, "resistance", "Internal resistance of the cell."),
    Field(
        "method",
        Method,
        "method",
        "How the resistance was measured.",
        flag="--resistance-method",
        words="method {}",
    ),
    Field(
        "pulse_s",
        _D.DURATION,
        "pulse",
        "Length of the d.c. pulse (default 1s).",
        # A pulse beyond ten minutes is a discharge, and its resistance another quantity.
        typed=Window(1e-3, 600.0),
        kept=Window(1e-6, 86400.0),
        example="1s",
        note="pulse",
    ),
    Field(
        "where",
        Where,
        "place",
        "Where it was measured, on a cell with a protection board.",
        words="at the {}",
    ),
    Field(
        "as_group",
        bool,
        "group",
        "The as-found voltage of all cells still welded in parallel with it.",
        note="as-group",
        words="as a group",
    ),
    Field(
        "temperature_c",
        _D.TEMPERATURE,
        "temperature",
        "Room temperature; without other quantities, the cell's own.",
        words="{}",
    ),
    Field(
        "surroundings_c",
        _D.TEMPERATURE,
        "surroundings",
        "Temperature of the air around it, beside the cell's own in --temperature.",
        note="around",
        words="in {}",
    ),
    Field(
        "mass_g",
        _D.MASS,
        "mass",
        "Mass of the cell today, with sleeve and tabs as they are.",
    ),
)
"""What `reading add` takes, in this order."""

OF_TRACE = _fields(
    Field("soc", float, "state of charge", kept=Window(0.0, 1.0), words="{:.0%} charged"),
    Field("at_least", bool, "lower bound", words="a lower bound"),
    Field("from_full", bool, "full start"),
    # In the unit of the value, so the widest dimension of all values sets the bound.
    Field("u", float, "uncertainty", kept=Window(0.0, 500.0)),
    Field("doubt", str, "doubt", words="not explained: {}"),
    Field("put_in_u", float, "uncertainty of the charge put in", kept=Window(0.0, 500.0)),
)
"""What only a trace or a charger adds, never a person; `u` is in the unit of the value, `put_in_u` in Ah."""

OF_CHARGE = _fields(
    Field(
        "current_a",
        _D.CURRENT,
        "current",
        "The charge current.",
        _SOME_CURRENT,
        _NOT_NONE,
        heading="charge_current",
        words="{}",
    ),
    Field(
        "until_v",
        _D.VOLTAGE,
        "end voltage",
        "The voltage it was charged to.",
        # No charger ends a cell below 2 V, and 5 V is the ceiling of one cell: outside it is a slip or a pack.
        typed=Window(2.0, 5.0),
        kept=Window(0.0, 5.0),
        example="4.20V",
        note="to",
        heading="charge_until",
    ),
    Field(
        "end_current_a",
        _D.CURRENT,
        "end current",
        "The current at which it stopped.",
        example="50mA",
        note="until",
        words="down to {}",
    ),
    Field(
        "put_in_ah",
        _D.CAPACITY,
        "charge put in",
        "Charge put in, as the charger shows it.",
        note="counted",
        words="{} put in",
    ),
    Field("took_s", _D.DURATION, "time it took", "How long the charge took.", note="took", words="in {}"),
    Field(
        "peak_temperature_c",
        _D.TEMPERATURE,
        "peak temperature",
        "Highest temperature of the cell.",
        note="peak",
        words="peak {}",
    ),
    Field("charger", str, "charger", "The charger used.", example="NAME", note="in", words="{}"),
    Field(
        "slot",
        int,
        "slot",
        "Slot of that charger.",
        Window(1, 99),
        Window(0, 1000, "a charger"),
        words=" slot {}",
    ),
)
"""What `charge add` takes beside the room's temperature."""

ROOM = Field("temperature_c", _D.TEMPERATURE, "temperature", "The room's temperature.")
# Down to 0 V: a lamp left on takes a cell there, and what happened must be recordable.
LET_DOWN_V = Field(
    "until_v",
    _D.VOLTAGE,
    "end voltage",
    "The voltage at which the load was taken off.",
    typed=Window(0.0, 5.0),
    example="3.80V",
)

FACTS = _fields(
    Field("form", Form, "form", "Form (size) of the cell."),
    Field(
        "chemistry", Chemistry, "chemistry", "Chemistry of the cell; it overrides what the marking proposes."
    ),
    Field("marking", str, "marking", "What is printed on it, word for word."),
    Field("rated_capacity_ah", _D.CAPACITY, "rated capacity", "The maker's figure for this cell."),
    Field("rated_resistance_ohm", _D.RESISTANCE, "rated resistance", "The maker's figure, a.c. 1 kHz."),
    Field("rated_resistance_method", Method, "method of the rated resistance"),
    Field("bought_new", bool, "bought new", "The cell was bought new, not recovered."),
    Field("maker", str, "maker", "Who made it, if that is known."),
    Field("date_code", str, "date code", "The date code as printed."),
    Field("rewrapped", bool, "re-wrapped", "Its sleeve was replaced and is not the maker's."),
    Field("tabs", bool, "welded tabs", "Nickel tabs are welded on."),
    Field(
        "maker_charge_current_a", _D.CURRENT, "in", "Highest charge current the maker allows.", kept=_NOT_NONE
    ),
    Field(
        "maker_discharge_current_a",
        _D.CURRENT,
        "out",
        "Highest discharge current the maker allows.",
        kept=_NOT_NONE,
    ),
    Field(
        "full_voltage_v",
        _D.VOLTAGE,
        "full voltage",
        "Charge voltage printed on the cell.",
        # Printed end voltages run from lfp's 3.6 V to 4.4 V; the window leaves some room on either side.
        typed=Window(3.0, 4.6),
        kept=Window(1.0, 5.0),
        example="4.35V",
    ),
    Field("mass_g", _D.MASS, "mass", "Mass of the bare cell."),
    Field("volume_cm3", float, "volume in cm3", kept=Window(0.001, 100000.0), heading="volume_cm3"),
    Field("protection_board", bool, "protection board", "The cell has a protection board."),
    Field(
        "confirmed_rechargeable",
        bool,
        "confirmed as rechargeable",
        "You know that it can be recharged, whatever size or mark say.",
        flag="--confirm-rechargeable",
    ),
)
"""What is known of a cell apart from measurements."""

FIELDS = OF_READING | OF_TRACE | OF_CHARGE
"""Everything that a reading or a charge can hold, by name."""
