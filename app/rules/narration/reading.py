"""Clauses to steps: where a step begins, and what belongs to it."""

from typing import Final

from app.rules.narration.binding import Objects, is_whole, mentions_between, objects_of, verb_of
from app.rules.narration.building import Building
from app.rules.narration.clauses import Clause, Sense
from app.rules.narration.company import Act
from app.rules.narration.cues import ORDER
from app.rules.narration.drivers import driver_at
from app.rules.narration.instruments import give_instruments
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.passing import fits_new, goes_back, tells_refit
from app.rules.narration.releasing import Releasing
from app.rules.narration.scrapping import bind_scrap
from app.rules.narration.shapes import Verb
from app.rules.narration.verbs import FORMS, MOVING, TAKING
from app.rules.sheet import FixingKind as K

_LOOSE: Final = frozenset({K.CLIP, K.ADHESIVE})
_THEM: Final = frozenset({"it", "them", "these", "those", "that"})


def _act_of(verb: str, at: int) -> Act:
    return Act(verb, at, at + 1, None, None, False, False)


class Reader(Releasing):
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
            if not (self.refitting and goes_back(self.tokens, clause)):
                self._act(number, clause)
            return
        span = (clause.cue if clause.cue is not None else clause.start, clause.end)
        if self.refitting and self._of_the_refit(clause):
            return
        if clause.sense is Sense.CAUTION:
            self._note(span, "cautions")
        elif clause.sense is Sense.INSPECT:
            if self.step is None:
                self.steps.append(Building(clause.start, Verb.INSPECT))
                self.boundary = False
            self._note(span, "inspections")
        elif clause.sense is Sense.SCRAP:
            self._scrapped_at_once(clause)
            bind_scrap(self.cut, clause, self.steps, self._conditional())
            self.since_act += 1
        elif clause.sense is Sense.LEAVE:
            self._stays(clause)
        elif clause.sense is Sense.REFIT:
            if self.closing is None and self.step:
                self.closing = clause.start
            self.refitting = self.step is not None
        elif clause.sense is Sense.STATEMENT:
            self.statement(number, clause)

    def _scrapped_at_once(self, clause: Clause) -> None:
        """“Remove and discard the ring”: a step of its own."""
        before = self.last_clause
        if not self.boundary or before is None or not before.hard or before.end != clause.start or not clause.cue_end:
            return
        verb = FORMS.get(self.tokens[before.start].low)
        named = self.cut.mentioned.next_after(clause.cue_end, 4)
        if verb and named and named.sort is Sort.FIXING and before.end - before.start <= 2 and named.last <= clause.end:
            self.steps.append(Building(before.start, verb_of(_act_of(verb[0], before.start), (named,), False)))
            self.release(self.steps[-1], named)
            self.boundary = self.refitting = False

    def _of_the_refit(self, clause: Clause) -> bool:
        """Say whether a clause only tells what is fitted; cautions and checks are kept wherever they are told."""
        if clause.sense is Sense.SCRAP:
            return fits_new(self.tokens, clause)
        return clause.sense is Sense.STATEMENT and tells_refit(self.tokens, clause)

    def _stays(self, clause: Clause) -> None:
        """“Leave those”: what was shown is not undone."""
        if self.step:
            self.step.kept.append((clause.start, clause.end))
        if clause.cue_end is not None and self.tokens[min(clause.cue_end, len(self.tokens) - 1)].low in _THEM:
            self.pending, self.opened = [], None

    def _conditional(self) -> bool:
        before = self.last_clause
        if before is not None and before.sense is not Sense.SCRAP:
            self.on_condition = before.sense is Sense.CONDITION
        return self.on_condition

    def _note(self, span: tuple[int, int], which: str) -> None:
        if self.step is None:
            self.early.append(span)
            return
        getattr(self.step, which).append(span)
        if which == "cautions":
            self.remember([m for m in mentions_between(self.cut, *span) if m.sort is not Sort.TOOL])
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
        shown = self.opened is not None and not self._levered(clause)
        if act.coming and self.pending and shown and not any(m in self.pending for m in meant):
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
        self.released_by(step, clause, objects, meant, verb)
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
        single = [m for m in single if not self._only_placed(m, single)] or single
        if self.pending and not whole:
            return tuple([m for m in self.pending if not m.plural and m.count in {None, 1}][-1:] or self.pending[-1:])
        fresh = [m for m in single if not any(step.has(m) for step in self.steps)]
        if whole:
            return tuple([m for m in fresh if is_whole(m)][:1] or single[:1])
        return tuple(single[:1])

    def _only_placed(self, mention: Mention, others: list[Mention]) -> bool:
        """“The cell is in a holder, slide it out”, “the cable of the keypad”: “it” is not what only tells the place."""
        low = self.tokens[mention.lead].low if mention.lead is not None else ""
        near = any(m.lead is None and 0 < mention.first - m.last <= 4 for m in others)
        return low == "of" or (low in {"in", "inside", "on", "at"} and near)

    def _begins_step(
        self, clause: Clause, objects: Objects, named: tuple[Mention, ...], meant: tuple[Mention, ...],
        verb: Verb | None, tool: bool,
    ) -> bool:  # fmt: skip
        step = self.step
        if step is None:
            return True
        act = clause.act
        assert act is not None
        tool_named = any(m.sort is Sort.TOOL for m in objects.named)
        boundary = (
            self.boundary
            or (self.unmarked and bool(named) and (self.since_act > 0 or self.tokens[clause.start].low != "and"))
            or (
                # “… insert a wedge”, “… warm the edge” without a full stop before.
                self.unmarked and self.tokens[clause.start].low != "and" and (tool_named or self._warms(step, verb))
            )
            # “… the plug is tiny, so unplug it”.
            or (self.unmarked and bool(meant) and self.since_act > 0 and (clause.order > 0 or self._led_in(clause)))
        )
        if step.act is None and step.verb is Verb.INSPECT:
            return boundary
        if not self.boundary and self._only_tool(step):
            return False
        subject = () if named or self.boundary or not self.unmarked else self.newly_told(step, meant)
        if subject:
            self.opened = subject[0]
            return True
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
                and (clause.hard or clause.order or self._led_in(clause) or self._warms(step, verb))
                and verb is not step.verb
            )
        )

    def _only_tool(self, step: Building) -> bool:
        """Say whether the step only put a tool in place so far: “insert a suction cup, raise the glass”."""
        return step.verb is Verb.LEVER and not step.fixings and not step.units and not self.since_act

    def _warms(self, step: Building, verb: Verb | None) -> bool:
        return self.unmarked and verb is Verb.APPLY and step.verb is not Verb.APPLY

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
        levered = self._levered(clause)
        named = recalled or any(m in self.pending for m in meant)
        if self.opened is not None and self.pending and not named and not levered:
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
        self.refitting = False
        self.steps[-1].cautions += [span for span in self.early if span[0] >= start or len(self.steps) == 1]
        self.early = []
        if levered:
            # “Twist the pry tool, there are five clips, and now the cover comes off”: they let go for it.
            for mention in [m for m in self.pending if m.kind in _LOOSE and m.said]:
                self.release(self.steps[-1], mention)
                self.pending.remove(mention)

    def _levered(self, clause: Clause) -> bool:
        """Say whether something comes off by the tool that was taken up."""
        return self.in_hand and clause.act is not None and clause.act.coming and all(
            m.kind in _LOOSE for m in self.pending
        )  # fmt: skip

    def _from_order(self, clause: Clause, meant: tuple[Mention, ...] = ()) -> int:
        before = self.last_clause
        if not before or before.sense is not Sense.STATEMENT or before.end != clause.start or clause.hard:
            return clause.start
        if not self.unmarked:
            return self.sentence_start(self.number - 1)
        if before.order == 2 and self.tokens[before.start].low == "with":
            return before.start
        if before.order == 2 and any(m in meant for m in mentions_between(self.cut, before.start, before.end)):
            return before.start
        words = ORDER.at(self.tokens, before.start)
        return before.start if words and before.end - before.start <= words[0] + 1 else clause.start
