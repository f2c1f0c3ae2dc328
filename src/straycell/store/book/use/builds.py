"""Builds: cells promised to a project, built in, given back. A cell is in one live build at most."""

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, func, select

from straycell.acceptance import judge
from straycell.acceptance.evidence import DISMANTLED
from straycell.acceptance.permission import FREE, least_outcome, permission
from straycell.builds import Build, BuildState, GroupVoltage, Inspection
from straycell.cells import Stage, check_move
from straycell.errors import BadData, NegativeAnswer
from straycell.keys import key_of
from straycell.store.book.derived import follow, say
from straycell.store.book.measured import meters
from straycell.store.book.names import key_named, shown
from straycell.store.book.records import ProjectState
from straycell.store.book.register import put
from straycell.store.book.stock import cells
from straycell.store.book.use import projects
from straycell.store.book.use.incidents import add_upsets
from straycell.store.column_values import from_us, opt_time
from straycell.store.schema.tables import (
    BUILD,
    BUILD_CELL,
    CONDEMNATION,
    GROUP_VOLTAGE,
    METER,
    PROJECT,
)
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen, among
from straycell.store.verdicts.evidence import evidences

# --- looking ---------------------------------------------------------------------------------------


def builds(conn: Connection, live_only: bool = True) -> list[Build]:
    """All builds, or those not dismantled, in the order they were reserved."""
    query = select(BUILD).order_by(BUILD.c.reserved_at_us, func.length(BUILD.c.key), BUILD.c.key)
    if live_only:
        query = query.where(BUILD.c.state != BuildState.DISMANTLED.value)
    return _builds(conn, conn.execute(query).all())


def live_build(conn: Connection, project: str) -> Build | None:
    """The build of a project that is reserved or finished."""
    of = key_named(conn, PROJECT, project)
    query = select(BUILD).where(BUILD.c.project == of, BUILD.c.state != BuildState.DISMANTLED.value)
    found = _builds(conn, conn.execute(query).all())
    return found[0] if found else None


def _builds(conn: Connection, rows: Sequence[Row[Any]]) -> list[Build]:
    keys = [row.key for row in rows]
    places = conn.execute(
        select(BUILD_CELL.c.build, BUILD_CELL.c.group_no, BUILD_CELL.c.code)
        .where(among(BUILD_CELL.c.build, keys))
        .order_by(BUILD_CELL.c.build, BUILD_CELL.c.group_no, BUILD_CELL.c.position)
    ).all()
    groups: dict[str, dict[int, list[str]]] = {key: {} for key in keys}
    for build, group_no, code in places:
        groups[build].setdefault(group_no, []).append(code)
    names, inspected = shown(conn, PROJECT) if rows else {}, _inspections(conn, keys)
    return [
        Build(
            id=key_of(row.key),
            project=names[row.project],
            state=BuildState(row.state),
            groups=tuple(tuple(codes) for codes in groups[row.key].values()),
            plan=row.plan,
            reserved_at=from_us(row.reserved_at_us),
            finished_at=opt_time(row.finished_at_us),
            dismantled_at=opt_time(row.dismantled_at_us),
            inspections=inspected.get(row.key, ()),
        )
        for row in rows
    ]


def _inspections(conn: Connection, keys: Collection[str]) -> dict[str, tuple[Inspection, ...]]:
    """The inspections of each build, the oldest first."""
    t = GROUP_VOLTAGE.c
    rows = conn.execute(
        select(t.build, t.at_us, t.value, t.u, t.alone_u, t.meter, t.charged_alone)
        .where(among(t.build, keys))
        .order_by(t.build, t.at_us, t.group_no)
    ).all()
    names = shown(conn, METER) if rows else {}
    found: dict[str, dict[int, list[GroupVoltage]]] = {}
    for build, at_us, value, u, alone_u, meter, alone in rows:
        voltage = GroupVoltage(value, u, alone_u, names[meter] if meter else "", alone)
        found.setdefault(build, {}).setdefault(at_us, []).append(voltage)
    return {
        build: tuple(Inspection(from_us(at_us), tuple(groups)) for at_us, groups in times.items())
        for build, times in found.items()
    }


