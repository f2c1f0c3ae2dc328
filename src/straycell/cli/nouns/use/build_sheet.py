"""`straycell build sheet`: the page beside which a pack is joined."""

from __future__ import annotations

from pathlib import Path

from straycell.bench.paper.build_sheet import build_sheet
from straycell.cli.app import context, output
from straycell.cli.app.files import talk_missing_glyphs, write_whole
from straycell.quantities import count_of


def write_sheet(name: str, out: Path, *, force: bool) -> None:
    """Write the build sheet of a project whose cells are reserved or built in."""
    from straycell.labels.build_sheet_render import build_sheet_pdf

    bench = context.bench()
    build, content = build_sheet(bench, name)
    write_whole(out, build_sheet_pdf(content, bench.now), force=force)
    talk_missing_glyphs(content)
    count = count_of(len(build.codes), "cell")
    output.emit(
        {"files": [str(out)], "count": len(build.codes), "labels": list(build.codes)},
        lambda: output.say(f"{out}  {count}, {len(build.groups)} in series"),
    )
    # Six codes show the pattern; a pack's whole list would fill the screen below the answer.
    output.hint(
        f"labels: straycell label sheet {' '.join(build.codes[:6])}{' ...' if len(build.codes) > 6 else ''} --out labels.pdf"
    )
