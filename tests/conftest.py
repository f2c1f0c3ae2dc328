"""Shared by all rooms: property tests repeat byte for byte, leave no files, and are not timed."""

from __future__ import annotations

import os
import signal
import threading

from hypothesis import HealthCheck, settings

os.environ["STRAYCELL_STATE"] = ""  # nothing is remembered from test to test: every caution is new

settings.register_profile(
    "bench",
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("bench")

if threading.current_thread() is threading.main_thread():
    # A runner started in the background hands an ignored Ctrl-C on to its children; some tests type it.
    signal.signal(signal.SIGINT, signal.default_int_handler)
