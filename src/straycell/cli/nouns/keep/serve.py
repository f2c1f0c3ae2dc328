"""`straycell serve`: the bench page for a phone or a tablet, and the devices that may use it."""

import socket
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any

from straycell.cli.app import clock, context, output, tables, values, verbs
from straycell.cli.nouns.use.label_stocks import own_stocks
from straycell.errors import BadData, UsageFault
from straycell.labels.payload import address_payload
from straycell.web.devices import Devices, Scope, devices_path
from straycell.web.site import Settings

app = verbs.noun_app("The bench page for a phone or a tablet, and the devices that may use it.")
NEEDED = ("fastapi", "jinja2", "multipart", "uvicorn")
DEFAULT_PORT = 8010
LOOPBACK = "127.0.0.1"
STOP_WITHIN_S = 5
"""A request that takes longer than this when the page is stopped is cut off; its write is whole or not there."""
MOST_AT_ONCE = 200


@app.command("start")
def start(
    host: Annotated[
        str | None, values.text_option("--host", f"Listen on this address (default {LOOPBACK}).", metavar="H")
    ] = None,
    port: Annotated[
        int | None, values.whole("--port", f"Port (default {DEFAULT_PORT}).", low=1, high=65535)
    ] = None,
    lan: Annotated[bool, values.flag("--lan", "Listen on the network, for a phone beside you.")] = False,
    name: Annotated[
        list[str] | None,
        values.option("--name", "A further name that the page answers to.", metavar="NAME"),
    ] = None,
    tls: Annotated[
        tuple[Path, Path] | None,
        values.option("--tls", "Serve by https with these files.", metavar="CERT KEY"),
    ] = None,
    read_only: Annotated[bool, values.flag("--read-only", "Show only: nothing can be recorded.")] = False,
) -> None:
    """Serve the bench page until Ctrl-C; a device pairs once with the code shown here."""
    _require_extra()
    if lan and host is not None:
        raise UsageFault("--lan listens on every address, --host on one", "leave one of them out")
    from straycell.web.app import make_site

    # Asked before anything listens: a page without a store would refuse every tap.
    with context.bench().reading():
        pass
    address = host or ("0.0.0.0" if lan else LOOPBACK)
    at = port or DEFAULT_PORT
    shown = _own_address() if lan else address
    hosts = _hosts([*(name or []), shown, address, *([socket.gethostname()] if lan else [])])
    store, secure = context.store_path(), tls is not None
    settings = Settings(store, context.rules(), clock.now, hosts, read_only, secure, own_stocks())
    base = f"{'https' if secure else 'http'}://{_in_address(shown)}:{at}"
    site, page = make_site(settings, lambda code: _show_code(base, code))

    def ready() -> None:
        site.pairing.open()
        output.emit({"address": base}, lambda: None)
        sys.stdout.flush()  # whoever started the page waits for this line, not for its end

    _serve(page, _listen(address, at), tls, ready)
    output.talk("stopped: every record is whole")


def _serve(
    page: Any, listening: socket.socket, tls: tuple[Path, Path] | None, ready: Callable[[], None]
) -> None:
    """Serve until Ctrl-C; `ready` is called once nothing can fail any more. Raises BadData for a bad certificate."""
    import uvicorn

    config = uvicorn.Config(
        page,
        log_level="error",
        access_log=False,
        server_header=False,
        limit_concurrency=MOST_AT_ONCE,
        timeout_graceful_shutdown=STOP_WITHIN_S,
        ssl_certfile=tls[0] if tls else None,
        ssl_keyfile=tls[1] if tls else None,
    )
    try:
        config.load()  # a bad certificate is refused before an address is given out
        ready()
        uvicorn.Server(config).run([listening])
    except (OSError, ValueError) as fault:
        listening.close()
        raise BadData(f"the page cannot be served: {fault}", "check the files of --tls") from None
    except KeyboardInterrupt:
        pass  # uvicorn repeats the Ctrl-C once it has closed all connections


