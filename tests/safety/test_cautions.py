"""The cautions: every step has its own, every one has a source, and quiet never hides a danger."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.acceptance.grounds import Ground
from straycell.safety import (
    Caution,
    Kind,
    Step,
    all_cautions,
    cautions_for,
    cautions_for_all,
    spoken_cautions,
)

FAMILY = re.compile(
    r"EPA|ESFI|PHMSA|UN |IEC|cell sheet|cell maker|handbook|vendor practice|common practice", re.IGNORECASE
)


def ids(cautions: list[Caution]) -> list[str]:
    return [c.id for c in cautions]


@pytest.mark.parametrize("caution", all_cautions(), ids=lambda c: c.id)
def test_each_caution_is_whole(caution: Caution) -> None:
    """Words, shorter words, a step or standing, and a source of a known family."""
    assert caution.text and caution.short and len(caution.short) < len(caution.text)
    assert len(caution.text) <= 240
    assert bool(caution.steps) != caution.standing
    assert FAMILY.search(caution.source)


def test_no_caution_has_the_id_of_another() -> None:
    """Screens and labels refer to them by id."""
    names = [c.id for c in all_cautions()]
    assert len(names) == len(set(names))


def test_every_caution_says_what_kind_of_source_it_has() -> None:
    """What is from memory or common practice in its words is so in its kinds of source."""
    for caution in all_cautions():
        assert caution.grounds
        assert (Ground.MEMORY in caution.grounds) is ("from memory" in caution.source)
        assert (Ground.PRACTICE in caution.grounds) is ("common practice" in caution.source)


@pytest.mark.parametrize("step", list(Step))
def test_every_step_has_at_least_one_danger_and_few_words(step: Step) -> None:
    """The ones that matter there: a wall of text is not read."""
    here = cautions_for(step)
    own = [c for c in here if not c.standing]
    assert any(c.kind is Kind.DANGER for c in own)
    assert len(own) <= 4
    assert here[-1].standing
    kinds = [c.kind is Kind.DANGER for c in own]
    assert kinds == sorted(kinds, reverse=True)


@pytest.mark.parametrize("step", list(Step))
def test_quiet_shortens_but_never_removes_a_danger(step: Step) -> None:
    """Every danger is still there, in fewer words, and so is the deferral."""
    full, quiet = cautions_for(step), cautions_for(step, quiet=True)
    dangers = [c.id for c in full if c.kind is Kind.DANGER]
    assert [c for c in ids(quiet) if c in dangers] == dangers
    assert quiet[-1].standing
    assert sum(len(c.text) for c in quiet) < sum(len(c.text) for c in full)


STEPS = st.lists(st.sampled_from(list(Step)), max_size=4)
TOLD = st.frozensets(st.sampled_from([c.id for c in all_cautions()]))


@given(STEPS, TOLD, st.booleans())
def test_no_danger_is_ever_left_out(steps: list[Step], told: frozenset[str], quiet: bool) -> None:
    """In full where it is new today, else in its short words, whatever was read before and however quiet."""
    texts, now_told = spoken_cautions(steps, told, quiet=quiet)
    said = " ".join(texts)
    for caution in (c for step in steps for c in cautions_for(step) if c.kind is Kind.DANGER):
        concerned = min((s for s in steps if s in (*caution.steps, *caution.last)), key=list(Step).index)
        short = quiet or caution.id in told or concerned in caution.last
        assert (caution.short if short else caution.text) in said
    assert not set(now_told) & told and not (quiet and [n for n in now_told if not n.endswith("least")])


@given(STEPS, TOLD)
def test_what_was_read_today_is_said_in_fewer_words(steps: list[Step], told: frozenset[str]) -> None:
    """Reading it once more never takes longer; the deferral comes at once or, beside many dangers, one screen later."""
    first, read = spoken_cautions(steps, told)
    _, more = spoken_cautions(steps, told.union(read))
    third, none = spoken_cautions(steps, told.union(read, more))
    assert set(more) <= {c.id for c in cautions_for_all(steps) if c.standing} and not none
    assert sum(map(len, third)) <= sum(map(len, first)) + len(steps)
    assert "Local rules" not in " ".join(third)
    assert not steps or "standing" in told.union(read, more)


@given(st.lists(st.sampled_from(list(Step)), min_size=1, max_size=3))
def test_only_what_was_said_in_full_counts_as_read(steps: list[Step]) -> None:
    """A danger of which only the short words were shown is shown in full when its own step comes."""
    texts, read = spoken_cautions(steps, frozenset())
    whole = {c.id for c in cautions_for_all(steps) if c.text in texts}
    standing = {c.id for c in cautions_for_all(steps) if c.standing}
    assert whole <= set(read) <= whole | standing


def test_a_step_can_be_named_by_its_word_and_a_wrong_one_is_refused() -> None:
    """A misspelt step must not silently show nothing."""
    assert cautions_for("discard") == cautions_for(Step.DISCARD)
    with pytest.raises(ValueError, match="discharged"):
        cautions_for("discharged")


# After a discard, what US EPA and the carriage rules ask for (words that must be there)
DISCARD = """
isolate      stop measuring
isolate      swollen, leaking, burnt
isolate      outdoors
tape-ends    tape both terminals
tape-ends    bag each cell alone
not-the-bin  household or recycling bin
not-the-bin  collection point
discard-box  does not burn
discard-box  apart from good cells
"""


@pytest.mark.parametrize("line", DISCARD.strip().splitlines())
def test_a_discard_says_what_to_do_with_the_cell_now(line: str) -> None:
    """Tape, separate, non-combustible, not in household waste; damaged ones outdoors and left alone."""
    name, words = line.split(maxsplit=1)
    texts = {c.id: c.text.lower() for c in cautions_for(Step.DISCARD)}
    assert words in texts[name]


def test_a_discard_starts_with_what_every_cell_needs() -> None:
    """Tape and bag, the collection point, the box; what only a damaged cell needs comes after them."""
    dangers = [c.id for c in cautions_for(Step.DISCARD) if not c.standing]
    assert dangers == ["tape-ends", "discard-box", "isolate", "not-the-bin"]
    assert next(c.id for c in cautions_for(Step.DISCARD, quiet=True)) == "tape-ends"


@pytest.mark.parametrize(
    "steps", [[Step.LOOK_BAD], [Step.LOOK_BAD, Step.DISCARD], [Step.INCIDENT, Step.DISCARD]]
)
def test_damage_that_was_seen_comes_first(steps: list[Step]) -> None:
    """A swollen cell is put outdoors before anybody tapes it."""
    assert cautions_for_all(steps)[0].id == "isolate"


def test_a_primary_is_told_never_to_be_charged_first() -> None:
    """The worst error of all stands on top, also in quiet."""
    assert cautions_for(Step.PRIMARY)[0].id == "never-charge-primary"
    assert "never charge" in cautions_for(Step.PRIMARY, quiet=True)[0].text.lower()


def test_charging_names_the_limits_of_the_published_figures() -> None:
    """4.20 V and 3.65 V, 45 C from cell sheets; 0.1C below 3.0 V from a sheet's precautions."""
    limits = next(c for c in cautions_for(Step.CHARGING) if c.id == "charge-limits")
    assert all(figure in limits.text for figure in ("4.20 V", "3.65 V", "45 C"))
    gently = next(c for c in cautions_for(Step.TEST_CHARGE) if c.id == "test-charge-gently")
    assert "3.0 V" in gently.text and "0.1C" in gently.short


