"""The cautions and where they are shown."""

from straycell.safety.cautions import (
    Caution,
    Kind,
    Step,
    added_by,
    all_cautions,
    cautions_for,
    cautions_for_all,
    laying_away,
    spoken_cautions,
)

__all__ = [
    "Caution",
    "Kind",
    "Step",
    "added_by",
    "all_cautions",
    "cautions_for",
    "cautions_for_all",
    "laying_away",
    "spoken_cautions",
]
