"""A device waiting for cells, read from its TOML file."""

from straycell.projects.faults import Fault, ProjectFaults
from straycell.projects.model import (
    ChargeSpec,
    Need,
    PackShape,
    Project,
    Protection,
    finish_faults,
    finish_lacks,
    load_kind,
)
from straycell.projects.parse import parse_project, read_project_file, text_to_keep, to_toml

__all__ = [
    "ChargeSpec",
    "Fault",
    "Need",
    "PackShape",
    "Project",
    "ProjectFaults",
    "Protection",
    "finish_faults",
    "finish_lacks",
    "load_kind",
    "parse_project",
    "read_project_file",
    "text_to_keep",
    "to_toml",
]
