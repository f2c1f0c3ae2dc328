"""The schema as SQLModel tables: the one description of it that is written by hand.

`python -m straycell.store.schema.generate` makes from it the tables that queries use and the statements a new
store is made with. Only that, migrating and checking import it.
"""

from sqlalchemy import MetaData

from straycell.store.schema.models import builds, keeping, stock, writes
from straycell.store.schema.models.base import StoreTable

METADATA: MetaData = StoreTable.metadata

__all__ = ["METADATA", "StoreTable", "builds", "keeping", "stock", "writes"]
