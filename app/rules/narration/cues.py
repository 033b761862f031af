"""Set phrases of people who narrate a strip-down: order, cautions, inspections, scrapping, what stays in."""

from itertools import product
from typing import Final

from app.rules.narration.tokens import Phrases
from app.rules.narration.wordlist import words

_IT: Final = ("it", "them", "that", "those", "these", "this", "that one", "this one", "both", "all of them")


def _each(phrases: str, *values: str) -> list[tuple[str, str]]:
    return [(phrase.strip(), values[0] if values else "") for phrase in phrases.split("/")]


ORDER: Final = Phrases(
    _each(
        "then/and then/now/and now/right now/next/next up/next thing/the next thing/after that/"
        "after this/after which/first/"
        "first of all/first thing/first off/first job/last job/next job/second job/at first/as first/"
        "firstly/secondly/thirdly/last but not least/"
        "second step/to begin with/"
        "to start with/finally/and finally/lastly/last of all/last thing/and last/at last/in the end/in addition/"
        "once that's done/once that is done/once done/with that out/with that done/"
        "with that out of the way/moving on/"
        "from here/from there/start by/start with/begin by/step one/step two/step three/step four/step five/"
        "step six/step seven/step eight/step nine/step ten/step eleven/step twelve/following that/afterwards/"
        "subsequently/to finish/and lastly/next step/second/third",
        "strong",
    )
    + _each(
        "okay/ok/okay so/ok so/so/and so/right/right so/right then/alright/all right/well/anyway/once/"
        "after/while you're in there",
        "weak",
    )
)
"""Words that tell the order. A strong one begins a step; a weak one only ends what was said before."""

CAUTION: Final = Phrases(
    _each(
        "careful/be careful/just be careful/be very careful/do be careful/be really careful/be real careful/"
        "be extra careful/"
        "please be careful/take care/"
        "do take care/please take care/take great care/mind/do mind/watch out/watch/attention/caution/"
        "warning/danger/nb/beware/beware of/"
        "mind you don't/mind you do not/mind not to/watch you don't/watch that you don't/pay attention/go gently/"
        "go easy/go slowly/be gentle/be aware/keep clear/keep away/keep your/"
        "avoid/make sure not to/"
        "make sure you don't/make sure you do not/make sure that you don't/hold it by its edges/hold it by the edges/"
        "touch edges only/touch only the edges/edges only/never use/take it easy/don't force/watch for/"
        "look out for/look out/"
        "be mindful/stay away from/you don't want to/you do not want to/important"
    )
)
INSPECT: Final = Phrases(
    _each(
        "check/do check/please check/make sure/make certain/ensure/look for/look at/inspect/verify/examine/confirm/"
        "have a look/take a look/have a good look/take a good look/look whether/look if/see if/"
        "see that the/see that it/see that they/see that all/see that no/see that nothing/see whether/"
        "please control/control/control please/please look/test that/test whether/feel for/look over/"
        "double check/make sure that"
    )
)
REFIT: Final = Phrases(
    _each(
        "when you reassemble/when reassembling/going back/on the way back/back together/when you fit it back/"
        "when you build it/closing up/closing it up/to close it/to refit/refitting/reassembling/"
        "on reassembly/for reassembly/reassembly/to reassemble/"
        "reassemble/refit/"
        "putting it back/put it back together/putting everything back/when you put/when it goes back/when putting/"
        "to put it back/reverse the steps/reverse the order/reverse the procedure/other way round/other way around/"
        "is the reverse/in reverse order/reverse of/on refitting/when refitting/when you refit/"
        "when you close/for assembly/for mounting/when mounting/on mounting/when assembling/on assembly/"
        "during assembly/thanks for watching"
    )
)
CONDITION: Final = Phrases(
    _each(
        "today/in this video/this video/show you how/i'll show/i will show/want to show/how to/"
        "here i explain/how we/how you/how i/going to show/gonna show/if/when/unless/in case/because/since/"
        "otherwise/even if/"
        "until/till/whenever/where/whereas/as soon as/although/though"
    )
)
"""What follows is no instruction of its own."""

_PUT_FIRST: Final = [
    f"{place} {be}"
    for place, be in product(
        words("inside underneath beneath below behind under here"), ("is", "are", "we have", "you have", "we've got")
    )
]
"""“Inside is the gasket”: the place stands before what it shows."""
_HAVING: Final = [
    f"{we} {some}"
    for we, some in product(("you've", "we've"), words("a an the one two three four five six eight ten another"))
]
"""“Then you've a row of four screws”, as it is said in Britain."""
STATEMENT: Final = Phrases(
    [(phrase, "") for phrase in _PUT_FIRST + _HAVING]
    + _each(
        "there is/there are/there's/there's like/there will be/there was/there were/it's/it is/they're/"
        "they are/that's/that is/"
        "those are/these are/this is/that one's/that one is/you can see/you'll see/you will see/"
        "you'll find/you'll feel/you've got/"
        "you have/you see/you find/we've got/we have/we never/we always/you're gonna see/"
        "you're going to see/i'm gonna/it has/it's got/they have/"
        "see that/see those/see the/it just/it always/they always/they tear/they will/they'll/"
        "has got/have got/one of them/the rest/same/"
        "two long/one long/one on/one in/one at/one behind/one each"
    )
)

