"""Scenes: a device described in parts, and pictures of it at one step of the work.

A part disappears from the pictures of all steps that need the step which takes it away, so each picture
shows the device as it lies on the bench at that moment.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

from drawing_kit.details import Detail, Glass
from drawing_kit.pen import HEIGHT, PAGE, WIDTH, Point, Shape, Sheet, View, disc, flat, plan, run

Place = tuple[float, float] | tuple[float, float, float]
Solid = tuple[Shape, float, float]


@dataclass(frozen=True, slots=True)
class Part:
    """One piece: solids (outline, lower height, thickness), fine lines on top, the step that takes it away."""

    name: str
    solids: tuple[Solid, ...]
    gone: str | None = None
    lines: tuple[Shape, ...] = ()
    side: str = "inside"
    see_through: bool = False

    @property
    def top(self) -> float:
        return max((z + h for _, z, h in self.solids), default=0.0)

    @property
    def low(self) -> float:
        return self.solids[0][1] if self.solids else 0.0


@dataclass(frozen=True, slots=True)
class Picture:
    """What one step's drawing shows.

    ``rings`` are the places of the step's fixings, in the order of the sheet; a third figure is a height.
    ``lifted`` are the parts shown raised, with their height; without any the picture is a plan.
    ``moves`` are arrows in plan millimetres (plan pictures) or are left to the lifted parts.
    """

    step: str
    title: str
    side: str = "inside"
    focus: tuple[str, ...] = ()
    rings: tuple[Place, ...] = ()
    ring_r: float = 7.0
    detail: Detail | None = None
    look_at: Point | None = None
    lifted: tuple[tuple[str, float], ...] = ()
    moves: tuple[tuple[Point, Point], ...] = ()
    also: Callable[[Sheet, View], None] | None = None
    only: Callable[[Sheet], None] | None = None
    desc: str = ""


@dataclass(frozen=True, slots=True)
class Device:
    """A device model for the illustrator: outline and parts a side, and how to stand it in the picture."""

    code: str
    bases: dict[str, tuple[Solid, ...]]
    base_lines: dict[str, tuple[Shape, ...]]
    parts: tuple[Part, ...]
    plan_view: View
    glass: Glass
    axes: tuple[Point, Point, Point]
    pictures: tuple[Picture, ...] = field(default=())
    side_views: dict[str, tuple[View, Glass]] = field(default_factory=dict)

    def part(self, name: str) -> Part:
        return next(part for part in self.parts if part.name == name)


def compose(device: Device, picture: Picture, before: Collection[str]) -> Sheet:
    """Draw one picture; ``before`` are the steps that are already done."""
    sheet = Sheet(picture.title, picture.desc or _describe(picture))
    if picture.only is not None:
        picture.only(sheet)
        return sheet
    present = [p for p in device.parts if p.side == picture.side and (p.gone is None or p.gone not in before)]
    raised = {name for name, _ in picture.lifted}
    lying = [p for p in present if p.name not in raised]
    present = [p for p in present if p.name in raised or not any(_hides(other, p) for other in lying)]
    present.sort(key=lambda p: (p.low, p.top))
    if picture.lifted:
        _exploded(sheet, device, picture, present)
    else:
        _plan(sheet, device, picture, present)
    return sheet


def places(sheet: Sheet, picture: Picture) -> list[Point]:
    """Return where the rings of a composed picture are, as fractions of it, in the order of the procedure's list."""
    # Rings on what lies in the device are painted before those on what is lifted above it.
    low = [n for n, place in enumerate(picture.rings) if _lies(place)]
    drawn = low + [n for n in range(len(picture.rings)) if n not in low] if picture.lifted else range(len(sheet.spots))
    return [(round(x / WIDTH, 4), round(y / HEIGHT, 4)) for _, (x, y) in sorted(zip(drawn, sheet.spots, strict=True))]


def _lies(place: Place) -> bool:
    return len(place) < 3 or place[2] < 12


def _box(part: Part) -> tuple[float, float, float, float]:
    points = [p for shape, _, _ in part.solids for p in flat(shape, PAGE)]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def _hides(upper: Part, lower: Part) -> bool:
    """Whether one part lies above another and covers it altogether, so that drawing it would be waste."""
    if upper is lower or upper.see_through or not (upper.solids and lower.solids) or upper.low + 0.01 < lower.top:
        return False
    a, b = _box(upper), _box(lower)
    return a[0] <= b[0] and a[1] <= b[1] and a[2] >= b[2] and a[3] >= b[3]


def _describe(picture: Picture) -> str:
    what = "Exploded view, the part lifted in the direction of the arrow" if picture.lifted else "Seen from above"
    rings = len(picture.rings)
    places = f"; {rings} {'place is' if rings == 1 else 'places are'} marked with a ring" if rings else ""
    return f"{what}{places}."


def _base(sheet: Sheet, device: Device, side: str, view: View, fine: bool = True) -> None:
    top = 0.0
    for shape, z, h in device.bases[side]:
        sheet.slab("body", shape, view, z, h)
        top = z + h
    lines = device.base_lines.get(side, ())
    sheet.many("faint", lines if fine else lines[:1], view, top)


