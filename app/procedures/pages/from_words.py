"""Contexts of the pages on which a procedure is drafted from words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from app.platform.forms import Form
from app.platform.submissions import content_hash
from app.procedures.narrated import Narrated
from app.procedures.queries import MediaInfo, ModelInfo
from app.procedures.queries.media import moment_words
from app.rules.narrated_answers import answer_kind, field_name, fixing_of, of_the_heading
from app.rules.narration import SheetDraft
from app.rules.narration.hazards import hazard_of
from app.rules.narration.shapes import DraftFixing, DraftNote, DraftStep, DraftTool, DraftUnit, Words
from app.rules.narration.sheet_draft import Open
from app.rules.sheet import FixingKind, ReuseClass

MOST_FIELDS = 600
"""More fields than this no form should have; further questions are open ones of the draft."""

HAZARD_PARTS = ("hazard", "consequence", "avoidance")
Choices = tuple[tuple[str, str], ...]
KINDS: Choices = (("", "As read"), *((kind.value, kind.value.capitalize()) for kind in FixingKind))
REUSE: Choices = (("", "Not known yet"), *((reuse.value, reuse.value.capitalize()) for reuse in ReuseClass))


@dataclass(frozen=True)
class Quote:
    """Words of the narration; ``at`` is when they are said in the recording, empty for plain text."""

    text: str
    at: str


@dataclass(frozen=True)
class AskField:
    """A question with its answer field; ``options`` make it a choice, ``read`` is what was read so far."""

    name: str
    kind: str
    question: str
    quote: Quote | None
    read: str
    options: Choices | None


@dataclass(frozen=True)
class ReadItem:
    """One thing that was read: what it is, how it was read, from which words, and what is asked about it."""

    what: str
    text: str
    quote: Quote
    sure: bool
    question: str
    asks: tuple[AskField, ...] = ()


@dataclass(frozen=True)
class ReadStep:
    """One step as it was read; ``later`` are questions that the draft keeps, for they need more than a field."""

    number: int
    title: str
    verb: str
    quote: Quote
    sure: bool
    loosen: str
    clip: str
    items: tuple[ReadItem, ...]
    asks: tuple[AskField, ...]
    later: tuple[str, ...]


@dataclass(frozen=True)
class BeginPage:
    """The form that takes the words; ``recording`` is one that was stored with an earlier try."""

    form: Form[Any]
    recording: MediaInfo | None
    words_mb: int
    video_mb: int


@dataclass(frozen=True)
class ReadPage:
    """What was read, and the form that makes the draft. ``mark`` tells one reading of the words from another.

    ``left`` are questions about words that belong to no step yet; the draft keeps them.
    """

    form: Form[Any]
    name: str
    sha256: str
    warnings: tuple[str, ...]
    steps: tuple[ReadStep, ...]
    preamble: Quote | None
    closing: Quote | None
    recording: MediaInfo | None
    timed: bool
    models: Choices
    mark: str
    fixings: int
    fields: int
    later: int
    left: tuple[str, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)


def mark_of(drafted: SheetDraft) -> str:
    """Return a mark of what was read: answers given to another reading would land in the wrong place."""
    return content_hash([[*map(str, q.path), q.question] for q in drafted.questions if not of_the_heading(q)])[:16]


def read_page(
    narrated: Narrated, drafted: SheetDraft, recording: MediaInfo | None, models: Iterable[ModelInfo], form: Form[Any]
) -> ReadPage:
    """Build the page that shows what was read."""
    draft = narrated.draft
    fields, later = _asked(drafted)
    left = tuple(q.question for q in drafted.questions if q.path == ("steps",))
    steps = tuple(
        _step(number, step, drafted.document["steps"][number], fields, later.get(number, ()), recording is not None)
        for number, step in enumerate(draft.steps)
    )
    return ReadPage(
        form=form,
        name=narrated.info.name,
        sha256=narrated.info.sha256,
        warnings=tuple(dict.fromkeys((*draft.source.warnings, *draft.warnings))),
        steps=steps,
        preamble=_quote(draft.preamble) if draft.preamble else None,
        closing=_quote(draft.closing) if draft.closing else None,
        recording=recording,
        timed=bool(draft.source.cues),
        models=(("", "A device model that is not in the list"), *((m.code, f"{m.name}, {m.kind}") for m in models)),
        mark=mark_of(drafted),
        fixings=sum(len(step.fixings) for step in draft.steps),
        fields=sum(len(asked) for asked in fields.values()),
        later=sum(len(asked) for asked in later.values()) + len(left),
        left=left,
    )


def _asked(drafted: SheetDraft) -> tuple[dict[tuple[int, int], list[AskField]], dict[int, list[str]]]:
    """Sort the questions: fields by (step, fixing) with −1 for the step itself, others in words by step."""
    frees = {str(step.get("frees")): number for number, step in enumerate(drafted.document["steps"])}
    fields: dict[tuple[int, int], list[AskField]] = {}
    later: dict[int, list[str]] = {}
    made = 0
    for question in drafted.questions:
        kind, path = answer_kind(question), question.path
        if kind is not None and made < MOST_FIELDS:
            place = fixing_of(question)
            if place is None:
                place = (frees.get(str(drafted.document["units"][path[1]]["id"]), 0), -1)
            fields.setdefault(place, []).append(_field(question, kind, drafted.document))
            made += 1
        elif path[:1] == ("steps",) and len(path) > 1 and path[-1] not in ("time_s", "after"):
            later.setdefault(int(path[1]), []).append(question.question)
    return fields, later


def _field(question: Open, kind: str, document: Mapping[str, Any]) -> AskField:
    here: Any = document
    for part in question.path:
        here = here.get(part) if isinstance(here, Mapping) else here[part]
        if here is None:
            break
    options = {"kind": KINDS, "reuse": REUSE}.get(kind)
    quote = _quote(question.words) if question.words else None
    return AskField(field_name(question), kind, question.question, quote, str(here or ""), options)


def _step(
    number: int,
    step: DraftStep,
    written: Mapping[str, Any],
    fields: Mapping[tuple[int, int], Sequence[AskField]],
    later: Sequence[str],
    filmed: bool,
) -> ReadStep:
    items = [_fixing(fixing, fields.get((number, place), ())) for place, fixing in enumerate(step.fixings)]
    items += [_tool("Driver", tool) for tool in step.drivers]
    items += [_tool("Tool", tool) for tool in step.tools]
    hazards = written.get("hazards", ())
    items += [_hazard(note, row, step) for note, row in zip(step.cautions, hazards, strict=True)]
    items += [_note("Inspection", note) for note in step.inspections]
    items += [_unit(unit) for unit in step.frees]
    if "refit" in written:
        items.append(_refit(step, written["refit"]))
    quote = _quote(step.words)
    return ReadStep(
        number=number + 1,
        title=step.title,
        verb=step.verb.value,
        quote=quote,
        sure=step.sure,
        loosen=step.loosen or "",
        clip=quote.at if filmed and step.clip else "",
        items=tuple(items),
        asks=tuple(fields.get((number, -1), ())),
        later=tuple(later),
    )


def _quote(words: Words) -> Quote:
    at = ""
    if words.from_s is not None and words.until_s is not None:
        at = f"{moment_words(words.from_s)} to {moment_words(words.until_s)}"
    return Quote(" ".join(words.text.split()), at)


def _fixing(fixing: DraftFixing, asks: Sequence[AskField]) -> ReadItem:
    named = f"{fixing.name} ({fixing.kind.value})"
    told = [f"{named[:1].upper()}{named[1:]}, count not told" if fixing.count is None else f"{fixing.count} × {named}"]
    if fixing.place:
        told.append(fixing.place)
    if fixing.reuse is not None:
        told.append(fixing.reuse.value)
    quote = _quote(fixing.words)
    if fixing.scrap_words is not None:
        quote = Quote(f"{quote.text} … {_quote(fixing.scrap_words).text}", quote.at)
    asked = any(field.question == fixing.question for field in asks)
    question = "" if asked else fixing.question or ""
    return ReadItem("Fixing", ", ".join(told), quote, fixing.sure, question, tuple(asks))


def _tool(what: str, tool: DraftTool) -> ReadItem:
    text = tool.size or tool.name
    return ReadItem(what, text[:1].upper() + text[1:], _quote(tool.words), tool.sure, tool.question or "")


def _note(what: str, note: DraftNote) -> ReadItem:
    return ReadItem(what, note.text, _quote(note.words), note.sure, note.question or "")


def _hazard(note: DraftNote, row: Mapping[str, Any], step: DraftStep) -> ReadItem:
    """A caution as the hazard it becomes; what was not said is named, not filled in."""
    read = hazard_of(note, step.text)
    told = [read.signal.value if read.said else f"{read.signal.value} is proposed, no signal word was said"]
    told += [f"{key}: {row[key].rstrip('.')}" if key in row else f"{key} not told" for key in HAZARD_PARTS]
    return ReadItem("Hazard", ". ".join(part[:1].upper() + part[1:] for part in told) + ".", _quote(note.words),
                    not read.questions, "")  # fmt: skip


def _refit(step: DraftStep, row: Mapping[str, Any]) -> ReadItem:
    """The way back, told or proposed."""
    told = step.refit.told if step.refit else ()
    named = (("press_s", "Press time"), ("cure_s", "Cure time"))
    text = " ".join([row["do"], *(f"{name}: {row[key]} s." for key, name in named if key in row)])
    quote = Quote(" … ".join(_quote(words).text for words in told), _quote(told[0]).at if told else "")
    asked = not told or (not step.refit or len(step.refit.answered) < len(step.fixings))
    return ReadItem("Refit", text, quote, not asked, "" if told else "Nothing was told of it; this is proposed.")


def _unit(unit: DraftUnit) -> ReadItem:
    text = unit.name[:1].upper() + unit.name[1:]
    return ReadItem("Frees", text, _quote(unit.words), unit.sure, unit.question or "")
