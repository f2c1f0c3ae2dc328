"""The embedded faces: what they can print, how wide it is, and what they say of what they lack."""

from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from PIL import Image, ImageChops, ImageDraw, ImageFont
from tests.labels.label_bench import NOW, page_texts

from straycell.errors import UsageFault
from straycell.files.write import write_whole
from straycell.labels.content import Line
from straycell.labels.document import TEXT, Paper
from straycell.labels.faces import (
    CODE_ADVANCE,
    advances,
    code_width,
    face_file,
    missing_glyphs,
    shown,
    text_width,
)

SAMPLES = ["Łódź Ærø Ñandú ß", "Ωμέγα", "Жук ґЇ", "± ≥ ≤ µ Ω ° × → € – — … ✓"]


def picture(letter: str) -> Image.Image:
    """One letter of the code face, 200 dots to the size, its origin at (20, 180)."""
    image = Image.new("L", (160, 240), 255)
    font = ImageFont.truetype(face_file("code"), 200)
    ImageDraw.Draw(image).text((20, 180), letter, font=font, fill=0, anchor="ls")
    return image


@pytest.mark.parametrize("text", SAMPLES)
def test_latin_greek_cyrillic_and_signs_are_embedded(text: str) -> None:
    """In both weights; and another program extracts them from the PDF as written."""
    assert shown(text) == text and missing_glyphs([text]) == []
    assert all(ord(letter) in advances("text-bold") for letter in text)
    paper = Paper("proof", NOW)
    paper.add_page()
    paper.set_font(TEXT, "B", 12)
    paper.text(20, 20, text)
    assert page_texts(paper.finished()) == [text]


def test_a_missing_glyph_is_named_in_print_and_in_words() -> None:
    """The number stands in the print; the command can say the whole name."""
    assert shown("to 容 and \a") == "to [U+5BB9] and [U+0007]"
    assert missing_glyphs([("容", Line(("plain",))), "容"]) == ["容 U+5BB9 CJK UNIFIED IDEOGRAPH-5BB9"]


def test_a_letter_in_two_code_points_is_the_letter() -> None:
    """A decomposed e with acute is composed before it is looked up."""
    assert shown("caf\u0065\u0301") == "café"


@pytest.mark.parametrize("pair", ["0O", "1I", "1L", "IL", "8B", "2Z", "0D", "08"])
def test_the_code_face_tells_apart_what_is_often_confused(pair: str) -> None:
    """At least a twelfth of the ink of the pair differs."""
    one, other = (picture(letter) for letter in pair)
    differs = sum(ImageChops.difference(one, other).histogram()[128:])
    ink = sum(one.histogram()[:128]) + sum(other.histogram()[:128])
    assert differs > ink / 12


def test_the_zero_has_a_slash_from_lower_left_to_upper_right() -> None:
    """Ink in the middle and towards both corners of the counter; none towards the other two."""
    with TTFont(face_file("code")) as font:
        glyph = font["glyf"][font.getBestCmap()[ord("0")]]
    middle, high = (glyph.xMin + glyph.xMax) / 2, (glyph.yMin + glyph.yMax) / 2
    dot = 200 / 2048
    image = picture("0")

    def dark(dx: float, dy: float) -> bool:
        level = image.getpixel((round(20 + (middle + dx) * dot), round(180 - (high + dy) * dot)))
        assert isinstance(level, int)
        return level < 128

    assert dark(0, 0) and dark(130, 120) and dark(-130, -120)
    assert not dark(-110, 260) and not dark(110, -260)


def test_widths_are_those_of_the_printed_page() -> None:
    """The layout and the PDF library agree on every width; all letters of the code face are alike."""
    paper = Paper("proof", NOW)
    for bold, style in ((False, ""), (True, "B")):
        paper.set_font(TEXT, style, 72)
        for text in ("2010 ± 60 mAh", *SAMPLES):
            assert text_width(text, 25.4, bold) == pytest.approx(paper.get_string_width(text), rel=1e-3)
    paper.finished()
    assert {round(share, 3) for share in advances("code").values()} == {CODE_ADVANCE}
    assert code_width("W00410H", 2.0) == pytest.approx(7 * CODE_ADVANCE * 2.0)


@pytest.mark.parametrize(
    ("name", "content", "right"),
    [
        ("x.jpg", b"%PDF-1.3", "x.pdf"),
        ("x.pdf", b"\x89PNG\r\n", "x.png"),
        ("x.txt", b"BEGIN:VCALENDAR", "x.ics"),
    ],
)
def test_a_suffix_of_another_kind_is_refused(tmp_path: Path, name: str, content: bytes, right: str) -> None:
    """Programs go by the suffix; nothing is written, and the right name is given."""
    with pytest.raises(UsageFault) as fault:
        write_whole(tmp_path / name, content)
    assert right in fault.value.remedy and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["x.pdf", "x.PDF", "x"])
def test_a_fitting_suffix_or_none_is_taken(tmp_path: Path, name: str) -> None:
    """Capitals are the same suffix; no suffix claims nothing."""
    write_whole(tmp_path / name, b"%PDF-1.3")
    assert (tmp_path / name).exists()


def test_the_licence_lies_beside_the_files() -> None:
    """The licence asks for its text beside every copy."""
    folder = face_file("text").parent
    assert "Permission is hereby granted" in (folder / "LICENSE").read_text(encoding="utf-8")
    assert {path.name for path in folder.iterdir()} == {"text.ttf", "text-bold.ttf", "code.ttf", "LICENSE"}