@app.command("devices")
def devices() -> None:
    """List the devices that may use the bench page."""
    tables.listing(
        Devices(devices_path(context.store_path())).listed(),
        lambda d: {"id": d.id, "name": d.name, "scope": d.scope, "token": d.token, "paired_at": d.paired_at},
        {
            "device": lambda d: d.id,
            "name": lambda d: d.name,
            "kind": lambda d: "token" if d.token else "page",
            "may": lambda d: d.scope,
            "since": lambda d: output.day(d.paired_at),
        },
        flexible="name",
        empty="no device is paired",
    )


@app.command("token")
def token(
    name: Annotated[str, values.text_argument("NAME", "What will use it, such as a logger.")],
    look: Annotated[bool, values.flag("--look", "It may read but not record.")] = False,
) -> None:
    """Make a token for a script that uses /api/v1; it is shown once and kept nowhere."""
    with context.bench().reading():
        pass
    scope = Scope.LOOK if look else Scope.WRITE
    made, credential = Devices(devices_path(context.store_path())).add(name, scope, clock.now(), token=True)
    output.emit(
        {"id": made.id, "name": made.name, "scope": made.scope, "token": credential},
        lambda: output.say(credential),
        then=f"send it as: Authorization: Bearer TOKEN; take it back with: straycell serve forget {made.id}",
    )


@app.command("forget")
def forget(
    device: Annotated[str, values.text_argument("DEVICE", "Its number or its whole name (serve devices).")],
) -> None:
    """Shut a device out, at once, also while the page is served."""
    gone = Devices(devices_path(context.store_path())).forget(device)
    output.emit(
        {"id": gone.id, "name": gone.name}, lambda: output.say(f"{gone.name} ({gone.id}) is shut out")
    )


def _require_extra() -> None:
    missing = [module for module in NEEDED if find_spec(module) is None]
    if missing:
        raise UsageFault(
            f"the bench page needs {', '.join(missing)}, which came with none of what is installed",
            "install it with: pip install 'straycell[web]'",
        )


def _listen(address: str, port: int) -> socket.socket:
    """A listening socket. Raises UsageFault when the address or port cannot be had."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((address, port))
        made.listen(128)
    except OSError as fault:
        made.close()
        raise UsageFault(
            f"{address} port {port} cannot be listened on: {fault.strerror or fault}",
            "choose another with --port",
        ) from None
    return made


def _own_address() -> str:
    """The address by which others on the network reach this machine; nothing is sent to find it out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Connecting a datagram socket only asks the routing table (udp(7)). 192.0.2.1 is nobody (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK


def _hosts(names: list[str]) -> tuple[str, ...]:
    """The names that the page answers to, as a browser sends them."""
    plain = [name.strip("[]").lower() for name in names if name not in ("0.0.0.0", "::")]
    local = [f"{name}.local" for name in plain if name.replace("-", "").isalnum() and not name.isdigit()]
    return tuple(dict.fromkeys([LOOPBACK, "localhost", "::1", *plain, *local]))


def _in_address(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _show_code(base: str, code: str) -> None:
    """The pairing address as a symbol, and in words; on stderr, as talk."""
    from straycell.labels.render import symbol_matrix

    address = f"{base}/pair?code={code}"
    if sys.stderr.isatty():
        for line in _drawn(symbol_matrix(address_payload(address))):
            print(line, file=sys.stderr)
    output.talk(
        f"bench page: {base}",
        f"to pair one device: {address}",
        f"or type the code there: {code[:4]}-{code[4:]}",
    )


def _drawn(matrix: tuple[tuple[bool, ...], ...]) -> list[str]:
    """A symbol in half blocks, two rows a line, dark on light whatever the terminal's colours are."""
    width = len(matrix[0]) + 8
    empty = (False,) * width
    rows = [empty] * 4 + [(False,) * 4 + row + (False,) * 4 for row in matrix] + [empty] * 4
    rows += [empty] * (len(rows) % 2)
    signs = {(False, False): "█", (True, False): "▄", (False, True): "▀", (True, True): " "}
    lines = zip(rows[::2], rows[1::2], strict=True)
    # White on black is stated: in a light terminal the symbol would come out inverted, which many readers refuse.
    return [
        "\x1b[97;40m" + "".join(signs[pair] for pair in zip(*two, strict=True)) + "\x1b[0m" for two in lines
    ]
