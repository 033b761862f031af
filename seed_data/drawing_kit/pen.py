"""A small pen: shapes in plan millimetres, seen through an affine view, written as SVG paths.

A shape is a list of path segments in the device's own plan (x right, y down, millimetres). A view turns
plan points and a height into picture points, so that one description serves the plan and the exploded view.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import atan2, cos, hypot, pi, radians, sin, sqrt
from xml.sax.saxutils import escape

Point = tuple[float, float]
Segment = tuple[str, tuple[Point, ...]]
Shape = tuple[Segment, ...]

WIDTH, HEIGHT = 640, 480
_ARC = 0.5523
_SHARP = 1.2
_THIN = 4.7


@dataclass(frozen=True, slots=True)
class View:
    """Where plan x, plan y and height go in the picture (picture units a millimetre)."""

    origin: Point
    x_axis: Point
    y_axis: Point
    z_axis: Point = (0.0, 0.0)

    def at(self, point: Point, z: float = 0.0) -> Point:
        (px, py), (xx, xy), (yx, yy), (zx, zy) = self.origin, self.x_axis, self.y_axis, self.z_axis
        x, y = point
        return (px + x * xx + y * yx + z * zx, py + x * xy + y * yy + z * zy)

    def folded(self, degrees: float, hinge_x: float) -> "View":
        """The view of a leaf that is turned up about the line x = hinge_x."""
        c, s = cos(radians(degrees)), sin(radians(degrees))
        (xx, xy), (zx, zy) = self.x_axis, self.z_axis
        turned = (xx * c + zx * s, xy * c + zy * s)
        up = (zx * c - xx * s, zy * c - xy * s)
        px, py = self.at((hinge_x, 0.0))
        origin = (px - hinge_x * turned[0], py - hinge_x * turned[1])
        return replace(self, origin=origin, x_axis=turned, z_axis=up)


def plan(x: float, y: float, scale: float) -> View:
    """Straight from above, the plan's corner at picture point (x, y)."""
    return View((x, y), (scale, 0.0), (0.0, scale))


def rect(x: float, y: float, w: float, h: float, r: float = 0.0) -> Shape:
    """A rectangle with round corners."""
    return poly([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], r)


def disc(x: float, y: float, r: float) -> Shape:
    """A circle; kept whole as centre and rim point, so that a plain view can write it short."""
    return (("O", ((x, y), (x + r, y))),)


def _round(centre: Point, rim: Point) -> Shape:
    """The circle as four curves, for views that make an ellipse of it."""
    (x, y), r = centre, rim[0] - centre[0]
    k = r * _ARC
    return (
        ("M", ((x + r, y),)),
        ("C", ((x + r, y + k), (x + k, y + r), (x, y + r))),
        ("C", ((x - k, y + r), (x - r, y + k), (x - r, y))),
        ("C", ((x - r, y - k), (x - k, y - r), (x, y - r))),
        ("C", ((x + k, y - r), (x + r, y - k), (x + r, y))),
        ("Z", ()),
    )


def poly(points: Sequence[Point], r: float = 0.0) -> Shape:
    """A closed polygon whose corners are rounded by up to r; very small radii are left sharp."""
    out: list[Segment] = []
    n = len(points)
    for i, corner in enumerate(points):
        before, after = points[i - 1], points[(i + 1) % n]
        reach = min(r if r > _SHARP else 0.0, hypot(corner[0] - before[0], corner[1] - before[1]) / 2)
        reach = min(reach, hypot(corner[0] - after[0], corner[1] - after[1]) / 2)
        if reach <= 0:
            out.append(("L" if out else "M", (corner,)))
            continue
        start, end = toward(corner, before, reach), toward(corner, after, reach)
        out.append(("L" if out else "M", (start,)))
        out.append(("Q", (corner, end)))
    return (*out, ("Z", ()))


def run(points: Sequence[Point]) -> Shape:
    """An open line through the points."""
    return tuple(("M" if i == 0 else "L", (p,)) for i, p in enumerate(points))


def curve(start: Point, *bends: tuple[Point, Point, Point]) -> Shape:
    """An open smooth line: each bend is two handles and an end."""
    return (("M", (start,)), *(("C", bend) for bend in bends))


def toward(a: Point, b: Point, d: float) -> Point:
    length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    return (a[0] + (b[0] - a[0]) * d / length, a[1] + (b[1] - a[1]) * d / length)


def inset(points: Sequence[Point], d: float) -> list[Point]:
    """Move every edge of a clockwise polygon (y down) inwards by d."""
    out: list[Point] = []
    n = len(points)
    for i, p in enumerate(points):
        a, b = points[i - 1], points[(i + 1) % n]
        (ux, uy), (vx, vy) = (
            toward((0, 0), (p[0] - a[0], p[1] - a[1]), 1),
            toward((0, 0), (b[0] - p[0], b[1] - p[1]), 1),
        )
        nx, ny = -(uy + vy), ux + vx
        length = hypot(nx, ny)
        half = (nx * -uy + ny * ux) / length
        out.append((p[0] + nx / length * d / half, p[1] + ny / length * d / half))
    return out


