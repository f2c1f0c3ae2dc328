"""What a figure or a caution rests on, told apart so that a reader knows how much to trust it."""

from enum import StrEnum

Ground = StrEnum("Ground", "STANDARD REGULATION SHEET PAPER REPORT PRACTICE MEMORY PERSON")
"""A kind of source, the surest first."""


_WORDS = {
    Ground.STANDARD: "a published standard",
    Ground.REGULATION: "a regulation or an authority's advice",
    Ground.SHEET: "makers' data sheets",
    Ground.PAPER: "a paper, open data or arithmetic",
    Ground.REPORT: "a handbook or a page that reports another (second-hand)",
    Ground.PRACTICE: "common practice: nobody published a figure",
    Ground.MEMORY: "from memory: the text named was not at hand",
    Ground.PERSON: "a person's own word",
}


def grounds_words(grounds: tuple[Ground, ...]) -> str:
    """All of them in plain words, on one line."""
    return "; ".join(_WORDS[each] for each in grounds)
