"""Clauses to steps: where a step begins, and what belongs to it."""

from typing import Final

from app.rules.narration.binding import Objects, is_whole, mentions_between, objects_of, verb_of
from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Clause, Sense
from app.rules.narration.cues import ORDER
from app.rules.narration.drivers import driver_at
from app.rules.narration.instruments import give_instruments
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.scrapping import bind_scrap, described
from app.rules.narration.shapes import Verb
from app.rules.narration.showing import Showing
from app.rules.narration.tokens import Gap
from app.rules.narration.verbs import MOVING, TAKING
from app.rules.sheet import FixingKind as K

_LOOSE: Final = frozenset({K.CLIP, K.ADHESIVE})
_OPENING: Final = frozenset({Verb.LEVER, Verb.OPEN, Verb.LIFT_OUT, Verb.PEEL, None})
_THEM: Final = frozenset({"it", "them", "these", "those", "that"})
_COUNTED: Final = frozenset({K.SCREW, K.CLIP})
_SEEN: Final = 8
"""Mentions kept in mind for “it” and “them”."""


class Reader(Showing):
    """Reads the clauses in order. ``steps`` are complete when ``read`` returns."""

    def read(self) -> list[Building]:
        """Return the steps in narrated order."""
        for number, clause in enumerate(self.cut.clauses):
            if clause.hard or clause.order == 2:
                self.boundary = True
                if (not self.pending and not self.in_hand) or (self.step is None and clause.order == 2):
                    self.opened = None
            self.number = number
            self._take(number, clause)
            self.last_clause = clause
        self.leave_pending()
        give_instruments(self.cut, self.steps)
        return [step for step in self.steps if step.verb is not None or step.fixings or step.units or step.inspections]

    def _take(self, number: int, clause: Clause) -> None:
        if clause.sense is Sense.ACT:
            self._act(number, clause)
            return
        span = (clause.cue if clause.cue is not None else clause.start, clause.end)
        if clause.sense is Sense.CAUTION:
            self._note(span, "cautions")
        elif clause.sense is Sense.INSPECT:
            if self.step is None:
                self.steps.append(Building(clause.start, Verb.INSPECT))
                self.boundary = False
            self._note(span, "inspections")
        elif clause.sense is Sense.SCRAP:
            bind_scrap(self.cut, clause, self.steps, self._conditional())
            self.since_act += 1
        elif clause.sense is Sense.LEAVE:
            if self.step:
                self.step.kept.append((clause.start, clause.end))
            if clause.cue_end is not None and any(
                t.low in _THEM for t in self.tokens[clause.cue_end : clause.cue_end + 1]
            ):
                self.pending = []
        elif clause.sense is Sense.REFIT:
            if self.closing is None and self.step:
                self.closing = clause.start
        elif clause.sense is Sense.STATEMENT:
            self.statement(number, clause)

    def _conditional(self) -> bool:
        before = self.last_clause
        return before is not None and before.sense is Sense.CONDITION

    def _note(self, span: tuple[int, int], which: str) -> None:
        if self.step is None:
            self.early.append(span)
            return
        getattr(self.step, which).append(span)
        self.since_act += 1

    def _act(self, number: int, clause: Clause) -> None:
        act = clause.act
        assert act is not None
        objects = objects_of(self.cut, clause)
        named = tuple(m for m in objects.named if m.sort is not Sort.TOOL)
        tool = any(m.sort is Sort.TOOL for m in objects.named)
        if not named and (tool or self._takes_driver(clause)) and act.verb in TAKING:
            self._taken_up(clause)
            return
        meant = named or self._meant(clause, objects)
        in_hand = self._tool_in_hand(clause)
        if act.coming and self.pending and self.opened is not None and not any(m in self.pending for m in meant):
            self.leave_pending()
            self.opened, self.boundary = None, clause.order == 2
        if in_hand and not named and not objects.plural and act.verb in MOVING:
            meant = ()
        particle = self.tokens[act.particle].low if act.particle is not None else ""
        verb = verb_of(act, meant, tool or in_hand, particle)
        if not meant and not tool and verb is None:
            return
        begins = self._begins_step(clause, objects, named, meant, verb, tool or in_hand)
        if not begins and not meant and not tool and self._and_act_next(number):
            if self.boundary and self.opened is None:
                self.opened = clause.start
            return
        if begins:
            self._begin(clause, meant)
        step = self.step
        if step is None:
            return
        if step.verb is None or (step.verb is Verb.INSPECT and not step.act):
            step.verb = verb
        if step.act is None:
            step.act, step.title = act, (act.first, clause.end)
        self._released_by(step, clause, objects, meant, verb)
        self.boundary, self.since_act, self.opened, self.in_hand = False, 0, None, False

    def _and_act_next(self, number: int) -> bool:
        """“Unlock and pull the flat cable”: the second act has what the first is done to."""
        following = self.cut.clauses[number + 1 : number + 2]
        return bool(following) and following[0].sense is Sense.ACT and self.tokens[following[0].start].low == "and"

    def _takes_driver(self, clause: Clause) -> bool:
        words = self.tokens[clause.start : clause.end]
        return any(token.low in {"driver", "screwdriver", "bit"} for token in words) or any(
            driver_at(self.tokens, k) for k in range(clause.start, clause.end)
        )

    def _tool_in_hand(self, here: Clause) -> bool:
        before = self.last_clause
        if self.in_hand:
            return True
        return (
            before is not None
            and before.sense is Sense.STATEMENT
            and not here.hard
            and any(m.sort is Sort.TOOL for m in mentions_between(self.cut, before.start, before.end))
        )

    def _taken_up(self, clause: Clause) -> None:
        """“Take a pick” opens the step of the act that follows; “use the tweezers for it” belongs to the one before."""
        self.remember([m for m in mentions_between(self.cut, clause.start, clause.end) if m.sort is not Sort.TOOL])
        if (self.boundary or self.step is None or self.since_act) and self.opened is None and not self.pending:
            self.opened = self._from_order(clause)
            self.in_hand = True

    def _meant(self, clause: Clause, objects: Objects) -> tuple[Mention, ...]:
        """Return what “it”, “them” or a bare count stands for."""
        if not objects.pronoun and objects.number is None:
            return ()
        if objects.number is not None or objects.plural:
            pool = [m for m in self.pending if m.plural or m.said or objects.plural] or [
                m for m in reversed(self.seen) if m.sort is Sort.FIXING and (m.plural or m.said)
            ]
            if objects.number is not None and objects.number.value:
                fitting = [m for m in pool if m.count in {None, objects.number.value}]
                pool = fitting or pool
            if not self.pending or objects.number is not None:
                return tuple(pool[:1])
            return tuple([m for m in self.pending if m.plural or m.said] or self.pending)
        act = clause.act
        assert act is not None
        verb = verb_of(act, (), False)
        whole = verb in {Verb.LIFT_OUT, Verb.OPEN} or act.coming
        single = [m for m in reversed(self.seen) if not m.plural and m.sort is not Sort.TOOL and m.count in {None, 1}]
        if self.pending and not whole:
            return tuple([m for m in self.pending if not m.plural and m.count in {None, 1}][-1:] or self.pending[-1:])
        fresh = [m for m in single if not any(step.has(m) for step in self.steps)]
        if whole:
            return tuple([m for m in fresh if is_whole(m)][:1] or single[:1])
        return tuple(single[:1])

    def _begins_step(
        self, clause: Clause, objects: Objects, named: tuple[Mention, ...], meant: tuple[Mention, ...],
        verb: Verb | None, tool: bool,
    ) -> bool:  # fmt: skip
        step = self.step
        if step is None:
            return True
        act = clause.act
        assert act is not None
        boundary = self.boundary or (
            self.unmarked and bool(named) and (self.since_act > 0 or self.tokens[clause.start].low != "and")
        )
        if step.act is None and step.verb is Verb.INSPECT:
            return boundary
        if not boundary:
            return False
        if self.pending and (any(m in self.pending for m in meant) or self.recalled(named)):
            return True
        if act.coming and not clause.order and not self._led_in(clause):
            return False
        if named:
            return not self._goes_on_with(step, named, verb)
        if meant:
            return not all(step.has(m) for m in meant) and (
                clause.order == 2 or self._led_in(clause) or verb is not Verb.LIFT_OUT
            )
        return bool(
            tool
            or (
                verb in {Verb.APPLY, Verb.OPEN, Verb.LEVER}
                and (clause.hard or clause.order or self._led_in(clause))
                and verb is not step.verb
            )
        )

    def _led_in(self, clause: Clause) -> bool:
        before = self.last_clause
        led = before is not None and before.sense is Sense.STATEMENT and before.order > 0 and before.end == clause.start
        return (
            led
            or self.tokens[clause.start].low in {"then", "so"}
            or (
                self.tokens[clause.start].low == "and"
                and clause.start + 1 < clause.end
                and self.tokens[clause.start + 1].low == "then"
            )
        )

    def _goes_on_with(self, step: Building, named: tuple[Mention, ...], verb: Verb | None) -> bool:
        """Say whether an act only goes on with what the step has: “pull the seal slowly”, “draw out the flex”."""
        if step.only_latch and named[0].kind in {K.FLEX, K.CONNECTOR, K.CABLE}:
            return True
        return (
            all(
                m.definite and not m.said and any(f.kind is m.kind and f.mention.noun == m.noun for f in step.fixings)
                for m in named
            )
            and verb is step.verb
        )

    def _begin(self, clause: Clause, meant: tuple[Mention, ...]) -> None:
        start = self.opened if self.opened is not None else clause.start
        recalled = self.recalled(meant)
        if self.opened is not None and self.pending and not recalled and not any(m in self.pending for m in meant):
            start = clause.start
            self.leave_pending()
            self.opened = None
        self.pending = [
            m for m in self.pending if m in meant or (m not in recalled and not (recalled and m.kind is K.COVER))
        ]
        step = self.step
        if step and start <= step.start:
            start = clause.start
        # A word of order right before the act belongs to it.
        if self.opened is None:
            start = self._from_order(clause, meant)
        self.steps.append(Building(start))
        self.steps[-1].cautions += [span for span in self.early if span[0] >= start or len(self.steps) == 1]
        self.early = []

    def _from_order(self, clause: Clause, meant: tuple[Mention, ...] = ()) -> int:
        before = self.last_clause
        if not before or before.sense is not Sense.STATEMENT or before.end != clause.start or clause.hard:
            return clause.start
        if not self.unmarked:
            return self.sentence_start(self.number - 1)
        if before.order == 2 and any(m in meant for m in mentions_between(self.cut, before.start, before.end)):
            return before.start
        words = ORDER.at(self.tokens, before.start)
        return before.start if words and before.end - before.start <= words[0] + 1 else clause.start

    def _released_by(
        self, step: Building, clause: Clause, objects: Objects, meant: tuple[Mention, ...], verb: Verb | None
    ) -> None:
        act = clause.act
        assert act is not None
        for mention in meant:
            if mention.sort is Sort.UNIT:
                self._unit(step, mention, act.verb, verb)
            elif mention.kind is not None and not step.has(mention):
                self._fixing(step, mention, objects, verb)
        self.pending = [
            m for m in self.pending if not any(n.noun == m.noun and n is not m for n in meant) or (m.said and m.plural)
        ]
        self.counted_later(clause)
        step.only_latch = any(m.latch and not m.plural for m in meant) and not step.fixings
        if any(m in self.pending for m in meant):
            self.pending = [m for m in self.pending if m not in meant]
        rest = [m for m in mentions_between(self.cut, act.last, clause.end) if m not in objects.named]
        for mention in shown_after(self, rest):
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


def shown_after(reader: Reader, rest: list[Mention]) -> list[Mention]:
    """Return fixings that an act's clause shows as holding: “lever off the cover, held by four clips”."""
    found = []
    for mention in rest:
        if mention.sort is not Sort.FIXING or mention.kind not in _LOOSE | {K.SCREW} or not mention.said:
            continue
        lead = mention.lead
        near = {token.low for token in reader.tokens[max(0, (lead or 0) - 4) : (lead or 0)]}
        from_clips = lead is not None and mention.kind is K.CLIP and reader.tokens[lead].low == "from"
        if (
            from_clips
            or reader.tokens[mention.first].gap is Gap.BRACKET
            or (
                lead is not None
                and reader.tokens[lead].low in {"by", "with"}
                and near & {"held", "fixed", "secured", "fastened"}
            )
        ):
            found.append(mention)
    return found
