"""The English texts of the page, from one file: a translation is another file."""

from typing import Any

from straycell.shipped import shipped_table


def note(name: str, /, **values: object) -> str:
    """What was done, in the words of the catalogue."""
    text: str = words()["note"][name]
    return text.format(**values)


def refusal(name: str, /, **values: object) -> tuple[str, str]:
    """What is refused and what to do, in the words of the catalogue: what a fault of the program's family is made of."""
    what, remedy = words()["refusal"][name]
    return what.format(**values), remedy.format(**values)


def words() -> dict[str, Any]:
    """The texts by section and name."""
    return shipped_table("web/words.toml")
