"""Every cell of the store as the matching sees it: verdict, figures, and how they were taken."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet
    from straycell.matching import Candidate
    from straycell.store.reader import Reader


def candidates(
    reader: Reader, rules: RuleSet, now: datetime, codes: Collection[str] | None = None
) -> list[Candidate]:
    """The cells named, or all, by code."""
    from straycell.acceptance import figures
    from straycell.matching import Candidate

    evidences = reader.evidences(codes)
    verdicts = reader.verdicts(rules, now, codes)
    stages = {cell.code: cell.stage for cell in reader.cells()}
    offers = []
    for code, evidence in evidences.items():
        verdict, known = verdicts[code], figures(evidence, rules, now)
        run, ohms = known.capacity_reading, known.resistance_reading
        offers.append(
            Candidate(
                code=code,
                facts=evidence.facts,
                stage=stages[code],
                outcome=verdict.outcome,
                capacity=known.capacity,
                at_least=known.at_least,
                resistance=known.resistance,
                resistance_method=known.resistance_method,
                verdict_valid_until=verdict.valid_until,
                deciding_text="; ".join(reason.text for reason in verdict.deciding[:2]),
                resistance_pulse_s=ohms.pulse_s if ohms else None,
                capacity_current_a=run.discharge_current_a if run else None,
                capacity_cutoff_v=run.cutoff_v if run else None,
            )
        )
    return offers
