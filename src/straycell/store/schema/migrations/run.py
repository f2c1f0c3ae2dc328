"""Run the migrations on an open connection, inside the caller's transaction."""

import os
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection

LOCATIONS = [Path(__file__).parent / "versions"]
"""Where migrations lie; a test adds an invented one."""


def config_for(conn: Connection | None = None) -> Config:
    """Alembic's settings without a file of their own."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.set_main_option("version_locations", os.pathsep.join(map(str, LOCATIONS)).replace("%", "%%"))
    config.attributes["connection"] = conn
    return config


def upgrade_to(conn: Connection, revision: str) -> None:
    """Apply every migration up to `revision`."""
    command.upgrade(config_for(conn), revision)
