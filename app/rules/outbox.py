"""What becomes of an entry that a tablet sent late and the bench refuses: also reported, or a question.

Nothing that was tapped is dropped. What only repeats what is so already is kept as *also reported*; everything else
that cannot be booked becomes a question on the job, which somebody settles.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from app.rules.counting import BenchState
from app.rules.entry_words import TROUBLE_WORDS
from app.rules.places import is_on
from app.rules.sheet import Sheet

KEPT_AFTER_THE_END: Final = frozenset({"also", "question", "set aside", "photo"})
"""Kinds of entries that may stand behind the one that ended a job: they change no count and no cost."""

ALSO_WORDS: Final[Mapping[str, str]] = {
    "tick": "This step was ticked already by another entry. Kept as also reported.",
    "turn": "The refit had begun already. Kept as also reported.",
    "open": "The job was open already. Kept as also reported.",
    "pause": "The bench time had ended already. Kept as also reported.",
    "take_back": "This report was taken back already. Kept as also reported.",
    "recount": "The recount was done already, with the same pieces. Kept as also reported.",
    "undo": "This was taken back already. Kept as also reported.",
    "place": "This place was counted so already. Kept as also reported.",
}


@dataclass(frozen=True, slots=True)
class Kept:
    """How a refused entry is kept: as ``also`` or ``question``, and why, in words."""

    kind: Literal["also", "question"]
    words: str


def earlier_pass(state: BenchState, kind: str, *, before_plan: bool) -> str:
    """Return why a tick tapped before the present plan may not be booked; empty when nothing speaks against it."""
    if kind in ("tick", "turn", "place") and state.pass_no > 1 and before_plan:
        return f"This was tapped in an earlier pass, and the job is in pass {state.pass_no} now."
    return ""


def judge(state: BenchState, kind: str, side: str, step: str, who: int, reason: str, *, repeats: bool = False) -> Kept:
    """Decide how an entry is kept that was refused with ``reason``.

    ``repeats`` is what only the caller can tell: a report was taken back already, a recount found the same.
    """
    done = step in (state.up if side == "up" else state.down) if kind == "tick" else False
    if kind == "turn":
        done = state.turned
    if kind == "pause":
        # Whoever pauses wants their own bench time to end, and it has.
        done = state.at_bench != who
    if done or repeats:
        return Kept("also", ALSO_WORDS[kind])
    return Kept("question", reason)


def place_repeats(state: BenchState, side: str, item: str, place: int, *, on: bool) -> bool:
    """Whether a place stands already as an entry says: counted by itself, or with its whole step."""
    step = item.partition("/")[0]
    ticked = step in (state.up if side == "up" else state.down)
    counted = is_on(state, item, place, side)
    return ticked or counted if on else not ticked and not counted


def tapped_words(of: str, side: str, step_id: str, sent: Mapping[str, Any], sheet: Sheet) -> str:
    """Return in a few words what somebody tapped that could not be booked, without a full stop."""
    step = next((s for s in sheet.steps if s.id == step_id), None)
    title = (step.refit.title if side == "up" and step.refit else step.title) if step else step_id
    if of == "tick":
        failed = len(sent.get("rejects", ()))
        more = f", with {failed} failed inspection{'s' if failed > 1 else ''}" if failed else ""
        return f"{'Refit' if side == 'up' else 'Teardown'} tick of “{title}”{more}"
    if of == "report":
        what = str(sent.get("report", "trouble"))
        piece = f"{sent.get('count', 1)} × {_piece(sheet, sent, what)}"
        return f"Report of trouble ({TROUBLE_WORDS.get(what, what)}): {piece}"
    if of == "place":
        way = "back" if side == "up" else "out"
        taken = "" if sent.get("on", True) else ", taken back"
        return f"Place {sent.get('place')} of {_piece(sheet, sent, 'piece')} counted {way}{taken}"
    return _TAPPED.get(of, of.capitalize()) + (f": {sent['reason']}" if of == "pause" and sent.get("reason") else "")


def _piece(sheet: Sheet, sent: Mapping[str, Any], otherwise: str) -> str:
    step_id, _, name = str(sent.get("item", "")).partition("/")
    step = next((s for s in sheet.steps if s.id == step_id), None)
    found = next((f.name for f in step.releases if f.id == name), "") if step else ""
    return found or str(sent.get("item") or sent.get("inspection") or otherwise)


_TAPPED: Final[Mapping[str, str]] = {
    "open": "Open the job",
    "pause": "Pause",
    "turn": "Start of the refit",
    "undo": "Take the last tick back",
    "take_back": "Take a report back",
    "recount": "Recount of the tray",
    "photo": "Photo",
}
