"""A headless Chromium on the served page: started once for a worker, or skipped with the reason."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from tests.web.rig import Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
MISSING = " and ".join(
    name
    for name, there in (("chromium", CHROMIUM), ("chromedriver", DRIVER), ("selenium", find_spec("selenium")))
    if not there
)
needs_browser = pytest.mark.skipif(
    bool(MISSING), reason=f"{MISSING} is not installed: the page is tested without a browser"
)
# As root and without a network of its own: its calls home would only wait for their refusal.
FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    # Each test serves on a port of its own, which else gets a process of its own.
    "--renderer-process-limit=1",
    "--disable-site-isolation-trials",
    "--disable-features=IsolateOrigins,site-per-process,Translate,MediaRouter,OptimizationHints",
    "--disable-extensions",
    # A made-up camera that is given without asking.
    "--use-fake-device-for-media-stream",
    "--use-fake-ui-for-media-stream",
]
PATIENCE_S = 20.0
# A page that is just being replaced has stale elements, or the driver cannot speak of it; the next look sees the new one.
REPLACED: tuple[type[Exception], ...] = ()
if not MISSING:
    from selenium.common.exceptions import WebDriverException

    REPLACED = (WebDriverException,)


@contextmanager
def chromium(folder: Path) -> Iterator[Any]:
    """A browser with a profile of its own in `folder`."""
    from selenium import webdriver
    from selenium.common.exceptions import WebDriverException
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    options.binary_location = CHROMIUM or ""
    for flag in [*FLAGS, f"--user-data-dir={folder}"]:
        options.add_argument(flag)
    try:
        driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    except WebDriverException as fault:  # a driver of another version, say: the page is not at fault
        pytest.skip(f"chromium does not start here: {str(fault.msg).splitlines()[0][:200]}")
    try:
        driver.set_page_load_timeout(PATIENCE_S)
        yield driver
    finally:
        driver.quit()


class Served:
    """A page on a port of this machine; `stop` and `start` are the network going and coming back."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self.port = 0
        self.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Listen, on the same port as before."""
        config = uvicorn.Config(
            self._page.app, port=self.port, log_level="error", timeout_graceful_shutdown=1
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        wait_for(lambda: self._server.started)
        self.port = self._server.servers[0].sockets[0].getsockname()[1]

    def stop(self) -> None:
        """Answer nobody any more."""
        self._server.should_exit = True
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()


def wait_for(done: Any) -> Any:
    """What `done` gives as soon as it is true; fails after a while."""
    deadline = time.monotonic() + PATIENCE_S
    fault: Exception | None = None
    while True:
        try:
            if found := done():
                return found
        except REPLACED as error:
            fault = error
        assert time.monotonic() < deadline, f"it never came: {fault}"
        time.sleep(0.05)
