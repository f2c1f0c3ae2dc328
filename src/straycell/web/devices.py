"""The devices that may use the page: a file beside the store, readable by its owner alone; and the code that pairs one.

A device shows a random secret of 256 bits; the file holds its SHA-256. A slow hash protects guessable passwords, and
a secret of this size cannot be guessed (NIST SP 800-63B, 5.1.2.2, look-up secrets of 112 bits and more).
"""

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from threading import Lock
from typing import Any

from straycell.errors import BadData, StoreFault
from straycell.files.write import part_file
from straycell.web.words import refusal

try:
    import fcntl
except ImportError:  # another system: two programs that change the file at one time are not kept apart there
    fcntl = None  # type: ignore[assignment]

# Common practice, no published source: far beyond a workshop, and the file stays small enough to read at each request.
MOST_DEVICES = 100
MOST_BYTES = 200_000
OWNER_ONLY = 0o600


Scope = StrEnum("Scope", ["WRITE", "LOOK"])
"""What a device may do."""


@dataclass(frozen=True, slots=True)
class Device:
    """One device, or a script's token. `digest` is the SHA-256 of its secret, in hexadecimal."""

    id: str
    name: str
    digest: str
    scope: Scope
    paired_at: datetime
    token: bool = False

    def holds(self, secret: str) -> bool:
        """True when this is the device's secret; the comparison takes the same time for every wrong one."""
        return hmac.compare_digest(digest_of(secret), self.digest)


def digest_of(secret: str) -> str:
    """What the file keeps of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def devices_path(store: Path) -> Path:
    """Where the devices of a store are kept."""
    return store.with_name(f"{store.name}.devices")


class Devices:
    """The file of devices. It is read again whenever it has changed: who is forgotten is out at once."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: tuple[int, int, int] | None = None
        self._known: dict[str, Device] = {}

    def listed(self) -> list[Device]:
        """All of them, the oldest first. Raises StoreFault for a file that cannot be used."""
        return sorted(self._load().values(), key=lambda device: (device.paired_at, device.id))

    def find(self, credential: str, *, token: bool) -> Device | None:
        """The device of a credential `id.secret`; None when there is none, or it is of the other kind."""
        number, _, secret = credential.partition(".")
        device = self._load().get(number)
        return device if device and device.token is token and device.holds(secret) else None

    def add(self, name: str, scope: Scope, at: datetime, *, token: bool = False) -> tuple[Device, str]:
        """Let a device in; returns it with its credential, which is kept nowhere. Raises BadData."""
        # 32 bytes from the system's generator; a guess is as hopeless as against a key of AES-256.
        secret = secrets.token_urlsafe(32)

        def change(known: dict[str, Device]) -> Device:
            if len(known) >= MOST_DEVICES:
                raise BadData(*refusal("devices", most=MOST_DEVICES))
            # Drawn and not counted: a number of a forgotten device should not come back with a new owner.
            number = next(n for n in iter(lambda: secrets.token_hex(3), None) if n not in known)
            known[number] = Device(number, name, digest_of(secret), scope, at, token)
            return known[number]

        device = self._change(change)
        return device, f"{device.id}.{secret}"

    def forget(self, word: str) -> Device:
        """Shut a device out, by its number or its whole name. Raises BadData."""

        def change(known: dict[str, Device]) -> Device:
            found = [device for device in known.values() if word in (device.id, device.name)]
            if len(found) != 1:
                raise BadData(
                    *(
                        refusal("many-devices", word=word[:60])
                        if found
                        else refusal("no-device", word=word[:60])
                    )
                )
            return known.pop(found[0].id)

        return self._change(change)

    def _load(self) -> dict[str, Device]:
        try:
            stat = self.path.stat()
        except FileNotFoundError:
            self._seen, self._known = None, {}
            return {}
        except OSError as fault:
            raise self._fault(str(fault.strerror)) from fault
        # Time alone is not enough: two changes within one tick of the file system look alike.
        seen = (stat.st_mtime_ns, stat.st_ino, stat.st_size)
        if seen != self._seen:
            # Read at each request once changed: a file that was filled up must not fill the memory.
            if stat.st_size > MOST_BYTES:
                raise self._fault(refusal("device-size")[0])
            try:
                self._known = {
                    each.id: each for each in map(_device, json.loads(self.path.read_text("utf-8")))
                }
            except (OSError, ValueError, TypeError, KeyError) as fault:
                raise self._fault(refusal("device-list")[0]) from fault
            self._seen = seen
        return self._known

    def _fault(self, why: str) -> StoreFault:
        return StoreFault(*refusal("device-file", path=self.path, why=why))

    def _change(self, change: Callable[[dict[str, Device]], Device]) -> Device:
        with _alone(self.path.parent):
            known = dict(self._load())
            changed = change(known)
            rows = [asdict(device) | {"paired_at": device.paired_at.isoformat()} for device in known.values()]
            # Renamed into place: a power cut leaves the old list or the new one, and never half of one.
            with part_file(self.path, OWNER_ONLY) as part:
                part.path.write_text(json.dumps(rows, indent=1), encoding="utf-8")
                part.place()
        return changed


def _device(row: dict[str, Any]) -> Device:
    paired_at, scope = datetime.fromisoformat(row["paired_at"]), Scope(row["scope"])
    return Device(row["id"], row["name"], row["digest"], scope, paired_at, row["token"])


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One program at a time: a device forgotten by one must not come back by what another had read before."""
    if fcntl is None:
        yield
        return
    # The folder and not the file is locked, as the file is replaced by each change.
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without characters that are taken for each other."""
CODE_LENGTH = 8
"""30^8 codes: with five tries a code, one guess in 10^11 opens (NIST SP 800-63B, 5.1.3.2 asks for 10^6)."""
TRIES = 5


def draw_code() -> str:
    """A fresh code."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


class Pairing:
    """The pairing code of the moment: good for one device, replaced when it is used or guessed at.

    `announce` is called with every new one; nothing else shows it.
    """

    def __init__(self, announce: Callable[[str], None], draw: Callable[[], str] = draw_code) -> None:
        self._announce, self._draw = announce, draw
        self._lock = Lock()
        self._code, self._wrong = "", 0

    def open(self) -> None:
        """Draw a code and announce it."""
        with self._lock:
            self._renew()

    def take(self, typed: str) -> bool:
        """True when this is the code; it is spent then. Blanks, dashes and small letters are forgiven."""
        # Read off a screen and typed with gloves on.
        tidy = "".join(typed.upper().split()).replace("-", "")
        with self._lock:
            # Compared in constant time, so that the answer's delay tells no letter of it.
            right = bool(self._code) and hmac.compare_digest(tidy.encode(), self._code.encode())
            self._wrong = 0 if right else self._wrong + 1
            if right or self._wrong >= TRIES:
                self._renew()
        return right

    def _renew(self) -> None:
        self._code, self._wrong = self._draw(), 0
        self._announce(self._code)
