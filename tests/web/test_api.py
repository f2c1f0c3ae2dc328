"""`/api/v1` against its own description, against `--json`, and against those who hold no token."""

from __future__ import annotations

import json
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from tests.cli.bench import Bench
from tests.drawing import examples
from tests.web.rig import Page

CHECKS = (not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance)
few_requests = examples(20)


@pytest.fixture
def token(bench: Bench) -> str:
    """A token that may write."""
    found: str = bench.do("serve token logger")["token"]
    return found


@pytest.fixture
def headers(token: str) -> dict[str, str]:
    """What a script sends with each request."""
    return {"authorization": f"Bearer {token}"}


def described(page: Page, headers: dict[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = page.fresh_client().get("/api/v1/openapi.json", headers=headers).json()
    return found


def operations(page: Page, headers: dict[str, str], code: str) -> list[tuple[str, str]]:
    return [
        (method.upper(), "/api/v1" + path.replace("{code}", code))
        for path, methods in described(page, headers)["paths"].items()
        for method in methods
    ]


def test_the_answers_are_those_of_the_command_line(
    page: Page, bench: Bench, code: str, headers: dict[str, str]
) -> None:
    """The same documents, key by key, at the same moment."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    pairs = {
        "/cells": "cell list",
        "/cells?outcome=hold": "cell list --outcome hold",
        f"/cells/{code}": f"cell show {code}",
        f"/cells/{code}/history": f"cell history {code}",
        f"/cells/{code}/verdict": f"verdict show {code}",
        "/stock": "stock",
    }
    client = page.fresh_client()
    for path, line in pairs.items():
        assert client.get(f"/api/v1{path}", headers=headers).json() == bench.do(line), path
    assert client.get("/api/v1/due", headers=headers).json()["due"] == bench.do("due")["due"]


def test_a_reading_is_recorded_as_by_hand_and_once_for_its_key(
    page: Page, bench: Bench, code: str, headers: dict[str, str]
) -> None:
    """Sent again with its key the answer is the same; without a key it is another reading."""
    client, path = page.fresh_client(), f"/api/v1/cells/{code}/readings"
    body = {"voltage_v": 3.71, "rested_s": 43200, "temperature_c": 21, "meter": "hand", "look": ["clean"]}
    keyed = headers | {"idempotency-key": "logger-000001"}
    first, second = (client.post(path, json=body, headers=keyed) for _ in range(2))
    assert first.status_code == 200 and first.json() == second.json()
    assert [item["quantity"] for item in first.json()] == ["look", "voltage"]
    assert bench.do(f"cell show {code}")["readings"][1]["value"] == 3.71
    assert client.post(path, json=body, headers=headers).json() != first.json()
    # A logger that uses one key for all: the second value is another measurement.
    low = client.post(path, json={"voltage_v": 1.2}, headers=keyed)
    assert low.status_code == 200 and [item["value"] for item in low.json()] == [1.2]
    charge = {"current_a": 0.5, "until_v": 4.2, "temperature_c": 21}
    made = client.post(f"/api/v1/cells/{code}/charges", json=charge, headers=headers)
    assert made.json()[0]["until_v"] == 4.2
    assert bench.run("store check").code == 0


BROKEN = [
    {},
    {"voltage_v": 37},
    {"voltage_v": "3.7 V"},
    {"volts": 3.7},
    {"look": ["shiny"]},
    {"look": ["clean", "dented"]},
    {"capacity_ah": 2.0},
    {"mass_g": 45, "at": "2999-01-01"},
    {"mass_g": 45, "meter": "nobody's"},
    {"mass_g": 45, "meter": "a\u0000b"},
]


@pytest.mark.parametrize("body", BROKEN, ids=json.dumps)
def test_a_body_that_cannot_be_taken_is_refused_with_what_to_do(
    page: Page, bench: Bench, code: str, headers: dict[str, str], body: dict[str, Any]
) -> None:
    """And records nothing."""
    before = bench.store.read_bytes()
    answer = page.fresh_client().post(f"/api/v1/cells/{code}/readings", json=body, headers=headers)
    assert answer.status_code == 422 and answer.json()["fault"]
    assert bench.store.read_bytes() == before


def test_nothing_without_a_token(page: Page, bench: Bench, code: str, headers: dict[str, str]) -> None:
    """Not by a wrong one, not by a device's cookie, not by a token in the place of a cookie."""
    before = bench.store.read_bytes()
    listed = operations(page, headers, code)
    assert len(listed) >= 8
    token = headers["authorization"].removeprefix("Bearer ")
    for method, path in listed:
        for wrong in (
            {},
            {"authorization": "Bearer x.y"},
            {"authorization": f"Basic {token}"},
            {"authorization": "Bearer"},
        ):
            assert page.fresh_client().request(method, path, headers=wrong).status_code == 401, path
        assert page.client.request(method, path).status_code == 401, "a device's cookie is not a token"
    posing = page.fresh_client()
    posing.cookies["straycell"] = token
    assert posing.get("/device", follow_redirects=False).status_code == 303
    assert bench.store.read_bytes() == before


def test_a_token_that_looks_records_nothing(page: Page, bench: Bench, code: str) -> None:
    """Its scope is kept with it."""
    look = {"authorization": f"Bearer {bench.do('serve token display --look')['token']}"}
    client, path = page.fresh_client(), f"/api/v1/cells/{code}"
    assert client.get(path, headers=look).status_code == 200
    assert client.post(f"{path}/readings", json={"mass_g": 45}, headers=look).status_code == 403
    assert bench.do(f"cell show {code}")["readings"] == []


def test_no_request_that_the_description_allows_or_forbids_breaks_the_bench(
    page: Page, bench: Bench, code: str, headers: dict[str, str]
) -> None:
    """schemathesis draws them: no 5xx, no status and no fault that is not described, and the store stays sound."""
    page.site.requests.allows = lambda client: True  # type: ignore[method-assign]
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", page.app, headers=headers)
    operations = [result.ok() for result in schema.get_all_operations()]
    assert len(operations) == 8
    for operation in operations:
        allowed, forbidden = (
            operation.as_strategy(generation_mode=mode) for mode in schemathesis.GenerationMode
        )

        @settings(few_requests, suppress_health_check=list(HealthCheck))
        @given(case=st.one_of(allowed, forbidden), known=st.booleans())
        def send(case: Any, known: bool) -> None:
            if known and "code" in case.path_parameters:
                case.path_parameters["code"] = code
            case.call_and_validate(headers=headers, checks=CHECKS)

        send()
    assert bench.run("store check").code == 0
