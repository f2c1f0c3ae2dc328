"""The board on a phone: what is no danger is folded by kind, and nothing dangerous ever is."""

from __future__ import annotations

from html.parser import HTMLParser

from tests.cli.bench import Bench
from tests.web.rig import Page


class _Folds(HTMLParser):
    """The words of a page inside folds and outside, and how many folds begin open."""

    def __init__(self) -> None:
        super().__init__()
        self.depth, self.open = 0, 0
        self.inside: list[str] = []
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.depth += tag == "details"
        self.open += tag == "details" and "open" in dict(attrs)

    def handle_endtag(self, tag: str) -> None:
        self.depth -= tag == "details"

    def handle_data(self, data: str) -> None:
        (self.inside if self.depth else self.outside).append(data.strip())


def test_nothing_dangerous_is_folded_away(sample_copy: Bench) -> None:
    """Each kind of the sample workshop with its count; the cells of a danger lie open, those of other kinds folded."""
    due = sample_copy.do("due")["due"]
    page = Page(sample_copy)
    page.pair()
    read = _Folds()
    read.feed(page.get("/due").text)
    folded, lie_open = " ".join(read.inside), " ".join(read.outside)
    kinds = {item["title"]: item["danger"] for item in due}
    assert set(kinds.values()) == {True, False} and read.open == 0
    for title, danger in kinds.items():
        assert title in (lie_open if danger else folded) and title not in (folded if danger else lie_open)
    dangerous = {item["subject"] for item in due if item["danger"]}
    assert len(dangerous) > 10 and all(subject in lie_open for subject in dangerous)
    assert len(lie_open) < len(folded)


def test_a_project_marks_the_cell_that_must_not_stay_in_its_device(sample_copy: Bench) -> None:
    """In words, with the reason, above what can be done; without harm there is no mark."""
    name = "greenhouse vent opener"
    sample_copy.do(f"build reserve '{name}'")
    sample_copy.do(f"build finish '{name}' --yes")
    (code,) = sample_copy.do(f"project show '{name}'")["cells"]
    page = Page(sample_copy)
    page.pair()
    assert "Stop using it" not in page.get("/project", params={"name": name}).text
    sample_copy.do(f"discard {code} --because 'it hisses'")
    shown = page.get("/project", params={"name": name}).text
    assert shown.index("Stop using it") < shown.index("it hisses") < shown.index(f"{code}</a> ✕ discard")
