"""Verbs of taking apart, in all their forms, and the class of step that each makes."""

from types import MappingProxyType
from typing import Final

from app.rules.narration.shapes import Verb
from app.rules.narration.wordlist import words

SPECIFIC: Final = MappingProxyType(
    {
        **dict.fromkeys(words("undo unscrew unfasten unbolt loosen slacken untighten"), Verb.UNFASTEN),
        **dict.fromkeys(
            words(
                "disconnect unplug unclip unhook unlatch unlock unsnap release free detach disengage uncouple "
                "unsolder desolder squeeze unfix unfix"
            ),
            Verb.RELEASE,
        ),
        **dict.fromkeys(words("open split unfold fold separate part"), Verb.OPEN),
        **dict.fromkeys(["peel", "scrape", "unstick"], Verb.PEEL),
        **dict.fromkeys(["lift", "withdraw", "extract", "raise", "hoist"], Verb.LIFT_OUT),
        **dict.fromkeys(["lever", "prise", "prize", "pry", "wedge"], Verb.LEVER),
        **dict.fromkeys(words("warm heat apply soak clean wipe soften"), Verb.APPLY),
    }
)
GENERIC: Final = words(
    "remove take get pull pop draw slide pick back turn push press ease wiggle swing flip tip work run "
    "insert stick grab use set put lay bring knock twist rock snap roll walk spin screw unwind dismount "
    "demount tease rotate slip drive cut flick click jiggle dismantle hinge spread reach fetch zip "
    "whip yank rip tear tug wind crank shake tilt"
)
"""What these do follows from what they do it to."""
COMING: Final = words("come lift slide pop fall drop let unclip swing pull ping")
"""Verbs of a thing that comes away by itself: “the board lifts out”."""
PARTICLES: Final = words("out off away up apart loose free aside clear back straight upwards over open down outwards")
TAKING: Final = words("take grab get use pick fetch")
MOVING: Final = words("work run slide insert stick push get set walk put slip use press wedge drive")

_PAST: Final = {
    "undo": ("undid", "undone"), "take": ("took", "taken"), "get": ("got", "gotten"), "draw": ("drew", "drawn"),
    "slide": ("slid", "slid"), "split": ("split", "split"), "withdraw": ("withdrew", "withdrawn"),
    "swing": ("swung", "swung"), "stick": ("stuck", "stuck"), "unstick": ("unstuck", "unstuck"), "run": ("ran", "run"),
    "set": ("set", "set"), "put": ("put", "put"), "lay": ("laid", "laid"), "bring": ("brought", "brought"),
    "spin": ("spun", "spun"), "unwind": ("unwound", "unwound"), "come": ("came", "come"), "fall": ("fell", "fallen"),
    "let": ("let", "let"), "cut": ("cut", "cut"), "spread": ("spread", "spread"), "tear": ("tore", "torn"),
    "wind": ("wound", "wound"), "shake": ("shook", "shaken"), "drive": ("drove", "driven"),
}  # fmt: skip


def _doubles(verb: str) -> bool:
    return verb in {"unclip", "unplug", "unsnap", "pop", "wrap", "tip", "flip", "slip", "strip", "get", "set", "put",
                    "run", "grab", "snap", "cut", "spin", "let", "split", "drop", "zip", "whip",
                    "rip", "tug"}  # fmt: skip


def _forms(verb: str) -> dict[str, str]:
    stem = verb[:-1] if verb.endswith("e") and not verb.endswith("ee") else verb
    twice = verb + verb[-1] if _doubles(verb) else stem
    third = verb + "es" if verb.endswith(("s", "x", "sh", "ch", "o")) else verb + "s"
    if verb.endswith("y") and verb[-2] not in "aeiou":
        third, past = verb[:-1] + "ies", (verb[:-1] + "ied",) * 2
    else:
        past = _PAST.get(verb, (twice + "ed",) * 2)
    return {past[0]: "past", past[1]: "done", third: "third", twice + "ing": "ing", verb: "base"}


FORMS: Final = MappingProxyType(
    {form: (verb, tense) for verb in sorted({*SPECIFIC, *GENERIC, *COMING}) for form, tense in _forms(verb).items()}
)
"""Every form of every verb: (verb, base | third | ing | past | done)."""

_ALSO: Final = words(
    "see find feel hold holds make sure check keep leave throw bin toss chuck discard replace renew fit "
    "tear tears bend bends break breaks rip rips mind watch avoid inspect examine verify go goes try "
    "start begin look need want do don't"
)


def is_verb(low: str) -> bool:
    """Say whether a word may be a verb, so that a noun phrase does not reach across it."""
    return low in FORMS or low in _ALSO
