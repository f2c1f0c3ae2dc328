"""A verdict as JSON and back, without loss: what the store records and the command line prints."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from straycell.acceptance.reasons import Missing, Outcome, Reason, Status, Verdict


def _time(value: datetime | None) -> str | None:
    return value.isoformat() if value is not None else None


def _back(value: str | None) -> datetime | None:
    return datetime.fromisoformat(value) if value else None


def reason_to_json(reason: Reason) -> dict[str, Any]:
    """The keys people's scripts use, and what else a reason holds."""
    return {
        "rule": reason.rule,
        "status": str(reason.status),
        "ceiling": reason.ceiling.word,
        "text": reason.text,
        "observed": reason.observed,
        "expanded_uncertainty": reason.expanded_uncertainty,
        "limit": reason.limit,
        "unit": reason.unit,
        "safety": reason.safety,
        "source": reason.source,
        "reading": reason.reading,
        "at": _time(reason.at),
        "until": _time(reason.until),
        "todo": reason.todo,
        "earliest": _time(reason.earliest),
    }


def verdict_to_json(verdict: Verdict) -> dict[str, Any]:
    """One verdict with every reason."""
    return {
        "code": verdict.code,
        "outcome": verdict.outcome.word,
        "rules": verdict.rules,
        "rules_hash": verdict.rules_hash,
        "at": _time(verdict.at),
        "valid_until": _time(verdict.valid_until),
        "last_reading": verdict.last_reading,
        "reasons": [reason_to_json(r) for r in verdict.reasons],
        "missing": [{"what": m.what, "todo": m.todo, "earliest": _time(m.earliest)} for m in verdict.missing],
    }


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
        tuple(Missing(m["what"], m["todo"], _back(m["earliest"])) for m in data["missing"]),
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
        reading=data["reading"],
        at=_back(data["at"]),
        until=_back(data["until"]),
        todo=data["todo"],
        earliest=_back(data["earliest"]),
    )