def _required(conn: Connection, project: str) -> Build:
    projects.project(conn, project)
    build = live_build(conn, project)
    if build is None:
        raise BadData(
            f"project '{project}' has no build", f"reserve one with: straycell build reserve '{project}'"
        )
    return build


# --- reserving and finishing -----------------------------------------------------------------------


def reserve(pen: Pen, project: str, groups: Sequence[Sequence[str]], plan: str) -> Build:
    """Promise cells to a pending project; each cell's verdict is made again under the write lock.

    Raises NegativeAnswer when a cell is not free or its verdict does not allow the use, BadData otherwise.
    """
    entry = projects.project(pen.conn, project)
    if entry.state is not ProjectState.PENDING:
        raise NegativeAnswer(
            f"project '{project}' is {entry.state}, not waiting for cells", _NEXT[entry.state]
        )
    codes = [code for group in groups for code in group]
    if not codes or not all(groups):
        raise BadData(
            f"the plan for '{project}' names no cells in a group", f"see: straycell match '{project}'"
        )
    doubled = sorted({code for code in codes if codes.count(code) > 1})
    if doubled:
        raise BadData(f"cell {doubled[0]} is in the plan twice", "a cell has one place")
    cells.require_cells(pen.conn, codes)
    stages = cells.stages(pen.conn, codes)
    _require_free(pen.conn, codes, stages)
    # Under the write lock: between the match and this moment a cell may have failed or been taken.
    require_usable(pen, codes)
    event_id = pen.event("build-reserved", codes, subject=project, detail={"groups": groups, "plan": plan})
    build, of = str(pen.number("record")), projects.key(pen.conn, project)
    pen.conn.execute(
        BUILD.insert().values(key=build, project=of, plan=plan, reserved_at_us=pen.now_us, event_id=event_id)
    )
    rows = [
        {"build": build, "group_no": g, "position": p, "code": code, "event_id": event_id}
        for g, group in enumerate(groups)
        for p, code in enumerate(group)
    ]
    pen.conn.execute(BUILD_CELL.insert(), rows)
    follow(pen.conn, projects=[of], cells=codes)
    pen.touched.update(codes)
    return _required(pen.conn, project)


_NEXT = {
    ProjectState.RESERVED: "finish it with: straycell build finish; or free its cells: straycell build dismantle",
    ProjectState.BUILT: "dismantle its build first",
    ProjectState.DROPPED: "file it again with: straycell project add",
}


def _require_free(conn: Connection, codes: Sequence[str], stages: dict[str, Stage]) -> None:
    for code in codes:
        holder = project_of(conn, code)
        if holder is None and stages[code] in FREE:
            continue
        where = f" for project '{holder}'" if holder else ""
        raise NegativeAnswer(
            f"cell {code} is {stages[code]}{where} and cannot be reserved", "match the project again"
        )


def require_usable(pen: Pen, codes: Sequence[str]) -> None:
    """Raise NegativeAnswer for the first cell whose verdict, made now, does not allow what they are for."""
    joined = len(codes) > 1
    least, stages = least_outcome(joined=joined), cells.stages(pen.conn, codes)
    for code, evidence in sorted(evidences(pen.conn, codes).items()):
        # Made now and not read: a recorded verdict may run out this minute.
        verdict = judge(evidence, pen.rules, pen.now).verdict
        if not permission(verdict.outcome, stages[code], verdict.valid_until, pen.now).may_use(joined=joined):
            why = "; ".join(reason.text for reason in verdict.deciding[:2])
            raise NegativeAnswer(
                f"cell {code} is {verdict.outcome.word} now, {least.word} is needed"
                + (f": {why}" if why else ""),
                f"see: straycell verdict show {code}",
            )


