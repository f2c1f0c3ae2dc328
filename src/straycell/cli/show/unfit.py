"""Cells that must not stay in the device they are built into: marked wherever a build is shown."""

from collections.abc import Collection, Mapping

from straycell.bench.project_match import Unfit
from straycell.bench.recording.record import lost_words
from straycell.cli.app import output


def codes_in_words(codes: Collection[str], harmed: Mapping[str, Unfit]) -> list[str]:
    """The codes of a build, each that must not stay with its outcome in words."""
    return [f"{code} ({harmed[code].outcome.word.upper()})" if code in harmed else code for code in codes]


def unfit_document(codes: Collection[str], harmed: Mapping[str, Unfit]) -> list[dict[str, str]]:
    """The JSON of those of these cells that must not stay."""
    return [
        {"code": code, "outcome": harmed[code].outcome.word, "why": harmed[code].why}
        for code in codes
        if code in harmed
    ]


def talk_unfit(harmed: Mapping[str, Unfit]) -> None:
    """Why each must not stay, and what to do; also with --json and --quiet, as any danger."""
    for code, each in harmed.items():
        output.talk(f"{code} is {each.outcome.word.upper()}: {each.why}")
    for line in lost_words({each.project: (code, True) for code, each in harmed.items() if each.finished}):
        output.talk(line)
