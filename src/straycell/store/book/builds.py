"""Builds: cells promised to a project, built in, given back. A cell is in one live build at most."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.acceptance.evidence import DISMANTLED
from straycell.acceptance.reasons import Outcome
from straycell.builds import Build, BuildState
from straycell.cells import Stage, check_move
from straycell.errors import BadData, NegativeAnswer
from straycell.store.book import cells, projects
from straycell.store.book.records import ProjectState
from straycell.store.column_values import from_us, opt_time
from straycell.store.schema.tables import BUILD, BUILD_CELL, CELL, CONDEMNATION, UPSET
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen, among, insert_one
from straycell.store.verdicts import siblings
from straycell.store.verdicts.evidence import evidences
from straycell.store.verdicts.recorded import judge

# --- looking ---------------------------------------------------------------------------------------


def builds(conn: Connection, *, live_only: bool) -> list[Build]:
    """All builds, or those not dismantled, in the order they were reserved."""
    query = select(BUILD).order_by(BUILD.c.id)
    if live_only:
        query = query.where(BUILD.c.state != BuildState.DISMANTLED.value)
    return _builds(conn, conn.execute(query).all())


def live_build(conn: Connection, project: str) -> Build | None:
    """The build of a project that is reserved or finished."""
    query = select(BUILD).where(BUILD.c.project == project, BUILD.c.state != BuildState.DISMANTLED.value)
    found = _builds(conn, conn.execute(query).all())
    return found[0] if found else None


def _builds(conn: Connection, rows: Sequence[Row[Any]]) -> list[Build]:
    numbers = [row.id for row in rows]
    places = conn.execute(
        select(BUILD_CELL.c.build_id, BUILD_CELL.c.group_no, BUILD_CELL.c.code)
        .where(among(BUILD_CELL.c.build_id, numbers))
        .order_by(BUILD_CELL.c.build_id, BUILD_CELL.c.group_no, BUILD_CELL.c.position)
    ).all()
    groups: dict[int, dict[int, list[str]]] = {number: {} for number in numbers}
    for build_id, group_no, code in places:
        groups[build_id].setdefault(group_no, []).append(code)
    return [
        Build(
            id=row.id,
            project=row.project,
            state=BuildState(row.state),
            groups=tuple(tuple(codes) for codes in groups[row.id].values()),
            plan=row.plan,
            reserved_at=from_us(row.reserved_at_us),
            finished_at=opt_time(row.finished_at_us),
            dismantled_at=opt_time(row.dismantled_at_us),
        )
        for row in rows
    ]


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
    """Promise cells to a pending project; each cell's verdict is made anew under the write lock.

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
        raise BadData(f"cell {doubled[0]} stands twice in the plan", "a cell has one place")
    cells.require_cells(pen.conn, codes)
    stages = cells.stages(pen.conn, codes)
    _require_free(pen.conn, codes, stages)
    require_usable(pen, codes, Outcome.PACK if len(codes) > 1 else Outcome.LIGHT)
    event_id = pen.event("build-reserved", codes, subject=project, detail={"groups": groups, "plan": plan})
    build_id = insert_one(
        pen.conn,
        BUILD,
        project=project,
        state=BuildState.RESERVED.value,
        plan=plan,
        reserved_at_us=pen.now_us,
        event_id=event_id,
    )
    rows = [
        {
            "build_id": build_id,
            "group_no": g,
            "position": p,
            "code": code,
            "live": True,
            "stage_before": stages[code],
        }
        for g, group in enumerate(groups)
        for p, code in enumerate(group)
    ]
    pen.conn.execute(BUILD_CELL.insert(), rows)
    for code in codes:
        cells.move_stage(pen, code, Stage.RESERVED)
    projects.set_state(pen, project, ProjectState.RESERVED)
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
        if holder is None and stages[code] in (Stage.RECEIVED, Stage.SHELVED):
            continue
        where = f" for project '{holder}'" if holder else ""
        raise NegativeAnswer(
            f"cell {code} is {stages[code]}{where} and cannot be reserved", "match the project anew"
        )