def finish(pen: Pen, project: str, device: Mapping[str, float] | None = None) -> Build:
    """The cells are built in; `device` is what was measured of the device, by name with its unit.

    Raises NegativeAnswer when one of them is no longer fit to be.
    """
    build = _required(pen.conn, project)
    if build.state is not BuildState.RESERVED:
        raise BadData(f"the build of '{project}' is {build.state} already", "see: straycell project show")
    # A cell is soldered in for years; what was found since the reservation must count.
    require_usable(pen, build.codes)
    event_id = pen.event("build-finished", build.codes, subject=project, detail=dict(device or {}))
    say(pen, event_id, {code: {"box": None} for code in build.codes})
    _go_on(pen, build, BuildState.FINISHED, event_id)
    return _required(pen.conn, project)


def inspect(
    pen: Pen, project: str, groups: Sequence[GroupVoltage], held: Mapping[str, Collection[int]]
) -> Build:
    """Record the rest voltages of all groups; the cells of the `held` ones (from 0, by why) are on hold until tested.

    Raises BadData for another number of groups than the build has, and for a second inspection at one time.
    """
    build = _required(pen.conn, project)
    if len(groups) != len(build.groups):
        raise BadData(
            f"the build of '{project}' has {len(build.groups)} groups, and {len(groups)} voltages were given",
            "give one for each group, from the minus end",
        )
    if build.inspections and build.inspections[-1].at >= pen.now:
        raise BadData(f"the groups of '{project}' were measured just now", "measure them again later")
    volts = [g.value_v for g in groups]
    event_id = pen.event("build-inspected", build.codes, subject=project, detail={"volts": volts})
    keys = meters.keys(pen.conn)
    rows = [
        {
            "build": str(build.id),
            "group_no": number,
            "at_us": pen.now_us,
            "value": group.value_v,
            "u": group.u_v,
            "alone_u": group.alone_u_v,
            "meter": keys[group.meter] if group.meter else None,
            "charged_alone": group.charged_alone,
            "event_id": event_id,
        }
        for number, group in enumerate(groups)
    ]
    pen.conn.execute(GROUP_VOLTAGE.insert(), rows)
    for kind, numbers in held.items():
        # One cell that leaks inside drains its whole group; which one it is shows only when they are apart.
        add_upsets(pen, [c for n in numbers for c in build.groups[n]], kind, severe=False, event_id=event_id)
    return _required(pen.conn, project)


def record_run(pen: Pen, build: Build, ran_h: float, promised_h: float | None, note: str = "") -> None:
    """How long a device ran on one charge, beside what was promised; it is told in its cells' history."""
    # Infinite where the device draws next to nothing: no number of JSON.
    known = promised_h if promised_h is not None and math.isfinite(promised_h) else None
    detail = {"ran_h": round(ran_h, 2), "promised_h": None if known is None else round(known, 2)}
    pen.event("device-ran", build.codes, subject=build.project, detail=detail, because=note)


def _go_on(pen: Pen, build: Build, state: BuildState, event_id: int) -> None:
    """The build goes a step on; its project and its cells follow."""
    put(pen, event_id, {str(build.id): {"state": state.value}})
    of = [projects.key(pen.conn, build.project)]
    follow(pen.conn, builds=[str(build.id)], projects=of, cells=build.codes)


# --- giving back -----------------------------------------------------------------------------------


def dismantle(pen: Pen, project: str) -> Build:
    """Take a build apart. Cells that were built in come back as received and on hold until checked again;
    cells that were only reserved go back to where they were.
    """
    build = _required(pen.conn, project)
    built_in = build.state is BuildState.FINISHED
    event_id = pen.event("build-dismantled", build.codes, subject=project, detail={"was": build.state})
    # What a cell went through in a device nobody recorded: it comes back as unknown.
    if built_in:
        put(pen, event_id, {code: {"stage": Stage.RECEIVED.value} for code in build.codes})
        add_upsets(pen, build.codes, DISMANTLED, severe=False, event_id=event_id)
    _go_on(pen, build, BuildState.DISMANTLED, event_id)
    return next(b for b in builds(pen.conn, live_only=False) if b.id == build.id)


