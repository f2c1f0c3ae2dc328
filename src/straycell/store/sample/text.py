"""The sample workshop as text, read and checked: what it holds and which verdict each cell is there to show."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import straycell
from straycell.acceptance.reasons import Outcome
from straycell.cells import CellFacts, parse_code
from straycell.errors import BadData
from straycell.meters import Meter, meter_like
from straycell.quantities import Dimension, parse_quantity
from straycell.readings import FACTS
from straycell.store.sample.notes import Job, NoteDefaults, read_notes

_FACTS = {field.column: field for field in FACTS.values()}
_ABOUT = ("code", "pack", "box", "shows", "expect", "because", "notes", "since")


@dataclass(frozen=True, slots=True)
class SampleCell:
    """One cell of the text. `because` lists the deciding reasons as `rule status`, as the rules mean them."""

    code: str
    facts: CellFacts
    added_at: datetime
    teardown: int | None
    pack: str | None
    shows: str
    expect: Outcome
    because: tuple[str, ...]
    jobs: tuple[Job, ...]


@dataclass(frozen=True, slots=True)
class SampleTeardown:
    """One object that was opened, at `at`."""

    at: datetime
    title: str
    kind: str
    found_on: date
    place: str
    note: str
    objects: int


@dataclass(frozen=True, slots=True)
class SampleIncident:
    """Something that happened to cells."""

    at: datetime
    kind: str
    codes: tuple[str, ...]
    note: str
    severe: bool


@dataclass(frozen=True, slots=True)
class SampleBuild:
    """A project that was built and taken apart again."""

    project: str
    groups: tuple[tuple[str, ...], ...]
    reserved: datetime
    finished: datetime
    dismantled: datetime


@dataclass(frozen=True, slots=True)
class SampleProject:
    """A project file, and when it was filed; `dropped` when it was given up."""

    at: datetime
    text: str
    file: str
    dropped: datetime | None = None


@dataclass(frozen=True, slots=True)
class Sample:
    """The whole workshop. `now` is its own day: seen then, every verdict is as the text expects."""

    now: datetime
    bench: str
    blank_codes: int
    started: datetime
    meters: tuple[Meter, ...]
    boxes: tuple[tuple[str, str, float | None], ...]
    teardowns: tuple[SampleTeardown, ...]
    cells: tuple[SampleCell, ...]
    incidents: tuple[SampleIncident, ...]
    builds: tuple[SampleBuild, ...]
    projects: tuple[SampleProject, ...]


def sample_folder() -> Traversable:
    """Where the text lies: in the installed package, else in the checkout. Raises BadData when in neither."""
    packed = resources.files("straycell").joinpath("sample_db")
    checkout = Path(straycell.__file__).resolve().parents[2] / "sample_db"
    for folder in (packed, checkout):
        if folder.joinpath("workshop.toml").is_file():
            return folder
    raise BadData(
        "the sample workshop is not installed", "reinstall straycell, or run it from a full checkout"
    )


def read_sample(folder: Traversable | None = None) -> Sample:
    """Read the text of the sample workshop. Raises BadData naming the file and what is wrong in it."""
    folder = sample_folder() if folder is None else folder
    try:
        return _read(folder)
    except (KeyError, TypeError, AttributeError) as fault:
        raise BadData(f"sample workshop {folder}: {fault!r}", "see sample_db/README.md") from fault


def _read(folder: Traversable) -> Sample:
    top = _toml(folder.joinpath("workshop.toml"))
    now = _moment(top["now"])
    bench = NoteDefaults(now.year, top["hours"])
    teardowns: list[SampleTeardown] = []
    cells: list[SampleCell] = []
    for name in top["files"]:
        page = _toml(folder.joinpath(name))
        opened = page.get("teardown")
        if opened is not None:
            teardowns.append(_teardown(opened))
        number = len(teardowns) - 1 if opened is not None else None
        cells += _cells(name, page, replace(bench, usual=page.get("usual", {})), number)
    projects = [_project(folder.joinpath("projects"), entry) for entry in top["project"]]
    return Sample(
        now=now,
        bench=top["bench"],
        blank_codes=top["blank_codes"],
        started=_moment(top["started"]),
        meters=tuple(_meter(name, entry) for name, entry in top["meter"].items()),
        boxes=tuple(_box(name, entry) for name, entry in top["box"].items()),
        teardowns=tuple(teardowns),
        cells=tuple(cells),
        incidents=tuple(_incident(entry) for entry in top.get("incident", ())),
        builds=tuple(_build(entry) for entry in top.get("build", ())),
        projects=tuple(projects),
    )


def _toml(file: Traversable) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise BadData(f"sample file {file.name}: {fault}", "mend the line it names") from fault


def _moment(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise BadData(f"sample time {at} has no zone", "write it in UTC, with a Z behind it")
    return at.astimezone(UTC)


def _teardown(entry: Mapping[str, Any]) -> SampleTeardown:
    return SampleTeardown(
        _moment(entry["opened"]),
        entry["title"],
        entry["kind"],
        entry["found"],
        entry.get("place", ""),
        entry.get("note", ""),
        entry.get("objects", 1),
    )


def _cells(
    name: str, page: Mapping[str, Any], bench: NoteDefaults, teardown: int | None
) -> Iterator[SampleCell]:
    opened = page["teardown"]["opened"] if teardown is not None else None
    for entry in page["cell"]:
        code = parse_code(entry["code"])
        jobs = list(read_notes(code, entry.get("notes", ""), bench))
        shared = page.get("all", {})
        facts = {**shared, **{key: value for key, value in entry.items() if key not in _ABOUT}}
        try:
            yield SampleCell(
                code=code,
                facts=facts_of({k: v for k, v in facts.items() if k not in _ABOUT}),
                added_at=_moment(entry.get("since", opened)),
                teardown=teardown,
                pack=entry.get("pack", shared.get("pack")),
                shows=entry["shows"],
                expect=Outcome.from_word(entry["expect"]),
                because=tuple(entry["because"]),
                jobs=tuple(jobs),
            )
        except (BadData, KeyError, ValueError) as fault:
            raise BadData(f"sample file {name}, cell {code}: {fault}", "see sample_db/README.md") from fault


def facts_of(entry: Mapping[str, Any]) -> CellFacts:
    """The facts a cell's table states, quantities with their units."""
    return CellFacts(**changes_of(entry))


