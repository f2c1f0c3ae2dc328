"""The first version. Nothing is released: until then it is what the models say, afterwards its statements are frozen.

From the release on copy the statements into this file; later migrations alter them.
"""

from alembic import op

from straycell.store.schema.ddl import STATEMENTS

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables and indexes; the triggers are put on after all migrations."""
    for statement in STATEMENTS:
        op.get_bind().exec_driver_sql(statement)
