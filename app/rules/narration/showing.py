"""What a narration shows before it is undone: “there are four screws in the back”."""

from dataclasses import replace
from typing import Final

from app.rules.narration.binding import bare_count, mentions_between, objects_of, shown_in, verb_of
from app.rules.narration.building import Building, Released
from app.rules.narration.clauses import Clause, Cut, Sense
from app.rules.narration.mention_kinds import Sort
from app.rules.narration.mentions import Mention
from app.rules.narration.numbers import number_at
from app.rules.narration.shapes import Verb
from app.rules.sheet import FixingKind as K

_LOOSE: Final = frozenset({K.CLIP, K.ADHESIVE})
_OPENING: Final = frozenset({Verb.LEVER, Verb.OPEN, Verb.LIFT_OUT, Verb.PEEL, None})
_COUNTED: Final = frozenset({K.SCREW, K.CLIP})
_NEAR: Final = 25
"""Words behind a count in which it still holds for the same noun."""
_SEEN: Final = 8
"""Mentions kept in mind for “it” and “them”."""


_EXIST: Final = frozenset({"there's", "are", "is", "got", "have"})
_COUNT_ENDS: Final = frozenset({"and", "of", "so", "they're", "those", "in", "altogether", "total"})


class Showing:
    """Keeps in mind what was shown and what is open. ``steps`` are those read so far."""

    def __init__(self, cut: Cut, unmarked: bool) -> None:
        self.cut = cut
        self.tokens = cut.tokens
        self.unmarked = unmarked
        self.steps: list[Building] = []
        self.closing: int | None = None
        self.boundary = True
        self.since_act = 0
        self.opened: int | None = None
        self.in_hand = False
        self.refitting = False
        self.on_condition = False
        self.number = 0
        self.pending: list[Mention] = []
        self.seen: list[Mention] = []
        self.early: list[tuple[int, int]] = []
        self.last_clause: Clause | None = None

    @property
    def step(self) -> Building | None:
        """The step that is being read."""
        return self.steps[-1] if self.steps else None

    def remember(self, mentions: list[Mention]) -> None:
        self.seen = [*(m for m in self.seen if m not in mentions), *mentions][-_SEEN:]

    def statement(self, number: int, clause: Clause) -> None:
        shown = shown_in(self.cut, clause)
        bare = bare_count(self.cut, clause)
        if clause.end - clause.start > 1 and not clause.order:
            self.since_act += 1
        self.counted_later(clause)
        if not shown and not bare:
            told = mentions_between(self.cut, clause.start, clause.end)
            if self.unmarked and clause.order == 2 and self.opened is None and not self.pending and told:
                self.opened = clause.start
            self.remember(mentions_between(self.cut, clause.start, clause.end))
            return
        step = self.step
        shown = [m for m in shown if not self._out_already(m)] or shown
        # “The housings are joined by ten snaps”: the housings are known.
        new = [m for m in shown if m.kind is not K.COVER or not m.definite or m.said or m.lead is not None]
        shown = new if step and step.verb in _OPENING and new and all(m.kind in _LOOSE for m in new) else shown
        if (
            step
            and shown
            and all(m.kind in _LOOSE or m.kind is K.SEAL for m in shown)
            and step.verb in _OPENING
            and not self._undone_next(number, shown)
        ):
            for mention in shown:
                if mention.kind in _LOOSE and (mention.said or mention.plural):
                    self.release(step, mention)
            self.counted_later(clause)
            self.remember(mentions_between(self.cut, clause.start, clause.end))
            return
        if self._same_again(step, shown) or self._held_by(number, clause, shown):
            return
        if self.pending and clause.order == 2 and self.opened is not None:
            self.leave_pending()
            self.opened = None
        if self.boundary or self.since_act:
            if not self.pending:
                self.opened = self.sentence_start(number) if self.opened is None else self.opened
            self.boundary = True
        self.pending += [mention for mention in shown if not mention.latch]
        self.remember(mentions_between(self.cut, clause.start, clause.end))

    def counted_later(self, clause: Clause) -> None:
        """“There are six of them”: the count of what was released a moment ago."""
        step = self.step
        open_ones = [f for f in step.fixings if f.count is None and f.mention.plural] if step else []
        if self.pending and self.pending[-1].plural and self.pending[-1].count is None:
            self._count_shown(clause)
        if not open_ones or (
            clause.sense is Sense.STATEMENT
            and clause.hard
            and self.tokens[clause.start].low not in {"there", "there's", "they", "you"}
        ):
            return
        for k in range(clause.start, clause.end):
            number = number_at(self.tokens, k)
            after = [token.low for token in self.tokens[k + (number.size if number else 0) :][:2]]
            if (
                number
                and number.value
                and not self.cut.mentioned.at.get(k)
                and (
                    after[:1] in (["altogether"], ["total"])
                    or (k > clause.start and self.tokens[k - 1].low in {"qty", "quantity"})
                    or after in (["of", "them"], ["of", "those"], ["in", "total"], ["in", "all"])
                )
            ):
                open_ones[-1].count, open_ones[-1].exact = number.value, number.exact
                return

    def _count_shown(self, clause: Clause) -> None:
        """“You start with the screws, there's six”: the count of what was shown."""
        for k in range(clause.start + 1, clause.end):
            number = number_at(self.tokens, k)
            if number and number.value and self.tokens[k - 1].low in _EXIST and not self.cut.mentioned.at.get(k):
                after = self.tokens[k + number.size].low if k + number.size < clause.end else "and"
                if after in _COUNT_ENDS:
                    shown = replace(self.pending[-1], count=number.value, said=True, exact=number.exact)
                    self.pending[-1] = shown
                    self.seen = [*self.seen, shown][-_SEEN:]
                return

    def _held_by(self, number: int, clause: Clause, shown: list[Mention]) -> bool:
        """“Remove the board, it is fixed with 4 screws”: they are undone for it."""
        step, before = self.step, self.last_clause
        if not step or clause.hard or not before or before.sense is not Sense.ACT or self._undone_next(number, shown):
            return False
        if not shown or any(m.lead is None or not m.said for m in shown) or step.verb not in _OPENING:
            return False
        for mention in shown:
            self.release(step, mention)
        return True

    def sentence_start(self, number: int) -> int:
        """Return where the sentence of a statement begins, if nothing else was said in it."""
        clauses = self.cut.clauses
        k = number
        end = clauses[number].end
        while k and clauses[k].order < 2 and not clauses[k].hard and clauses[k - 1].sense is Sense.STATEMENT:
            k -= 1
        far = end - clauses[k].start > 30 or (self.unmarked and not clauses[k].order)
        return clauses[number].start if far else clauses[k].start

    def recalled(self, named: tuple[Mention, ...]) -> list[Mention]:
        """Return what was shown and is now named again: “there's a bracket with one screw; take out the screw”."""
        if self.opened is None:
            return []
        return [
            m
            for m in [*self.pending, *self.seen]
            if m.first >= self.opened
            and any(n.definite and n.sort is Sort.FIXING and n.noun == m.noun and n.first > m.first for n in named)
        ]

    def _out_already(self, mention: Mention) -> bool:
        """“The bung's got a ring on it”: the bung came out a moment ago."""
        known = mention.definite and not mention.said
        return known and any(f.mention.noun == mention.noun for step in self.steps[-2:] for f in step.fixings)

    def newly_told(self, step: Building, meant: tuple[Mention, ...]) -> tuple[int, ...]:
        """“… the cell sits in a holder, slide it out”: return where the clause that told of it begins, if any does."""
        if not self.since_act or not meant or step.act is None:
            return ()
        thing = meant[0]
        if step.has(thing) or thing.first <= step.act.first or not thing.definite or thing.lead is not None:
            return ()
        told = next((c for c in reversed(self.cut.clauses[: self.number]) if c.start <= thing.first), None)
        fits = told is not None and told.sense is Sense.STATEMENT and thing.first - told.start <= 1
        return (told.start,) if told is not None and fits else ()

    def _same_again(self, step: Building | None, shown: list[Mention]) -> bool:
        """“There are six of them”, “the screws are long”: the same things, told once more."""
        if not step or not shown:
            return False
        for mention in shown:
            same = [f for f in step.fixings if f.kind is mention.kind]
            if not same or not (mention.definite or (mention.plural and not mention.said)):
                return False
            if mention.said and same[-1].count not in {None, mention.count}:
                return False
            if same[-1].count is None and mention.count and mention.said:
                same[-1].count, same[-1].exact = mention.count, mention.exact
        return True

    def _undone_next(self, number: int, shown: list[Mention]) -> bool:
        """Say whether the next act is done to “them”: then what is shown belongs to that act's step."""
        for clause in self.cut.clauses[number + 1 : number + 3]:
            if clause.sense is Sense.ACT and clause.act:
                objects = objects_of(self.cut, clause)
                verb = verb_of(clause.act, (), False)
                if not objects.pronoun or clause.act.coming:
                    return False
                single = shown[-1].kind is K.SEAL and not shown[-1].plural and not objects.plural
                return (objects.plural and verb is not Verb.LIFT_OUT) or (single and verb in {Verb.PEEL, None})
        return False

    def release(
        self, step: Building, mention: Mention, count: int | None = None, at: tuple[int, int] | None = None
    ) -> None:
        assert mention.kind is not None
        if step.has(mention):
            return
        vague = [
            f for f in step.fixings if f.kind is mention.kind and f.mention.noun == mention.noun and f.count is None
        ]
        if vague and mention.said and mention.count:
            # “There are many small clips, I think twelve clips”.
            vague[-1].count, vague[-1].exact = mention.count, mention.exact
            return
        if count is None and mention.count is None and mention.definite:
            count = self._count_of_same(mention)
        said = mention.count if mention.count is not None and (mention.said or count is None) else count
        doubt = None
        if count is not None and mention.said and mention.count not in {None, count}:
            said, doubt = count, "differs"
        step.fixings.append(
            Released(
                mention, mention.kind, said, mention.exact and doubt is None, mention.first, mention.last, doubt=doubt
            )
        )

    def _count_of_same(self, mention: Mention) -> int | None:
        """“There's a shield with five screws; take out those screws”."""
        same = [m for m in self.seen if m.noun == mention.noun and m.said and m.first < mention.first]
        return same[-1].count if same and mention.first - same[-1].first < _NEAR else None

    def leave_pending(self) -> None:
        """What was shown and never undone: screws and clips with a count are asked about, the rest is only talk."""
        step = self.step
        for mention in self.pending:
            own = self.opened is not None and (step is None or self.opened > step.start)
            if own and self.opened is not None and mention.kind is K.SCREW and mention.said and mention.count:
                step = Building(self.opened, Verb.UNFASTEN)
                self.steps.append(step)
            if step and mention.kind in _COUNTED and mention.said and mention.count:
                self.release(step, mention)
                step.fixings[-1].exact, step.fixings[-1].doubt = False, "shown"
        self.pending = []
