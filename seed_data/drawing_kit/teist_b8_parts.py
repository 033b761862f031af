"""The Teist B8 boarding tablet in millimetres: from behind for the outside, from the front for the inside."""

from drawing_kit.details import ring
from drawing_kit.pen import Point, curve, disc, poly, rect, run
from drawing_kit.scene import Part, slots

W, L = 216.0, 136.0
POSTS = ((64.0, 44.0), (152.0, 44.0), (64.0, 92.0), (152.0, 92.0))
CORNERS = ((12.0, 12.0), (204.0, 12.0), (12.0, 124.0), (204.0, 124.0))
SHORT = (
    (58.0, 7.5),
    (108.0, 7.5),
    (158.0, 7.5),
    (40.0, 128.5),
    (80.0, 128.5),
    (164.0, 128.5),
    (7.5, 68.0),
    (208.5, 68.0),
)
HATCH = ((171.0, 25.0), (197.0, 25.0))
SPEAKER = ((13.0, 43.0), (13.0, 93.0), (203.0, 43.0), (203.0, 93.0))
FRAME = ((28.0, 28.0), (74.0, 28.0), (120.0, 28.0), (28.0, 116.0), (74.0, 116.0), (120.0, 116.0))
TABS = (40.0, 62.0, 84.0, 106.0)
PORT = ((98.0, 124.5), (112.0, 124.5), (126.0, 124.5))
CLAMPS = ((26.0, 13.0), (108.0, 13.0), (190.0, 13.0), (26.0, 123.0), (108.0, 123.0), (190.0, 123.0))
RAIL = ((160.0, 13.0), (194.0, 13.0))
BOARD = ((132.0, 26.5), (186.0, 26.5), (186.0, 104.0), (132.0, 104.0), (186.0, 78.0))
FENCE = ((160.0, 62.0), (150.0, 100.0))
CELL: tuple[Point, ...] = ((31.0, 31.0), (117.0, 31.0), (117.0, 113.0), (31.0, 113.0))


def _corner(sx: int, sy: int) -> list[Point]:
    """A corner rubber: an L round the corner, thick outside."""
    base = [(-4, -4), (34, -4), (34, 6), (26, 19), (19, 26), (6, 34), (-4, 34)]
    points = [((x if sx > 0 else W - x), (y if sy > 0 else L - y)) for x, y in base]
    return points if sx * sy > 0 else points[::-1]


RUBBERS = (_corner(1, 1), _corner(-1, 1), _corner(1, -1), _corner(-1, -1))

