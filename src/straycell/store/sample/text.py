"""The sample workshop as text, read and checked: what it holds and which verdict each cell is there to show."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from straycell.acceptance import Outcome
from straycell.cells import CellFacts, parse_code
from straycell.errors import BadData
from straycell.meters import Meter, meter_like
from straycell.projects import parse_project
from straycell.quantities import Dimension, parse_quantity
from straycell.shipped import PACKAGE
from straycell.store.book.records import Box
from straycell.store.sample.notes import Deed, Job, NoteDefaults, changes_of, read_notes
from straycell.store.writer import Writer

_ABOUT = ("code", "pack", "box", "shows", "expect", "because", "notes", "since")


@dataclass(frozen=True, slots=True)
class SampleCell:
    """One cell of the text. `because` lists the deciding reasons as `rule status`, as the rules mean them."""

    code: str
    facts: CellFacts
    at: datetime
    teardown: int | None
    pack: str | None
    shows: str
    expect: Outcome
    because: tuple[str, ...]
    jobs: tuple[Job, ...]


@dataclass(frozen=True, slots=True)
class Sample:
    """The whole workshop. `now` is its own day: seen then, every verdict is as the text expects.

    `later` are incidents, projects, builds and dropped projects, in the order in which they go on one evening.
    """

    now: datetime
    bench: str
    blank_codes: int
    started: datetime
    meters: tuple[Meter, ...]
    boxes: tuple[Box, ...]
    teardowns: tuple[Deed, ...]
    cells: tuple[SampleCell, ...]
    later: tuple[Deed, ...]


def sample_folder() -> Path:
    """Where the text lies: in the installed package, else in the checkout. Raises BadData when in neither."""
    for folder in (PACKAGE / "sample_db", PACKAGE.resolve().parents[1] / "sample_db"):
        if folder.joinpath("workshop.toml").is_file():
            return folder
    raise BadData(
        "the sample workshop is not installed", "reinstall straycell, or run it from a full checkout"
    )


def read_sample(folder: Path | None = None) -> Sample:
    """Read the text of the sample workshop. Raises BadData naming the file and what is wrong in it."""
    folder = sample_folder() if folder is None else folder
    try:
        return _read(folder)
    except (KeyError, TypeError, AttributeError) as fault:
        raise BadData(f"sample workshop {folder}: {fault!r}", "see sample_db/README.md") from fault


def _read(folder: Path) -> Sample:
    top = _toml(folder.joinpath("workshop.toml"))
    now = _moment(top["now"])
    bench = NoteDefaults(now.year, top["hours"])
    teardowns: list[Deed] = []
    cells: list[SampleCell] = []
    for name in top["files"]:
        page = _toml(folder.joinpath(name))
        opened = page.get("teardown")
        if opened is not None:
            teardowns.append(_teardown(opened))
        number = len(teardowns) - 1 if opened is not None else None
        cells += _cells(name, page, replace(bench, usual=page.get("usual", {})), number)
    projects = [_project(folder.joinpath("projects"), entry) for entry in top["project"]]
    later = [*map(_incident, top.get("incident", ())), *(filed for filed, _ in projects)]
    later += [step for entry in top.get("build", ()) for step in _build(entry)]
    later += [dropped for _, dropped in projects if dropped is not None]
    return Sample(
        now=now,
        bench=top["bench"],
        blank_codes=top["blank_codes"],
        started=_moment(top["started"]),
        meters=tuple(_meter(name, entry) for name, entry in top["meter"].items()),
        boxes=tuple(_box(name, entry) for name, entry in top["box"].items()),
        teardowns=tuple(teardowns),
        cells=tuple(cells),
        later=tuple(later),
    )


def _toml(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        raise BadData(f"sample file {file.name}: {fault}", "mend the line it names") from fault


def _moment(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise BadData(f"sample time {at} has no zone", "write it in UTC, with a Z behind it")
    return at.astimezone(UTC)


def _teardown(entry: Mapping[str, Any]) -> Deed:
    at, more = (
        _moment(entry["opened"]),
        (entry.get("place", ""), entry.get("note", ""), entry.get("objects", 1)),
    )
    return Deed(at, Writer.add_teardown, (entry["title"], entry["kind"], entry["found"], *more))


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
                facts=CellFacts(**changes_of({k: v for k, v in facts.items() if k not in _ABOUT})),
                at=_moment(entry.get("since", opened)),
                teardown=teardown,
                pack=entry.get("pack", shared.get("pack")),
                shows=entry["shows"],
                expect=Outcome.from_word(entry["expect"]),
                because=tuple(entry["because"]),
                jobs=tuple(jobs),
            )
        except (BadData, KeyError, ValueError) as fault:
            raise BadData(f"sample file {name}, cell {code}: {fault}", "see sample_db/README.md") from fault


def _meter(name: str, entry: Mapping[str, Any]) -> Meter:
    return replace(meter_like(name, entry["like"]), compared_on=entry.get("compared_on"))


def _box(name: str, entry: Mapping[str, Any]) -> Box:
    limit = entry.get("limit")
    return Box(name, entry["kind"], parse_quantity(limit, Dimension.ENERGY) if limit else None)


def _incident(entry: Mapping[str, Any]) -> Deed:
    codes = tuple(parse_code(code) for code in entry["cells"])
    said = (entry["kind"], codes, entry["note"], entry.get("severe", False))
    return Deed(_moment(entry["at"]), Writer.add_incident, said)


def _build(entry: Mapping[str, Any]) -> Iterator[Deed]:
    """Reserved, built, taken apart again."""
    groups = tuple(tuple(parse_code(code) for code in group) for group in entry["groups"])
    yield Deed(_moment(entry["reserved"]), Writer.reserve, (entry["project"], groups, "by hand"))
    yield Deed(_moment(entry["finished"]), Writer.finish, (entry["project"],))
    yield Deed(_moment(entry["dismantled"]), Writer.dismantle, (entry["project"],))


def _project(folder: Path, entry: Mapping[str, Any]) -> tuple[Deed, Deed | None]:
    """When a project file was filed, and when it was given up."""
    text, dropped = folder.joinpath(entry["file"]).read_text(encoding="utf-8"), entry.get("dropped")
    found = parse_project(text, source=entry["file"], base=None)
    filed = Deed(_moment(entry["at"]), Writer.add_project, (found.name, text, found.priority, found.due))
    return filed, Deed(_moment(dropped), Writer.drop_project, (found.name,)) if dropped else None
