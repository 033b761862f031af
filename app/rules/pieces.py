"""Counts of stock units in words."""


def pieces(count: int, unit: str) -> str:
    """Return a count with its stock unit, in the plural where there is not one: '5 each', '1 strip', '3 strips'.

    What is no English word of three letters or more (m, ml, m²) is left as it is.
    """
    if count == 1 or unit == "each" or not (unit.isascii() and unit.isalpha()) or len(unit) < 3 or unit.endswith("s"):
        return f"{count} {unit}"
    return f"{count} {unit}{'es' if unit.endswith(('x', 'ch', 'sh', 'z')) else 's'}"