def _bezier(line: Sequence[Point], t: float) -> Point:
    """The point at t of a quadratic or cubic curve, by De Casteljau's halving."""
    while len(line) > 1:
        line = [(a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for a, b in pairwise(line)]
    return line[0]


def flat(shape: Shape, view: View, z: float = 0.0) -> list[Point]:
    """The outline as picture points, curves cut into short lines."""
    out: list[Point] = []
    for kind, points in shape:
        if kind == "O":
            return flat(_round(*points), view, z)
        ends = [view.at(p, z) for p in points]
        if kind in "CQ":
            line = (out[-1], *ends)
            out += [_bezier(line, i / 8) for i in range(1, 9)]
        elif ends:
            out.append(ends[0])
    return out


def _num(value: float) -> str:
    text = f"{value:.1f}".rstrip("0").rstrip(".")
    if text in ("-0", ""):
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def _path(shape: Shape, view: View, z: float) -> str:
    """Path data in relative steps; curves too small to be seen become short lines."""
    if shape and shape[0][0] == "O":
        return _circle(shape[0][1][0], shape[0][1][1], view, z)
    bits: list[str] = []
    now = (0.0, 0.0)
    for kind, points in shape:
        ends = [_grid(view.at(p, z)) for p in points]
        if kind == "M":
            bits.append(f"M{_num(ends[0][0])} {_num(ends[0][1])}")
        elif kind == "Z":
            bits.append("z")
            continue
        elif kind in "CQ" and hypot(ends[-1][0] - now[0], ends[-1][1] - now[1]) > _FINE:
            bits.append(kind.lower() + _pairs([(x - now[0], y - now[1]) for x, y in ends]))
        else:
            bits.append(_step(ends[-1][0] - now[0], ends[-1][1] - now[1]))
        now = ends[-1]
    return "".join(bits)


_FINE = 3.6


def _grid(p: Point) -> Point:
    return (round(p[0], 1), round(p[1], 1))


def _step(dx: float, dy: float) -> str:
    dx, dy = round(dx, 1), round(dy, 1)
    if not dx and not dy:
        return ""
    if not dy:
        return f"h{_num(dx)}"
    if not dx:
        return f"v{_num(dy)}"
    return "l" + _pairs([(dx, dy)])


def _pairs(points: Iterable[Point]) -> str:
    """Numbers side by side, without a space where a minus sign parts them."""
    text = ""
    for value in (v for p in points for v in p):
        number = _num(value)
        text += number if not text or number.startswith("-") else " " + number
    return text


def _circle(centre: Point, rim: Point, view: View, z: float) -> str:
    if view.x_axis[1] or view.y_axis[0]:
        return _path(_round(centre, rim), view, z)
    (x, y), r = view.at(centre, z), (rim[0] - centre[0]) * view.x_axis[0]
    arc = f"a{_num(r)} {_num(r)} 0 1 0"
    return f"M{_num(x - r)} {_num(y)}{arc} {_num(2 * r)} 0{arc} {_num(-2 * r)} 0Z"


PAGE = View((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))


class Sheet:
    """One picture. Everything is appended in painting order; ``spots`` are the rings' centres in picture units."""

    def __init__(self, title: str, desc: str) -> None:
        self.title, self.desc = title, desc
        self.marks: list[str] = []
        self.spots: list[Point] = []

    def draw(self, cls: str, shape: Shape, view: View = PAGE, z: float = 0.0) -> None:
        self.marks.append(f'<path class="{cls}" d="{_path(shape, view, z)}"/>')

    def many(self, cls: str, shapes: Iterable[Shape], view: View = PAGE, z: float = 0.0) -> None:
        """Several shapes of one class in a single path."""
        data = "".join(_path(shape, view, z) for shape in shapes)
        if data:
            self.marks.append(f'<path class="{cls}" d="{data}"/>')

    def slab(self, cls: str, shape: Shape, view: View, z: float, h: float) -> None:
        """A plate of height h: its lower rim, the edges that turn out of sight, its upper face."""
        lift = (view.z_axis[0] * h, view.z_axis[1] * h)
        if hypot(*lift) > _THIN:
            edge = flat(shape, view, z)
            n = len(edge)
            # The silhouette of a swept outline stands where the outline turns relative to the sweep.
            side = [
                (b[0] - a[0]) * lift[1] - (b[1] - a[1]) * lift[0]
                for a, b in zip(edge, edge[1:] + edge[:1], strict=True)
            ]
            turns = [edge[i] for i in range(n) if side[i - 1] * side[i] < 0]
            walls = "".join(_path(run([p, (p[0] + lift[0], p[1] + lift[1])]), PAGE, 0) for p in turns)
            self.marks.append(f'<path class="{cls}" d="{_path(shape, view, z)}{walls}"/>')
        self.draw(cls, shape, view, z + h)

    def hole(self, point: Point, view: View = PAGE, z: float = 0.0, r: float = 7.0) -> None:
        """An open ring: one place of a fixing. Lies in the view's plane; r in picture units."""
        x, y = view.at(point, z)
        self.spots.append((x, y))
        scale = sqrt(abs(view.x_axis[0] * view.y_axis[1] - view.x_axis[1] * view.y_axis[0])) or 1.0
        if view.x_axis[1] == 0 and view.y_axis[0] == 0:
            self.marks.append(f'<circle class="hole" cx="{_num(x)}" cy="{_num(y)}" r="{_num(r)}"/>')
        else:
            self.draw("hole", disc(*point, r * 1.15 / scale), view, z)

    def dashes(self, a: Point, b: Point, cls: str = "faint") -> None:
        length = hypot(b[0] - a[0], b[1] - a[1])
        pieces = max(1, int(length // 12))
        self.many(cls, [run([toward(a, b, i * 12), toward(a, b, min(i * 12 + 7, length))]) for i in range(pieces)])

    def arrow(self, a: Point, b: Point, width: float = 7.0) -> None:
        """A filled arrow from a to b."""
        angle = atan2(b[1] - a[1], b[0] - a[0])
        length = hypot(b[0] - a[0], b[1] - a[1])
        w, head = width / 2, min(width * 2.4, length * 0.6)
        outline = [(0, -w), (length - head, -w), (length - head, -w * 2.8), (length, 0)]
        outline += [(length - head, w * 2.8), (length - head, w), (0, w)]
        self.draw("go", poly([_turn(p, angle, a) for p in outline]))

    def turn_arrow(self, centre: Point, rx: float, ry: float, start: float, end: float, width: float = 6.0) -> None:
        """A filled arrow along an ellipse from start to end (degrees, y down)."""
        sign = 1 if end > start else -1
        stop = end - sign * 26
        steps = 14
        inner: list[Point] = []
        outer: list[Point] = []
        for i in range(steps + 1):
            a = radians(start + (stop - start) * i / steps)
            for side, rim in ((-1, inner), (1, outer)):
                rim.append((centre[0] + (rx + side * width / 2) * cos(a), centre[1] + (ry + side * width / 2) * sin(a)))
        a, tip = radians(stop), radians(end)
        spread = width * 1.5
        head = [
            (centre[0] + (rx + spread) * cos(a), centre[1] + (ry + spread) * sin(a)),
            (centre[0] + rx * cos(tip), centre[1] + ry * sin(tip)),
            (centre[0] + (rx - spread) * cos(a), centre[1] + (ry - spread) * sin(a)),
        ]
        self.draw("go", poly([*outer, *head, *reversed(inner)]))

    def hatch(self, outline: Sequence[Point], view: View = PAGE, z: float = 0.0, gap: float = 9.0) -> None:
        """Slanting lines inside a convex outline: keep tools off here."""
        edge = [view.at(p, z) for p in outline]
        sums = [x + y for x, y in edge]
        lines = []
        level = min(sums) + gap
        while level < max(sums):
            cuts = []
            for a, b in zip(edge, edge[1:] + edge[:1], strict=True):
                sa, sb = a[0] + a[1] - level, b[0] + b[1] - level
                if sa * sb < 0:
                    t = sa / (sa - sb)
                    cuts.append((a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t))
            if len(cuts) == 2:
                lines.append(run(cuts))
            level += gap
        self.many("hot", lines)

    def svg(self) -> str:
        head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">'
        lines = [
            head,
            f"<title>{escape(self.title)}</title>",
            f"<desc>{escape(self.desc)}</desc>",
            *self.marks,
            "</svg>",
        ]
        return "\n".join(lines) + "\n"


def _turn(p: Point, angle: float, origin: Point) -> Point:
    c, s = cos(angle), sin(angle)
    return (origin[0] + p[0] * c - p[1] * s, origin[1] + p[0] * s + p[1] * c)


def lobes(x: float, y: float, r: float) -> Shape:
    """The six-lobed socket of a screw head (ISO 10664 outline, simplified)."""
    segments: list[Segment] = []
    for i in range(6):
        a, b = i * pi / 3, (i + 1) * pi / 3
        mid = (a + b) / 2
        tip = (x + r * cos(a), y + r * sin(a))
        end = (x + r * cos(b), y + r * sin(b))
        if not segments:
            segments.append(("M", (tip,)))
        k = 0.62 * r
        bulge = 0.34
        segments.append(
            (
                "C",
                (
                    (x + r * cos(a + bulge), y + r * sin(a + bulge)),
                    (x + k * cos(mid - 0.3), y + k * sin(mid - 0.3)),
                    (x + k * cos(mid), y + k * sin(mid)),
                ),
            )
        )
        segments.append(
            (
                "C",
                (
                    (x + k * cos(mid + 0.3), y + k * sin(mid + 0.3)),
                    (x + r * cos(b - bulge), y + r * sin(b - bulge)),
                    end,
                ),
            )
        )
    return (*segments, ("Z", ()))
