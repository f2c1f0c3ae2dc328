"""Many phones at one store: is anything lost or doubled, and how much slower is a cell's page than a bare route?

`python -m tests.web.load` runs 50 clients for 30 s on loopback; `--clients` and `--seconds` change that. The page is served by a
process of its own, beside a bare FastAPI route that renders the same template of the same values.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from statistics import quantiles
from typing import Any

import httpx
from tests.cli.bench import START, Bench

from straycell.web.devices import Devices, Scope, devices_path

CELLS, WRITES, BARE = 20, 0.2, 0.1
"""How many cells there are; the shares of requests that write, and that ask the bare route."""


@dataclass
class Seen:
    """What the clients saw: seconds by kind, the values that were acknowledged, and answers that were none."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: {"page": [], "bare": [], "write": []})
    sent: list[tuple[str, float]] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    again: int = 0

    def p95(self, kind: str) -> float:
        """In s; the longest of a few."""
        found = self.seconds[kind]
        return quantiles(found, n=20)[-1] if len(found) > 1 else max(found, default=0.0)


async def client(
    number: int,
    address: str,
    cookie: str,
    codes: list[str],
    seconds: float,
    all_there: asyncio.Barrier,
    seen: Seen,
) -> None:
    """One phone until the time is up: looks, and now and then a mass that no other sends."""
    dice = random.Random(number)
    async with httpx.AsyncClient(base_url=address, cookies={"straycell": cookie}, timeout=60) as phone:
        page = (await phone.get(f"/cell/{codes[0]}/record/mass")).text
        token = re.search(r'name="token" value="(\w+)"', page)
        assert token is not None, page[:300]
        await all_there.wait()
        step, until = 0, time.monotonic() + seconds
        while time.monotonic() < until:
            step, code, turn = step + 1, dice.choice(codes), dice.random()
            kind = "write" if turn < WRITES else "bare" if turn < WRITES + BARE else "page"
            began = time.monotonic()
            if kind == "write":
                grams = round(20.0 + number + step / 10_000, 4)
                said = {"token": token[1], "key": f"client-{number}-{step}", "mass_g": f"{grams}"}
                await send(phone, code, said, seen, twice=dice.random() < 0.2)
                seen.sent.append((code, grams))
            else:
                path = "/bare" if kind == "bare" else f"/cell/{code}"
                answer = await phone.get(path)
                if answer.status_code == 429:
                    await asyncio.sleep(0.2)
                    continue
                if answer.status_code != 200:
                    seen.wrong.append(f"{path}: {answer.status_code}")
            seen.seconds[kind].append(time.monotonic() - began)
            await asyncio.sleep(dice.uniform(0.02, 0.1))


async def send(phone: httpx.AsyncClient, code: str, said: dict[str, str], seen: Seen, *, twice: bool) -> None:
    """Send a form until it is taken, as the page's script does; some are sent once more after that."""
    for _ in range(20):
        answer = await phone.post(
            f"/cell/{code}/record/mass", data=said, headers={"accept": "application/json"}
        )
        if answer.status_code == 200:
            if not twice:
                return
            twice = False
        elif answer.status_code in (429, 503):
            seen.again += 1
            await asyncio.sleep(0.3)
        else:
            seen.wrong.append(f"{code}: {answer.status_code} {answer.text[:200]}")
            return
    seen.wrong.append(f"{code}: not taken after many tries")


def run(folder: Path, clients: int, seconds: float) -> dict[str, Any]:
    """Serve, let the clients work, compare what they were told with what the store holds."""
    bench = Bench(folder / "load.sqlite")
    made = bench.do(f"cell add --form 18650 --chemistry nmc --count {CELLS}")
    codes = [cell["code"] for cell in made]
    for code in codes:
        bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V")
    devices, now = Devices(devices_path(bench.store)), datetime.fromisoformat(START)
    cookies = [devices.add(f"phone {n}", Scope.WRITE, now, token=False)[1] for n in range(clients)]
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    # It is stopped in the end as a person stops it: the writes that run are finished first.
    env = {**os.environ, "STRAYCELL_NOW": START, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    line = [sys.executable, "-m", "tests.web.load_server", str(bench.store), str(port), codes[0]]
    server = subprocess.Popen(line, env=env, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None and server.stdout.readline().strip() == "ready"
        seen = asyncio.run(work(f"http://127.0.0.1:{port}", cookies, codes, seconds))
    finally:
        server.terminate()
        ended = server.wait(30)
        if server.stdout is not None:
            server.stdout.close()
    there = [
        (code, reading["value"])
        for code in codes
        for reading in bench.do(f"cell show {code}")["readings"]
        if reading["quantity"] == "mass"
    ]
    page, bare = seen.p95("page"), seen.p95("bare")
    return {
        "requests": sum(map(len, seen.seconds.values())),
        "writes": len(seen.sent),
        "sent_again": seen.again,
        "lost": sorted(set(seen.sent) - set(there)),
        "doubled": len(there) - len(set(there)),
        "strange": sorted(set(there) - set(seen.sent)),
        "wrong": seen.wrong,
        "p95_page_s": round(page, 4),
        "p95_bare_s": round(bare, 4),
        "p95_write_s": round(seen.p95("write"), 4),
        "ratio": round(page / bare, 2) if bare else None,
        "check": bench.run("store check").code,
        "ended": ended,
    }


async def work(address: str, cookies: list[str], codes: list[str], seconds: float) -> Seen:
    """All clients at once."""
    seen, all_there = Seen(), asyncio.Barrier(len(cookies))
    phones = (client(n, address, cookie, codes, seconds, all_there, seen) for n, cookie in enumerate(cookies))
    await asyncio.gather(*phones)
    return seen


def main() -> int:
    """Run it and print what came of it; 1 where something was lost or doubled."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=30.0)
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        found = run(Path(name), said.clients, said.seconds)
    print(json.dumps(found, indent=1))
    return int(bool(found["lost"] or found["doubled"] or found["strange"] or found["wrong"]))


if __name__ == "__main__":
    sys.exit(main())
