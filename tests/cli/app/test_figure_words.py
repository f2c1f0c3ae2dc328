"""Figures for people: bench units, per cent, times; JSON keeps SI."""

from __future__ import annotations

import re

import pytest
from tests.cli.bench import Bench

from straycell.acceptance.rules import Shown, shipped_rules
from straycell.bench.wording.figure_words import figure, limit_words

LIMITS = shipped_rules().limits


@pytest.mark.parametrize(
    ("value", "unit", "expanded", "kind", "shown"),
    [
        (0.038, "ohm", 0.0016, Shown.PLAIN, "38.0 ± 1.6 mohm"),
        (1.4, "ohm", None, Shown.PLAIN, "1.4 ohm"),
        (0.5, "1", None, Shown.PLAIN, "50%"),
        (1.04, "1", 0.012, Shown.PLAIN, "104.0 ± 1.2%"),
        (1.13, "1", 0.077, Shown.TIMES, "1.130 ± 0.077 times"),
        (0.9, "1", None, Shown.TIMES, "0.9 times"),
        (2.06, "Ah", None, Shown.PLAIN, "2060 mAh"),
        (0.12, "ohm Ah", None, Shown.PLAIN, "120 mohm Ah"),
        (0.5, "C", None, Shown.RATE, "0.5C"),
        (45.0, "C", None, Shown.PLAIN, "45 C"),
        (3.0, "V", None, Shown.PLAIN, "3 V"),
        (5.07, "%/month", 0.82, Shown.PLAIN, "5.07 ± 0.82 %/month"),
        ("swollen", "", None, Shown.PLAIN, "swollen"),
        (None, "V", None, Shown.PLAIN, None),
    ],
)
def test_a_figure_is_written_as_at_a_bench(
    value: float | str | None, unit: str, expanded: float | None, kind: Shown, shown: str | None
) -> None:
    """Resistances in mohm, shares in per cent, ratios as times; the value to the place of its uncertainty."""
    assert figure(value, unit, expanded, kind) == shown


@pytest.mark.parametrize(
    ("limit", "shown"),
    [
        ("rest-time", "at least 1.5 h"),
        ("capacity", "at least 80% for pack, 70% for solo, 50% for light"),
        ("voltage-floor", "at least 2 V for 4.2 V chemistries, 1.5 V for lfp, 1.5 V for any other"),
        ("look-deformed", "dented rust"),
        ("rate-in", "at most 0.2C for light, 0.5C for solo, 0.5C for pack"),
        ("error-resistance", "10% of the reading, and 20 mohm"),
        ("condemned", None),
    ],
)
def test_a_limit_is_told_in_words(limit: str, shown: str | None) -> None:
    """The figures of shipped.toml, without the words of the file."""
    assert limit_words(LIMITS[limit]) == shown


@pytest.mark.parametrize("limit", list(LIMITS))
def test_no_limit_shows_internal_words(limit: str) -> None:
    """No `max any`, no bare unit 1, no fraction of an ohm."""
    shown = limit_words(LIMITS[limit]) or ""
    assert not re.search(r"\b(any \d|min |max |gain|offset)|(?<![\d.]) 1$|0\.0\d+ (ohm|Ah|V)\b", shown), shown


def test_the_pages_follow_and_json_keeps_si(bench: Bench) -> None:
    """A capacity share on the page in per cent, in the document as it is."""
    code = bench.do("cell add --marking 'INR18650 2500mAh'")[0]["code"]
    page = bench.run(f"verdict show {code}").out
    assert re.search(r"^capacity +unmeasured +- +50% ", page, re.MULTILINE)
    reasons = bench.do(f"verdict show {code}")["reasons"]
    assert next(r for r in reasons if r["rule"] == "capacity")["limit"] == 0.5
    rules = bench.run("rules show").out
    assert "max any" not in rules and " 1\n" not in rules and "at most" in rules


def test_one_limit_is_shown_by_its_id_with_what_it_rests_on(bench: Bench) -> None:
    """Page and document; the kinds of source in plain words, those of the cautions likewise."""
    (limit,) = bench.do("rules show warming")["limits"]
    assert limit["id"] == "warming" and limit["grounds"] == ["practice"]
    page = " ".join(bench.run("rules show charge-temperature").out.split())
    assert "rests on makers' data sheets" in page and "warming" not in page
    cautions = " ".join(bench.run("cautions --step discard --sources").out.split())
    assert "an authority's advice" in cautions and "nobody published a figure" in cautions


def test_an_unknown_limit_is_named_with_the_nearest(bench: Bench) -> None:
    """Bad data: what there is not, what was perhaps meant, where all of them are."""
    words = bench.refused("rules show voltage-flor", 3)
    assert "voltage-flor" in words and "voltage-floor" in words and "rules show" in words


@pytest.mark.parametrize(
    ("rule", "limit"),
    [
        ("capacity-discard", "capacity"),
        ("sibling-look-first", "sibling-look"),
        ("resistance-solo", "resistance"),
        ("shelf-loss", "self-discharge-discard"),
    ],
)
def test_a_rule_as_a_verdict_names_it_shows_its_limit(bench: Bench, rule: str, limit: str) -> None:
    """As the limit says, else the longest one that the rule's name begins with; a whole name stays what it is."""
    done = bench.run(f"rules show {rule}")
    assert f"\n{limit}" in done.out and f"judged under {limit}" in " ".join(done.err.split())
    assert [each["id"] for each in bench.do(f"rules show {rule}")["limits"]] == [limit]
    assert bench.run("rules show self-discharge-discard").err == ""