def put(sheet: Sheet, part: Part, view: View, focus: bool, z: float = 0.0, fine: bool = True) -> None:
    """Draw a part, raised by z, filled when it is the one in question; without its fine lines if not wanted."""
    for shape, low, h in part.solids:
        sheet.slab("focus" if focus else "body", shape, view, low + z, h)
    if fine:
        sheet.many("faint", part.lines, view, part.top + z)


def _plan(sheet: Sheet, device: Device, picture: Picture, present: Sequence[Part]) -> None:
    view, glass = device.side_views.get(picture.side, (device.plan_view, device.glass))
    _base(sheet, device, picture.side, view)
    for part in present:
        put(sheet, part, view, part.name in picture.focus)
    if picture.also is not None:
        picture.also(sheet, view)
    for a, b in picture.moves:
        sheet.arrow(view.at(a), view.at(b))
    if picture.detail is not None:
        spot = picture.look_at or (picture.rings[0][:2] if picture.rings else (0.0, 0.0))
        glass.show(sheet, view.at(spot), picture.detail)
    for place in picture.rings:
        sheet.hole(place[:2], view, r=picture.ring_r)


def fit(device: Device, outlines: Sequence[tuple[Shape, float]], room: tuple[float, float, float, float]) -> View:
    """Scale and place the exploded view so that all outlines (with heights) fill the room x0, y0, x1, y1."""
    rough = View((0.0, 0.0), *device.axes)
    points = [p for shape, z in outlines for p in flat(shape, rough, z)]
    left, right = min(p[0] for p in points), max(p[0] for p in points)
    top, bottom = min(p[1] for p in points), max(p[1] for p in points)
    x0, y0, x1, y1 = room
    k = min((x1 - x0) / (right - left), (y1 - y0) / (bottom - top))
    origin = ((x0 + x1) / 2 - k * (left + right) / 2, (y0 + y1) / 2 - k * (top + bottom) / 2)
    xa, ya, za = ((a * k, b * k) for a, b in device.axes)
    return View(origin, xa, ya, za)


def _exploded(sheet: Sheet, device: Device, picture: Picture, present: Sequence[Part]) -> None:
    rise = dict(picture.lifted)
    main = picture.lifted[0][0]
    outlines = [(shape, z) for shape, z, _ in device.bases[picture.side]]
    outlines += [(shape, z + h + rise[name]) for name in rise for shape, z, h in device.part(name).solids]
    view = fit(device, outlines, (26.0, 88.0, 614.0, 462.0))
    _base(sheet, device, picture.side, view, fine=False)
    for part in present:
        if part.name in rise and part.name != main:
            continue
        if part.name == main:
            sheet.many("faint", [shape for shape, _, _ in part.solids], view, part.solids[0][1])
        else:
            put(sheet, part, view, part.name in picture.focus, fine=False)
    if picture.also is not None:
        picture.also(sheet, view)
    low_rings = [place for place in picture.rings if _lies(place)]
    for place in low_rings:
        sheet.hole(place[:2], view, place[2] if len(place) > 2 else 1.0, picture.ring_r)
    for name, z in sorted(rise.items(), key=lambda item: item[1]):
        part = device.part(name)
        if name == main:
            _drop_lines(sheet, part, view, z)
        put(sheet, part, view, True, z, fine=len(rise) < 4 or name == main)
    top = main if len(rise) > 2 else max(rise, key=lambda name: rise[name])
    _lift_arrow(sheet, device.part(top), view, rise[top])
    for place in picture.rings:
        if place not in low_rings:
            sheet.hole(place[:2], view, place[2], picture.ring_r)  # type: ignore[misc]


def _drop_lines(sheet: Sheet, part: Part, view: View, z: float) -> None:
    """Dashed lines from the seat of a lifted part to its outermost points."""
    shape, low, _ = part.solids[0]
    seat, up = flat(shape, view, low), flat(shape, view, low + z)
    order = sorted(range(len(seat)), key=lambda i: seat[i][0])
    lowest = max(range(len(seat)), key=lambda i: seat[i][1])
    for i in (order[0], order[-1], lowest):
        sheet.dashes(seat[i], up[i])


def _lift_arrow(sheet: Sheet, part: Part, view: View, z: float) -> None:
    points = flat(part.solids[0][0], view, part.top + z)
    x = (min(p[0] for p in points) + max(p[0] for p in points)) / 2
    y = (min(p[1] for p in points) + max(p[1] for p in points)) / 2
    edge = min(p[1] for p in points)
    reach = min(y - 6, edge + 24)
    sheet.arrow((x, reach), (x, max(reach - 74, 10)), 10)


def leaf(sheet: Sheet, view: View, shape: Shape, lines: Sequence[Shape], thick: float) -> None:
    """A folded-up cover: two faces a little apart, so that it reads as a plate."""
    sheet.slab("focus", shape, view, 0.0, thick)
    sheet.many("faint", lines, view, thick)


def cross_marks(points: Sequence[Point], r: float) -> tuple[Shape, ...]:
    """Small drilled holes, as fine circles."""
    return tuple(disc(x, y, r) for x, y in points)


def slots(x: float, y: float, w: float, n: int, pitch: float) -> tuple[Shape, ...]:
    """A grille: n short parallel lines."""
    return tuple(run([(x + i * pitch, y), (x + i * pitch, y + w)]) for i in range(n))


__all__ = ["Device", "Part", "Picture", "compose", "cross_marks", "fit", "leaf", "places", "plan", "put", "slots"]
