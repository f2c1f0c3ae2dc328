"""The build sheet: what is drawn is what is planned, each cell once a side, all on the page, readable."""

from __future__ import annotations

from itertools import combinations, product

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.labels.label_bench import NOW

from straycell.cells import next_codes, position_name
from straycell.labels.boxes import Box
from straycell.labels.build_sheet import BuildSheet, Section, SheetPage, lay_out_sheet
from straycell.labels.build_sheet_drawing import Face, SheetCell, connections, planned
from straycell.labels.build_sheet_render import SIGN_ARM, SIGN_THICK, build_sheet_pdf
from straycell.labels.faces import text_width, wrapped

CODES = next_codes("T", 300, 300)
SHAPES = [(1, 1), (1, 2), (3, 2), (4, 4), (13, 20), (2, 1), (14, 1), (1, 30), (2, 40), (30, 3)]
SMALLEST_MM = 1.6
"""About 4.5 pt: the smallest print that a person reads without a glass."""


def sheet(
    series: int,
    parallel: int,
    *sections: Section,
    title: str = "reed-bed gauge",
    flat: bool = False,
) -> BuildSheet:
    """An invented pack with figures on every cell."""
    groups = tuple(
        tuple(
            SheetCell(
                position_name(s + 1, p + 1),
                CODES[s * parallel + p],
                p + 1 if parallel > 1 else 0,
                "2400 mAh, 45.2 mohm, 3.801 V",
            )
            for p in range(parallel)
        )
        for s in range(series)
    )
    return BuildSheet(title, ("needs 8 h",), groups, sections, "foot", flat)


def pages(content: BuildSheet) -> list[SheetPage]:
    return lay_out_sheet(content)


def faces(content: BuildSheet) -> list[Face]:
    return [face for page in pages(content) for face in page.faces]


def overlap(one: Box, other: Box) -> bool:
    """By more than rounding."""
    return (
        min(one.right, other.right) - max(one.x, other.x) > 0.01
        and min(one.bottom, other.bottom) - max(one.y, other.y) > 0.01
    )


def circuit(series: int, parallel: int) -> set[frozenset[str]]:
    """Which ends share a node in such a pack, written out by hand of the law of a battery: group by group."""
    nodes: list[set[str]] = [set() for _ in range(series + 1)]
    for group, place in product(range(1, series + 1), range(1, parallel + 1)):
        name = position_name(group, place)
        nodes[group - 1].add(name + "-")
        nodes[group].add(name + "+")
    nodes[0].add("pack -")
    nodes[series].add("pack +")
    return {frozenset(node) for node in nodes}


def nodes_of(joins: list[tuple[str, str]]) -> set[frozenset[str]]:
    """The drawn joins melted together: everything that metal connects, without the names of bars and links."""
    found: list[set[str]] = []
    for pair in joins:
        touched = [node for node in found if node & set(pair)]
        found = [node for node in found if node not in touched] + [set(pair).union(*touched)]
    return {frozenset(n for n in node if not n.startswith(("bar", "link"))) for node in found}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("flat", [False, True])
def test_every_drawn_connection_is_the_one_planned_and_no_other(shape: tuple[int, int], flat: bool) -> None:
    """Read out of the shapes: each end by one tab to one bar, plus to the next group's minus; nothing else."""
    content = sheet(*shape, flat=flat)
    joins = connections(faces(content))
    assert set(joins) == planned(shape[0], [[c.position for c in group] for group in content.groups])
    assert nodes_of(joins) == circuit(*shape)
    tabs = [end for end, other in joins if other.startswith("bar") and not end.startswith("bar")]
    assert len(tabs) == len(set(tabs)) == 2 * shape[0] * shape[1]


def test_a_tab_drawn_to_a_wrong_bar_is_noticed() -> None:
    """The check itself: one tab lengthened to the neighbour's bar is another circuit."""
    drawn = faces(sheet(2, 2))
    face = drawn[1]
    x1, y1, x2, _ = face.tabs[0]
    other = face.bars[1].box
    face.tabs[0] = (x1, y1, x2, other.y + other.height / 2)
    assert nodes_of(connections(drawn)) != circuit(2, 2)


@pytest.mark.parametrize("shape", [(2, 3), (3, 2), (13, 20)])
def test_the_rear_is_the_front_seen_from_behind(shape: tuple[int, int]) -> None:
    """Each cell shows its other end there, in the same row, on the mirrored column."""
    front, rear = faces(sheet(*shape))
    left = min(d.x for d in front.discs) + max(d.x for d in front.discs)
    there = {d.name[:-1]: d for d in rear.discs}
    for disc in front.discs:
        turned = there[disc.name[:-1]]
        assert disc.plus != turned.plus
        assert turned.x == pytest.approx(left - disc.x)


