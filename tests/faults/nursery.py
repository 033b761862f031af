"""Imports the app once, then runs the function of ``countback serve`` in a forked child for each line it is given.

A line is port, data folder and database URL, with tabs between. It answers with the child's process id, and with
``ended`` when that is gone. At the end of its input it ends the child that is left and itself.
"""

import os
import select
import signal
import sys
from pathlib import Path

import app.main  # noqa: F401  What the command imports when it serves.
from app.cli import serving


def serve(port: int, folder: Path, database_url: str) -> None:
    """Run the command in this process, its output where errors go."""
    os.dup2(2, 1)
    if database_url:
        os.environ["COUNTBACK_DATABASE_URL"] = database_url
    serving.run(folder, None, port, 1, "")


def main() -> None:
    """Take orders until the input ends."""
    child = 0
    while True:
        # One of the two comes: the next order, or the end of the child, looked for every few milliseconds.
        ready, _, _ = select.select([sys.stdin], [], [], 0.005 if child else None)
        if child and os.waitpid(child, os.WNOHANG)[0]:
            child = 0
            print("ended", flush=True)
        if not ready:
            continue
        line = sys.stdin.readline()
        if not line:
            break
        port, folder, database_url = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            try:
                serve(int(port), Path(folder), database_url)
            finally:
                os._exit(0)
        print(child, flush=True)
    if child:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


if __name__ == "__main__":
    main()
