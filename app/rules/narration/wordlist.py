"""Sets of words and of phrases, written as plain text."""


def words(text: str) -> frozenset[str]:
    """Return the words of a text as a set."""
    return frozenset(text.split())


def phrases(text: str) -> tuple[str, ...]:
    """Return the phrases of a text, parted by slashes."""
    return tuple(text.split("/"))