def require_usable(pen: Pen, codes: Sequence[str], least: Outcome) -> None:
    """Raise NegativeAnswer for the first cell whose verdict, made now, is worse than `least`."""
    for code, evidence in sorted(evidences(pen.conn, codes).items()):
        verdict = judge(evidence, pen.rules, pen.now)
        if verdict.outcome < least:
            why = "; ".join(reason.text for reason in verdict.deciding[:2])
            raise NegativeAnswer(
                f"cell {code} is {verdict.outcome.word} now, {least.word} is needed"
                + (f": {why}" if why else ""),
                f"see: straycell verdict show {code}",
            )


def finish(pen: Pen, project: str) -> Build:
    """The cells are built in. Raises NegativeAnswer when one of them is no longer fit to be."""
    build = _required(pen.conn, project)
    if build.state is not BuildState.RESERVED:
        raise BadData(f"the build of '{project}' is {build.state} already", "see: straycell project show")
    require_usable(pen, build.codes, Outcome.PACK if len(build.codes) > 1 else Outcome.LIGHT)
    pen.event("build-finished", build.codes, subject=project)
    _end(pen, build, state=BuildState.FINISHED.value, finished_at_us=pen.now_us)
    for code in build.codes:
        cells.move_stage(pen, code, Stage.INSTALLED)
    pen.conn.execute(CELL.update().where(among(CELL.c.code, build.codes)).values(box=None))
    projects.set_state(pen, project, ProjectState.BUILT)
    return _required(pen.conn, project)


def _end(pen: Pen, build: Build, **values: object) -> None:
    pen.conn.execute(BUILD.update().where(BUILD.c.id == build.id).values(**values))


# --- giving back -----------------------------------------------------------------------------------


def dismantle(pen: Pen, project: str) -> Build:
    """Take a build apart. Cells that were built in come back as received and on hold until checked anew;
    cells that were only reserved go back to where they were.
    """
    build = _required(pen.conn, project)
    built_in = build.state is BuildState.FINISHED
    event_id = pen.event("build-dismantled", build.codes, subject=project, detail={"was": build.state})
    _release(pen, build, back_to=Stage.RECEIVED if built_in else None)
    if built_in:
        add_upsets(pen, build.codes, DISMANTLED, severe=False, event_id=event_id)
    projects.set_state(pen, project, ProjectState.PENDING)
    return next(b for b in builds(pen.conn, live_only=False) if b.id == build.id)


def _release(pen: Pen, build: Build, back_to: Stage | None) -> None:
    _end(pen, build, state=BuildState.DISMANTLED.value, dismantled_at_us=pen.now_us)
    places = pen.conn.execute(select(BUILD_CELL).where(BUILD_CELL.c.build_id == build.id)).all()
    pen.conn.execute(BUILD_CELL.update().where(BUILD_CELL.c.build_id == build.id).values(live=False))
    stages = cells.stages(pen.conn, build.codes)
    for place in places:
        if stages[place.code] in (Stage.RESERVED, Stage.INSTALLED):
            cells.move_stage(pen, place.code, back_to or Stage(place.stage_before))


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
    pen.event("project-dropped", build.codes if build else (), subject=name)
    if build is not None:
        _release(pen, build, back_to=None)
    projects.set_state(pen, name, ProjectState.DROPPED)


def projects_of(conn: Connection, codes: Collection[str]) -> dict[str, str]:
    """By code: the project whose live build holds the cell, for those that are in one."""
    query = (
        select(BUILD_CELL.c.code, BUILD.c.project)
        .join(BUILD, BUILD_CELL.c.build_id == BUILD.c.id)
        .where(among(BUILD_CELL.c.code, codes), BUILD_CELL.c.live)
    )
    return {row.code: row.project for row in conn.execute(query)}


def project_of(conn: Connection, code: str) -> str | None:
    """The project whose live build holds this cell."""
    query = (
        select(BUILD.c.project)
        .join(BUILD_CELL, BUILD_CELL.c.build_id == BUILD.c.id)
        .where(BUILD_CELL.c.code == code, BUILD_CELL.c.live)
    )
    return conn.execute(query).scalar()