@pytest.mark.parametrize("shape", SHAPES)
def test_everything_stands_on_the_page_apart_from_everything_else(shape: tuple[int, int]) -> None:
    """No two texts, no text over metal, no two discs overlap; nothing is smaller than an eye reads."""
    content = sheet(*shape, Section("Checks", ("a long line " * 20, "short"), True))
    for page in pages(content):
        width, height = page.size
        texts = page.texts + [t for f in page.faces for t in f.texts]
        metal = [s.box for f in page.faces for s in (*f.bars, *f.links, *f.leads)]
        boxes = [t.box for t in texts] + page.outlines + metal
        assert all(
            b.x >= 10 and b.y >= 10 and b.right <= width - 10 and b.bottom <= height - 10 for b in boxes
        )
        assert all(t.size_mm >= SMALLEST_MM for t in texts)
        assert not any(overlap(a, b) for a, b in combinations([t.box for t in texts], 2))
        assert not any(overlap(t.box, b) for t in texts for b in metal)
        discs = [d for f in page.faces for d in f.discs]
        assert not any(
            (a.x - b.x) ** 2 + (a.y - b.y) ** 2 < (a.radius + b.radius) ** 2
            for a, b in combinations(discs, 2)
        )


def test_a_large_pack_is_drawn_on_two_pages_one_a_side() -> None:
    """13 in series of 20: front, rear, and the text on pages of its own."""
    drawn = pages(sheet(13, 20))
    assert [len(page.faces) for page in drawn][:3] == [1, 1, 0]
    assert all(len(page.faces[0].discs) == 260 for page in drawn[:2])


@pytest.mark.parametrize("shape", SHAPES[1:])
def test_a_name_in_a_disc_keeps_clear_of_its_rim(shape: tuple[int, int]) -> None:
    """Seen on paper: a j or g whose tail runs into the rim is read as an i or o, so 10j as 10i."""
    for face in faces(sheet(*shape)):
        for disc in face.discs:
            (name,) = [
                t
                for t in face.texts
                if t.text == disc.name[:-1] and disc.holds(t.box.x + t.box.width / 2, t.box.y)
            ]
            for x in (name.box.x, name.box.right):
                away = ((x - disc.x) ** 2 + (name.box.bottom - disc.y) ** 2) ** 0.5
                assert away <= 0.93 * disc.radius
            sign = disc.sign_y + (SIGN_ARM if disc.plus else 0.5 * SIGN_THICK) * disc.radius
            assert name.box.y >= sign + 0.05 * disc.radius


def words_of(content: BuildSheet) -> str:
    document = pypdfium2.PdfDocument(build_sheet_pdf(content, NOW))
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def test_every_cell_is_named_on_both_sides_and_in_the_list() -> None:
    """By code and position, read back from the file."""
    content = sheet(3, 4)
    told = words_of(content).split()
    for cell in (cell for group in content.groups for cell in group):
        assert told.count(cell.code) == 3 and told.count(cell.position) == 3


def test_a_sheet_of_one_cell_speaks_of_one_cell() -> None:
    """No group, no link, no front and rear; the fuse has its place."""
    told = words_of(sheet(1, 1))
    assert "FUSE" in told and CODES[0] in told
    assert not any(word in told.lower() for word in ("group", "link", "front", "rear", "joining"))


def test_one_group_is_not_called_a_string() -> None:
    """1S2P: two cells side by side, no link."""
    told = words_of(sheet(1, 2))
    assert "LINK" not in told and "one group" in told and "group 1" not in told


def test_plus_ends_are_black_and_minus_ends_white_on_paper() -> None:
    """In the pixels of the printed page: what a person sees at each end."""
    content = sheet(2, 2)
    page = pypdfium2.PdfDocument(build_sheet_pdf(content, NOW))[0]
    scale = 8.0
    picture = page.render(scale=scale * 25.4 / 72, grayscale=True).to_pil()
    for face in pages(content)[0].faces:
        for disc in face.discs:
            x, y = disc.x + 0.8 * disc.radius, disc.y
            ink = picture.getpixel((round(x * scale), round(y * scale)))
            assert (ink < 60) == disc.plus


@pytest.mark.parametrize(
    ("group", "place", "name"), [(1, 1, "1a"), (2, 2, "2b"), (13, 26, "13z"), (1, 27, "1aa"), (3, 53, "3ba")]
)
def test_positions_go_on_after_z(group: int, place: int, name: str) -> None:
    """Like the columns of a table; no two places share a name."""
    assert position_name(group, place) == name
    assert len({position_name(1, k) for k in range(1, 1001)}) == 1000


def test_the_same_sheet_is_the_same_file() -> None:
    """Byte for byte; dates come from the argument."""
    content = sheet(2, 2, Section("Checks", ("one",), True))
    assert build_sheet_pdf(content, NOW) == build_sheet_pdf(content, NOW)


@pytest.mark.parametrize("title", ["x" * 80, "Ω mega lamp ☃", "a"])
@pytest.mark.parametrize("shape", [(1, 2), (13, 20)])
def test_any_title_a_project_may_have_is_printed(title: str, shape: tuple[int, int]) -> None:
    """As long as a name may be, with letters the font lacks."""
    assert build_sheet_pdf(sheet(*shape, title=title), NOW).startswith(b"%PDF")


@examples(30)
@given(st.text(alphabet="abc defghij", max_size=120), st.floats(8, 60))
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: float) -> None:
    """However long a word is."""
    lines = wrapped(text, 3.0, width)
    assert all(text_width(line, 3.0, False) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_ticks_are_drawn_for_checks_alone() -> None:
    """A square before each line to be ticked, none before a note."""
    plain, ticked = (pages(sheet(1, 1, Section("S", ("a", "b"), ticks)))[0] for ticks in (False, True))
    assert len(ticked.outlines) - len(plain.outlines) == 2
