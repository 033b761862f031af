"""Small sheets for the rules' tests, built from plain data like a procedure file is."""

from typing import Any

from app.rules.sheet import Sheet


def step(step_id: str, *after: str, refit: bool | dict[str, Any] = True, **more: Any) -> dict[str, Any]:
    """Return one step as its file would have it; ``refit=True`` adds the plainest way back."""
    data: dict[str, Any] = {
        "id": step_id,
        "title": f"Open {step_id}",
        "do": "Lift it.",
        "after": list(after),
        "time_s": 10,
    }
    data.update(more)
    if isinstance(refit, dict):
        data["refit"] = {"title": f"Close {step_id}", "do": "Put it back.", "time_s": 10, **refit}
    elif refit:
        data["refit"] = {"title": f"Close {step_id}", "do": "Put it back.", "time_s": 10}
    return data


def fixing(fixing_id: str, count: int = 1, **more: Any) -> dict[str, Any]:
    """Return a reusable screw, or what ``more`` makes of it."""
    return {
        "id": fixing_id,
        "kind": "screw",
        "name": f"Screw {fixing_id}",
        "count": count,
        "reuse": "reusable",
        **more,
    }


def unit(unit_id: str, part: str | None = None) -> dict[str, Any]:
    """Return a unit whose part number is its id in capitals unless given."""
    return {"id": unit_id, "name": f"Unit {unit_id}", "part": part or unit_id.upper()}


def raw_sheet(steps: list[dict[str, Any]], units: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """Return a whole sheet as its file would have it."""
    return {
        "countback": 1,
        "code": "test-sheet",
        "title": "A sheet for tests",
        "revision": 1,
        "device_model": {"code": "deckphone", "name": "Deckphone", "kind": "handset"},
        "written_by": "Ines Holm",
        "summary": "For tests only.",
        "units": units,
        "steps": steps,
        **more,
    }


def sheet(steps: list[dict[str, Any]], units: list[dict[str, Any]], **more: Any) -> Sheet:
    """Return the validated sheet."""
    return Sheet.model_validate(raw_sheet(steps, units, **more))