def drop_project(pen: Pen, name: str) -> None:
    """Give a project up; a reservation is freed. Raises BadData when it is built."""
    entry = projects.project(pen.conn, name)
    if entry.state is ProjectState.BUILT:
        raise BadData(
            f"project '{name}' is built", f"take it apart first: straycell build dismantle '{name}'"
        )
    if entry.state is ProjectState.DROPPED:
        raise BadData(f"project '{name}' was dropped before", "see: straycell project list")
    build = live_build(pen.conn, name)
    event_id = pen.event("project-dropped", build.codes if build else (), subject=name)
    of = projects.key(pen.conn, name)
    put(pen, event_id, {of: {"dropped": True}})
    if build is not None:
        _go_on(pen, build, BuildState.DISMANTLED, event_id)
    follow(pen.conn, projects=[of])


def projects_of(conn: Connection, codes: Collection[str]) -> dict[str, str]:
    """By code: the project whose live build holds the cell, for those that are in one."""
    query = (
        select(BUILD_CELL.c.code, BUILD.c.project)
        .join(BUILD, BUILD_CELL.c.build == BUILD.c.key)
        .where(among(BUILD_CELL.c.code, codes), BUILD_CELL.c.live)
    )
    rows = conn.execute(query).all()
    names = shown(conn, PROJECT) if rows else {}
    return {row.code: names[row.project] for row in rows}


def project_of(conn: Connection, code: str) -> str | None:
    """The project whose live build holds this cell."""
    return projects_of(conn, [code]).get(code)


# --- discards ---------------------------------------------------------------------------------------


def condemn_all(pen: Pen, whys: Mapping[str, str]) -> None:
    """Findings put cells out of use, unless they are already; why by code."""
    if not whys:
        return
    stages, holders = cells.stages(pen.conn, whys), projects_of(pen.conn, whys)
    # Condemned once: a second event would move the date that hand-over counts from.
    new = {c: w for c, w in whys.items() if stages[c] not in (Stage.CONDEMNED, Stage.HANDED_OVER)}
    for code in new:
        check_move(code, stages[code], Stage.CONDEMNED)
    pen.events("condemned", {code: why for code, why in new.items() if code not in holders})
    for code in sorted(new.keys() & holders.keys()):
        pen.event("condemned", [code], subject=holders[code], because=new[code])
    follow(pen.conn, cells=list(new))
    free_lost(pen, new)


def free_lost(pen: Pen, codes: Collection[str]) -> None:
    """Of these cells just condemned: a reservation that holds one is freed, and its project waits again.

    A cell that is built in stays in its build until that is dismantled: it is in there, whatever the book says.
    """
    for code, holder in sorted(projects_of(pen.conn, codes).items()):
        build = live_build(pen.conn, holder)
        if build is None:
            continue
        # A device that runs on a condemned cell is a danger, so the caller must say so at once.
        pen.lost[holder] = (code, build.state is not BuildState.RESERVED)
        if build.state is BuildState.RESERVED:
            because = f"cell {code} was condemned"
            event_id = pen.event("reservation-lost", build.codes, subject=holder, because=because)
            _go_on(pen, build, BuildState.DISMANTLED, event_id)


def discard(pen: Pen, code: str, because: str) -> str | None:
    """A person puts a cell out of use, for good. Returns the project that lost it.

    Raises BadData when it was discarded before or has left the house.
    """
    reason = require_because(because)
    stage = cells.cell(pen.conn, code).stage
    cells.require_here(pen.conn, [code])
    old = pen.conn.execute(select(CONDEMNATION).where(CONDEMNATION.c.code == code)).first()
    # The first reason stays: a second would hide what was seen then.
    if old is not None:
        raise BadData(
            f"cell {code} was discarded on {from_us(old.at_us):%Y-%m-%d}: {old.because}", "nothing to do"
        )
    holder = project_of(pen.conn, code)
    event_id = pen.event("discarded", [code], subject=holder or "", because=reason)
    row = {"key": str(pen.number("record")), "code": code, "because": reason, "at_us": pen.now_us}
    pen.conn.execute(CONDEMNATION.insert().values(**row, event_id=event_id))
    follow(pen.conn, cells=[code])
    if stage is not Stage.CONDEMNED:
        free_lost(pen, [code])
    pen.touched.add(code)
    return holder
