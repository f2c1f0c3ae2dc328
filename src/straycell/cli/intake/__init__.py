"""`straycell intake`: the terminal of the guided intake (its dialogue is `bench.intake`)."""

from straycell.cli.intake.command import app

__all__ = ["app"]