def test_the_deferral_claims_no_conformity() -> None:
    """Local rules, the maker's data, a qualified person; outside IEC 63338 and UL 1974."""
    standing = [c for c in all_cautions() if c.standing]
    assert len(standing) == 1
    for word in ("Local rules", "maker's data", "qualified person", "no standard", "IEC 63338", "UL 1974"):
        assert word in standing[0].text
    assert "no standard" in standing[0].short


@pytest.mark.parametrize("quiet", [False, True])
def test_several_steps_at_once_say_each_caution_once(quiet: bool) -> None:
    """A discarded pouch that is handed over: all dangers, no repetition, the deferral last and once."""
    steps = [Step.POUCH, Step.DISCARD, Step.HANDOVER]
    together = cautions_for_all(steps, quiet=quiet)
    assert len(ids(together)) == len(set(ids(together)))
    assert set(ids(together)) == {c.id for step in steps for c in cautions_for(step, quiet=quiet)}
    assert together[-1].standing
    assert cautions_for_all([]) == []


def test_no_text_names_a_maker_or_a_part() -> None:
    """Own words: plain kinds of things only, no capitals that look like a part number."""
    for caution in all_cautions():
        words = re.findall(r"\b[A-Z]{2,}\d+\w*\b", caution.text)
        assert not words
