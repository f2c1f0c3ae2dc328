"""The rule file of a person, and conformance against the table of the normal distribution (guard band: ILAC-G8:09/2019)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from straycell.acceptance import conformance_probability, load_rules, read_rules, shipped_rules
from straycell.acceptance.grounds import Ground
from straycell.acceptance.reasons import Side, against_max, against_min
from straycell.acceptance.rules import Limit
from straycell.errors import BadData
from straycell.quantities import Measured

SHIPPED = shipped_rules()


@pytest.mark.parametrize(
    ("below", "above", "published"),
    [(1.0, 1.0, 0.6827), (2.0, 2.0, 0.9545), (3.0, 3.0, 0.9973), (1.0, 2.0, 0.8186), (0.0, 1.0, 0.3413)],
)
def test_two_limits_conformance_is_the_area_between_them(
    below: float, above: float, published: float
) -> None:
    """The normal distribution between `below` and `above` times u, as its table has it."""
    found = conformance_probability(13.6, 1.8, 13.6 - below * 1.8, 13.6 + above * 1.8)
    assert found == pytest.approx(published, abs=0.0001)


@pytest.mark.parametrize(
    ("z", "published"), [(0.0, 0.5), (1.0, 0.158655), (1.645, 0.0500), (2.0, 0.0227501), (3.0, 0.00134990)]
)
def test_one_sided_nonconformance(z: float, published: float) -> None:
    """P(nonconforming) at (y - limit)/u = z: table of the normal distribution."""
    assert 1 - conformance_probability(2.0 + z * 0.01, 0.01, lower=2.0) == pytest.approx(published, rel=2e-3)


def test_the_guard_band_of_u_keeps_false_acceptance_below_2_5_percent() -> None:
    """ILAC-G8 / w = U = 2u: 2.28 % at the acceptance limit."""
    value = Measured(2.02, 0.01)
    assert against_min(value, 2.0) is Side.CLEAR
    assert 1 - conformance_probability(value.value, value.u, lower=2.0) == pytest.approx(0.0228, abs=1e-4)


@pytest.mark.parametrize(
    ("value", "side"), [(2.021, Side.CLEAR), (2.019, Side.CLOSE), (1.981, Side.CLOSE), (1.979, Side.BEYOND)]
)
def test_three_sides_of_a_limit(value: float, side: Side) -> None:
    """Clear, close, beyond; the mirrored limit answers alike."""
    assert against_min(Measured(value, 0.01), 2.0) is side
    assert against_max(Measured(4.0 - value, 0.01), 2.0) is side


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper"),
    [(1.0, -0.1, 0.0, None), (float("nan"), 0.1, 0.0, None), (1.0, 0.1, 2.0, 1.0)],
)
def test_useless_uncertainties_and_crossed_limits_are_refused(
    value: float, u: float, lower: float | None, upper: float | None
) -> None:
    """A clear error, no number."""
    with pytest.raises(BadData):
        conformance_probability(value, u, lower, upper)


def test_an_exact_value_conforms_or_not() -> None:
    """No uncertainty: one or zero, the limits belonging to the inside."""
    assert conformance_probability(2.0, 0.0, 2.0, None) == 1.0
    assert conformance_probability(1.9, 0.0, 2.0, None) == 0.0


def test_every_shipped_limit_has_a_source_and_what_it_decides() -> None:
    """A number without a source does not ship."""
    for limit in shipped_rules().limits.values():
        assert limit.source and limit.decides and limit.text and limit.bound in ("min", "max", "words"), (
            limit.id
        )


@pytest.mark.parametrize("limit", shipped_rules().limits.values(), ids=lambda limit: limit.id)
def test_every_limit_says_what_kind_of_source_it_has(limit: Limit) -> None:
    """In a fixed order, the surest first; what is from memory or common practice says so in its source too."""
    order = list(Ground)
    assert limit.grounds and list(limit.grounds) == sorted(set(limit.grounds), key=order.index)
    assert (Ground.MEMORY in limit.grounds) is ("from memory" in limit.source)
    if "common practice" in limit.source:
        assert Ground.PRACTICE in limit.grounds


def test_no_figure_that_decides_safety_is_from_memory() -> None:
    """A limit that guards against a danger rests on a text that was seen, or is said to be common practice."""
    deciding = [each for each in shipped_rules().limits.values() if each.safety or each.feeds_safety]
    assert len(deciding) > 100 and not [each.id for each in deciding if Ground.MEMORY in each.grounds]


def test_a_limit_of_a_persons_own_file_rests_on_their_word(tmp_path: Path) -> None:
    """What was published for the shipped figure was not published for theirs."""
    rules = load_rules(write(tmp_path, 'name = "x"\n[[limit]]\nid = "capacity"\nvalues = { pack = 0.9 }\n'))
    assert rules.limits["capacity"].grounds == (Ground.PERSON,)
    assert rules.limits["rest-time"].grounds == (Ground.REPORT,)


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_person_may_tighten_anything_and_loosen_what_is_no_safety_rule(tmp_path: Path) -> None:
    """The merged rules have their own name and hash."""
    text = """
