"""Alternates, old units and returns in any order: stock conserved by part, lot and place, projections equal to facts.

A plain model of two parts, one the approved alternate of the other, is moved along with the real ones. Every piece that
was received, mended or counted lies on a shelf, went to a job, or went back to the supplier; every old unit is where
its deeds have brought it.
"""

from collections.abc import Mapping
from decimal import Decimal
from itertools import count

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.stores.supplier_returns import ReturnReason
from app.rules.stores.units import Deed, UnitKind, UnitState, after, first_state
from app.stores import actions, queries
from tests.stores.shop import AT, TODAY, stamp

JOBS = ("job:J000001", "job:J000002")
PLACES = ("B-01", "C-01")
_numbers = count(1)
quantities = st.integers(min_value=1, max_value=5)
jobs = st.sampled_from(JOBS)
which = st.sampled_from((0, 1))
picks = st.integers(min_value=0, max_value=50)
WORK = (Deed.SEND, Deed.MEND, Deed.GIVE_UP, Deed.RETURN, Deed.ACCEPT, Deed.CHARGE)


class Rounds(RuleBasedStateMachine):
    """Receive, reserve, stand in, hand out, transfer, set aside, send back; units come out and go their way."""

    db: Database
    place_ids: Mapping[str, int]

    def __init__(self) -> None:
        super().__init__()
        n = next(_numbers)
        self.parts = (f"WANT-{n}", f"ALT-{n}")
        self.shelf: dict[tuple[int, int], int] = {}
        self.part_of: dict[int, int] = {}
        self.aside: set[int] = set()
        self.promised: dict[tuple[int, str], int] = {}
        self.out = [0, 0]
        self.back = [0, 0]
        self.came = [0, 0]
        self.approved: bool | None = None
        self.units: dict[str, tuple[int, UnitState]] = {}
        rows = [{"number": p, "name": "Any", "location": "B-01", "supplier": "KLP", "price": "1.5"} for p in self.parts]
        with self.db.write() as session:
            assert not actions.import_catalogue(session, [], [], rows, **stamp()).errors
            actions.save_unit_terms(session, self.parts[0], UnitKind.ROTABLE, Decimal(0), 10, at=AT)
            actions.save_unit_terms(session, self.parts[1], UnitKind.EXCHANGE, Decimal(20), 10, at=AT)

    # What the model says.

    def usable(self, part: int) -> int:
        return sum(n for (lot, _p), n in self.shelf.items() if self.part_of[lot] == part and lot not in self.aside)

    def reserved(self, part: int) -> int:
        return sum(n for (p, _s), n in self.promised.items() if p == part)

    def free(self, part: int) -> int:
        return max(0, self.usable(part) - self.reserved(part))

    def spot(self, pick: int) -> tuple[int, int]:
        full = sorted(key for key, n in self.shelf.items() if n)
        return full[pick % len(full)]

    def promises_fall(self, part: int) -> None:
        """Read from the book which promises fell; that they are no more than needed is checked here."""
        before = self.reserved(part)
        with self.db.read() as session:
            for source in JOBS:
                held = queries.reserved_for(session, source).get(self.parts[part], 0)
                assert held <= self.promised.get((part, source), 0)
                self.promised[part, source] = held
        missing = max(0, before - self.usable(part))
        assert before - self.reserved(part) == missing

    # What may happen.

    @rule(part=which, quantity=quantities)
    def receive(self, part: int, quantity: int) -> None:
        with self.db.write() as session:
            lot = actions.receive_loose(session, self.parts[part], "", None, quantity, None, None, "Any", **stamp())
        self.part_of[lot] = part
        self.shelf[lot, self.place_ids["B-01"]] = quantity
        self.came[part] += quantity

    @rule(job=jobs, part=which, quantity=quantities)
    def reserve(self, job: str, part: int, quantity: int) -> None:
        expected = min(quantity, self.free(part))
        with self.db.write() as session:
            got = actions.reserve(session, job, {self.parts[part]: quantity}, **stamp())
        assert got == {self.parts[part]: expected}
        self.promised[part, job] = self.promised.get((part, job), 0) + expected

    @rule()
    def say_of_the_pair(self) -> None:
        """Propose, approve, withdraw, propose anew."""
        wanted, other = self.parts
        with self.db.write() as session:
            if self.approved is None:
                actions.propose_alternate(session, wanted, other, "Any", **stamp())
                actions.approve_alternate(session, wanted, other, supervisor=True, **stamp())
            else:
                actions.withdraw_alternate(session, wanted, other, "Any", **stamp())
        self.approved = True if self.approved is None else None

    @rule(job=jobs, quantity=quantities, needed=quantities)
    def stand_in(self, job: str, quantity: int, needed: int) -> None:
        allowed = bool(self.approved) and quantity <= needed and quantity <= self.free(1)
        wanted, other = self.parts
        if not allowed:
            with pytest.raises(Refused), self.db.write() as session:
                actions.stand_in(session, job, wanted, other, quantity, needed, **stamp(), today=TODAY)
            return
        with self.db.write() as session:
            actions.stand_in(session, job, wanted, other, quantity, needed, **stamp(), today=TODAY)
        self.promised[0, job] = min(self.promised.get((0, job), 0), needed - quantity)
        self.promised[1, job] = self.promised.get((1, job), 0) + quantity

    @rule(job=jobs)
    def hand_out_what_is_promised(self, job: str) -> None:
        with self.db.write() as session:
            wants = {p: n for p, n in queries.reserved_for(session, job).items() if p in self.parts}
            chosen = queries.propose_picks(session, wants, TODAY)
            if not chosen:
                return
            assert not {p.lot_id for p in chosen} & self.aside
            actions.hand_out(session, job, chosen, **stamp())
        for pick in chosen:
            part = self.part_of[pick.lot_id]
            self.shelf[pick.lot_id, pick.location_id] -= pick.quantity
            self.out[part] += pick.quantity
            self.promised[part, job] -= pick.quantity

    @precondition(lambda self: any(self.shelf.values()))
    @rule(pick=picks, to=st.sampled_from(PLACES), quantity=quantities)
    def transfer(self, pick: int, to: str, quantity: int) -> None:
        lot, place = self.spot(pick)
        if self.place_ids[to] == place or quantity > self.shelf[lot, place]:
            return
        with self.db.write() as session:
            actions.transfer(session, lot, place, to, quantity, **stamp())
        self.shelf[lot, place] -= quantity
        key = (lot, self.place_ids[to])
        self.shelf[key] = self.shelf.get(key, 0) + quantity

    @precondition(lambda self: any(self.shelf.values()))
    @rule(pick=picks)
    def set_aside_or_release(self, pick: int) -> None:
        lot, _place = self.spot(pick)
        act = actions.release_lot if lot in self.aside else actions.quarantine_lot
        with self.db.write() as session:
            act(session, lot, "Any", at=AT, who=None)
        self.aside ^= {lot}

    @precondition(lambda self: any(self.shelf.values()))
    @rule(pick=picks, quantity=quantities)
    def send_back(self, pick: int, quantity: int) -> None:
        lot, place = self.spot(pick)
        part = self.part_of[lot]
        goods = actions.GoodsBack(lot, place, quantity, ReturnReason.FAULTY, "Any")
        if quantity > self.shelf[lot, place]:
            with pytest.raises(Refused), self.db.write() as session:
                actions.return_goods(session, goods, **stamp())
            return
        with self.db.write() as session:
            actions.return_goods(session, goods, **stamp())
        self.shelf[lot, place] -= quantity
        self.back[part] += quantity
        self.promises_fall(part)

    @rule(part=which)
    def a_unit_comes_out(self, part: int) -> None:
        with self.db.write() as session:
            came = [actions.CameOut(self.parts[part], "SN")]
            number = actions.take_in_units(session, JOBS[0], came, **stamp(), today=TODAY)[0]
        self.units[number] = (part, first_state(UnitKind.EXCHANGE if part else UnitKind.ROTABLE))

    @precondition(lambda self: bool(self.units))
    @rule(pick=picks, deed=st.sampled_from(WORK))
    def something_is_done_with_a_unit(self, pick: int, deed: Deed) -> None:
        number = sorted(self.units)[pick % len(self.units)]
        part, state = self.units[number]
        try:
            following = after(number, state, deed)
        except Refused:
            with pytest.raises(Refused), self.db.write() as session:
                self.do(session, number, deed)
            return
        with self.db.write() as session:
            lot = self.do(session, number, deed)
        self.units[number] = (part, following)
        if deed is Deed.MEND:
            assert lot is not None
            self.part_of[lot] = part
            self.shelf[lot, self.place_ids["B-01"]] = 1
            self.came[part] += 1

    def do(self, session: object, number: str, deed: Deed) -> int | None:
        """Do a deed with a unit; returns the lot it became."""
        if deed is Deed.MEND:
            return actions.unit_repaired(session, number, Decimal("3.25"), "", **stamp())  # type: ignore[arg-type]
        if deed is Deed.SEND:
            actions.send_unit_to_repair(session, number, "Bench", **stamp())  # type: ignore[arg-type]
        elif deed is Deed.GIVE_UP:
            actions.give_unit_up(session, number, "Any", **stamp())  # type: ignore[arg-type]
        elif deed is Deed.RETURN:
            actions.send_core(session, number, "", by_air=False, **stamp())  # type: ignore[arg-type]
        else:
            actions.end_core(session, number, deed is Deed.ACCEPT, "Any", **stamp())  # type: ignore[arg-type]
        return None

    # What must always hold.

    @invariant()
    def the_book_says_what_the_model_says(self) -> None:
        with self.db.read() as session:
            rows = queries.lots_of(session, self.parts)
            shown = queries.shelf(session, self.parts, TODAY)
            held = {source: queries.reserved_for(session, source) for source in JOBS}
            offered = queries.offers(session, [self.parts[0]], TODAY).get(self.parts[0], ())
            units = {number: queries.old_unit(session, number).state for number in self.units}
        assert {(r.lot_id, r.location_id): r.on_hand for r in rows} == {k: n for k, n in self.shelf.items() if n}
        for part, number in enumerate(self.parts):
            on_hand = sum(n for (lot, _p), n in self.shelf.items() if self.part_of[lot] == part)
            assert shown[number].on_hand == on_hand
            # Nothing is made or lost: what came lies there, went out, or went back.
            assert self.came[part] == on_hand + self.out[part] + self.back[part]
            assert shown[number].reserved == self.reserved(part) == sum(h.get(number, 0) for h in held.values())
            assert shown[number].available == self.free(part)
        assert [(o.alternate, o.free) for o in offered] == (
            [(self.parts[1], self.free(1))] if self.approved and self.free(1) else []
        )
        assert units == {number: state for number, (_part, state) in self.units.items()}

    def teardown(self) -> None:
        with self.db.read() as session:
            assert queries.stock_faults(session) == []


def test_nothing_is_made_or_lost_with_alternates_units_and_returns(
    shop: Database, request: pytest.FixtureRequest
) -> None:
    long = bool(request.config.getoption("--long"))
    with shop.read() as session:
        ids = {place.code: place.id for place in queries.locations(session)}

    class OfThisShop(Rounds):
        db = shop
        place_ids = ids

    run_state_machine_as_test(
        OfThisShop,
        settings=settings(
            max_examples=200 if long else 8,
            stateful_step_count=60 if long else 25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.explicit, Phase.generate, Phase.shrink),
            database=None,
            print_blob=False,
        ),
    )
