"""A refusal in words: the one way a rule says no."""


class Refused(Exception):
    """The action is not allowed; ``reason`` tells the person what is wrong and what to do next.

    ``field`` names the form field the reason belongs to, where there is one.
    """

    def __init__(self, reason: str, field: str | None = None) -> None:
        super().__init__(reason)
        self.reason = reason
        self.field = field