name = "bench-rules"
[[limit]]
id = "voltage-floor"
values = { "4.2V" = 2.2 }
[[limit]]
id = "capacity"
values = { pack = 0.75 }
[[limit]]
id = "look-deformed"
words = ["dented", "rust", "smell"]
"""
    rules = load_rules(write(tmp_path, text))
    assert rules.name == "bench-rules" and rules.hash != shipped_rules().hash
    assert rules.figure("voltage-floor", "4.2V") == 2.2 and rules.figure(
        "voltage-floor", "lfp"
    ) == SHIPPED.figure("voltage-floor", "lfp")
    assert rules.figure("capacity", "pack") == 0.75
    assert "smell" in rules.limit("look-deformed").words


SAFETY = [limit for limit in SHIPPED.limits.values() if limit.safety and limit.values]


@pytest.mark.parametrize("limit", SAFETY, ids=lambda limit: limit.id)
def test_no_safety_limit_can_be_loosened(limit: Any, tmp_path: Path) -> None:
    """Every one of them, by a hair, is refused with the reason."""
    key, own = next(iter(limit.values.items()))
    figure = own - 1e-6 if limit.bound == "min" else own + 1e-6
    path = write(
        tmp_path, f'name = "x"\n[[limit]]\nid = "{limit.id}"\nvalues = {{ "{key}" = {figure:.9f} }}\n'
    )
    rules, faults = read_rules(path)
    assert rules is None and "cannot be loosened" in faults[0]


def test_words_of_a_safety_rule_cannot_be_dropped(tmp_path: Path) -> None:
    """Leaving out 'rust' is loosening."""
    _, faults = read_rules(
        write(tmp_path, 'name = "x"\n[[limit]]\nid = "look-deformed"\nwords = ["dented"]\n')
    )
    assert "rust" in faults[0]


FAULTS = """
nam = "typo"
[[limit]]
id = "voltage-flor"
value = 2.5
[[limit]]
id = "voltage-floor"
value = 1.0
[[limit]]
id = "capacity"
values = { packs = 0.9, solo = "much" }
[[limit]]
value = 3
[[limit]]
id = "warming"
safety = false
value = 8
[[limit]]
id = "warming"
value = 9
[[limit]]
id = "condemned"
words = []
"""


def test_all_faults_of_a_rule_file_are_reported_in_one_pass(tmp_path: Path) -> None:
    """Nothing is taken, and each fault names its place and what was expected."""
    rules, faults = read_rules(write(tmp_path, FAULTS))
    text = "\n".join(faults)
    assert rules is None
    for expected in (
        "name: there is none",
        "nam: unknown",
        "did you mean voltage-floor",
        "cannot be loosened",
        "unknown key 'packs'",
        "'much'",
        "expected an id",
        "'safety' cannot be set",
        "named twice",
        "no figures or words",
    ):
        assert expected in text, expected


def test_an_empty_rule_file_lacks_its_name(tmp_path: Path) -> None:
    """It is said that there is none, and how to write one; a name that is no text is shown."""
    _, faults = read_rules(write(tmp_path, ""))
    assert len(faults) == 1 and "there is none" in faults[0] and 'name = "my bench"' in faults[0]
    _, faults = read_rules(write(tmp_path, "name = 3"))
    assert "found 3" in faults[0]


def test_a_rule_file_that_cannot_be_taken_is_told_in_three_lines(tmp_path: Path) -> None:
    """Two faults, the number of the others, and the command that shows them all."""
    with pytest.raises(BadData) as caught:
        load_rules(write(tmp_path, FAULTS))
    lines = caught.value.lines()
    assert len(lines) == 3 and "name: there is none" in lines[0] and lines[1].startswith("nam: unknown")
    assert lines[2].startswith("and 8 more") and "straycell rules check" in lines[2]
    assert max(map(len, lines)) < 300


def test_one_loosened_safety_rule_is_one_fault(tmp_path: Path) -> None:
    """Its keys together: one value for three chemistries is one slip."""
    text = 'name = "mine"\n[[limit]]\nid = "voltage-floor"\nvalue = 1.0\n'
    _, faults = read_rules(write(tmp_path, text))
    assert len(faults) == 1 and faults[0].count("at least") == 3


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"\xff\xfe", "UTF-8"), (b"name = ", "TOML"), (b"limit = 3\nname='x'", "double brackets")],
)
def test_files_that_are_no_rule_files(tmp_path: Path, content: bytes, word: str) -> None:
    """Each kind has its own words."""
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    rules, faults = read_rules(path)
    assert rules is None and word in faults[-1]
    with pytest.raises(BadData):
        load_rules(path)


def test_a_missing_rule_file_is_named(tmp_path: Path) -> None:
    """What, which one, what to do."""
    with pytest.raises(BadData, match=r"absent\.toml"):
        load_rules(tmp_path / "absent.toml")
