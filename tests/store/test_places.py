"""`store info` warns where a store must not lie: each sign, and none where there is none."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

from straycell.store.location import place_warnings

LINE = "36 35 98:0 / {point} rw,noatime shared:1 - {kind} host:/share rw\n"


def mounted(**points: str) -> str:
    """Lines as /proc/self/mountinfo has them (the example of proc(5)): the root, and `kind=point`."""
    return LINE.format(point="/", kind="ext4") + "".join(
        LINE.format(point=point.replace(" ", "\\040"), kind=kind.replace("_", "."))
        for kind, point in points.items()
    )


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "smb3", "fuse_sshfs", "9p", "fuse_rclone"])
def test_a_network_share_is_seen_by_its_mount(tmp_path: Path, kind: str) -> None:
    """Also under a name with a blank, and only for what lies in it."""
    share = tmp_path / "my share"
    share.mkdir()
    lines = mounted(**{kind: str(share)})
    (warning,) = place_warnings(share / "deep" / "bench.sqlite", lines)
    assert "network share" in warning and kind.removeprefix("fuse_") in warning
    assert place_warnings(tmp_path / "bench.sqlite", lines) == []


def test_the_innermost_mount_counts(tmp_path: Path) -> None:
    """A local disk mounted below a share is local."""
    (tmp_path / "share" / "disk").mkdir(parents=True)
    lines = mounted(nfs=str(tmp_path / "share"), xfs=str(tmp_path / "share" / "disk"))
    assert place_warnings(tmp_path / "share" / "disk" / "bench.sqlite", lines) == []


@pytest.mark.parametrize("name", ["My Cloud", "work-sync", "team drive"])
def test_a_watched_folder_is_seen_by_its_name(tmp_path: Path, name: str) -> None:
    """However far above the file."""
    folder = tmp_path / name / "cells"
    folder.mkdir(parents=True)
    (warning,) = place_warnings(folder / "bench.sqlite", mounted())
    assert "synchroniser" in warning and name in warning


@pytest.mark.parametrize("name", [".stfolder", "._sync_abc.db", ".sync", "bench (conflicted copy).sqlite"])
def test_what_another_program_leaves_is_seen(tmp_path: Path, name: str) -> None:
    """A marker in a folder above, a copy of two machines beside the file."""
    (tmp_path / name).write_text("")
    (warning,) = place_warnings(tmp_path / "bench.sqlite", mounted())
    assert "synchroniser" in warning and name in warning


def test_an_ordinary_folder_has_no_warning(tmp_path: Path) -> None:
    """With files of other programs, and without anything said of mounts."""
    for name in (".git", "toolbox", "driver.txt", "bench.sqlite.replaced-1"):
        (tmp_path / name).write_text("")
    assert place_warnings(tmp_path / "bench.sqlite", "") == []


def test_store_info_warns_and_says_what_to_do(tmp_path: Path) -> None:
    """On stderr for a person, under its own key for a program; the command still answers."""
    folder = tmp_path / "cloud"
    folder.mkdir()
    bench = Bench(folder / "bench.sqlite")
    bench.do("cell add --form 18650")
    answer = bench.run("store info")
    assert answer.code == 0 and "synchroniser" in answer.err and "store restore" in answer.err
    assert len(bench.do("store info")["place_warnings"]) == 1
