"""What one run of the page holds: its settings, who may use it, and what each device has read today."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from threading import BoundedSemaphore, Lock

from straycell.acceptance import RuleSet
from straycell.bench.context import Bench, SentForm, kept_readers
from straycell.web.devices import Device, Devices, Pairing, Scope, devices_path
from straycell.web.limits import BURST, PAIRING_BURST, PAIRING_PER_SECOND, PER_SECOND, Limiter
from straycell.web.talks import Conversation


@dataclass(frozen=True, slots=True)
class Settings:
    """How the page is served. `hosts` are the names it answers to; `clock` gives UTC.

    `read_only` lets nobody write; `secure`: it is reached by https; `stocks`: where own label stocks lie.
    """

    store: Path
    rules: RuleSet
    clock: Callable[[], datetime]
    hosts: tuple[str, ...]
    read_only: bool = False
    secure: bool = False
    stocks: Path = Path("labels")


@dataclass(frozen=True, slots=True)
class Note:
    """What a device is shown on its next page: what was recorded, and whether it is a danger."""

    lines: tuple[str, ...]
    danger: bool = False
    cautions: tuple[str, ...] = ()


@dataclass
class Site:
    """The settings and what the page remembers while it runs."""

    settings: Settings
    announce: Callable[[str], None]
    devices: Devices = field(init=False)
    pairing: Pairing = field(init=False)
    requests: Limiter = field(init=False)
    pairings: Limiter = field(init=False)
    # One picture at a time: unpacking takes tens of megabytes, and a phone's owner can wait a second.
    pictures: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(1))
    talks: dict[str, Conversation] = field(default_factory=dict)
    _bench: Bench = field(init=False)
    _notes: dict[str, Note] = field(default_factory=dict)
    _read: dict[str, tuple[date, frozenset[str]]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        settings = self.settings
        kept, turn = kept_readers(settings.store), Lock()
        self._bench = Bench(settings.store, settings.rules, settings.clock(), kept=kept, turn=turn)
        self.devices = Devices(devices_path(self.settings.store))
        self.pairing = Pairing(self.announce)
        self.requests = Limiter(PER_SECOND, BURST, time.monotonic)
        self.pairings = Limiter(PAIRING_PER_SECOND, PAIRING_BURST, time.monotonic)

    def bench(self, sent: SentForm | None = None) -> Bench:
        """What a use case works on now."""
        return replace(self._bench, now=self.settings.clock(), sent=sent)

    def may_write(self, device: Device) -> bool:
        """False for a device that looks only, and for all of a page that is read-only."""
        return not self.settings.read_only and device.scope is Scope.WRITE

    def leave_note(self, device: str, note: Note) -> None:
        """Keep a note for the device's next page."""
        with self._lock:
            # One note a device, the newest: an older one was of a page that nobody opened.
            self._notes[device] = note

    def take_note(self, device: str) -> Note | None:
        """The note that was left, once."""
        with self._lock:
            return self._notes.pop(device, None)

    def read_in_full(self, device: str) -> frozenset[str]:
        """Ids of the cautions that this device was shown in full on this local day."""
        today = self.settings.clock().astimezone().date()
        day, ids = self._read.get(device, (today, frozenset()))
        return ids if day == today else frozenset()

    def remember_read(self, device: str, ids: frozenset[str]) -> None:
        """Note that these were shown in full."""
        today = self.settings.clock().astimezone().date()
        with self._lock:
            self._read[device] = (today, self.read_in_full(device) | ids)
