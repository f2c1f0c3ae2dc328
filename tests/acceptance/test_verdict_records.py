"""Verdicts as the store keeps them: brief, and nothing of them lost."""

from __future__ import annotations

import json
from dataclasses import replace

from hypothesis import given
from tests.acceptance.bench import Bench, good
from tests.acceptance.test_verdict_laws import benches

from straycell.acceptance import Missing
from straycell.acceptance.reasons import Work, WorkKind
from straycell.acceptance.record import verdict_from_record, verdict_to_json, verdict_to_record


@given(benches())
def test_a_verdict_comes_back_whole_from_its_record(bench: Bench) -> None:
    """Through JSON text and back, with any evidence."""
    verdict = bench.verdict(41.0)
    assert verdict_from_record(json.loads(json.dumps(verdict_to_record(verdict)))) == verdict


def test_a_record_needs_no_rule_set_to_be_read() -> None:
    """Texts, limits, units and sources are all in it: an older rule set may be gone."""
    verdict = good().verdict()
    text = json.dumps(verdict_to_record(verdict))
    assert all(
        json.dumps(reason.source) in text and json.dumps(reason.text) in text for reason in verdict.reasons
    )


def test_a_record_says_nothing_twice() -> None:
    """Every source stands once, and it takes a quarter less room than the full form at the least."""
    for verdict in (good().verdict(), good(capacity=None, second=None).verdict()):
        brief, full = (json.dumps(form(verdict)) for form in (verdict_to_record, verdict_to_json))
        assert all(brief.count(json.dumps(reason.source)) == 1 for reason in verdict.reasons)
        assert len(brief) <= 0.75 * len(full)


def test_a_step_that_belongs_to_no_reason_is_kept_in_words() -> None:
    """Nothing ties the list of what is missing to the reasons for ever."""
    verdict = replace(
        good(second=None).verdict(), missing=(Missing("a cup of tea", Work(WorkKind.WAIT, "drink it")),)
    )
    assert verdict_from_record(verdict_to_record(verdict)) == verdict


def test_records_in_the_full_form_of_older_versions_are_read() -> None:
    """A store written before the brief form is no older version: both forms stand side by side in it."""
    verdict = good().verdict()
    assert verdict_from_record(verdict_to_json(verdict)) == verdict
