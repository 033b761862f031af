"""The tray at a hand-over: what a recount of its pockets says."""

from collections.abc import Mapping

from app.rules.verdict import Refused


def recount(
    expected: Mapping[int, int], counted: Mapping[int, int | None], lost: Mapping[int, int] | None = None
) -> tuple[Mapping[int, int], tuple[str, ...]]:
    """Compare a recount of the tray with the book: (shortfall by pocket, what is wrong in words).

    Every pocket must be counted. More than expected is refused: a piece is in the wrong pocket or left over, or one
    that is reported ``lost`` (pieces by pocket) has turned up.
    """
    uncounted = [n for n in expected if counted.get(n) is None]
    if uncounted:
        raise Refused(
            f"Count tray pocket {uncounted[0]} too; nothing is taken as read at a hand-over.",
            f"pocket-{uncounted[0]}",
        )
    short: dict[int, int] = {}
    words = []
    for pocket, n in expected.items():
        found = counted[pocket] or 0
        if found > n:
            turned_up = bool(lost and lost.get(pocket))
            remedy = (
                "A piece of it is reported lost. If it is here, take that report back under Trouble, then count again."
                if turned_up
                else "Look for a piece in the wrong pocket."
            )
            raise Refused(
                f"Tray pocket {pocket} should hold {n}, not {found}. {remedy}",
                f"pocket-{pocket}",
            )
        if found < n:
            short[pocket] = n - found
            words.append(f"Tray pocket {pocket}: {n - found} short.")
    return short, tuple(words)
