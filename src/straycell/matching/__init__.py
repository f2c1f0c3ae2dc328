"""Which cells serve a project, and why the others do not."""

from straycell.matching.candidates import Candidate, Why
from straycell.matching.limits import UseLimits
from straycell.matching.single import Match, match_single, plan_hash

__all__ = ["Candidate", "Match", "UseLimits", "Why", "match_single", "plan_hash"]
