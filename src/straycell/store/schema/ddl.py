"""The statements a new store is made with.

Generated from schema/models: change those, then run `python -m straycell.store.schema.generate`.
"""

# ruff: noqa: E501 - the statements are as the database keeps them
STATEMENTS = (
    """
CREATE TABLE bench (
    id INTEGER NOT NULL,
    letter VARCHAR NOT NULL,
    last_cell INTEGER NOT NULL,
    last_teardown INTEGER NOT NULL,
    last_reading INTEGER NOT NULL,
    last_trace INTEGER NOT NULL,
    last_handover INTEGER NOT NULL,
    last_record INTEGER NOT NULL,
    last_write INTEGER NOT NULL,
    heads VARCHAR NOT NULL,
    created_at_us INTEGER NOT NULL,
    CONSTRAINT pk_bench PRIMARY KEY (id),
    CONSTRAINT ck_bench_one_row CHECK (id = 1),
    CONSTRAINT ck_bench_letter CHECK (letter GLOB '[A-Z]'),
    CONSTRAINT ck_bench_last_cell CHECK (last_cell BETWEEN 0 AND 99999),
    CONSTRAINT ck_bench_last_teardown CHECK (last_teardown BETWEEN 0 AND 9999999),
    CONSTRAINT ck_bench_last_reading CHECK (last_reading >= 0),
    CONSTRAINT ck_bench_last_trace CHECK (last_trace >= 0),
    CONSTRAINT ck_bench_last_handover CHECK (last_handover >= 0),
    CONSTRAINT ck_bench_last_record CHECK (last_record >= 0),
    CONSTRAINT ck_bench_last_write CHECK (last_write >= 0)
)
    """,
    """
CREATE TABLE write (
    id INTEGER NOT NULL,
    bench VARCHAR NOT NULL,
    number INTEGER NOT NULL,
    "key" VARCHAR NOT NULL,
    parents VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    verb VARCHAR NOT NULL,
    detail VARCHAR NOT NULL,
    CONSTRAINT pk_write PRIMARY KEY (id),
    CONSTRAINT ck_write_bench CHECK (bench GLOB '[A-Z]' OR bench = ''),
    CONSTRAINT ck_write_number CHECK ((number > 0) = (bench <> '') AND number >= 0),
    CONSTRAINT ck_write_key CHECK (length(key) = 64),
    CONSTRAINT ck_write_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_write_verb CHECK (length(trim(verb)) > 0),
    CONSTRAINT uq_write_key UNIQUE ("key")
)
    """,
    """
CREATE UNIQUE INDEX ux_write_number ON write (bench, number) WHERE bench <> ''
    """,
    """
CREATE TABLE event (
    id INTEGER NOT NULL,
    write_id INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    verb VARCHAR NOT NULL,
    subject VARCHAR NOT NULL,
    detail VARCHAR NOT NULL,
    because VARCHAR NOT NULL,
    CONSTRAINT pk_event PRIMARY KEY (id),
    CONSTRAINT ck_event_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_event_verb CHECK (length(trim(verb)) > 0),
    CONSTRAINT fk_event_write_id FOREIGN KEY(write_id) REFERENCES write (id) DEFERRABLE INITIALLY DEFERRED
)
    """,
    """
CREATE INDEX ix_event_write_id ON event (write_id)
    """,
    """
CREATE TABLE finding_fell (
    id INTEGER NOT NULL,
    digest VARCHAR NOT NULL,
    "key" VARCHAR NOT NULL,
    write_id INTEGER NOT NULL,
    CONSTRAINT pk_finding_fell PRIMARY KEY (id),
    CONSTRAINT ck_finding_fell_digest CHECK (length(digest) = 64),
    CONSTRAINT ck_finding_fell_key CHECK (length(trim(key)) > 0),
    CONSTRAINT fk_finding_fell_write_id FOREIGN KEY(write_id) REFERENCES write (id) DEFERRABLE INITIALLY DEFERRED
)
    """,
    """
CREATE INDEX ix_finding_fell_digest ON finding_fell (digest)
    """,
    """
CREATE TABLE blank_code (
    code VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_blank_code PRIMARY KEY (code),
    CONSTRAINT ck_blank_code_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT fk_blank_code_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE box (
    "key" VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    limit_wh FLOAT,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_box PRIMARY KEY ("key"),
    CONSTRAINT ck_box_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_box_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_box_limit_wh CHECK (limit_wh > 0),
    CONSTRAINT fk_box_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE charger (
    id INTEGER NOT NULL,
    name VARCHAR NOT NULL,
    slot INTEGER,
    float_v FLOAT,
    float_u FLOAT,
    end_current_a FLOAT,
    capacity_gain FLOAT,
    capacity_offset FLOAT,
    measured_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_charger PRIMARY KEY (id),
    CONSTRAINT ck_charger_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_charger_slot CHECK (slot BETWEEN 0 AND 1000),
    CONSTRAINT ck_charger_float CHECK ((float_v IS NULL) = (float_u IS NULL) AND float_u > 0),
    CONSTRAINT ck_charger_float_v CHECK (float_v BETWEEN 0.0 AND 5.0),
    CONSTRAINT ck_charger_end_current_a CHECK (end_current_a BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_charger_capacity CHECK ((capacity_gain IS NULL) = (capacity_offset IS NULL)),
    CONSTRAINT ck_charger_measured_at_us CHECK (measured_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT fk_charger_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_charger_name ON charger (name)
    """,
    """
CREATE TABLE fact (
    id INTEGER NOT NULL,
    subject VARCHAR NOT NULL,
    field VARCHAR NOT NULL,
    entry VARCHAR NOT NULL,
    value VARCHAR NOT NULL,
    mistake VARCHAR NOT NULL,
    over VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_fact PRIMARY KEY (id),
    CONSTRAINT ck_fact_subject CHECK (length(trim(subject)) > 0),
    CONSTRAINT ck_fact_field CHECK (length(trim(field)) > 0),
    CONSTRAINT ck_fact_entry CHECK (entry GLOB '[A-Z]-[1-9]*' OR entry GLOB '+*'),
    CONSTRAINT ck_fact_over CHECK (length(trim(over)) > 0),
    CONSTRAINT ck_fact_mistake CHECK (mistake IN ('', 'mistyped')),
    CONSTRAINT uq_fact_subject_field_entry UNIQUE (subject, field, entry),
    CONSTRAINT fk_fact_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_fact_field ON fact (field)
    """,
    """
CREATE TABLE handover (
    "key" VARCHAR NOT NULL,
    place VARCHAR NOT NULL,
    opened_at_us INTEGER NOT NULL,
    closed_at_us INTEGER,
    body VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_handover PRIMARY KEY ("key"),
    CONSTRAINT ck_handover_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_handover_place CHECK (length(trim(place)) > 0),
    CONSTRAINT ck_handover_opened_at_us CHECK (opened_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_handover_closed_at_us CHECK (closed_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_handover_closed CHECK ((closed_at_us IS NULL) = (body = '')),
    CONSTRAINT fk_handover_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE meter (
    "key" VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    like_class VARCHAR NOT NULL,
    voltage_gain FLOAT,
    voltage_offset FLOAT,
    voltage_resolution VARCHAR NOT NULL,
    capacity_gain FLOAT,
    capacity_offset FLOAT,
    resistance_gain FLOAT,
    resistance_offset FLOAT,
    temperature_gain FLOAT,
    temperature_offset FLOAT,
    compared_on VARCHAR,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_meter PRIMARY KEY ("key"),
    CONSTRAINT ck_meter_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_meter_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_meter_voltage_gain CHECK (voltage_gain >= 0),
    CONSTRAINT ck_meter_voltage_offset CHECK (voltage_offset >= 0),
    CONSTRAINT ck_meter_capacity_gain CHECK (capacity_gain >= 0),
    CONSTRAINT ck_meter_capacity_offset CHECK (capacity_offset >= 0),
    CONSTRAINT ck_meter_resistance_gain CHECK (resistance_gain >= 0),
    CONSTRAINT ck_meter_resistance_offset CHECK (resistance_offset >= 0),
    CONSTRAINT ck_meter_temperature_gain CHECK (temperature_gain >= 0),
    CONSTRAINT ck_meter_temperature_offset CHECK (temperature_offset >= 0),
    CONSTRAINT fk_meter_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE project (
    "key" VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    priority INTEGER NOT NULL,
    due VARCHAR,
    state VARCHAR NOT NULL,
    born VARCHAR NOT NULL,
    added_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_project PRIMARY KEY ("key"),
    CONSTRAINT ck_project_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_project_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_project_state CHECK (state IN ('pending', 'reserved', 'built', 'dropped')),
    CONSTRAINT ck_project_priority CHECK (priority BETWEEN 0 AND 1000000),
    CONSTRAINT fk_project_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_project_name ON project (name)
    """,
    """
CREATE TABLE teardown (
    code VARCHAR NOT NULL,
    title VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    found_on VARCHAR,
    place VARCHAR NOT NULL,
    note VARCHAR NOT NULL,
    objects INTEGER NOT NULL,
    opened_on VARCHAR,
    born VARCHAR NOT NULL,
    added_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_teardown PRIMARY KEY (code),
    CONSTRAINT ck_teardown_code CHECK (code GLOB '[A-Z]T[1-9]*' AND code NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_teardown_title CHECK (length(trim(title)) > 0),
    CONSTRAINT ck_teardown_kind CHECK (length(trim(kind)) > 0),
    CONSTRAINT ck_teardown_objects CHECK (objects BETWEEN 1 AND 1000000),
    CONSTRAINT fk_teardown_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE build (
    "key" VARCHAR NOT NULL,
    project VARCHAR NOT NULL,
    state VARCHAR NOT NULL,
    "plan" VARCHAR NOT NULL,
    reserved_at_us INTEGER NOT NULL,
    finished_at_us INTEGER,
    dismantled_at_us INTEGER,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_build PRIMARY KEY ("key"),
    CONSTRAINT ck_build_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_build_state CHECK (state IN ('reserved', 'finished', 'dismantled')),
    CONSTRAINT fk_build_project FOREIGN KEY(project) REFERENCES project ("key"),
    CONSTRAINT fk_build_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE UNIQUE INDEX ux_build_live_project ON build (project) WHERE state <> 'dismantled'
    """,
    """
CREATE TABLE cell (
    code VARCHAR NOT NULL,
    stage VARCHAR NOT NULL,
    box VARCHAR,
    teardown VARCHAR,
    pack VARCHAR,
    chemistry VARCHAR NOT NULL,
    form VARCHAR NOT NULL,
    marking VARCHAR NOT NULL,
    maker VARCHAR NOT NULL,
    date_code VARCHAR NOT NULL,
    rated_capacity_ah FLOAT,
    rated_resistance_ohm FLOAT,
    rated_resistance_method VARCHAR NOT NULL,
    maker_charge_current_a FLOAT,
    maker_discharge_current_a FLOAT,
    full_voltage_v FLOAT,
    mass_g FLOAT,
    volume_cm3 FLOAT,
    bought_new BOOLEAN NOT NULL,
    rewrapped BOOLEAN NOT NULL,
    tabs BOOLEAN NOT NULL,
    protection_board BOOLEAN NOT NULL,
    confirmed_rechargeable BOOLEAN NOT NULL,
    born VARCHAR NOT NULL,
    added_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_cell PRIMARY KEY (code),
    CONSTRAINT ck_cell_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_cell_stage CHECK (stage IN ('received', 'shelved', 'reserved', 'installed', 'condemned', 'handed-over', 'withdrawn')),
    CONSTRAINT ck_cell_form CHECK (form IN ('18650', '21700', '26650', '14500', '16340', '18350', '13400', '10440', 'pouch', 'prismatic', 'other')),
    CONSTRAINT ck_cell_chemistry CHECK (chemistry IN ('nmc', 'lco', 'nca', 'lmo', 'lfp', 'liion', 'primary', 'unknown')),
    CONSTRAINT ck_cell_rated_capacity_ah CHECK (rated_capacity_ah BETWEEN 0.001 AND 500.0),
    CONSTRAINT ck_cell_rated_resistance_ohm CHECK (rated_resistance_ohm BETWEEN 1e-05 AND 100.0),
    CONSTRAINT ck_cell_rated_resistance_method CHECK (rated_resistance_method IN ('dc-pulse', 'ac-1khz', 'unknown')),
    CONSTRAINT ck_cell_bought_new CHECK (bought_new IN (0, 1)),
    CONSTRAINT ck_cell_rewrapped CHECK (rewrapped IN (0, 1)),
    CONSTRAINT ck_cell_tabs CHECK (tabs IN (0, 1)),
    CONSTRAINT ck_cell_maker_charge_current_a CHECK (maker_charge_current_a BETWEEN 1e-06 AND 500.0),
    CONSTRAINT ck_cell_maker_discharge_current_a CHECK (maker_discharge_current_a BETWEEN 1e-06 AND 500.0),
    CONSTRAINT ck_cell_full_voltage_v CHECK (full_voltage_v BETWEEN 1.0 AND 5.0),
    CONSTRAINT ck_cell_volume_cm3 CHECK (volume_cm3 BETWEEN 0.001 AND 100000.0),
    CONSTRAINT ck_cell_protection_board CHECK (protection_board IN (0, 1)),
    CONSTRAINT ck_cell_confirmed_rechargeable CHECK (confirmed_rechargeable IN (0, 1)),
    CONSTRAINT fk_cell_box FOREIGN KEY(box) REFERENCES box ("key"),
    CONSTRAINT fk_cell_teardown FOREIGN KEY(teardown) REFERENCES teardown (code),
    CONSTRAINT fk_cell_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_cell_box ON cell (box)
    """,
    """
CREATE INDEX ix_cell_stage ON cell (stage)
    """,
    """
CREATE INDEX ix_cell_teardown ON cell (teardown)
    """,
    """
CREATE TABLE meter_comparison (
    id INTEGER NOT NULL,
    meter VARCHAR NOT NULL,
    compared_on VARCHAR NOT NULL,
    note VARCHAR NOT NULL,
    quantity VARCHAR NOT NULL,
    showed FLOAT,
    actual FLOAT,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_meter_comparison PRIMARY KEY (id),
    CONSTRAINT ck_meter_comparison_quantity CHECK (quantity IN ('', 'voltage', 'capacity', 'resistance', 'temperature')),
    CONSTRAINT ck_meter_comparison_actual CHECK ((showed IS NULL) = (quantity = '') AND (actual IS NULL) = (quantity = '')),
    CONSTRAINT fk_meter_comparison_meter FOREIGN KEY(meter) REFERENCES meter ("key"),
    CONSTRAINT fk_meter_comparison_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_meter_comparison_meter ON meter_comparison (meter)
    """,
    """
CREATE TABLE build_cell (
    build VARCHAR NOT NULL,
    group_no INTEGER NOT NULL,
    position INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    live BOOLEAN NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_build_cell PRIMARY KEY (build, group_no, position),
    CONSTRAINT ck_build_cell_live CHECK (live IN (0, 1)),
    CONSTRAINT fk_build_cell_build FOREIGN KEY(build) REFERENCES build ("key"),
    CONSTRAINT fk_build_cell_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_build_cell_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_build_cell_code ON build_cell (code)
    """,
    """
CREATE UNIQUE INDEX ux_build_cell_live ON build_cell (code) WHERE live = 1
    """,
    """
CREATE TABLE condemnation (
    id INTEGER NOT NULL,
    "key" VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    because VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_condemnation PRIMARY KEY (id),
    CONSTRAINT ck_condemnation_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_condemnation_because CHECK (length(trim(because)) > 0),
    CONSTRAINT ck_condemnation_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT uq_condemnation_key UNIQUE ("key"),
    CONSTRAINT fk_condemnation_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_condemnation_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_condemnation_code ON condemnation (code)
    """,
    """
CREATE TABLE event_cell (
    event_id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    CONSTRAINT pk_event_cell PRIMARY KEY (event_id, code),
    CONSTRAINT fk_event_cell_event_id FOREIGN KEY(event_id) REFERENCES event (id),
    CONSTRAINT fk_event_cell_code FOREIGN KEY(code) REFERENCES cell (code)
)
 WITHOUT ROWID
    """,
    """
CREATE INDEX ix_event_cell_code_event_id ON event_cell (code, event_id)
    """,
    """
CREATE TABLE finding (
    id INTEGER NOT NULL,
    digest VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    rule VARCHAR NOT NULL,
    basis VARCHAR NOT NULL,
    words VARCHAR NOT NULL,
    observed VARCHAR NOT NULL,
    expanded_uncertainty FLOAT,
    bound VARCHAR NOT NULL,
    unit VARCHAR NOT NULL,
    source VARCHAR NOT NULL,
    safety BOOLEAN NOT NULL,
    at_us INTEGER NOT NULL,
    write_id INTEGER NOT NULL,
    CONSTRAINT pk_finding PRIMARY KEY (id),
    CONSTRAINT ck_finding_digest CHECK (length(digest) = 64),
    CONSTRAINT ck_finding_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_finding_rule CHECK (length(trim(rule)) > 0),
    CONSTRAINT ck_finding_expanded_uncertainty CHECK (expanded_uncertainty >= 0),
    CONSTRAINT ck_finding_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT fk_finding_write_id FOREIGN KEY(write_id) REFERENCES write (id) DEFERRABLE INITIALLY DEFERRED,
    CONSTRAINT fk_finding_code FOREIGN KEY(code) REFERENCES cell (code)
)
    """,
    """
CREATE INDEX ix_finding_code ON finding (code)
    """,
    """
CREATE INDEX ix_finding_digest ON finding (digest)
    """,
    """
CREATE TABLE group_voltage (
    id INTEGER NOT NULL,
    build VARCHAR NOT NULL,
    group_no INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    value FLOAT NOT NULL,
    u FLOAT NOT NULL,
    alone_u FLOAT,
    meter VARCHAR,
    charged_alone BOOLEAN NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_group_voltage PRIMARY KEY (id),
    CONSTRAINT ck_group_voltage_value CHECK (value BETWEEN 0.0 AND 5.0),
    CONSTRAINT ck_group_voltage_u CHECK (u >= 0),
    CONSTRAINT ck_group_voltage_alone_u CHECK (alone_u >= 0 AND alone_u <= u),
    CONSTRAINT ck_group_voltage_group_no CHECK (group_no BETWEEN 0 AND 999),
    CONSTRAINT ck_group_voltage_charged_alone CHECK (charged_alone IN (0, 1)),
    CONSTRAINT ck_group_voltage_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT uq_group_voltage_build_at_us_group_no UNIQUE (build, at_us, group_no),
    CONSTRAINT fk_group_voltage_build FOREIGN KEY(build) REFERENCES build ("key"),
    CONSTRAINT fk_group_voltage_meter FOREIGN KEY(meter) REFERENCES meter ("key"),
    CONSTRAINT fk_group_voltage_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE TABLE handover_cell (
    handover VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    state VARCHAR NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_handover_cell PRIMARY KEY (handover, code),
    CONSTRAINT ck_handover_cell_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_handover_cell_state CHECK (state IN ('listed', 'handed-over', 'left-out')),
    CONSTRAINT fk_handover_cell_handover FOREIGN KEY(handover) REFERENCES handover ("key"),
    CONSTRAINT fk_handover_cell_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_handover_cell_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE UNIQUE INDEX ux_handover_cell_listed ON handover_cell (code) WHERE state = 'listed'
    """,
    """
CREATE TABLE photograph (
    id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    size_bytes INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_photograph PRIMARY KEY (id),
    CONSTRAINT ck_photograph_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_photograph_sha256 CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
    CONSTRAINT ck_photograph_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_photograph_size_bytes CHECK (size_bytes BETWEEN 1 AND 1099511627776),
    CONSTRAINT fk_photograph_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_photograph_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_photograph_code ON photograph (code)
    """,
    """
CREATE INDEX ix_photograph_sha256 ON photograph (sha256)
    """,
    """
CREATE TABLE supersession (
    id INTEGER NOT NULL,
    record VARCHAR NOT NULL,
    mistake VARCHAR NOT NULL,
    because VARCHAR NOT NULL,
    right_cell VARCHAR,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_supersession PRIMARY KEY (id),
    CONSTRAINT ck_supersession_mistake CHECK (mistake IN ('wrong-cell', 'mistyped', 'bad-contact', 'meter-fault', 'records-lost')),
    CONSTRAINT ck_supersession_record CHECK (length(trim(record)) > 0),
    CONSTRAINT ck_supersession_because CHECK (length(trim(because)) > 0),
    CONSTRAINT ck_supersession_right_cell CHECK (right_cell IS NULL OR mistake = 'wrong-cell'),
    CONSTRAINT fk_supersession_right_cell FOREIGN KEY(right_cell) REFERENCES cell (code),
    CONSTRAINT fk_supersession_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_supersession_record ON supersession (record)
    """,
    """
CREATE TABLE trace (
    id INTEGER NOT NULL,
    "key" VARCHAR NOT NULL,
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
    CONSTRAINT ck_trace_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_trace_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_trace_sha256 CHECK (length(sha256) = 64),
    CONSTRAINT ck_trace_name CHECK (length(trim(name)) > 0),
    CONSTRAINT ck_trace_size_bytes CHECK (size_bytes BETWEEN 1 AND 1099511627776),
    CONSTRAINT ck_trace_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_trace_recorded_at_us CHECK (recorded_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_trace_not_in_the_future CHECK (at_us <= recorded_at_us),
    CONSTRAINT ck_trace_cutoff_v CHECK (cutoff_v BETWEEN 0.0 AND 5.0),
    CONSTRAINT uq_trace_key UNIQUE ("key"),
    CONSTRAINT fk_trace_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_trace_meter FOREIGN KEY(meter) REFERENCES meter ("key"),
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
CREATE TABLE upset (
    id INTEGER NOT NULL,
    "key" VARCHAR NOT NULL,
    code VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    severe BOOLEAN NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_upset PRIMARY KEY (id),
    CONSTRAINT ck_upset_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_upset_kind CHECK (length(trim(kind)) > 0),
    CONSTRAINT ck_upset_severe CHECK (severe IN (0, 1)),
    CONSTRAINT ck_upset_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT uq_upset_key UNIQUE ("key"),
    CONSTRAINT fk_upset_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_upset_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_upset_code ON upset (code)
    """,
    """
CREATE TABLE verdict (
    id INTEGER NOT NULL,
    code VARCHAR NOT NULL,
    at_us INTEGER NOT NULL,
    rules VARCHAR NOT NULL,
    rules_hash VARCHAR NOT NULL,
    outcome VARCHAR NOT NULL,
    last_reading VARCHAR NOT NULL,
    valid_until_us INTEGER,
    body VARCHAR NOT NULL,
    CONSTRAINT pk_verdict PRIMARY KEY (id),
    CONSTRAINT ck_verdict_outcome CHECK (outcome IN ('discard', 'hold', 'light', 'solo', 'pack')),
    CONSTRAINT ck_verdict_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT fk_verdict_code FOREIGN KEY(code) REFERENCES cell (code)
)
    """,
    """
CREATE INDEX ix_verdict_code_id ON verdict (code, id)
    """,
    """
CREATE TABLE reading (
    id INTEGER NOT NULL,
    "key" VARCHAR NOT NULL,
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
    surroundings_c FLOAT,
    doubt VARCHAR NOT NULL,
    put_in_ah FLOAT,
    took_s FLOAT,
    put_in_u FLOAT,
    trace VARCHAR,
    supersedes VARCHAR,
    recorded_at_us INTEGER NOT NULL,
    event_id INTEGER NOT NULL,
    CONSTRAINT pk_reading PRIMARY KEY (id),
    CONSTRAINT ck_reading_key CHECK (key GLOB '[A-Z]-[1-9]*' AND key NOT GLOB '??*[^0-9]*'),
    CONSTRAINT ck_reading_code CHECK (code GLOB '[A-Z][0-9][0-9][0-9][0-9][0-9][0-9A-Z]'),
    CONSTRAINT ck_reading_quantity CHECK (quantity IN ('voltage', 'as-found-voltage', 'capacity', 'resistance', 'temperature', 'mass', 'look', 'charge', 'let-down')),
    CONSTRAINT ck_reading_at_us CHECK (at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_reading_recorded_at_us CHECK (recorded_at_us BETWEEN 631152000000000 AND 4102444800000000),
    CONSTRAINT ck_reading_not_in_the_future CHECK (at_us <= recorded_at_us),
    CONSTRAINT ck_reading_value CHECK (CASE quantity WHEN 'voltage' THEN value BETWEEN -5.0 AND 5.0 WHEN 'as-found-voltage' THEN value BETWEEN -5.0 AND 5.0 WHEN 'capacity' THEN value BETWEEN 0.001 AND 500.0 WHEN 'resistance' THEN value BETWEEN 1e-05 AND 100.0 WHEN 'temperature' THEN value BETWEEN -60.0 AND 250.0 WHEN 'mass' THEN value BETWEEN 0.1 AND 5000.0 WHEN 'charge' THEN value BETWEEN -5.0 AND 5.0 WHEN 'let-down' THEN value BETWEEN -5.0 AND 5.0 ELSE value IS NULL END AND (quantity = 'look') = (value IS NULL)),
    CONSTRAINT ck_reading_rested_s CHECK (rested_s BETWEEN 0.0 AND 631152000.0),
    CONSTRAINT ck_reading_discharge_current_a CHECK (discharge_current_a BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_reading_cutoff_v CHECK (cutoff_v BETWEEN 0.0 AND 5.0),
    CONSTRAINT ck_reading_energy_wh CHECK (energy_wh > 0),
    CONSTRAINT ck_reading_method CHECK (method IN ('dc-pulse', 'ac-1khz', 'unknown')),
    CONSTRAINT ck_reading_pulse_s CHECK (pulse_s > 0),
    CONSTRAINT ck_reading_where_taken CHECK (where_taken IN ('tabs', 'board')),
    CONSTRAINT ck_reading_as_group CHECK (as_group IN (0, 1)),
    CONSTRAINT ck_reading_temperature_c CHECK (temperature_c BETWEEN -60.0 AND 250.0),
    CONSTRAINT ck_reading_surroundings_c CHECK (surroundings_c BETWEEN -60.0 AND 250.0),
    CONSTRAINT ck_reading_soc CHECK (soc BETWEEN 0.0 AND 1.0),
    CONSTRAINT ck_reading_at_least CHECK (at_least IN (0, 1)),
    CONSTRAINT ck_reading_from_full CHECK (from_full IN (0, 1)),
    CONSTRAINT ck_reading_u CHECK (u >= 0),
    CONSTRAINT ck_reading_put_in_u CHECK (put_in_u BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_reading_charge_current_a CHECK (charge_current_a BETWEEN 1e-06 AND 500.0),
    CONSTRAINT ck_reading_end_current_a CHECK (end_current_a BETWEEN 0.0 AND 500.0),
    CONSTRAINT ck_reading_put_in_ah CHECK (put_in_ah BETWEEN 0.001 AND 500.0),
    CONSTRAINT ck_reading_took_s CHECK (took_s BETWEEN 0.0 AND 631152000.0),
    CONSTRAINT ck_reading_peak_temperature_c CHECK (peak_temperature_c BETWEEN -60.0 AND 250.0),
    CONSTRAINT ck_reading_slot CHECK (slot BETWEEN 0 AND 1000),
    CONSTRAINT ck_reading_look CHECK ((quantity = 'look') = (look <> '')),
    CONSTRAINT ck_reading_charge CHECK ((quantity = 'charge') = (charge_current_a IS NOT NULL)),
    CONSTRAINT uq_reading_key UNIQUE ("key"),
    CONSTRAINT fk_reading_code FOREIGN KEY(code) REFERENCES cell (code),
    CONSTRAINT fk_reading_meter FOREIGN KEY(meter) REFERENCES meter ("key"),
    CONSTRAINT fk_reading_trace FOREIGN KEY(trace) REFERENCES trace ("key"),
    CONSTRAINT fk_reading_supersedes FOREIGN KEY(supersedes) REFERENCES reading ("key"),
    CONSTRAINT fk_reading_event_id FOREIGN KEY(event_id) REFERENCES event (id)
)
    """,
    """
CREATE INDEX ix_reading_code_id ON reading (code, id)
    """,
    """
CREATE INDEX ix_reading_supersedes ON reading (supersedes) WHERE supersedes IS NOT NULL
    """,
    """
CREATE INDEX ix_reading_trace ON reading (trace) WHERE trace IS NOT NULL
    """,
)
