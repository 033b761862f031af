"""What a person answers about a draft read from words: into the document, or kept as an open question.

An answer field is named by the path of its question, such as ``a-steps-3-releases-0-count``.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from app.rules.draft_documents import Document
from app.rules.narration.sheet_draft import Open
from app.rules.sheet import FixingKind, ReuseClass

Kind = Literal["count", "kind", "reuse", "part"]
_PART = re.compile(r"[A-Z0-9]+([.-][A-Z0-9]+)*")
_FRAGMENT = re.compile(r"#t=([0-9.]+),([0-9.]+)")
_HEAD = ("written_by", "summary", "device_model")


@dataclass(frozen=True)
class Answered:
    """The document with the answers in it, the questions that are still open, and messages by field name."""

    document: Document
    questions: tuple[Open, ...]
    errors: Mapping[str, str]


def field_name(question: Open) -> str:
    """Return the name of a question's answer field."""
    return "a-" + "-".join(str(part) for part in question.path)


def answer_kind(question: Open) -> Kind | None:
    """Return what a one-line answer to a question is; None for what takes more than one line to answer."""
    path = question.path
    last = path[-1] if path else ""
    if path[:1] == ("units",) and last == "part":
        return "part"
    if len(path) == 5 and path[2] == "releases" and last in ("count", "kind", "reuse", "part"):
        return last  # type: ignore[return-value]
    return None


def of_the_heading(question: Open) -> bool:
    """Whether a question is asked by the fields of the heading."""
    return bool(question.path) and question.path[0] in _HEAD


def fixing_of(question: Open) -> tuple[int, int] | None:
    """Return which fixing (step, place in its list) a question is about."""
    path = question.path
    if len(path) == 5 and path[2] == "releases" and isinstance(path[1], int) and isinstance(path[3], int):
        return path[1], path[3]
    return None


def answered(document: Document, questions: Sequence[Open], given: Mapping[str, str]) -> Answered:
    """Put what was answered into the document; an empty answer leaves its question open.

    ``given`` are the fields as typed. A field with an error leaves document and question as they were.
    """
    new = deepcopy(document)
    left: list[Open] = []
    errors: dict[str, str] = {}
    for question in questions:
        name, kind = field_name(question), answer_kind(question)
        text = given.get(name, "").strip()
        if kind is None or not text:
            left.append(question)
            continue
        value, wrong = _value(kind, text)
        if wrong:
            errors[name] = wrong
            left.append(question)
        else:
            _holder(new, question.path)[question.path[-1]] = value
    return Answered(new, tuple(left), errors)


def _value(kind: Kind, text: str) -> tuple[Any, str]:
    if kind == "count":
        if re.fullmatch(r"[0-9]{1,3}", text) and 1 <= int(text) <= 200:
            return int(text), ""
        return None, "Enter a whole number between 1 and 200."
    if kind == "part":
        number = text.upper()
        if _PART.fullmatch(number) and len(number) <= 32:
            return number, ""
        return None, "Part numbers are capitals and digits, joined by - or a point."
    known: type[FixingKind] | type[ReuseClass] = FixingKind if kind == "kind" else ReuseClass
    return (text, "") if text in {member.value for member in known} else (None, "Choose one of the offered answers.")


def _holder(document: Document, path: Sequence[str | int]) -> Any:
    here: Any = document
    for part in path[:-1]:
        here = here[part]
    return here


def as_asked(question: Open) -> dict[str, Any]:
    """Return a question as a draft keeps it: with the words it came from and their time in the recording, if any."""
    words = question.words
    kept: dict[str, Any] = {
        "path": list(question.path),
        "question": question.question,
        "words": " ".join(words.text.split()) if words else "",
    }
    # As text: a draft's numbers are exact, and binary fractions are not.
    if words and words.from_s is not None and words.until_s is not None:
        kept |= {"from_s": f"{words.from_s:.1f}", "until_s": f"{words.until_s:.1f}"}
    return kept


def with_clips(document: Document, fragments: Iterable[str | None], video: str) -> Document:
    """Return the document with each step's part of a recording; ``fragments`` are Media Fragments, ``#t=12.5,31``."""
    new = deepcopy(document)
    for step, fragment in zip(new["steps"], fragments, strict=True):
        found = _FRAGMENT.fullmatch(fragment or "")
        if found:
            # To thousandths of a second, as the step sheet has them.
            begin, end = (format(Decimal(part).quantize(Decimal("0.001")).normalize(), "f") for part in found.groups())
            step["clip"] = {"video": video, "from_s": begin, "to_s": end}
    return new
