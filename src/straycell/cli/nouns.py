"""The table of nouns: one line a file. The order is the flow, and the order of `straycell --help`."""

from __future__ import annotations

from straycell.cli.verbs import Noun

_IN, _OUT, _KEEP = "Taking in and measuring", "Judging and parting", "Keeping"

NOUNS: dict[str, Noun] = {}
