"""What an act releases and frees in its step."""

from app.rules.narration.binding import Objects, mentions_between
from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Clause
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.passing import partly, shown_after
from app.rules.narration.scrapping import described
from app.rules.narration.shapes import Verb
from app.rules.narration.showing import Showing
from app.rules.sheet import FixingKind as K


class Releasing(Showing):
    """Keeps the fixings and units of the steps."""

    def released_by(
        self, step: Building, clause: Clause, objects: Objects, meant: tuple[Mention, ...], verb: Verb | None
    ) -> None:
        """Let a step release what its act is done to, and what its clause tells in passing."""
        act = clause.act
        assert act is not None
        for mention in meant:
            if mention.sort is Sort.UNIT:
                self._unit(step, mention, act.verb, verb)
            elif mention.kind is not None and not step.has(mention):
                self._fixing(step, mention, objects, verb)
        self.pending = [
            m
            for m in self.pending
            if not any(n.noun == m.noun and n is not m for n in meant)
            or (m.said and m.plural and not any(n.noun == m.noun and n.definite and not n.said for n in meant))
        ]
        self.counted_later(clause)
        step.only_latch = any(m.latch and not m.plural for m in meant) and not step.fixings
        if any(m in self.pending for m in meant):
            self.pending = [m for m in self.pending if m not in meant]
        rest = [m for m in mentions_between(self.cut, act.last, clause.end) if m not in objects.named]
        for mention in shown_after(self.tokens, rest):
            self.release(step, mention)
        self.remember([*meant, *rest])

    def _same_unit(self, one: Mention, other: Mention) -> bool:
        words, others = described(self.cut, one), described(self.cut, other)
        return one.noun == other.noun and (not words or not others or bool(words & others))

    def _unit(self, step: Building, mention: Mention, verb_word: str, verb: Verb | None) -> None:
        if step.has(mention):
            return
        if verb is Verb.RELEASE and verb_word in {"disconnect", "unplug"}:
            released = Released(mention, K.CONNECTOR, mention.count, mention.exact, mention.first, mention.last)
            step.fixings.append(released)
        elif partly(self.tokens, mention):
            return
        elif verb in {Verb.LIFT_OUT, Verb.LEVER, Verb.RELEASE, Verb.PEEL} and not any(
            self._same_unit(u, mention) for u in step.units
        ):
            step.units.append(mention)

    def _fixing(self, step: Building, mention: Mention, objects: Objects, verb: Verb | None) -> None:
        if mention.latch and not mention.plural and mention.count == 1:
            return
        if mention.kind is K.COVER and verb in {Verb.OPEN, Verb.APPLY}:
            return
        if verb is Verb.APPLY:
            return
        if self._same_again_released(step, mention, objects):
            return
        number = objects.number
        if (
            mention.kind is K.COVER
            and any(f.kind is K.COVER and f.mention.noun == mention.noun for s in self.steps[-3:] for f in s.fixings)
            and mention.definite
            and not mention.said
        ):
            return
        self.release(step, mention, number.value if number else None, objects.at)

    def _same_again_released(self, step: Building, mention: Mention, objects: Objects) -> bool:
        for released in step.fixings:
            words = described(self.cut, mention)
            other = bool(words) and not words & described(self.cut, released.mention)
            if (
                released.kind is mention.kind
                and released.mention.noun == mention.noun
                and mention.definite
                and not other
            ):
                if released.count is None and mention.count and mention.said:
                    released.count, released.exact = mention.count, mention.exact
                if not mention.said or mention.count == released.count:
                    return True
        return False
