"""A verdict as JSON and back, without loss: in full, as the command line prints it, and brief, as the store keeps it.

Brief, nothing is said twice: names of columns and sources appear once, what to do refers to its reason.
"""

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from operator import attrgetter
from typing import Any

from straycell.acceptance.reasons import (
    Missing,
    Outcome,
    Reason,
    Status,
    Verdict,
    work_from_json,
    work_to_json,
)
from straycell.keys import key_of


def _time(value: datetime | None) -> str | None:
    return value.isoformat() if value is not None else None


def _back(value: str | None) -> datetime | None:
    return datetime.fromisoformat(value) if value else None


def reason_to_json(reason: Reason, code: str) -> dict[str, Any]:
    """The keys people's scripts use, and what else a reason holds."""
    # Keys are fixed (people's scripts read them): a new field is added, none is renamed.
    return dict(zip(_COLUMNS, _row(reason, code), strict=True))


def _head(verdict: Verdict) -> dict[str, Any]:
    return {
        "code": verdict.code,
        "outcome": verdict.outcome.word,
        "rules": verdict.rules,
        "rules_hash": verdict.rules_hash,
        "at": _time(verdict.at),
        "valid_until": _time(verdict.valid_until),
        "last_reading": verdict.last_reading,
    }


def verdict_to_json(verdict: Verdict) -> dict[str, Any]:
    """One verdict with every reason."""
    return {
        **_head(verdict),
        "reasons": [reason_to_json(r, verdict.code) for r in verdict.reasons],
        "missing": [_missing_to_json(missing, verdict.code) for missing in verdict.missing],
    }


def _missing_to_json(missing: Missing, code: str) -> dict[str, Any]:
    return {
        "what": missing.what,
        "todo": work_to_json(missing.todo, code),
        "earliest": _time(missing.earliest),
    }


def _missing_from_json(data: Mapping[str, Any]) -> Missing:
    todo = work_from_json(data["todo"])
    assert todo is not None
    return Missing(data["what"], todo, _back(data["earliest"]))


def verdict_from_json(data: Mapping[str, Any]) -> Verdict:
    """The inverse of verdict_to_json."""
    at = _back(data["at"])
    assert at is not None
    return Verdict(
        data["code"],
        Outcome.from_word(data["outcome"]),
        data["rules"],
        data["rules_hash"],
        tuple(_reason(r) for r in data["reasons"]),
        tuple(map(_missing_from_json, data["missing"])),
        at,
        _back(data["valid_until"]),
        data["last_reading"],
    )


def _reason(data: Mapping[str, Any]) -> Reason:
    return Reason(
        rule=data["rule"],
        status=Status(data["status"]),
        ceiling=Outcome.from_word(data["ceiling"]),
        text=data["text"],
        observed=data["observed"],
        expanded_uncertainty=data["expanded_uncertainty"],
        limit=data["limit"],
        unit=data["unit"],
        safety=data["safety"],
        source=data["source"],
        reading=key_of(data["reading"]) if data["reading"] else None,
        at=_back(data["at"]),
        until=_back(data["until"]),
        todo=work_from_json(data["todo"]),
        earliest=_back(data["earliest"]),
        finding=data.get("finding", False),
        recorded=_back(data.get("recorded")),
        figure=data.get("figure", ""),
    )


# --- brief -----------------------------------------------------------------------------------------

# A store of 100,000 cells holds millions of reasons: names and sources written once halve each record.
_COLUMNS = tuple(field.name for field in fields(Reason))
_values = attrgetter(*_COLUMNS)
_SOURCE, _CEILING, _READING, _TODO = (
    _COLUMNS.index(name) for name in ("source", "ceiling", "reading", "todo")
)
_TIMES = tuple(_COLUMNS.index(name) for name in ("at", "until", "earliest", "recorded"))


def verdict_to_record(verdict: Verdict) -> dict[str, Any]:
    """The whole verdict in about half the room: readable without the rule set it was made under."""
    numbers: dict[str, int] = {}
    rows = [_row(reason, verdict.code) for reason in verdict.reasons]
    for row in rows:
        row[_SOURCE] = numbers.setdefault(row[_SOURCE], len(numbers))
    return {
        **_head(verdict),
        "sources": list(numbers),
        "columns": _COLUMNS,
        "reasons": rows,
        "missing": [_brief_missing(missing, verdict) for missing in verdict.missing],
    }


def _row(reason: Reason, code: str) -> list[Any]:
    row = list(_values(reason))
    row[_CEILING] = reason.ceiling.word
    row[_READING] = None if reason.reading is None else str(reason.reading)
    if reason.todo is not None:
        row[_TODO] = work_to_json(reason.todo, code)
    for place in _TIMES:
        if (at := row[place]) is not None:
            row[place] = at.isoformat()
    return row


def _brief_missing(missing: Missing, verdict: Verdict) -> int | dict[str, Any]:
    """The place of the reason that says the same, else all of it."""
    # Nearly every task repeats its reason word for word; its place costs one number.
    for place, reason in enumerate(verdict.reasons):
        if (reason.text, reason.todo, reason.earliest) == (missing.what, missing.todo, missing.earliest):
            return place
    return _missing_to_json(missing, verdict.code)


def verdict_from_record(data: Mapping[str, Any]) -> Verdict:
    """The inverse of verdict_to_record; verdicts that older versions recorded in full are read as well."""
    # Recorded verdicts are append-only, so those written by earlier versions stay readable for ever.
    if "columns" not in data:
        return verdict_from_json(data)
    reasons = [dict(zip(data["columns"], row, strict=True)) for row in data["reasons"]]
    for reason in reasons:
        reason["source"] = data["sources"][reason["source"]]
    missing = [
        reasons[m] | {"what": reasons[m]["text"]} if isinstance(m, int) else m for m in data["missing"]
    ]
    return verdict_from_json({**data, "reasons": reasons, "missing": missing})
