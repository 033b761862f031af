"""Serve the app with uvicorn."""

import os
import socket
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

from app.cli.console import load_settings, ready_database, say, stop
from app.platform.logging import set_up_logging
from app.platform.settings import Settings


def run(data_dir: Path | None, host: str | None, port: int | None, workers: int, trust_proxy: str) -> None:
    """Check that the service can take work, then serve until it is stopped."""
    settings = load_settings(data_dir, host=host, port=port)
    if workers > 1 and not settings.database_url:
        stop("SQLite is served by one process. Set COUNTBACK_DATABASE_URL to PostgreSQL for more, or leave --workers.")
    set_up_logging(settings.log_level)
    db = ready_database(settings)
    if workers == 1:
        from app.main import build_app

        serve_app(build_app(settings, db), settings, bind(settings.host, settings.port), trust_proxy)
        db.dispose()
        return
    db.dispose()
    # The processes read the environment, so the options have to stand there.
    os.environ["COUNTBACK_DATA_DIR"] = str(settings.data_dir)
    say(f"Countback is at {address(settings.host, settings.port)}  (stop with Ctrl+C)")
    options = _options(settings, trust_proxy)
    uvicorn.run("app.cli.serving:make_app", factory=True, workers=workers, port=settings.port, **options)


def make_app() -> FastAPI:
    """Build the app in a worker process."""
    from app.main import build_app
    from app.platform.settings import get_settings

    set_up_logging(get_settings().log_level)
    return build_app()


def bind(host: str, port: int) -> socket.socket:
    """Take the port before anything else; ends the command when another program has it."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError as error:
        taken.close()
        stop(f"Cannot listen on {host}, port {port}: {error.strerror}. Choose another with --port or COUNTBACK_PORT.")
    return taken


def address(host: str, port: int) -> str:
    """Return the address to open in a browser."""
    shown = "127.0.0.1" if host in ("0.0.0.0", "") else host  # noqa: S104
    return f"http://[{shown}]:{port}/" if ":" in shown else f"http://{shown}:{port}/"


def serve_app(app: FastAPI, settings: Settings, taken: socket.socket, trust_proxy: str = "") -> None:
    """Serve an app on a bound socket in this process."""
    port = int(taken.getsockname()[1])
    say(f"Countback is at {address(settings.host, port)}  (stop with Ctrl+C)")
    config = uvicorn.Config(app, port=port, **_options(settings, trust_proxy))
    uvicorn.Server(config).run(sockets=[taken])


def _options(settings: Settings, trust_proxy: str) -> dict[str, Any]:
    """Return what both ways of serving have in common. Proxy headers are believed only where they are asked for."""
    return {
        "host": settings.host,
        "loop": "uvloop" if find_spec("uvloop") else "asyncio",
        "http": "httptools" if find_spec("httptools") else "h11",
        "ws": "none",
        "log_config": None,
        "access_log": False,
        "server_header": False,
        "proxy_headers": bool(trust_proxy),
        "forwarded_allow_ips": trust_proxy or None,
        "timeout_graceful_shutdown": 5,
    }
