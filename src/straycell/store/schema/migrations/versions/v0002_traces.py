"""Traces, and what a reading out of one holds besides. Frozen as it was: later migrations alter it."""

# ruff: noqa: E501 - the statements stand as the database keeps them
from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"

# A column added by ALTER TABLE would stand behind the table's checks, so the table is made anew and filled.
STATEMENTS = (
    """
CREATE TABLE trace (
    id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    size_bytes INTEGER NOT NULL,
    raw BLOB NOT NULL,
    at_us INTEGER NOT NULL,
    recorded_at_us INTEGER NOT NULL,
    meter VARCHAR,
    cutoff_v FLOAT NOT NULL,
    columns VARCHAR NOT NULL,
    setting VARCHAR NOT NULL,
    result VARCHAR NOT NULL,
    curve VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_trace PRIMARY KEY (id),
    CONSTRAINT ck_trace_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_trace_sha256 CHECK (length(sha256) = 64),
    CONSTRAINT ck_trace_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_trace_size_bytes CHECK (size_bytes BETWEEN 1 AND 1099511627776),
    CONSTRAINT ck_trace_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_trace_recorded_at_us CHECK (recorded_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_trace_not_in_the_future CHECK (at_us <= recorded_at_us),
    CONSTRAINT ck_trace_cutoff_v CHECK (cutoff_v BETWEEN 0.0 AND 5.0),
    CONSTRAINT fk_trace_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_trace_meter FOREIGN KEY(meter) REFERENCES meter (name),
    CONSTRAINT fk_trace_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_trace_code_id ON trace (code, id)
    """,
    """
CREATE INDEX ix_trace_sha256 ON trace (sha256)
    """,
    """
CREATE TABLE reading_next (
    id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    quantity VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    value FLOAT,
    temperature_c FLOAT,
    meter VARCHAR,
    rested_s FLOAT,
    where_taken VARCHAR,
    discharge_current_a FLOAT,
    cutoff_v FLOAT,
    method VARCHAR,
    pulse_s FLOAT,
    look VARCHAR NOT NULL,
    as_group BOOLEAN NOT NULL,
    charge_current_a FLOAT,
    end_current_a FLOAT,
    peak_temperature_c FLOAT,
    charger VARCHAR NOT NULL,
    slot INTEGER,
    energy_wh FLOAT,
    soc FLOAT,
    at_least BOOLEAN NOT NULL,
    from_full BOOLEAN NOT NULL,
    u FLOAT,
    trace_id INTEGER,
    supersedes INTEGER,
    recorded_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_reading PRIMARY KEY (id),
    CONSTRAINT ck_reading_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_reading_quantity CHECK (quantity IN ('voltage', 'as-found-voltage', 'capacity', 'resistance', 'temperature', 'look', 'charge')),
    CONSTRAINT ck_reading_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_reading_recorded_at_us CHECK (recorded_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_reading_not_in_the_future CHECK (at_us <= recorded_at_us),
    CONSTRAINT ck_reading_value CHECK (CASE quantity WHEN 'voltage' THEN value BETWEEN -5.0 AND 5.0 WHEN 'as-found-voltage' THEN value BETWEEN -5.0 AND 5.0 WHEN 'capacity' THEN value BETWEEN 0.001 AND 500.0 WHEN 'resistance' THEN value BETWEEN 1e-05 AND 100.0 WHEN 'temperature' THEN value BETWEEN -60.0 AND 250.0 WHEN 'charge' THEN value BETWEEN -5.0 AND 5.0 ELSE value IS NULL END AND (quantity = 'look') = (value IS NULL)),
    CONSTRAINT ck_reading_temperature_c CHECK (temperature_c BETWEEN -60.0 AND 250.0),
    CONSTRAINT ck_reading_rested_s CHECK (rested_s BETWEEN 0.0 AND 631152000.0),
    CONSTRAINT ck_reading_where_taken CHECK (where_taken IN ('tabs', 'board')),
    CONSTRAINT ck_reading_discharge_current_a CHECK (discharge_current_a BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_reading_cutoff_v CHECK (cutoff_v BETWEEN 0.0 AND 5.0),
    CONSTRAINT ck_reading_method CHECK (method IN ('dc-pulse', 'ac-1khz', 'unknown')),
    CONSTRAINT ck_reading_pulse_s CHECK (pulse_s > 0),
    CONSTRAINT ck_reading_look CHECK ((quantity = 'look') = (look <> '')),
    CONSTRAINT ck_reading_as_group CHECK (as_group IN (0, 1)),
    CONSTRAINT ck_reading_charge CHECK ((quantity = 'charge') = (charge_current_a IS NOT NULL)),
    CONSTRAINT ck_reading_charge_current_a CHECK (charge_current_a BETWEEN 1e-06 AND 500.0),
    CONSTRAINT ck_reading_end_current_a CHECK (end_current_a BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_reading_peak_temperature_c CHECK (peak_temperature_c BETWEEN -60.0 AND 250.0),
    CONSTRAINT ck_reading_slot CHECK (slot BETWEEN 0 AND 1000),
    CONSTRAINT ck_reading_energy_wh CHECK (energy_wh > 0),
    CONSTRAINT ck_reading_soc CHECK (soc BETWEEN 0.0 AND 1.0),
    CONSTRAINT ck_reading_at_least CHECK (at_least IN (0, 1)),
    CONSTRAINT ck_reading_from_full CHECK (from_full IN (0, 1)),
    CONSTRAINT ck_reading_u CHECK (u >= 0),
    CONSTRAINT ck_reading_supersedes CHECK (supersedes < id),
    CONSTRAINT fk_reading_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_reading_meter FOREIGN KEY(meter) REFERENCES meter (name),
    CONSTRAINT fk_reading_trace_id FOREIGN KEY(trace_id) REFERENCES trace (id),
    CONSTRAINT fk_reading_supersedes FOREIGN KEY(supersedes) REFERENCES reading (id),
    CONSTRAINT fk_reading_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
INSERT INTO reading_next (id, code, quantity, at_us, value, temperature_c, meter, rested_s, where_taken, discharge_current_a, cutoff_v, method, pulse_s, look, as_group, charge_current_a, end_current_a, peak_temperature_c, charger, slot, supersedes, recorded_at_us, event_id, at_least, from_full)
SELECT id, code, quantity, at_us, value, temperature_c, meter, rested_s, where_taken, discharge_current_a, cutoff_v, method, pulse_s, look, as_group, charge_current_a, end_current_a, peak_temperature_c, charger, slot, supersedes, recorded_at_us, event_id, 0, 0 FROM reading
    """,
    """
DROP TABLE reading
    """,
    """
ALTER TABLE reading_next RENAME TO reading
    """,
    """
CREATE INDEX ix_reading_code_id ON reading (code, id)
    """,
    """
CREATE INDEX ix_reading_supersedes ON reading (supersedes) WHERE supersedes IS NOT NULL
    """,
    """
CREATE INDEX ix_reading_trace_id ON reading (trace_id) WHERE trace_id IS NOT NULL
    """,
)


def upgrade() -> None:
    """Make the table of traces, widen that of readings; the triggers are put back after all migrations."""
    for statement in STATEMENTS:
        op.get_bind().exec_driver_sql(statement)
