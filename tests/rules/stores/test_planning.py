"""All parts in one pass: the same as one at a time, with priors, packs, shelf lives and fours."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.stores.arrays import DAYS_PER_MONTH, reals
from app.rules.stores.forecast import METHODS, Method
from app.rules.stores.laws import LAWS, Law
from app.rules.stores.planning import Parts, Plans, Terms, plain_parts, plan_parts

TERMS = Terms()


def _plan(history: list[int], **columns: float) -> Plans:
    parts = plain_parts(reals(history)[None, :], target=0.95, lead_days=14)
    given_ = {name: np.asarray([value], dtype=getattr(parts, name).dtype) for name, value in columns.items()}
    return plan_parts(replace(parts, **given_), TERMS)


STEADY = [4, 3, 6, 2, 5, 4, 7, 3, 4, 2, 5, 3] * 3


def test_one_part_is_planned_as_it_is_among_many() -> None:
    chance = np.random.default_rng(3)
    history = chance.negative_binomial(1.0, 0.3, (50, 36)).astype(np.float64)
    history[7] = 0
    many = plan_parts(plain_parts(history, target=0.95, lead_days=20, lead_sd_days=3), TERMS)
    for part in (0, 7, 31, 49):
        one = plan_parts(plain_parts(history[part : part + 1], target=0.95, lead_days=20, lead_sd_days=3), TERMS)
        for name in ("point", "lot", "up_to", "service", "fill", "rate", "kept"):
            assert getattr(one, name)[0] == getattr(many, name)[part], name
    assert not many.kept[7]
    assert (many.point[7], many.up_to[7]) == (0, 0)


def test_a_steady_part_has_a_plausible_point() -> None:
    plans = _plan(STEADY)
    assert METHODS[int(plans.method[0])] is Method.CROSTON
    assert plans.rate[0] * DAYS_PER_MONTH == pytest.approx(4, abs=0.3)
    assert LAWS[int(plans.lead.law[0])] is Law.NEGATIVE_BINOMIAL
    assert 3 <= int(plans.point[0]) <= 6
    assert plans.service[0] >= 0.95
    assert plans.fill[0] > plans.service[0]
    assert plans.up_to[0] == plans.point[0] + plans.lot[0]


def test_steady_demand_is_normal_once_it_is_clear_that_chance_does_not_make_it_look_so() -> None:
    clear = _plan([30, 31, 29, 30, 32, 30, 28, 31, 30, 29, 31, 30] * 3)
    assert LAWS[int(clear.lead.law[0])] is Law.NORMAL
    perhaps = _plan([30, 24, 35, 37, 25, 31, 35, 27, 33, 24, 36, 29] * 3)
    assert LAWS[int(perhaps.protected.law[0])] is not Law.NORMAL
    assert clear.point[0] <= perhaps.point[0]


def test_a_part_wanted_in_fours_is_counted_in_fours() -> None:
    fours = _plan([4 * x for x in STEADY])
    assert (int(fours.unit[0]), int(fours.point[0]) % 4) == (4, 3)
    single = _plan(STEADY, lot=int(fours.lot[0]) // 4)
    assert int(fours.point[0]) // 4 == int(single.point[0])


def test_a_new_part_leans_on_its_prior_until_its_own_history_stands() -> None:
    new = _plan([0] * 36, first=34, prior_rate=0.1, prior_days=180)
    assert METHODS[int(new.method[0])] is Method.PRIOR
    assert 0 < new.rate[0] < 0.1
    assert new.point[0] > 0
    assert not _plan([0] * 36).kept[0]
    assert METHODS[int(_plan(STEADY, prior_rate=0.1, prior_days=180).method[0])] is not Method.PRIOR


def test_a_lot_is_cut_to_what_is_used_before_it_expires() -> None:
    keeps, spoils = _plan(STEADY), _plan(STEADY, shelf_life_days=90)
    assert not keeps.cut[0]
    assert spoils.cut[0]
    assert spoils.lot[0] < keeps.lot[0]
    assert spoils.lot[0] <= 90 * spoils.rate[0]
    assert _plan(STEADY, shelf_life_days=90, pack=20).lot[0] == 20


def test_an_agreed_lot_stands_before_the_economic_one() -> None:
    assert _plan(STEADY, lot=50).lot[0] == 50
    assert _plan(STEADY, lot=50, pack=20, minimum=70).lot[0] == 80


def test_columns_of_other_lengths_and_senseless_terms_are_refused() -> None:
    parts = plain_parts(reals(STEADY)[None, :], target=0.95, lead_days=14)
    with pytest.raises(ValueError, match="one place a part"):
        replace(parts, pack=np.asarray([1, 1]))
    with pytest.raises(ValueError, match="above zero"):
        Terms(review_days=0)
    with pytest.raises(ValueError, match="smoothing"):
        Terms(smoothing=1)


HISTORIES = st.lists(st.integers(0, 30), min_size=3, max_size=40)


@given(HISTORIES, st.integers(0, 60), st.floats(0, 12), st.integers(1, 25), st.integers(0, 60), st.integers(0, 400))
def test_any_history_gives_levels_that_keep_their_promises(
    history: list[int], lead: int, sd: float, pack: int, minimum: int, shelf_life: int
) -> None:
    parts = plain_parts(np.tile(reals(history), (3, 1)), target=0.9, lead_days=lead, lead_sd_days=sd)
    same = np.ones(3, dtype=np.int64)
    parts = replace(
        parts, pack=pack * same, minimum=minimum * same, shelf_life_days=reals([0, shelf_life, 0]),
        target=reals([0.9, 0.9, 0.98]),
    )  # fmt: skip
    plans = plan_parts(parts, TERMS)
    assert (plans.lot % pack == 0).all()
    assert (plans.lot >= minimum).all()
    assert (plans.service[plans.kept] >= parts.target[plans.kept]).all()
    assert ((plans.fill >= 0) & (plans.fill <= 1)).all()
    assert plans.lot[1] <= plans.lot[0]
    assert plans.point[2] >= plans.point[0]


@given(HISTORIES, st.integers(1, 60))
def test_a_longer_lead_time_never_lowers_the_reorder_point(history: list[int], lead: int) -> None:
    parts: Parts = plain_parts(np.tile(reals(history), (2, 1)), target=0.95, lead_days=lead)
    plans = plan_parts(replace(parts, lead_days=reals([lead, 1.5 * lead])), TERMS)
    assert plans.point[0] <= plans.point[1]