_THROWN: Final = [" ".join(("throw", it, away)) for it, away in product(_IT, ("away", "out"))]
_THROW: Final = _THROWN + [
    " ".join(parts)
    for parts in product(
        ("throw", "put"), _IT, ("in", "into", "to"), ("the bin", "the trash", "the waste", "waste", "the rubbish")
    )
]
_PRONOUN_SCRAP: Final = [
    f"{verb} {it}" for verb, it in product(("bin", "toss", "chuck", "trash", "scrap", "ditch"), _IT)
]
SCRAP: Final = Phrases(
    [(phrase, "after") for phrase in _THROW + _PRONOUN_SCRAP]
    + _each(
        "throw away/throw out/discard/scrap/bin the/bin these/toss the/chuck the/trash the/dispose of/"
        "get rid of/bin/toss/chuck/"
        "do not reuse/don't reuse/never reuse/do not re use/don't re use/never re use/not reuse/"
        "cannot reuse/can't reuse/"
        "do not use again/don't use again/never use again/always renew/renew/always replace/replace every time/"
        "always to use new/always use a new/always fit a new/always fit new",
        "after",
    )
    + _each(
        "must be renewed/has to be renewed/have to be renewed/should be renewed/needs renewing/"
        "need renewing/to be renewed/"
        "must be replaced/has to be replaced/have to be replaced/needs replacing/need replacing/should be replaced/"
        "is to be replaced/are to be replaced/is to be renewed/are to be renewed/must always be renewed/"
        "must always be replaced/"
        "must be discarded/should be discarded/must be scrapped/must be thrown away/to be scrapped/"
        "to be discarded/is scrap/are scrap/"
        "is scrapped/are scrapped/is discarded/are discarded/"
        "cannot be used a second time/can't be used a second time/not be used a second time/not be used twice/"
        "cannot be used again/can't be used again/be renewed every time/"
        "can't be reused/cannot be reused/can not be reused/must not be reused/not be reused/"
        "not to be reused/never be reused/"
        "not reusable/is not reusable/single use/one time use/one use only/use once/used once/"
        "not be used again/not used again/not use again/"
        "never used again/wants throwing away/want throwing away/needs throwing away/gets thrown away/is thrown away/"
        "goes to garbage/go to garbage/to the garbage/in the garbage/into the garbage/won't stick twice/"
        "will not stick twice/"
        "goes in the bin/go in the bin/goes in the trash/go in the trash/in the bin/in the trash/in the rubbish/"
        "goes to scrap/for scrap/to scrap/into the bin/into the trash/into the scrap/in the scrap/"
        "won't go back/will not go back/"
        "never go back/never goes back/doesn't go back/do not go back/don't go back/never stick again/"
        "won't stick again/"
        "fit new/fit a new/fit new ones/use a new/use new/put a new/put a new one in/need a new one/"
        "need a fresh one/need new ones/"
        "new ones must be/a new one must be/new one must be/new ones are needed/a new one is needed/"
        "new one is needed/new one needed/new ones needed/get new ones/get a new one/get yourself some new/"
        "no good afterwards/no good after/"
        "stick new/only be used once/used only once/is a single use/are a single use/not go back on/"
        "order new ones/order a new one/new one every time/new ones every time/a fresh one/"
        "replace with new/replace with a new",
        "before",
    )
)
"""Wording of a single use; the value says where the thing it is about usually stands."""
NOT_SCRAP: Final = frozenset({"don't", "not", "never", "no", "without"})
LEAVE: Final = Phrases(
    _each(
        "leave/keep in/don't touch/do not touch/don't remove/do not remove/never remove/not remove/"
        "don't undo/do not undo/"
          "never undo/don't loosen/do not loosen/never loosen/don't unscrew/do not unscrew/don't take out/"
          "do not take out/"
          "don't take/do not take/don't unplug/do not unplug/don't disconnect/do not disconnect/"
          "don't release/do not release/"
          "no need to remove/no need to undo/no need to take/no need to unscrew/you don't need to/you do not need to/"
          "you don't have to/you needn't/there's no need to/must not remove/must not undo/not loosen/"
          "not undo/not unscrew/"
          "not disconnect/not unplug/skip the/ignore the/without removing/without undoing/without unscrewing/"
          "without loosening/without disconnecting/without unplugging/instead of removing/instead of undoing/"
          "shouldn't remove/mustn't remove/mustn't undo/avoid removing/"
          "not to remove/not to undo/not to loosen/not to take/not to disconnect/not to unplug")
)  # fmt: skip
"""What stays where it is: nothing behind these words is released."""
STAYS: Final = Phrases(
    _each(
        "stay in/stays in/stay put/stays put/stay on/stays on/remain in/remains in/stay where/"
        "stays where/stay there/stays there"
    )
)
IDIOM: Final = Phrases(
    _each(
        "take a look/take care/take apart/taken apart/take it apart/take place/take your time/"
        "take it easy/get started/get into/get it into/"
          "get going/pull up a/back to/go back/goes back/went back/put back/never mind/mind you/"
          "don't worry/no worries/"
          "take a while/get the idea/free of/come on/back together/next to/right next to/first one/"
          "last one/last time/"
          "last week/last year/this time/every time/back in/bring back/turn it over/flip it over/turn over/flip over/"
          "turn the device over/open question/free time/take note/set aside/set them aside/"
          "keep them together/keep them apart/get used to")
)  # fmt: skip
"""Words that only look like an instruction, a caution or an order."""
PROHIBITED: Final = words(
    "bend pull force short slip go touch use lever pry prise tear rip scratch stress kink drop press "
    "twist damage break cut pinch lose crack poke puncture pierce squeeze overheat stretch fold crease "
    "push hit nick rush yank tug bridge let put heat stick dig insert lean scrape crush strain work hold "
    "try slide lift open"
)
"""Verbs of a prohibition that is a caution, not something that stays in."""
TABLES: Final = (ORDER, CAUTION, INSPECT, REFIT, CONDITION, STATEMENT, SCRAP, LEAVE, STAYS)
"""All tables whose phrases begin a clause."""
