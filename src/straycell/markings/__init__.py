"""What the print on a cell says: IEC 61960 designations, trade forms, the marks of cells never to charge.

Everything here is a proposal. In doubt nothing is proposed, or the cautious side. Tables: markings.toml.
"""

from straycell.markings.designations import Designation, Size, designation, read_designation
from straycell.markings.proposals import Proposal, fill, read_marking
from straycell.markings.sizes import cylinder_form, shares_primary_size, trade_size

__all__ = [
    "Designation",
    "Proposal",
    "Size",
    "cylinder_form",
    "designation",
    "fill",
    "read_designation",
    "read_marking",
    "shares_primary_size",
    "trade_size",
]
