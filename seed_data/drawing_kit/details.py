"""Enlarged details in a round frame: what the hand and the tool do at one place.

Every function draws in its own units, the centre of the frame at (0, 0), the rim at radius 130, y down.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import acos, atan2, cos, hypot, pi, sin, sqrt

from drawing_kit.pen import Point, Shape, Sheet, View, curve, disc, lobes, poly, rect, run

RIM = 130.0
Detail = Callable[[Sheet, View], None]


@dataclass(frozen=True, slots=True)
class Glass:
    """A magnifier: the round frame in the picture that holds a detail."""

    centre: Point
    radius: float

    def show(self, sheet: Sheet, place: Point, detail: Detail) -> None:
        """Draw the frame, two sight lines to the place it enlarges, and the detail."""
        small = 15.0
        dx, dy = self.centre[0] - place[0], self.centre[1] - place[1]
        distance = hypot(dx, dy)
        if distance > self.radius + small:
            base = atan2(dy, dx)
            lean = acos((self.radius - small) / distance)
            for side in (-1, 1):
                # External tangents of the two circles.
                a = base + pi + side * lean
                ends = [(c[0] + r * cos(a), c[1] + r * sin(a)) for c, r in ((place, small), (self.centre, self.radius))]
                sheet.draw("faint", run(ends))
        sheet.draw("faint", disc(*place, small))
        sheet.draw("body", disc(*self.centre, self.radius))
        k = self.radius / RIM
        detail(sheet, View(self.centre, (k, 0.0), (0.0, k)))
        sheet.draw("ol", disc(*self.centre, self.radius))


def chord(y: float, rim: float = RIM - 1) -> float:
    return sqrt(max(0.0, rim * rim - y * y))


def clip(points: Sequence[Point], rim: float = RIM) -> list[Point]:
    """The part of a polygon inside the round frame (clipped against a 60-gon, edge by edge)."""
    out = list(points)
    corners = [(rim * cos(i * pi / 30), rim * sin(i * pi / 30)) for i in range(60)]
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        kept: list[Point] = []
        for p, q in zip(out, out[1:] + out[:1], strict=True):
            p_in = (bx - ax) * (p[1] - ay) - (by - ay) * (p[0] - ax)
            q_in = (bx - ax) * (q[1] - ay) - (by - ay) * (q[0] - ax)
            if p_in >= 0:
                kept.append(p)
            if p_in * q_in < 0:
                t = p_in / (p_in - q_in)
                kept.append((p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t))
        out = kept
    return out


def block(sheet: Sheet, view: View, points: Sequence[Point], cls: str = "body") -> None:
    """A polygon that may run out of the frame; what is outside is cut away."""
    sheet.draw(cls, poly(clip(points)), view)


def ground(sheet: Sheet, view: View, top: float, thick: float | None = None) -> None:
    """A layer across the whole frame from top downwards, thick or down to the rim."""
    low = RIM + 9 if thick is None else top + thick
    block(sheet, view, [(-200, top), (200, top), (200, low), (-200, low)])


def screws(*sizes: tuple[float, float], patch: bool = False, scale: float = 11.0) -> Detail:
    """Screws in profile, true to each other in length; sizes are (diameter, length) in millimetres."""

    def detail(sheet: Sheet, view: View) -> None:
        ground(sheet, view, 36)
        spots = [-34.0, 40.0] if len(sizes) == 2 else [-14.0]
        for x, (d, length) in zip(spots, sizes, strict=True):
            tip = 36 + min(length * scale * 0.45, 60)
            head = tip - length * scale
            _screw(sheet, view, x, head, d * scale, length * scale, patch)
            half = d * scale * 0.3
            top = -chord(abs(x) + half)
            grip = [(x - half, top), (x + half, top), (x + half, head - 13), (x - half, head - 13)]
            sheet.draw("body", poly(grip), view)
            sheet.many("faint", [run([(x - half / 3, top + 4), (x - half / 3, head - 14)])], view)
        centre = view.at((spots[0], min(-62.0, -40.0)))
        k = view.x_axis[0]
        sheet.turn_arrow((centre[0], centre[1] - 14 * k), 26 * k, 9 * k, 20, -235, 6 * k)
        if len(sizes) == 1:
            sheet.draw("body", disc(74, -18, 25), view)
            sheet.draw("focus", lobes(74, -18, 14), view)

    return detail


def _screw(sheet: Sheet, view: View, x: float, head: float, d: float, length: float, patch: bool) -> None:
    w = d * 0.95
    sheet.draw("focus", poly([(x - w, head - 13), (x + w, head - 13), (x + w, head), (x - w, head)], 4), view)
    r = d / 2
    body = [(x - r, head), (x + r, head), (x + r, head + length - 4), (x + r - 4, head + length)]
    body += [(x - r + 4, head + length), (x - r, head + length - 4)]
    sheet.draw("focus", poly(body), view)
    pitch = 5.5
    turns = int((length - 6) / pitch)
    sheet.many(
        "faint", [run([(x - r, head + 6 + i * pitch), (x + r, head + 3 + i * pitch)]) for i in range(turns)], view
    )
    if patch:
        top = head + length * 0.35
        band = [(x - r, top), (x + r, top), (x + r, top + length * 0.35), (x - r, top + length * 0.35)]
        sheet.hatch(band, view, gap=4)
        sheet.draw("ol", poly(band), view)


def _board(sheet: Sheet, view: View, top: float = 44) -> None:
    ground(sheet, view, top, 14)
    sheet.draw("faint", run([(-chord(top + 34), top + 34), (chord(top + 34), top + 34)]), view)


def _blade(sheet: Sheet, view: View, tip: Point) -> None:
    """A flat nylon blade coming in from the right."""
    x, y = tip
    block(sheet, view, [(x, y), (x + 14, y - 8), (x + 200, y - 92), (x + 200, y - 74), (x + 16, y + 2)])


def lift_plug(sheet: Sheet, view: View) -> None:
    """A flat plug raised straight off its socket."""
    _board(sheet, view)
    sheet.draw("body", rect(-44, 28, 88, 16, 2), view)
    sheet.many("faint", [run([(x, 31), (x, 41)]) for x in range(-36, 40, 9)], view)
    flex = curve((-40, -8), ((-70, -8), (-80, 10), (-chord(6), 6)))
    sheet.draw("ol", flex, view)
    sheet.draw("ol", curve((-40, -3), ((-66, -3), (-78, 15), (-chord(11), 11))), view)
    sheet.draw("focus", rect(-42, -12, 84, 15, 3), view)
    _blade(sheet, view, (30, 14))
    sheet.arrow(view.at((-6, -28)), view.at((-6, -92)), 9)


def flip_latch(sheet: Sheet, view: View) -> None:
    """A latch tipped up and the flex drawn out to the right."""
    _board(sheet, view)
    sheet.draw("body", poly([(-62, 14), (-18, 14), (-18, 24), (16, 24), (16, 44), (-62, 44)], 2), view)
    sheet.draw("focus", poly([(-20, 16), (-10, 12), (14, -42), (4, -46), (-22, 6)], 3), view)
    sheet.turn_arrow(view.at((-18, 14)), 84 * view.x_axis[0], 84 * view.x_axis[0], -22, -74, 6)
    block(sheet, view, [(26, 30), (200, 30), (200, 36), (26, 36)])
    sheet.many("faint", [run([(38, 30), (38, 36)])], view)
    sheet.arrow(view.at((40, 14)), view.at((100, 14)), 8)


def slide_latch(sheet: Sheet, view: View) -> None:
    """A latch drawn out by its two ears, seen from above, and the flex behind it."""
    sheet.draw("body", rect(-62, -44, 124, 30, 3), view)
    sheet.many("faint", [run([(x, -40), (x, -20)]) for x in range(-50, 56, 10)], view)
    sheet.draw(
        "focus", poly([(-76, -6), (76, -6), (76, 22), (60, 22), (60, 8), (-60, 8), (-60, 22), (-76, 22)], 3), view
    )
    half = 46
    block(sheet, view, [(-half, 8), (half, 8), (half, 200), (-half, 200)])
    sheet.many("faint", [run([(x, 12), (x, chord(half) - 2)]) for x in range(-36, 40, 12)], view)
    sheet.arrow(view.at((-90, -18)), view.at((-90, 30)), 8)
    sheet.arrow(view.at((90, -18)), view.at((90, 30)), 8)
    sheet.arrow(view.at((0, 44)), view.at((0, 104)), 8)


def snap_cable(sheet: Sheet, view: View) -> None:
    """A cable snap lifted off its post with the fork."""
    _board(sheet, view)
    sheet.draw("body", rect(-16, 32, 32, 12, 2), view)
    sheet.draw("body", rect(-5, 18, 10, 14, 2), view)
    block(sheet, view, [(-200, -2), (-20, -2), (-20, 8), (-200, 8)])
    sheet.draw(
        "focus",
        poly([(-26, -12), (22, -12), (26, -6), (26, 12), (14, 12), (14, 2), (-14, 2), (-14, 12), (-26, 12)], 2),
        view,
    )
    block(sheet, view, [(8, 14), (36, 11), (200, -62), (200, -48), (40, 18), (8, 18)])
    sheet.arrow(view.at((0, -28)), view.at((0, -92)), 9)


def wire_plug(sheet: Sheet, view: View) -> None:
    """A wire plug drawn off by its body."""
    _board(sheet, view)
    sheet.draw(
        "body", poly([(-74, 12), (-14, 12), (-14, 20), (-60, 20), (-60, 36), (-14, 36), (-14, 44), (-74, 44)], 2), view
    )
    sheet.many("ol", [run([(-60, 28), (-30, 28)])], view)
    sheet.draw("focus", rect(0, 16, 44, 24, 3), view)
    for y in (22, 33):
        sheet.draw("ol", curve((44, y), ((70, y), (80, y - 18), (chord(y - 20), y - 20))), view)
    sheet.draw("body", poly([(10, 16), (34, 16), (62, -20), (54, -26), (30, 8), (10, 10)], 2), view)
    sheet.arrow(view.at((16, -34)), view.at((84, -34)), 8)


def pull_tab(sheet: Sheet, view: View) -> None:
    """The tab under a cell, drawn out flat; the hatched cell is not to be touched with a tool."""
    ground(sheet, view, 52)
    cell = clip([(-200, -14), (20, -14), (20, 44), (-200, 44)])
    sheet.draw("body", poly(cell), view)
    sheet.hatch(cell, view, gap=11)
    sheet.draw("focus", poly([(-96, 44), (20, 44), (106, 20), (108, 27), (22, 52), (-96, 52)], 2), view)
    sheet.arrow(view.at((44, 14)), view.at((112, -6)), 9)
    sheet.many("faint", [run([(28, 49), (112, 49)]), curve((96, 49), ((96, 40), (95, 34), (92, 27)))], view)


def pick_seam(sheet: Sheet, view: View) -> None:
    """A pick with a stop in the seam, cut through: cover above, frame wall below, seal between."""
    block(sheet, view, [(-200, 18), (-56, 18), (-56, 44), (-14, 44), (-14, 10), (26, 10), (26, 200), (-200, 200)])
    sheet.draw("focus", disc(-35, 31, 13), view)
    block(sheet, view, [(-200, -44), (14, -44), (30, -32), (30, -4), (-14, -4), (-14, -12), (-200, -12)])
    cell = clip([(-200, 66), (-64, 66), (-64, 108), (-200, 108)])
    sheet.draw("body", poly(cell), view)
    sheet.hatch(cell, view, gap=9)
    block(
        sheet,
        view,
        [(-6, 3), (48, -2), (48, -22), (62, -22), (62, -2), (200, -2), (200, 8), (62, 8), (62, 28), (48, 28), (48, 8)],
    )
    sheet.arrow(view.at((112, 46)), view.at((58, 46)), 8)


def plug_out(sheet: Sheet, view: View) -> None:
    """A rubber plug lifted from its counterbore; the screw head waits below."""
    block(sheet, view, [(-200, 6), (-32, 6), (-32, 52), (32, 52), (32, 6), (200, 6), (200, 200), (-200, 200)])
    sheet.draw("body", rect(-24, 38, 48, 14, 3), view)
    sheet.draw("focus", poly([(-30, -34), (30, -34), (26, 2), (-26, 2)], 6), view)
    for side in (-1, 1):
        block(sheet, view, [(side * 29, -16), (side * 35, -18), (side * 30, -200), (side * 16, -200)][::side])
    sheet.arrow(view.at((70, 0)), view.at((70, -66)), 9)


def peel(sheet: Sheet, view: View) -> None:
    """A membrane or tape peeled back flat with the tweezers."""
    ground(sheet, view, 42)
    sheet.many("faint", [rect(x, 42, 8, 16) for x in (-56, -38, -20, -2)], view)
    sheet.draw(
        "focus",
        (
            *curve((-80, 42), ((-20, 42), (20, 40), (34, 16)), ((42, 0), (36, -16), (16, -24)))[:],
            ("L", ((14, -18),)),
            ("C", ((30, -12), (34, 0), (27, 13))),
            ("C", ((14, 32), (-20, 35), (-80, 35))),
            ("Z", ()),
        ),
        view,
    )
    for dy in (0, 9):
        sheet.draw("body", poly([(8, -26 + dy), (24, -28 + dy), (88, -72 + dy), (84, -78 + dy)], 2), view)
    sheet.arrow(view.at((-2, -40)), view.at((-70, -24)), 8)


def roll_lid(sheet: Sheet, view: View) -> None:
    """A shield lid rolled off its fence from the notched corner."""
    _board(sheet, view)
    sheet.many("ol", [rect(-72, 20, 7, 24), rect(62, 20, 7, 24)], view)
    sheet.draw("body", rect(-40, 28, 60, 16, 2), view)
    sheet.draw(
        "focus",
        poly([(-80, 14), (68, -32), (71, -24), (74, -10), (68, -8), (64, -20), (-72, 22), (-70, 34), (-76, 36)], 2),
        view,
    )
    _blade(sheet, view, (60, -6))
    sheet.arrow(view.at((40, -38)), view.at((22, -96)), 9)


def rocking(sheet: Sheet, view: View) -> None:
    """A device on the flat plate, seen from the edge: a bulge lifts its ends."""
    ground(sheet, view, 48)
    sheet.many("faint", [run([(x, 60), (x - 12, 74)]) for x in range(-84, 100, 24)], view)
    sheet.draw("body", rect(-96, 10, 192, 38, 9), view)
    sheet.draw("faint", run([(-96, 30), (96, 30)]), view)
    bulge = curve((-84, 10), ((-40, -34), (40, -34), (84, 10)))
    sheet.draw("focus", (*bulge, ("Z", ())), view)
    sheet.arrow(view.at((0, -86)), view.at((0, -36)), 8)


def ring_pin(sheet: Sheet, view: View) -> None:
    """The pin in the hole of the card tray, and the tray that springs out."""
    block(sheet, view, [(-200, -70), (-14, -70), (-14, 84), (-200, 84)])
    sheet.draw(
        "focus", poly([(-96, -30), (-14, -30), (2, -40), (12, -40), (12, 52), (2, 52), (-14, 42), (-96, 42)], 4), view
    )
    sheet.draw("ol", rect(-26, -30, 10, 72, 4), view)
    sheet.draw("body", disc(7, 30, 5), view)
    sheet.draw("body", poly([(6, 27), (78, 27), (78, 33), (6, 33)]), view)
    sheet.draw("ol", disc(94, 30, 16), view)
    sheet.arrow(view.at((96, 68)), view.at((48, 68)), 7)
    sheet.arrow(view.at((24, -10)), view.at((92, -10)), 9)


def hooks(sheet: Sheet, view: View) -> None:
    """A hook pressed aside so that the strap comes free."""
    ground(sheet, view, 56)
    sheet.draw("body", poly([(-30, 56), (-30, -8), (-12, -8), (-2, 8), (-14, 14), (-14, 56)], 3), view)
    block(sheet, view, [(-10, 16), (200, 16), (200, 32), (-10, 32)], "focus")
    block(sheet, view, [(-10, 2), (-2, -8), (60, -200), (80, -200)])
    sheet.arrow(view.at((-36, 6)), view.at((-92, 6)), 8)
    sheet.arrow(view.at((74, 8)), view.at((74, -52)), 8)


def push_through(sheet: Sheet, view: View) -> None:
    """A thumb-wide push from outside on a keypad or window."""
    for side in (-1, 1):
        block(
            sheet,
            view,
            [(50, -20), (200, -20), (200, 0), (50, 0)] if side > 0 else [(-200, -20), (-50, -20), (-50, 0), (-200, 0)],
        )
    sheet.draw("focus", rect(-44, 8, 88, 18, 4), view)
    sheet.arrow(view.at((0, -84)), view.at((0, -12)), 12)
    sheet.arrow(view.at((0, 38)), view.at((0, 92)), 8)


def ring(outer: Shape, inner: Shape) -> Shape:
    """A frame: the space between two outlines (even-odd is not needed, the inner runs backwards)."""
    return (*outer, *backwards(inner))


def backwards(shape: Shape) -> Shape:
    """The same closed outline run the other way, so that it cuts a hole under the nonzero rule."""
    points: list[tuple[str, tuple[Point, ...]]] = [s for s in shape if s[0] != "Z"]
    nodes = [s[1][-1] for s in points]
    out: list[tuple[str, tuple[Point, ...]]] = [("M", (nodes[-1],))]
    for i in range(len(points) - 1, 0, -1):
        kind, p = points[i]
        out.append((kind, (*reversed(p[:-1]), nodes[i - 1])) if kind in "CQ" else ("L", (nodes[i - 1],)))
    return (*out, ("Z", ()))
