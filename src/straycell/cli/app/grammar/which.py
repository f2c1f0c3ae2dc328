"""Which cells a command is about: codes, all of a box, all of a tear-down."""

from __future__ import annotations

from typing import Annotated

import typer

from straycell.cli.app.grammar import values

CodesArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[CODE]...", help="The cells; or --box or --teardown.", show_default=False),
]
BoxOption = Annotated[str | None, values.text_option("--box", "All cells of this box.", metavar="BOX")]
TeardownOption = Annotated[
    str | None, values.text_option("--teardown", "All cells out of this tear-down.", metavar="CODE")
]
