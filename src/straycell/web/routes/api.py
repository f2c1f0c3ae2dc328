"""`/api/v1`: the same answers as `--json`, for a logger or a script with a token of its own."""

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Header, Path, Query
from pydantic import BaseModel, ConfigDict, Field, create_model
from starlette.requests import Request
from starlette.responses import Response

from straycell import __version__
from straycell.acceptance import Outcome, verdict_to_json
from straycell.bench.cell_list import Wanted, cell_list
from straycell.bench.cell_sheet import cell_history, cell_sheet
from straycell.bench.context import Bench, SentForm, SentTwice
from straycell.bench.paper.inventory import boxes_now
from straycell.bench.recording.record import record_charge, record_readings
from straycell.bench.verdict_words import OutcomeWord
from straycell.bench.wording import shapes
from straycell.cells import Look, Stage, parse_code
from straycell.quantities import CELL_WINDOWS
from straycell.readings import OF_CHARGE, OF_READING, ROOM
from straycell.readings import Field as Recorded
from straycell.safety.due.gather import due_now, survey
from straycell.typed import parse_line, parse_time
from straycell.web import view
from straycell.web.routes.record import LONGEST_KEY, entry_key, new_key
from straycell.web.site import Site

LONGEST_TEXT = 500


class Fault(BaseModel):
    """What went wrong, and what to do."""

    fault: str
    remedy: str = ""


_CAN_FAIL: dict[int | str, dict[str, Any]] = {
    code: {"model": Fault, "description": HTTPStatus(code).phrase}
    for code in (400, 401, 403, 404, 413, 422, 429, 503)
}


def _body(name: str, fields: list[Recorded], needed: tuple[str, ...], **more: Any) -> type[BaseModel]:
    """A body that holds what can be recorded, by the names of `readings.fields`, within what can be typed."""
    made: dict[str, Any] = {}
    for each in fields:
        window = each.typed or (CELL_WINDOWS.get(each.dimension) if each.dimension else None)
        limits: dict[str, Any] = {"ge": window.low, "le": window.high} if window else {}
        # A text is kept for ever in a history that is append-only, so its length is bounded at the door.
        limits |= {"max_length": LONGEST_TEXT} if each.kind is str else {}
        words = f"{each.noun}: {each.help}"
        kind: Any = float if each.dimension else list[Look] if each.kind is Look else each.kind
        required = each.name in needed
        made[each.name] = (
            kind if required else kind | None,
            Field(... if required else None, description=words, **limits),
        )
    # A misspelt key would be dropped in silence, and NaN is neither below nor above any limit.
    strict = ConfigDict(extra="forbid", allow_inf_nan=False)
    return create_model(name, __config__=strict, **made, **more)


_AT = (str | None, Field(None, description="ISO 8601; without it, now", max_length=60))
_METER = (str | None, Field(None, description="What it was taken with", max_length=LONGEST_TEXT))
NewReadings = _body("NewReadings", list(OF_READING.values()), (), meter=_METER, at=_AT)
NewCharge = _body("NewCharge", [*OF_CHARGE.values(), ROOM], ("current_a",), at=_AT)
Code = Annotated[str, Path(description="The code on the cell", max_length=20)]
Text = Annotated[str | None, Query(max_length=LONGEST_TEXT)]
Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=8,
        max_length=LONGEST_KEY,
        pattern="^[!-~]+$",
        description="The same body sent again with the same key is recorded once and answered alike",
    ),
]


async def site_of(request: Request) -> Site:
    """The running page."""
    site: Site = request.scope["state"]["site"]
    return site


Here = Annotated[Site, Depends(site_of)]
api = FastAPI(
    title="straycell bench",
    version=__version__,
    description="The answers of `straycell --json`. Every request bears a token: `Authorization: Bearer TOKEN`.",
    # The pages of the framework load scripts from another machine.
    docs_url=None,
    redoc_url=None,
    responses=_CAN_FAIL,
)


