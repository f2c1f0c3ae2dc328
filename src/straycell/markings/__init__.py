"""What the print on a cell says: IEC 61960 designations, trade forms, the marks of cells never to charge.

Everything here is a proposal. In doubt nothing is proposed, or the cautious side. Tables: markings.toml.
"""

from straycell.markings.prints import Designation, Size, read_designation
from straycell.markings.proposals import (
    Proposal,
    fill,
    printed_capacity_ah,
    read_marking,
    unrated_beyond_size,
)
from straycell.markings.sizes import (
    Ceiling,
    beyond_size,
    cylinder_form,
    most_capacity_ah,
    rating_beyond_size,
    shares_primary_size,
    trade_size,
)

__all__ = [
    "Ceiling",
    "Designation",
    "Proposal",
    "Size",
    "beyond_size",
    "cylinder_form",
    "fill",
    "most_capacity_ah",
    "printed_capacity_ah",
    "rating_beyond_size",
    "read_designation",
    "read_marking",
    "shares_primary_size",
    "trade_size",
    "unrated_beyond_size",
]
