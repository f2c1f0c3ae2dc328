"""Which cells may lie together, and how much energy a box may hold. The kinds are in boxes.toml."""

import re
from dataclasses import dataclass, field
from functools import lru_cache

from straycell.safety.energy import Amount
from straycell.shipped import shipped_table

_DUST_WH = 1e-9


@dataclass(frozen=True, slots=True)
class BoxKind:
    """A known kind of box: may a damaged cell wait in it, and is it for condemned cells only."""

    id: str
    words: tuple[str, ...]
    damaged: bool
    only_condemned: bool
    source: str


@dataclass(frozen=True, slots=True)
class Contents:
    """What lies in a box: codes of good and of condemned cells, and the energy of all of them in Wh."""

    good: tuple[str, ...] = ()
    condemned: tuple[str, ...] = ()
    energy: Amount = field(default_factory=lambda: Amount(0.0, False, "empty"))


@lru_cache(maxsize=1)
def box_kinds() -> tuple[BoxKind, ...]:
    """The known kinds, the most telling first."""
    return tuple(
        BoxKind(e["id"], tuple(e["words"]), e["damaged"], e.get("only") == "condemned", e["source"])
        for e in shipped_table("safety/boxes.toml")["kind"]
    )


def kind_of(text: str) -> BoxKind | None:
    """The known kind that a box's own words name; None when they name none."""
    # People name boxes in their own words; only a whole word counts, or "sandwich" would be sand.
    words = re.findall(r"[\w-]+", text.casefold())
    for kind in box_kinds():
        if any(word == known or word == known + "s" for known in kind.words for word in words):
            return kind
    return None


def fit_for_damaged(text: str) -> bool:
    """True when a damaged cell may wait in a box of this kind; an unknown kind is not fit."""
    # Unknown is never a pass: a box of unknown kind may be cardboard.
    kind = kind_of(text)
    return kind is not None and kind.damaged


def why_not(
    name: str, kind: str, limit_wh: float | None, contents: Contents, *, condemned: bool, energy: Amount
) -> tuple[str, str] | None:
    """(why a cell, or several of `energy` Wh, may not come into a box, what to do instead), or None."""
    known = kind_of(kind)
    # One venting cell sets off its neighbours, so what may vent lies apart from what is to be used.
    if condemned and contents.good:
        return (
            f"box '{name}' holds good cells ({_some(contents.good)}): a condemned one never lies with them",
            "take a box for condemned cells only: straycell box add NAME --kind 'hand-over drum'",
        )
    if not condemned and contents.condemned:
        return (
            f"box '{name}' holds condemned cells ({_some(contents.condemned)}): a good one never lies with them",
            "take another box; see: straycell stock",
        )
    if not condemned and known is not None and known.only_condemned:
        return (f"box '{name}' is a {known.id}: for condemned cells only", "take another box")
    # Energy counts as if all were full: states change, and a fire does not ask when it was measured.
    after_wh = contents.energy.value + energy.value
    if limit_wh is not None and after_wh > limit_wh + _DUST_WH:
        rough = " (estimated)" if contents.energy.estimated or energy.estimated else ""
        return (
            f"box '{name}' would hold {after_wh:.1f} Wh{rough}, its limit is {limit_wh:g} Wh",
            "take another box, or take cells out of this one first; see: straycell stock",
        )
    return None


def _some(codes: tuple[str, ...]) -> str:
    return ", ".join(codes[:3]) + (f" and {len(codes) - 3} more" if len(codes) > 3 else "")