@api.get("/cells")
def cells(
    site: Here,
    outcome: OutcomeWord | None = None,
    stage: Stage | None = None,
    box: Text = None,
    search: Text = None,
) -> Response:
    """As `cell list`."""
    bench = site.bench()
    wanted = Wanted(Outcome.from_word(outcome.value) if outcome else None, stage, box=box, search=search)
    with bench.reading() as reader:
        found = cell_list(reader, bench.rules, bench.now, wanted)
    return view.answer([shapes.listed_json(each) for each in found])


@api.get("/cells/{code}")
def cell(site: Here, code: Code) -> Response:
    """As `cell show`."""
    return view.answer(shapes.sheet_json(cell_sheet(site.bench(), parse_code(code))))


@api.get("/cells/{code}/history")
def history(site: Here, code: Code) -> Response:
    """As `cell history`."""
    found = cell_history(site.bench(), parse_code(code))
    return view.answer([shapes.event_json(event) for event in found.events])


@api.get("/cells/{code}/verdict")
def verdict(site: Here, code: Code) -> Response:
    """As `verdict show`."""
    return view.answer(verdict_to_json(cell_sheet(site.bench(), parse_code(code)).verdict))


@api.post("/cells/{code}/readings")
def add_readings(site: Here, code: Code, body: NewReadings, key: Key = None) -> Response:  # type: ignore[valid-type]
    """As `reading add`: several quantities are recorded together."""
    return _record(site, code, body, key, charge=False)


@api.post("/cells/{code}/charges")
def add_charge(site: Here, code: Code, body: NewCharge, key: Key = None) -> Response:  # type: ignore[valid-type]
    """As `charge add`; its time is when it ended."""
    return _record(site, code, body, key, charge=True)


@api.get("/due")
def due(site: Here) -> Response:
    """What must be looked at, as `due` has it."""
    bench = site.bench()
    with bench.reading() as reader:
        household = reader.household(bench.rules, bench.now)
    found = due_now(survey(household), bench.now)
    return view.answer({"at": bench.now, "due": [shapes.due_json(item, bench.now) for item in found]})


@api.get("/stock")
def stock(site: Here) -> Response:
    """As `stock`."""
    return view.answer([shapes.stock_json(box) for box in boxes_now(site.bench())])


def _record(site: Site, typed: str, body: BaseModel, key: str | None, *, charge: bool) -> Response:
    """The items as `--json` prints them; those of the first sending where the key is known."""
    now = site.settings.clock()
    with site.bench().reading() as reader:
        # By the whole code: a logger that sends the last digits could meet another cell next year.
        code = reader.find_code(parse_code(typed))
    # A flag that is not set was not said.
    said = {
        name: value for name, value in body.model_dump().items() if value is not None and value is not False
    }
    at = parse_time(said.pop("at"), now) if "at" in said else None
    texts = {name: parse_line(said[name], name) for name in ("meter", "charger") if name in said}
    said |= {"charger": texts["charger"]} if "charger" in texts else {}
    said.pop("meter", None)
    if "look" in said:
        said["look"] = tuple(said["look"])
        if not said["look"]:
            del said["look"]
    sent = SentForm(code, entry_key(key or new_key(), body.model_dump()))
    bench = site.bench(sent)
    try:
        if charge:
            items = record_charge(bench, code, said, at=at).items
        else:
            items = record_readings(bench, code, said, meter=texts.get("meter"), at=at).items
    # A logger whose answer got lost sends again: the value must not be in the history twice.
    except SentTwice:
        return view.answer(_sent_before(bench, code, sent.key))
    return view.answer([shapes.item_json(item, bench.rules.defaults) for item in items])


def _sent_before(bench: Bench, code: str, key: str) -> list[shapes.Json]:
    """What was recorded when this key came first."""
    found = cell_history(bench, code)
    event = next(event for event in found.events if event.detail.get("entry") == key)
    return [shapes.item_json(each.item, bench.rules.defaults) for each in found.recorded.get(event.id, ())]
