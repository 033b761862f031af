"""Marks on a drawing: targets never overlap while there is room, and are never below the least size."""

from hypothesis import given
from hypothesis import strategies as st

from app.rules.place_layout import SHOWN_PX, lay_out

BOX = (0.0, 0.0, 640.0, 480.0)
PX = 640 / SHOWN_PX
points = st.lists(
    st.tuples(st.floats(0.02, 0.98), st.floats(0.02, 0.98)), min_size=1, max_size=12, unique_by=lambda p: (
        round(p[0], 2), round(p[1], 2))
)  # fmt: skip


@given(points)
def test_a_target_is_a_thumbs_or_as_large_as_its_neighbours_allow(given_: list[tuple[float, float]]) -> None:
    spots = lay_out(given_, BOX)
    least = min(spot.target for spot in spots)
    # 24 px: WCAG 2.2, success criterion 2.5.8. 15 mm are 56.7 px at 96 px an inch (CSS).
    assert least >= 24 * PX
    for n, a in enumerate(spots):
        for b in spots[n + 1 :]:
            apart = max(abs(a.x - b.x), abs(a.y - b.y))
            if apart > 25 * PX:
                assert apart + 0.3 >= (a.target + b.target) / 2


def test_a_place_alone_is_15_mm_wide() -> None:
    (spot,) = lay_out([(0.5, 0.5)], BOX)
    assert spot.target / PX >= 56.7


def test_a_drawing_may_begin_anywhere() -> None:
    (spot,) = lay_out([(0.25, 0.5)], (-100.0, 50.0, 400.0, 300.0))
    assert (spot.x, spot.y) == (0.0, 200.0)


@given(points)
def test_no_number_stands_on_its_own_mark(given_: list[tuple[float, float]]) -> None:
    for spot in lay_out(given_, BOX):
        assert ((spot.label_x - spot.x) ** 2 + (spot.label_y - spot.y) ** 2) ** 0.5 > spot.r