def changes_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The same by the store's names. Raises BadData for a key that is nothing known of a cell."""
    made: dict[str, Any] = {}
    for key, value in entry.items():
        if key not in _FACTS:
            raise BadData(f"'{key}' is not a fact of a cell")
        field = _FACTS[key]
        if field.dimension is not None:
            made[field.name] = None if value == "unknown" else parse_quantity(value, field.dimension)
        else:
            made[field.name] = field.kind(value)
    return made


def _meter(name: str, entry: Mapping[str, Any]) -> Meter:
    return replace(meter_like(name, entry["like"]), compared_on=entry.get("compared_on"))


def _box(name: str, entry: Mapping[str, Any]) -> tuple[str, str, float | None]:
    limit = entry.get("limit")
    return name, entry["kind"], parse_quantity(limit, Dimension.ENERGY) if limit else None


def _incident(entry: Mapping[str, Any]) -> SampleIncident:
    codes = tuple(parse_code(code) for code in entry["cells"])
    return SampleIncident(
        _moment(entry["at"]), entry["kind"], codes, entry["note"], entry.get("severe", False)
    )


def _build(entry: Mapping[str, Any]) -> SampleBuild:
    groups = tuple(tuple(parse_code(code) for code in group) for group in entry["groups"])
    times = (_moment(entry[step]) for step in ("reserved", "finished", "dismantled"))
    return SampleBuild(entry["project"], groups, *times)


def _project(folder: Traversable, entry: Mapping[str, Any]) -> SampleProject:
    file = folder.joinpath(entry["file"])
    dropped = entry.get("dropped")
    return SampleProject(
        _moment(entry["at"]),
        file.read_text(encoding="utf-8"),
        entry["file"],
        _moment(dropped) if dropped else None,
    )
