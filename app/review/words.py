"""What happened, in plain words: one phrase for each kind of entry in a job's record."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from app.review.phrases import (
    Data,
    Names,
    amount,
    item_name,
    listed,
    name_of,
    note_of,
    sentences,
    step_of,
    step_title,
    unit_name,
)
from app.rules.correcting import correction_words
from app.rules.outbox import tapped_words
from app.rules.sheet import Sheet
from app.rules.working_calendar import day_words


def words(kind: str, data: Data, sheet: Sheet, names: Names) -> str:
    """Return what an entry says, as one or more sentences.

    ``data`` is the entry's data with its step under ``step``; ``names`` are the staff by id. Total: an entry of an
    unknown kind, or one whose data lacks something, is still told as far as it can be.
    """
    teller = _TELLERS.get(kind)
    return teller(data, sheet, names) if teller else f"{kind.capitalize()}."


def _booked(data: Data, _sheet: Sheet, _names: Names) -> str:
    photos = data.get("photos")
    shown = amount(int(photos), "photo") + " taken" if isinstance(photos, int) and photos else ""
    return sentences("Booked in", note_of(data, "fault"), shown)


def _safe(data: Data, _sheet: Sheet, _names: Names) -> str:
    cell = f"cell {data['cell']}" if data.get("cell") else ""
    return sentences("Made safe: cautions read, wrist strap and mat tested", cell.capitalize(), note_of(data))


def _planned(data: Data, sheet: Sheet, _names: Names) -> str:
    units = listed([unit_name(sheet, t) for t in data.get("targets", ())])
    down, up = len(data.get("teardown", ())), len(data.get("refit", ()))
    number = int(data.get("pass_no", 1))
    again = f"Pass {number}. " if number > 1 else ""
    aim = f"Planned: exchange {units}" if units else "Planned"
    return again + sentences(f"{aim}, {amount(down, 'step')} down and {up} up")


def _revised(data: Data, _sheet: Sheet, _names: Names) -> str:
    return sentences(f"Moved from revision {data.get('from')} of the procedure to revision {data.get('to')}")


def _extended(data: Data, sheet: Sheet, _names: Names) -> str:
    units = listed([unit_name(sheet, t) for t in data.get("targets", ())])
    added, again, dropped = (len(data.get(name, ())) for name in ("added", "again", "dropped"))
    told = [(added, "step added"), (again, "step to come down once more"), (dropped, "step dropped")]
    steps = listed([f"{n} {words.replace('step', 'steps', 1) if n > 1 else words}" for n, words in told if n])
    agreed = f"{data['by']} agreed to {_amount(data)} more, {data.get('means', '')}" if data.get("by") else ""
    return sentences(f"Planned again from where it stood: exchange {units}", steps.capitalize(), agreed)


def _day(text: object) -> str:
    try:
        return day_words(date.fromisoformat(str(text))) if text else ""
    except ValueError:
        return str(text)


def _promised(data: Data, _sheet: Sheet, _names: Names) -> str:
    on, before = _day(data.get("on")), _day(data.get("instead_of"))
    instead = f", and not for {before} any more" if before else ""
    return sentences(f"Promised for {on}{instead}", note_of(data, "reason"))


def _quoted(data: Data, _sheet: Sheet, _names: Names) -> str:
    options = data.get("options", ())
    several = f"{len(options)} options to choose from" if len(options) > 1 else ""
    return sentences(f"Quoted {_amount(data)}", several, note_of(data))


def _amount(data: Data) -> str:
    return f"{data.get('amount') or ''} {data.get('currency') or ''}".strip()


def _approved(data: Data, _sheet: Sheet, _names: Names) -> str:
    option = f", option {data['option']}" if data.get("option", "1") != "1" else ""
    return _answer(f"Quote approved{option}", data)


def _declined(data: Data, _sheet: Sheet, _names: Names) -> str:
    return _answer("Quote declined", data)


def _answer(what: str, data: Data) -> str:
    by = f" by {data['by']}" if data.get("by") else ""
    means = f", {data['means']}" if data.get("means") else ""
    return sentences(f"{what}{by}{means}", note_of(data, "reason"))


def _kit_issued(data: Data, _sheet: Sheet, _names: Names) -> str:
    told = [f"{row[3]} × {row[0]} (lot {row[2]})" for row in data.get("lots", ())]
    return sentences(f"Kit handed out: {listed(told)}" if told else "Kit handed out")


def _kit_returned(data: Data, _sheet: Sheet, _names: Names) -> str:
    told = [f"{row[3]} × {row[0]} (lot {row[2]})" for row in data.get("back", ())]
    return sentences(f"Back on the shelf, not used: {listed(told)}", note_of(data, "reason"))


def _alternate_taken(data: Data, _sheet: Sheet, _names: Names) -> str:
    count = int(data.get("planned", 0)) + int(data.get("added", 0))
    told = f"{count} × {data.get('alternate')} taken in place of {data.get('wanted')}"
    return sentences(told, note_of(data, "reason"))


def _alternate_given_up(data: Data, _sheet: Sheet, _names: Names) -> str:
    count = -int(data.get("planned", 0)) - int(data.get("added", 0))
    return sentences(f"{count} × {data.get('alternate')} given up: back to {data.get('wanted')}")


def _in_place(data: Data) -> str:
    told = [f"{count} × {part} for {wanted}" for wanted, part, count in data.get("in_place", ())]
    return f"In place of what the sheet names: {listed(told)}" if told else ""


def _hold(data: Data, _sheet: Sheet, _names: Names) -> str:
    kind = data.get("hold")
    return sentences(f"On hold{f' ({kind})' if kind else ''}: {note_of(data, 'reason')}", str(data.get("note") or ""))


def _hold_ended(data: Data, _sheet: Sheet, _names: Names) -> str:
    kind = data.get("hold")
    return sentences(f"Hold ended{f' ({kind})' if kind else ''}: {note_of(data, 'reason')}")


def _returned(data: Data, _sheet: Sheet, _names: Names) -> str:
    return sentences(f"Returned unrepaired: {note_of(data, 'reason')}")


def _paused(data: Data, _sheet: Sheet, _names: Names) -> str:
    reason = note_of(data, "reason")
    return sentences(f"Paused: {reason}" if reason else "Paused")


def _takeover(data: Data, _sheet: Sheet, names: Names) -> str:
    due = "A recount of the tray was due" if data.get("recount_due") else ""
    return sentences(f"Took over from {name_of(names, data.get('from'))}", due)


def _recount(data: Data, sheet: Sheet, _names: Names) -> str:
    counted = data.get("counted", {})
    places = listed([f"{n} in pocket {pocket}" for pocket, n in counted.items()])
    short = [f"{change['lost']} × {item_name(sheet, key)}" for key, change in data.get("effect", {}).items()]
    return sentences(
        f"Recounted the tray: {places}" if places else "Recounted the tray: nothing waited in it",
        f"Short: {listed(short)}, reported lost" if short else ("All there" if places else ""),
    )


def _tick(data: Data, sheet: Sheet, _names: Names) -> str:
    up = data.get("side") == "up"
    title = step_title(sheet, data.get("step"), refit=up)
    told = []
    for key, change in data.get("effect", {}).items():
        text = _moved(item_name(sheet, key), change)
        if text:
            told.append(text)
    lots = [_fitted(row) for row in data.get("fitted", ())]
    old = data.get("old_serial")
    return sentences(
        f"{'Refit' if up else 'Teardown'}: {title}",
        "; ".join(told),
        f"From stock: {listed(lots)}" if lots else "",
        _in_place(data),
        f"Serial taken out: {old}" if old else "",
        f"A {data['timer']} time began" if data.get("timer") else "",
    )


def _moved(name: str, change: Mapping[str, int]) -> str:
    """Say what became of one item, such as ``4 × Frame screw out`` or ``1 × Rim seal out and scrapped``."""
    out, planned = change.get("out", 0), change.get("planned", 0)
    back, new = change.get("refitted", 0), change.get("new", 0)
    if out and out == planned:
        return f"{out} × {name} out and scrapped"
    told = [(out, "out"), (planned, "scrapped"), (back, "back"), (new, "new")]
    said = [f"{n} {word}" for n, word in told if n]
    if len(said) == 1:
        n, _, word = said[0].partition(" ")
        return f"{n} × {name} {word}"
    return f"{name}: {listed(said)}" if said else ""


def _fitted(row: Sequence[Any]) -> str:
    _item, part, _lot_id, lot, count, serial = [*row, "", "", "", ""][:6]
    return f"{count} × {part} (lot {lot}" + (f", serial {serial})" if serial else ")")


def _turned(_data: Data, _sheet: Sheet, _names: Names) -> str:
    return "Teardown done; the refit began."


_REPORTS = {
    "damage": "damage",
    "absent": "a piece missing on arrival",
    "lost": "a loss",
    "spoiled": "a spoilt part",
    "leftover": "a piece left over",
    "reject": "a failed inspection",
    "recount": "a shortage at the recount",
}


def _undo(data: Data, sheet: Sheet, _names: Names) -> str:
    if data.get("report"):
        report = str(data["report"])
        return sentences(f"Took back the report of {_REPORTS.get(report, report)}")
    if data.get("side") == "turn":
        return "Took back the turn to the refit."
    up = data.get("side") == "up"
    title = step_title(sheet, data.get("step"), refit=up)
    return sentences(f"Took back the {'refit' if up else 'teardown'} tick of “{title}”")


def _place(data: Data, sheet: Sheet, _names: Names) -> str:
    which = f"place {data.get('place')} of “{item_name(sheet, data.get('item', ''))}”"
    way = "back" if data.get("side") == "up" else "out"
    if not data.get("on"):
        return sentences(f"Took back: {which} counted {way}")
    new = [_fitted(row) for row in data.get("fitted", ())]
    return sentences(f"Counted {way}: {which}", f"New: {listed(new)}" if new else "", _in_place(data))


def _trouble(opening: str) -> Callable[[Data, Sheet, Names], str]:
    def tell(data: Data, sheet: Sheet, _names: Names) -> str:
        item = f"{data.get('count', 1)} × {item_name(sheet, data.get('item', ''))}"
        return sentences(f"{opening}: {item}", _needed(data), note_of(data))

    return tell


def _needed(data: Data) -> str:
    needs = [f"{n} × {part}" for part, n in data.get("needs", {}).items()]
    return f"Added to the kit: {listed(needs)}" if needs else ""


def _leftover(data: Data, _sheet: Sheet, _names: Names) -> str:
    count = int(data.get("leftover", data.get("count", 1)))
    return sentences(f"{amount(count, 'piece')} left over on the bench", note_of(data))


def _reject(data: Data, sheet: Sheet, _names: Names) -> str:
    step_id, _, name = str(data.get("reject", "")).partition("/")
    step = step_of(sheet, step_id)
    looks = [*step.inspect, *(step.refit.inspect if step.refit else ())] if step else []
    asked = next((i.ask for i in looks if i.id == name), name)
    return sentences(f"Inspection failed: {asked}", str(data.get("say", "")), _needed(data), note_of(data))


def _count(data: Data, _sheet: Sheet, _names: Names) -> str:
    rows = data.get("rows", {})
    pieces = sum(int(row[0]) for row in rows.values()) if isinstance(rows, Mapping) else 0
    if not pieces:
        return "Closing count signed: it balances."
    return f"Closing count signed: {amount(pieces, 'place')} in {amount(len(rows), 'item')}, and it balances."


def _override(data: Data, _sheet: Sheet, names: Names) -> str:
    where = "before the cover" if data.get("scope") == "cover" else "at the end"
    return sentences(
        f"Count {where} overridden by {name_of(names, data.get('supervisor'))}: {note_of(data, 'reason')}",
        *[str(p) for p in data.get("problems", ())],
    )


def _test(data: Data, sheet: Sheet, names: Names) -> str:
    title = _test_title(sheet, data.get("test"))
    told = str(data.get("words", "")) if data.get("reading") is not None else ""
    second = f"Second person: {name_of(names, data['second'])}" if data.get("second") is not None else ""
    outcome = "passed" if data.get("passed") else "failed"
    return sentences(f"Release test {outcome}: {title}", told, second, note_of(data))


def _test_title(sheet: Sheet, test_id: object) -> str:
    return next((t.title for t in sheet.release_tests if t.id == test_id), str(test_id or ""))


def _reopened(data: Data, sheet: Sheet, _names: Names) -> str:
    test = _test_title(sheet, data.get("test"))
    return sentences(f"Opened again for a new plan, after “{test}” failed" if test else "Opened again for a new plan")


def _closed(data: Data, _sheet: Sheet, _names: Names) -> str:
    back = sum(int(row[1]) for row in data.get("returned", ()))
    verb = "was" if back == 1 else "were"
    units = [str(number) for number in data.get("old_units", ())]
    return sentences(
        "Closed",
        f"{amount(back, 'unused part')} {verb} returned to stock" if back else "",
        f"Old {'unit' if len(units) == 1 else 'units'} kept in the stores: {listed(units)}" if units else "",
    )


def _also(data: Data, sheet: Sheet, _names: Names) -> str:
    return sentences(f"Also reported: {_tapped(data, sheet)}", "It changed no count")


def _question(data: Data, sheet: Sheet, _names: Names) -> str:
    return sentences(f"Question: {_tapped(data, sheet)}", str(data.get("reason", "")), "It changed no count")


def _tapped(data: Data, sheet: Sheet) -> str:
    of, side, step = (str(data.get(name) or "") for name in ("of", "side", "step"))
    return tapped_words(of, side, step, data.get("sent", {}), sheet)


def _set_aside(data: Data, _sheet: Sheet, _names: Names) -> str:
    return sentences("Question set aside", note_of(data, "reason"))


def _photo(data: Data, sheet: Sheet, _names: Names) -> str:
    where = f" at “{step_title(sheet, data['step'])}”" if data.get("step") else ""
    return sentences(f"Photo taken{where}", str(data.get("caption", "")))


_TELLERS: Mapping[str, Callable[[Data, Sheet, Names], str]] = {
    "booked": _booked,
    "corrected": lambda data, _sheet, _names: correction_words(data),
    "safe": _safe,
    "planned": _planned,
    "revised": _revised,
    "extended": _extended,
    "promised": _promised,
    "quoted": _quoted,
    "approved": _approved,
    "declined": _declined,
    "kit issued": _kit_issued,
    "kit returned": _kit_returned,
    "alternate taken": _alternate_taken,
    "alternate given up": _alternate_given_up,
    "hold": _hold,
    "hold ended": _hold_ended,
    "opened": lambda _data, _sheet, _names: "Opened at the bench.",
    "paused": _paused,
    "takeover": _takeover,
    "recount": _recount,
    "tick": _tick,
    "place": _place,
    "turned": _turned,
    "undo": _undo,
    "damage": _trouble("Reported damaged"),
    "absent": _trouble("Missing on arrival"),
    "lost": _trouble("Reported lost"),
    "spoiled": _trouble("Spoilt in fitting"),
    "leftover": _leftover,
    "reject": _reject,
    "count": _count,
    "override": _override,
    "test": _test,
    "reopened": _reopened,
    "closed": _closed,
    "returned": _returned,
    "also": _also,
    "question": _question,
    "set aside": _set_aside,
    "photo": _photo,
}