PARTS = (
    # From behind
    Part("lens", ((disc(24, 40, 7), 0, 0), (disc(24, 40, 4), 0, 0)), None, (), "back"),
    *(Part(f"long {i}", ((disc(x, y, 3), 0, 0.2),), None, (), "back") for i, (x, y) in enumerate(CORNERS)),
    *(Part(f"short {i}", ((disc(x, y, 2.6), 0, 0.2),), None, (), "back") for i, (x, y) in enumerate(SHORT)),
    *(Part(f"rubber {i}", ((poly(r, 6), 0.4, 3),), "corner-rubbers", (), "back") for i, r in enumerate(RUBBERS)),
    Part("hatch", ((rect(166, 19, 36, 26, 3), 0, 1),), "card-hatch", (rect(171, 31, 26, 9, 2),), "back"),
    Part("port", ((rect(103, 128, 18, 8, 3), 0, 0),), None, (), "back"),
    Part(
        "door",
        ((poly([(94, 127), (130, 127), (130, 140), (94, 140)], 3), 0.4, 2),),
        "port-door",
        (run([(101, 127), (101, 140)]),),
        "back",
    ),
    Part(
        "strap",
        ((rect(56, 36, 104, 64, 12), 0.4, 3),),
        "hand-strap",
        (rect(72, 46, 72, 44, 6), run([(132, 46), (132, 90)])),
        "back",
    ),
    # Inside, front taken off
    Part(
        "reader",
        ((rect(38, 38, 72, 68, 5), 0, 0.4),),
        "reader-out",
        tuple(rect(42 + 4 * i, 42 + 4 * i, 64 - 8 * i, 60 - 8 * i, 4) for i in range(3)),
    ),
    Part(
        "cell", ((rect(31, 31, 86, 82, 4), 0.5, 4),), "cell-out", (rect(40, 40, 66, 20, 2), run([(31, 98), (117, 98)]))
    ),
    Part("tabs", tuple((rect(x - 5, 108, 10, 10, 2), 4.6, 0.2) for x in TABS), "cell-out"),
    Part(
        "cell frame",
        ((ring(rect(24, 24, 100, 96, 4), rect(34, 34, 80, 74, 3)), 4.9, 1),),
        "cell-frame",
        see_through=True,
    ),
    Part("left speaker", ((rect(8, 38, 13, 60, 4), 0, 5),), "speakers-out", (rect(10.5, 54, 8, 28, 3),)),
    Part("right speaker", ((rect(196.5, 38, 13, 60, 4), 0, 5),), "speakers-out", (rect(199, 54, 8, 28, 3),)),
    Part("left jack", ((rect(11, 28, 8, 6, 1), 0, 2),), None, slots(13, 30, 2, 3, 2)),
    Part("right jack", ((rect(198, 28, 8, 6, 1), 0, 2),), None, slots(200, 30, 2, 3, 2)),
    Part(
        "key rail",
        ((rect(155, 9.5, 44, 7, 2), 0, 3), (rect(163, 3, 12, 6.5, 2), 0, 4), (rect(179, 3, 12, 6.5, 2), 0, 4)),
        "keys-out",
    ),
    Part("key latch", ((rect(170, 24, 13, 5, 1), 1.2, 1),), "board-out", slots(173, 25.5, 2, 4, 2.3)),
    Part("key tail", ((rect(172, 16, 9, 8), 0.6, 0.3),), "keys-out"),
    Part("camera", ((rect(134, 7, 15, 14, 3), 0, 3), (disc(141.5, 14, 4), 3, 1)), "camera-out"),
    Part("camera plug", ((rect(137, 25, 10, 5, 1), 1.2, 1),), "board-out", slots(139.5, 26.5, 2, 3, 2.4)),
    Part("camera tail", ((rect(139, 20.5, 6, 5), 0.8, 0.3),), "camera-out"),
    Part("camera clamp", ((poly([(126, 10), (136, 8), (136, 20), (126, 18)], 2), 4.2, 0.8),), "camera-clamp"),
    Part(
        "board",
        ((rect(128, 23, 62, 85, 2), 0, 1.2),),
        "board-out",
        (rect(136, 84, 10, 10, 1), rect(166, 36, 8, 6, 1), rect(164, 96, 14, 7, 1)),
    ),
    Part("moisture dot", ((disc(152, 27.5, 1.8), 1.2, 0.2),), "board-out"),
    Part("lid", ((rect(144, 46, 30, 30, 2), 1.2, 2),), "shield-lid", (poly([(173, 51), (168, 46.5)]),)),
    Part("reader plug", ((rect(129.5, 44, 5, 12, 1), 1.2, 1),), "board-out", (run([(132, 46), (132, 54)]),)),
    Part("reader tail", ((rect(122, 46, 8, 8), 0.8, 0.3),), "cell-frame"),
    Part("cable a", ((disc(182, 40, 2.4), 1.2, 1.3),), "board-out", (disc(182, 40, 1),)),
    Part("cable b", ((disc(182, 52, 2.4), 1.2, 1.3),), "board-out", (disc(182, 52, 1),)),
    Part(
        "cables",
        (),
        None,
        (curve((182, 40), ((190, 40), (193, 36), (193, 22))), curve((182, 52), ((194, 52), (195, 40), (195, 22)))),
    ),
    Part(
        "cell plug",
        ((rect(130, 68, 9, 14, 1.3), 1.2, 1.2),),
        None,
        (run([(133, 70), (133, 80)]), run([(136, 70), (136, 80)])),
    ),
    Part("cell tail", ((rect(116, 71, 14, 8), 4.6, 0.2),), "cell-out"),
    Part("bridge", ((rect(127, 63, 15, 24, 2), 5, 0.8),), "cell-bridge"),
    Part("screen plug", ((rect(160, 84, 20, 6, 1.3), 1.2, 1),), "board-out", slots(163, 85.5, 3, 6, 2.8)),
    Part("touch plug", ((rect(178, 62, 5, 11, 1), 1.2, 1),), "board-out", (run([(180.5, 64), (180.5, 71)]),)),
    Part("link plug", ((rect(136, 102, 10, 4.5, 1), 1.2, 1),), "board-out", slots(138.5, 103, 2.4, 3, 2.4)),
    Part("link tail", ((rect(137, 106, 8, 15), 0.6, 0.3),), "port-out"),
    Part("port board", ((rect(92, 120.5, 54, 9, 2), 0, 1.2), (rect(104, 127, 16, 9, 2), 1.2, 2)), "port-out"),
    Part("port clamp", ((rect(95, 121.5, 34, 6, 1.5), 3.4, 0.8),), "port-clamp"),
    # The front on the bench, its back up
    Part(
        "panel",
        ((rect(12, 12, 192, 112, 4), 0, 3),),
        "panel-out",
        (rect(24, 26, 168, 84, 2), rect(150, 60, 30, 40, 2)),
        "front",
    ),
    Part("clamp a", ((rect(18, 8.5, 180, 9, 2), 3, 1),), "panel-clamps", (), "front"),
    Part("clamp b", ((rect(18, 118.5, 180, 9, 2), 3, 1),), "panel-clamps", (), "front"),
    Part("glue", ((ring(rect(10, 10, 196, 116, 5), rect(18, 18, 180, 100, 3)), 0, 0.6),), "panel-out", (), "bond"),
    Part("glass", ((rect(11, 11, 194, 114, 4), 0.6, 3),), "panel-out", (rect(24, 24, 168, 88, 2),), "bond"),
)
SHELL = ((rect(0, 0, W, L, 13), -10.0, 10.0),)
FRONT = ((rect(0, 0, W, L, 13), -4.0, 4.0),)
RIM = (rect(5.5, 5.5, W - 11, L - 11, 9), rect(2.6, 2.6, W - 5.2, L - 5.2, 11))
