"""What was tapped and what was acknowledged, written down outside the app: a file, on the disk after each line."""

import json
import os
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any


class Ledger:
    """An append-only file of JSON lines; a line is on the disk before ``tapped`` or ``answered`` returns.

    ``tapped`` comes before an entry is in a tablet's outbox, ``answered`` before it is taken out of it: what the file
    says of an entry is never ahead of what the tablet had a right to believe.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._guard = threading.Lock()
        self._file = path.open("ab")

    def tapped(self, entry: Mapping[str, Any]) -> None:
        """Write down an entry as it was tapped."""
        self._write({"tapped": dict(entry)})

    def answered(self, entry_id: str, outcome: str, words: str = "") -> None:
        """Write down that the server named an entry in a 2xx; ``outcome`` is its own word for it."""
        self._write({"answered": entry_id, "outcome": outcome, "words": words})

    def _write(self, line: Mapping[str, Any]) -> None:
        text = json.dumps(line, separators=(",", ":")).encode() + b"\n"
        with self._guard:
            self._file.write(text)
            self._file.flush()
            os.fdatasync(self._file.fileno())

    def close(self) -> None:
        """Close the file; what is in it stays."""
        self._file.close()

    def taps(self) -> dict[str, dict[str, Any]]:
        """Return every entry that was tapped, by id, in the order it was tapped, read back from the disk."""
        return {line["tapped"]["id"]: line["tapped"] for line in self._lines() if "tapped" in line}

    def answers(self) -> dict[str, str]:
        """Return the outcome of every acknowledged entry, by id, read back from the disk."""
        return {line["answered"]: line["outcome"] for line in self._lines() if "answered" in line}

    def _lines(self) -> Iterator[dict[str, Any]]:
        with self._guard:
            lines = self.path.read_bytes().splitlines()
        for line in lines:
            yield json.loads(line)
