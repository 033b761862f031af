"""What a procedure file's shape errors mean, in words its author understands."""

from typing import Any


def words_for(detail: Any, name: str) -> str:
    """Return what is wrong with the value ``name``; ``detail`` is one of pydantic's errors."""
    kind: str = detail["type"]
    context = detail.get("ctx", {})
    given = detail.get("input")
    if kind == "missing":
        return f"“{name}” is missing."
    if kind == "extra_forbidden":
        return f"There is no key “{name}” here."
    if kind in ("enum", "literal_error"):
        return f"“{given}” is not one of the words for “{name}”."
    if kind == "string_pattern_mismatch":
        return f"“{given}” is not in the form for “{name}”."
    if kind == "string_type":
        return f"“{name}” must be text, and “{given}” reads as something else."
    if kind == "string_too_short":
        return f"“{name}” is empty."
    if kind == "string_too_long":
        return f"“{name}” has more than {context.get('max_length')} characters."
    if kind in ("too_short", "too_long"):
        return f"“{name}” has {'too few' if kind == 'too_short' else 'too many'} entries."
    if kind.startswith(("int", "decimal", "float")):
        return f"“{name}” must be a number, and “{given}” is none that fits."
    if kind.startswith(("greater", "less")):
        return f"“{name}” is {given}, which is out of range."
    if kind in ("tuple_type", "list_type"):
        return f"“{name}” must be a list."
    if kind in ("model_type", "dict_type"):
        return f"“{name}” must have keys of its own."
    return f"“{name}”: {detail['msg'].rstrip('.')}."


def remedy_for(detail: Any, name: str) -> str:
    """Return what the author does about it."""
    kind: str = detail["type"]
    context = detail.get("ctx", {})
    if kind == "missing":
        return f"Add “{name}”."
    if kind == "extra_forbidden":
        return "Check the spelling and the indent, or take it out."
    if kind in ("enum", "literal_error"):
        return f"Choose {str(context.get('expected', 'one from the schema')).replace(chr(39), '')}."
    if kind == "string_pattern_mismatch":
        if "A-Z" in str(context.get("pattern", "")):
            return "Part numbers are capitals and digits, joined by - or a point."
        return "Ids are small letters and digits, joined by single hyphens."
    if kind == "string_type":
        return "Put it in quotes."
    if kind.startswith(("greater", "less")):
        limits = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than"}
        said = [f"{words} {context[key]}" for key, words in limits.items() if key in context]
        return f"Give {' and '.join(said)}." if said else "Correct it."
    if kind == "decimal_max_places":
        return f"Round it to {context.get('decimal_places')} decimals."
    if kind.startswith("int"):
        return "Give a whole number."
    if kind in ("tuple_type", "list_type"):
        return "Write it in square brackets or with hyphens."
    if kind in ("string_too_long", "too_long"):
        return "Shorten it."
    return "See the schema."
