"""What a label says is seen at a metre, in grey, without reading a word.

A metre away an eye of average sight resolves about 0.3 mm (one minute of arc); 20 dpi is 1.27 mm a pixel, four times
coarser, so what still differs here differs for a tired eye in bad light too.
"""

from __future__ import annotations

from datetime import timedelta
from functools import lru_cache
from itertools import combinations, islice

import numpy as np
import pytest
from PIL import Image
from tests.labels.label_bench import CODES, FIGURES, NOW, TODAY, a_cell, a_verdict, png
from tests.labels.photo_bench import photos

from straycell.acceptance.figures import Figures
from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry
from straycell.labels.content import LabelContent, label_content
from straycell.labels.picture import single_png
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import Where
from straycell.quantities import Measured
from straycell.readings import Method

STOCKS = {
    name: stock
    for name, stock in shipped().items()
    if stock.where is not Where.BOX and not name.endswith("-letter")
}
FAR_DPI = 20


def some_labels(outcome: Outcome, form: str) -> list[LabelContent]:
    """Ten different cells of one outcome: other codes, chemistries and figures."""
    found = []
    kinds = [Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO, Chemistry.LFP]
    for n in range(10):
        code = CODES[10 * int(outcome) + n]
        figures = Figures(
            Measured(0.4 + 0.31 * n, 0.02),
            NOW,
            n % 3 == 0,
            Measured(0.02 + 0.017 * n, 0.001),
            Method.DC_PULSE,
            NOW,
        )
        verdict = a_verdict(outcome, NOW + timedelta(days=40 + 30 * n), code)
        cell = a_cell(code, chemistry=kinds[n % 5], form=type(a_cell().facts.form)(form))
        found.append(label_content(cell, verdict, figures if n % 4 else FIGURES, today=TODAY))
    return found


@lru_cache(maxsize=1)
def seen(name: str) -> dict[Outcome, list[np.ndarray]]:
    """Five labels of each outcome without their symbols at 20 dpi, as grey levels; a symbol says nothing to an eye."""
    stock = STOCKS[name]
    labels = {outcome: some_labels(outcome, stock.forms[0].value)[:5] for outcome in Outcome}
    found: dict[Outcome, list[np.ndarray]] = {outcome: [] for outcome in Outcome}
    taken = iter(photos([content for group in labels.values() for content in group], stock, 200))
    for outcome, group in labels.items():
        for photo in islice(taken, len(group)):
            words = Image.fromarray(photo.grey[:, : int(photo.left - 3 * photo.module)].astype(np.uint8))
            size = (max(1, words.width * FAR_DPI // 200), max(1, words.height * FAR_DPI // 200))
            found[outcome].append(np.asarray(words.resize(size, Image.Resampling.BOX), dtype=float))
    return found


def look(picture: np.ndarray) -> tuple[float, ...]:
    """What is seen first: how dark each third of the gauge at the left edge is, and how dark the whole."""
    rows = picture.shape[0]
    edge = picture[:, : max(1, round(picture.shape[1] * 0.2))]
    thirds = [255 - part.mean() for part in np.array_split(edge, min(3, rows))]
    return (*thirds, 255 - picture.mean())


@pytest.mark.parametrize("name", STOCKS)
def test_the_five_outcomes_are_told_apart_at_20_dpi(name: str) -> None:
    """Every label is nearer to any of its own outcome than to any of another, in four grey levels of the picture."""
    looks = {outcome: [np.array(look(picture)) for picture in group] for outcome, group in seen(name).items()}
    apart = min(
        float(np.linalg.norm(a - b))
        for one, other in combinations(Outcome, 2)
        for a in looks[one]
        for b in looks[other]
    )
    within = max(float(np.linalg.norm(a - b)) for group in looks.values() for a, b in combinations(group, 2))
    assert apart > within, (apart, within)


@pytest.mark.parametrize("name", STOCKS)
def test_a_cell_that_may_not_be_used_is_never_taken_for_one_that_may(name: str) -> None:
    """Five cells of each outcome: a discard is the darkest by far, and a hold has no black field at the edge."""
    dark = {outcome: [255 - picture.mean() for picture in group] for outcome, group in seen(name).items()}
    lightest_discard = min(dark.pop(Outcome.DISCARD))
    assert lightest_discard > 1.5 * max(level for levels in dark.values() for level in levels)


def test_the_print_of_a_label_printer_tells_them_apart_too() -> None:
    """One bit a dot, 203 dpi."""
    stock = STOCKS["roll-50x20"]
    edges, wholes = {}, {}
    for outcome in Outcome:
        (content, *_) = some_labels(outcome, "18650")
        picture = png(single_png(content, 203, stock)).convert("L")
        edges[outcome] = 255 - np.asarray(picture.crop((8, 8, 32, picture.height - 8)), dtype=float).mean()
        wholes[outcome] = 255 - np.asarray(picture, dtype=float).mean()
    assert edges[Outcome.PACK] > edges[Outcome.SOLO] > edges[Outcome.LIGHT] > edges[Outcome.HOLD]
    assert wholes.pop(Outcome.DISCARD) > 1.3 * max(wholes.values())
