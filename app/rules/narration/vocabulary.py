"""The trade's words: nouns of fixings, units and tools; places; words that end a noun phrase."""

from types import MappingProxyType
from typing import Final

from app.rules.narration.wordlist import phrases, words
from app.rules.sheet import FixingKind as K

_SINGULAR: Final = {
    K.SCREW: "screw bolt standoff nut fastener stud thumbscrew setscrew",
    K.CLIP: "clip spring latch lug catch tab hook tongue snap claw barb prong",
    K.CONNECTOR: "connector plug header jack",
    K.FLEX: "flex tail ribbon fpc zif",
    K.ADHESIVE: "film paste foam adhesive tape glue pad strip sticker label foil",
    K.SEAL: "seal bung stopper gasket oring ring cord membrane grommet mesh foot washer felt packing sleeve",
    K.COVER: (
        "cover lid plate bracket cap panel door bezel housing shell casing strap clamp guard cage knob tray "
        "boot holder base frame retainer flap hatch spacer half plinth back front case enclosure "
        "tube hood shroud grille grill cushion visor duct cowl collar "
        "sheet insulator midframe subframe backplate faceplate"
    ),
    K.SHIELD: "shield shielding",
    K.CABLE: "cable wire lead coax harness pigtail",
}
_IRREGULAR: Final = {
    "latches": "latch", "catches": "catch", "flexes": "flex", "feet": "foot", "halves": "half", "halfs": "half",
    "housings": "housing", "foots": "foot", "feets": "foot", "boxes": "box", "switches": "switch",
    "batteries": "battery", "harnesses": "harness",
    "glasses": "glass", "washers": "washer", "bosses": "boss", "chassis": "chassis", "lenses": "lens", "lens": "lens",
    "memories": "memory", "bushes": "bush",
}  # fmt: skip
_UNITS: Final = (
    "battery accumulator cell horn siren "
    "display screen board camera speaker loudspeaker earpiece microphone mic motor fan keyboard keypad "
    "printer sensor module port antenna aerial pump encoder lamp transmitter receiver scanner engine trigger button "
    "switch drive reader transformer supply heatsink window glass digitizer digitiser trackpad touchpad lens pack "
    "loudhailer buzzer sounder vibrator pcb light led potentiometer relay gauge meter dial compass beacon chamber "
    "mainboard motherboard daughterboard unit assembly magnetron turbine impeller filter cartridge "
    "hinge thermostat element valve strobe chip processor "
    "modem radio card"
)
_PLACES: Final = (
    "hole head post boss thread seam edge groove corner side slot end compartment bay socket side top bottom middle "
    "centre center rim lip notch recess join joint gap contact pin trace wall rail surface area line part mark "
    "length size way time thing bit driver screwdriver minute second hour minutes leg arm shelf bench mat mode box "
    "bin trash rubbish pocket order inch millimetre mm cm turn number name hand finger thumb"
)


def _plural(noun: str) -> str:
    if noun.endswith(("s", "ch", "sh", "x")):
        return noun + "es"
    return noun[:-1] + "ies" if noun.endswith("y") and noun[-2:-1] not in "aeiou" else noun + "s"


def _both(words: str) -> dict[str, tuple[str, bool]]:
    found: dict[str, tuple[str, bool]] = {}
    for noun in words.split():
        found[noun] = (noun, False)
        found[_plural(noun)] = (noun, True)
    return found


NOUN: Final = MappingProxyType(
    {
        **{form: value for words in (*_SINGULAR.values(), _UNITS, _PLACES) for form, value in _both(words).items()},
        **{form: (noun, form != noun) for form, noun in _IRREGULAR.items()},
    }
)
"""Every form of every known noun: (singular, is plural)."""

KIND: Final = MappingProxyType({noun: kind for kind, words in _SINGULAR.items() for noun in words.split()})
UNITS: Final = frozenset(_UNITS.split())
PLACES: Final = frozenset(_PLACES.split())
LATCHES: Final = frozenset({"latch", "catch", "tab", "flap"})
"""On a connector these are part of it: opening one releases the flex, and nothing is counted."""

OFTEN_VERBS: Final = words(
    "cover clip screw shield seal plug cable strap lead back front catch hook snap tape label cap base "
    "glue latch switch light lamp turn head end part mark time order hand side lip gap box line case fan "
    "drive tab can pin pack port cord frame guard clamp trigger size bin unit"
)
"""Nouns that are verbs or adverbs as well; they count as nouns only after a determiner, a count or a noun."""

DETERMINERS: Final = words("the a an this that these those its his her their your our my each every any no some")
PREPOSITIONS: Final = words(
    "on in at of from under over along near by round around with behind between beside beneath below "
    "above across to into through inside underneath next against onto off for toward towards without via "
    "out up down per within alongside besides upon than as like about using"
)
ENDS_PHRASE: Final = PREPOSITIONS | words(
    "and or but then so now that which who where when while if because as is are was were be been being "
    "has have had do does did not never it they them you we i he she there here what whose also too again "
    "only just very really can will would should could must may might shall gonna wanna gotta let's to "
    "please always it's they're that's there's you're we're i'm you've we've i've you'll we'll don't "
    "doesn't isn't aren't one's those've holding hold holds held securing secures fixing fixed see feel "
    "find using use until before after once don both all okay ok um uh well right yeah first carefully "
    "slowly gently apart away back take have got get goes go off out up s ll re m ve"
)
"""Words that a noun phrase does not reach across, to the left of its noun."""

TOOL: Final = words(
    "pick spudger wedge blade tweezers tweezer spatula scraper fork pliers snips cutter cutters knife "
    "scalpel brush swab spanner wrench roller fingernail ratchet clamp-tool lever-tool razor hairdryer "
    "magnifier pincers"
)
TOOL_PHRASES: Final = phrases(
    "suction cup/suction cups/suction pad/suction handle/heat gun/hot air gun/hair dryer/warm plate/"
    "hot plate/heat plate/heating plate/heat mat/soldering iron/plastic card/old card/bank card/pry tool/"
    "prying tool/opening tool/nut driver/nut spinner/allen key/hex key/hook tool/tray pin/ejector pin/"
    "paper clip/press frame/hand roller/seam wheel/pin punch/desoldering pump/solder wick/side cutters/"
    "wire cutters/cotton bud/plastic stick/wooden stick/guitar pick/wire hook/torque driver/"
    "isopropyl alcohol/cable fork/strap wrench/pull tool/extraction tool/feeler gauge/dental pick/"
    "craft knife/thin card/stiff card/credit card/plastic lever/nylon lever/pry bar"
)

FILLERS: Final = words("um uh er erm ah like okay ok so well right alright yeah just actually basically and now then")
"""Left out at the beginning of a title."""
