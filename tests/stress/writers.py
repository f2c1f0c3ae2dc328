"""Eight writers at once: none is refused, no code is given twice, nothing is lost."""

from __future__ import annotations

import time

from tests.stress.rig import Rig, rig

WRITERS = 8


def run(count: int, seed: int) -> str:
    """`count` writes by each of eight; a line that sums them up."""
    with rig(seed) as used:
        used.do("store", "init")
        began, longest = time.monotonic(), 0.0
        codes: list[str] = []
        running: dict[int, tuple[int, float]] = {}
        left = [count] * WRITERS
        for writer in range(WRITERS):
            running[_start(used)] = (writer, time.monotonic())
        while running:
            for child in list(running):
                done = _ended(used, child, running)
                if done is None:
                    continue
                writer, seconds, code = done
                longest = max(longest, seconds)
                codes.append(code)
                left[writer] -= 1
                if left[writer]:
                    running[_start(used)] = (writer, time.monotonic())
            time.sleep(0.005)
        assert len(codes) == len(set(codes)) == count * WRITERS
        assert used.codes() == set(codes)
        used.require_sound("writers")
        rate = len(codes) / (time.monotonic() - began)
    return (
        f"{WRITERS} writers x {count}: none refused, longest wait {longest:.1f} s, {rate:.0f} writes a second"
    )


def _start(used: Rig) -> int:
    return used.start(["cell", "add", "--form", "18650", "--chemistry", "nmc", "--json"])


def _ended(used: Rig, child: int, running: dict[int, tuple[int, float]]) -> tuple[int, float, str] | None:
    import os

    if os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
        return None
    writer, began = running.pop(child)
    done = used.end(child, began)
    assert done.code == 0, ("refused", done.err)
    return writer, done.seconds, done.json[0]["code"]
