"""Hand-overs, what is on them, and comparisons of meters. Frozen as it was: later migrations alter it."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"

STATEMENTS = (
    """
CREATE TABLE handover (
    id INTEGER NOT NULL,
    place VARCHAR NOT NULL,
    opened_at_us INTEGER NOT NULL,
    closed_at_us INTEGER,
    body VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_handover PRIMARY KEY (id),
    CONSTRAINT ck_handover_place CHECK (length(trim(place)) > 0),
    CONSTRAINT ck_handover_opened_at_us CHECK (opened_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_handover_closed_at_us CHECK (closed_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_handover_closed CHECK ((closed_at_us IS NULL) = (body = '')),
    CONSTRAINT fk_handover_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE UNIQUE INDEX ux_handover_open_place ON handover (place) WHERE closed_at_us IS NULL
    """,
    """
CREATE TABLE meter_comparison (
    id INTEGER NOT NULL,
    meter VARCHAR NOT NULL,
    compared_on VARCHAR NOT NULL,
    note VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_meter_comparison PRIMARY KEY (id),
    CONSTRAINT fk_meter_comparison_meter FOREIGN KEY(meter) REFERENCES meter (name),
    CONSTRAINT fk_meter_comparison_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_meter_comparison_meter ON meter_comparison (meter)
    """,
    """
CREATE TABLE handover_cell (
    handover_id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    state VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_handover_cell PRIMARY KEY (handover_id, code),
    CONSTRAINT ck_handover_cell_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_handover_cell_state CHECK (state IN ('listed', 'handed-over', 'left-out')),
    CONSTRAINT fk_handover_cell_handover_id FOREIGN KEY(handover_id) REFERENCES handover (id),
    CONSTRAINT fk_handover_cell_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_handover_cell_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE UNIQUE INDEX ux_handover_cell_live ON handover_cell (code) WHERE state <> 'left-out'
    """,
)


def upgrade() -> None:
    """Make the tables and indexes; the triggers are put on after all migrations."""
    for statement in STATEMENTS:
        op.get_bind().exec_driver_sql(statement)
