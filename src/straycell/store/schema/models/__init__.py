"""The schema as SQLModel tables: what a store is made from, and what the migrations are held against.

Only making, migrating and checking a store imports this; queries use the same tables in store/tables.py.
"""

from sqlalchemy import MetaData

from straycell.store.schema.models import builds, keeping, stock
from straycell.store.schema.models.base import StoreTable

METADATA: MetaData = StoreTable.metadata

__all__ = ["METADATA", "StoreTable", "builds", "keeping", "stock"]
