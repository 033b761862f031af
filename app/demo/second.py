"""The second crew's year in a process of its own, where there is a second processor."""

import multiprocessing
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from app.demo.year import Year, play_year
from app.platform.settings import Settings

Told = Callable[[int], None]


class SecondCrew:
    """Tells a year: in a process of its own, or, where there is one processor only, when it is waited for."""

    def __init__(self) -> None:
        self._told: Told = lambda _finished: None
        self._later: tuple[Year, Settings] | None = None
        self._pipe: Any = None
        self._process: Any = None
        if _processors() > 1:
            # Begun before there is anything to tell, so that it loads the program meanwhile.
            context = multiprocessing.get_context("spawn")
            self._pipe, theirs = context.Pipe()
            self._process = context.Process(target=_work, args=(theirs,), daemon=True)
            self._process.start()
            theirs.close()

    def begin(self, year: Year, settings: Settings, told: Told) -> None:
        """Hand the year over."""
        self._told = told
        if self._pipe is None:
            self._later = (year, settings)
        else:
            self._pipe.send((year, settings.model_dump()))

    def look(self) -> None:
        """Pass on what the process has told meanwhile."""
        while self._pipe is not None and self._pipe.poll():
            self._take()

    def finish(self) -> None:
        """Wait until the year is told; raises RuntimeError when it could not be."""
        if self._later is not None:
            play_year(*self._later, self._told)
            self._later = None
        while self._pipe is not None:
            self._take()

    def _take(self) -> None:
        try:
            said = self._pipe.recv()
        except EOFError:
            said = "its process ended"
        if isinstance(said, int):
            self._told(said)
            return
        self._pipe.close()
        self._pipe = None
        self._process.join()
        if said is not None:
            raise RuntimeError(f"the second crew's year could not be told: {said}")

    def stop(self) -> None:
        """End the process if it is still at work."""
        if self._process is not None and self._process.is_alive():
            self._process.terminate()
            self._process.join()


@contextmanager
def second_crew() -> Iterator[SecondCrew]:
    """Yield the second crew; its process is ended with the block."""
    crew = SecondCrew()
    try:
        yield crew
    finally:
        crew.stop()


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _work(pipe: Any) -> None:
    """Tell a year in this process: numbers of finished jobs on the way, None at the end, or what went wrong."""
    try:
        year, settings = pipe.recv()
        play_year(year, Settings(**settings), pipe.send)
        pipe.send(None)
    except EOFError:
        return
    except Exception as error:
        pipe.send(repr(error))