# --- discards and incidents ------------------------------------------------------------------------


def condemn_all(pen: Pen, whys: Mapping[str, str]) -> None:
    """Verdicts of discard put cells out of use, unless they are already; why by code."""
    if not whys:
        return
    stages, holders = cells.stages(pen.conn, whys), projects_of(pen.conn, whys)
    new = {c: w for c, w in whys.items() if stages[c] not in (Stage.CONDEMNED, Stage.HANDED_OVER)}
    free = {code: why for code, why in new.items() if code not in holders}
    for code in free:
        check_move(code, stages[code], Stage.CONDEMNED)
    pen.events("condemned", free)
    pen.conn.execute(CELL.update().where(among(CELL.c.code, free)).values(stage=Stage.CONDEMNED.value))
    for code, why in new.items():
        if code not in free:
            pen.event("condemned", [code], subject=holders[code], because=why)
            put_out_of_use(pen, code)


def put_out_of_use(pen: Pen, code: str) -> None:
    """Condemn a cell and free its reservation; the other cells go back and the project waits again.

    A cell that is built in stays in its build until that is dismantled: it is in there, whatever the book says.
    """
    holder = project_of(pen.conn, code)
    build = live_build(pen.conn, holder) if holder else None
    cells.move_stage(pen, code, Stage.CONDEMNED)
    if holder and build:
        pen.lost[holder] = (code, build.state is not BuildState.RESERVED)
    if holder and build and build.state is BuildState.RESERVED:
        pen.event("reservation-lost", build.codes, subject=holder, because=f"cell {code} was condemned")
        _release(pen, build, back_to=None)
        projects.set_state(pen, holder, ProjectState.PENDING)


def discard(pen: Pen, code: str, because: str) -> str | None:
    """A person puts a cell out of use, for good. Returns the project that lost it.

    Raises BadData when it was discarded before or has left the house.
    """
    reason = require_because(because)
    stage = cells.cell(pen.conn, code).stage
    if stage is Stage.HANDED_OVER:
        raise BadData(f"cell {code} was handed over already", "check the code")
    old = pen.conn.execute(select(CONDEMNATION).where(CONDEMNATION.c.code == code)).one_or_none()
    if old is not None:
        raise BadData(
            f"cell {code} was discarded on {from_us(old.at_us):%Y-%m-%d}: {old.because}", "nothing to do"
        )
    holder = project_of(pen.conn, code)
    event_id = pen.event("discarded", [code], subject=holder or "", because=reason)
    if stage is not Stage.CONDEMNED:
        put_out_of_use(pen, code)
    pen.conn.execute(
        CONDEMNATION.insert().values(code=code, because=reason, at_us=pen.now_us, event_id=event_id)
    )
    pen.touched.add(code)
    return holder


def add_upsets(pen: Pen, codes: Iterable[str], kind: str, *, severe: bool, event_id: int) -> None:
    """Something happened to these cells; their verdicts follow."""
    listed = list(dict.fromkeys(codes))
    rows = [
        {"code": c, "kind": kind, "at_us": pen.now_us, "severe": severe, "event_id": event_id} for c in listed
    ]
    pen.conn.execute(UPSET.insert(), rows)
    pen.touched.update(listed)
    if kind in siblings.seen_as():
        pen.kin |= siblings.siblings_of(pen.conn, listed)


def add_incident(pen: Pen, kind: str, codes: Sequence[str], note: str, *, severe: bool) -> int:
    """Record an incident; returns its number. Raises BadData without a kind or a cell."""
    if not kind.strip() or not codes:
        raise BadData(
            "an incident needs a kind and the cells it happened to", "see: straycell incident add --help"
        )
    cells.require_cells(pen.conn, codes)
    event_id = pen.event("incident", codes, subject=kind, detail={"severe": severe}, because=note)
    add_upsets(pen, codes, kind, severe=severe, event_id=event_id)
    return event_id
