"""Readings and charges: what can be recorded, one reading or charge, and how far it can be off.

words      the words of a reading       fields     the one table of what can be recorded
reading    one reading, one charge      accuracy   its standard uncertainty
charger    a charger as an instrument
"""

from straycell.readings.accuracy import CautiousDefaults, accuracy_of, alone_u, by_default, is_off, measured
from straycell.readings.charger import COUNTS_FOR, Charger, by_charger, find_charger, newest
from straycell.readings.fields import FACTS, FIELDS, LET_DOWN_V, OF_CHARGE, OF_READING, ROOM, Field
from straycell.readings.reading import KINDS, Charge, Item, Kind, Reading, charge_of, reading_of, said_of
from straycell.readings.words import METER_FAULT, RECORDS_LOST, Method, Mistake, Quantity, Where

__all__ = [
    "COUNTS_FOR",
    "FACTS",
    "FIELDS",
    "KINDS",
    "LET_DOWN_V",
    "METER_FAULT",
    "OF_CHARGE",
    "OF_READING",
    "RECORDS_LOST",
    "ROOM",
    "CautiousDefaults",
    "Charge",
    "Charger",
    "Field",
    "Item",
    "Kind",
    "Method",
    "Mistake",
    "Quantity",
    "Reading",
    "Where",
    "accuracy_of",
    "alone_u",
    "by_charger",
    "by_default",
    "charge_of",
    "find_charger",
    "is_off",
    "measured",
    "newest",
    "reading_of",
    "said_of",
]
