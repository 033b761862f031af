"""The Skarv H2 crew handset in millimetres, back side up, its top away from you."""

from drawing_kit.details import ring
from drawing_kit.pen import Shape, curve, disc, poly, rect, run
from drawing_kit.scene import Part, cross_marks, slots

W, L = 76.0, 158.0
CORNERS = ((8.0, 9.0), (68.0, 9.0), (8.0, 149.0), (68.0, 149.0))
SIDES = ((5.5, 42.0), (70.5, 42.0), (5.5, 80.0), (70.5, 80.0), (5.5, 118.0), (70.5, 118.0))
PLATE = ((38.0, 64.0), (38.0, 96.0))
SPEAKER = ((10.6, 131.0), (45.4, 131.0), (45.4, 148.0))
CLAMP = ((30.5, 146.0), (45.5, 146.0))
COVER_SHORT = ((10.0, 27.5), (66.0, 28.5), (10.0, 57.0), (66.0, 57.0))
COVER_LONG = ((38.0, 27.5), (38.0, 57.0))
BOARD = ((9.0, 10.0), (44.5, 10.0), (67.0, 58.5))
HIDDEN = (14.0, 33.0)
BOARD_OUTLINE = [(6, 7), (47, 7), (47, 27), (70, 27), (70, 61), (64, 61), (64, 69), (42, 69), (42, 61), (6, 61)]

KEYS: tuple[Shape, ...] = (rect(W, 70, 2.6, 13, 1), rect(W, 88, 2.6, 22, 1))
BACK_LINES: tuple[Shape, ...] = (
    rect(3, 3, 70, 152, 8),
    *slots(20, 143, 5, 7, 3),
    *cross_marks([(20, 18), (23, 18), (26, 18), (21.5, 20.5), (24.5, 20.5)], 0.6),
)
CELL_BOX = ((9.0, 72.0), (59.0, 72.0), (59.0, 121.0), (9.0, 121.0))

PARTS = (
    Part("cover", ((rect(0, 0, W, L, 10), 0, 3), (disc(57.5, 16.5, 6.5), 3, 0)), "open-back", BACK_LINES, "back"),
    Part("lens window", ((disc(57.5, 16.5, 4), 3, 0),), None, (), "back"),
    Part(
        "belt plate",
        ((rect(24, 56, 28, 48, 4), 3, 2.5),),
        "belt-plate",
        (rect(30, 72, 16, 16, 2), run([(30, 80), (46, 80)])),
        "back",
    ),
    *(Part(f"plug {i}", ((disc(x, y, 3.2), 3, 0.8),), "screw-plugs", (), "back") for i, (x, y) in enumerate(CORNERS)),
    *(Part(f"long {i}", ((disc(x, y, 2.4), 2.5, 0.5),), None, (), "back") for i, (x, y) in enumerate(CORNERS)),
    *(Part(f"short {i}", ((disc(x, y, 2.1), 3, 0.3),), None, (), "back") for i, (x, y) in enumerate(SIDES)),
    # Inside
    Part(
        "port board",
        ((rect(7, 124, 62, 28, 2), 0, 1.2), (rect(31, 142, 14, 15, 2), 1.2, 2)),
        "port-out",
        (rect(50, 128, 9, 7, 1), rect(53, 146, 8, 4, 1)),
    ),
    Part("buzzer", ((disc(60, 139, 5), 1.2, 2.5),), "port-out", (disc(60, 139, 1.5),)),
    Part("port clamp", ((rect(27, 143, 22, 6, 1.5), 3.2, 0.8),), "port-clamp"),
    Part("low link", ((rect(30, 121, 11, 10, 1), 1.2, 1),), "link-low", slots(32, 125, 5, 4, 2.3)),
    Part("low cable", ((disc(20, 128, 2.3), 1.2, 1.4),), "cable-low", (disc(20, 128, 1),)),
    Part(
        "loudspeaker",
        ((rect(7.5, 127, 41, 24, 4), 1.5, 4),),
        "speaker-out",
        (rect(16, 132, 24, 11, 4), rect(18, 146, 20, 2.4, 1.2)),
    ),
    Part("cell", ((rect(9, 72, 50, 49, 3), 0, 4),), "cell-out", (rect(15, 78, 38, 14, 2), run([(9, 112), (59, 112)]))),
    Part("tabs", tuple((rect(x, 118.5, 7, 6.5, 1.5), 4, 0.2) for x in (14.0, 30.5, 47.0)), "cell-out"),
    Part(
        "key strip",
        ((rect(63, 64, 6, 48, 2), 0, 1), (rect(66, 72, 4, 9, 1), 1, 1), (rect(66, 92, 4, 15, 1), 1, 1)),
        "key-strip",
    ),
    Part("cable", (), None, (curve((61, 60), ((61, 90), (62, 100), (61, 122))),)),
    Part(
        "main board",
        ((poly(BOARD_OUTLINE, 1.5), 0, 1.2),),
        "board-out",
        (rect(40, 34, 13, 9, 1), rect(9, 13, 14, 9, 1), rect(27, 12, 9, 9, 1), rect(54, 44, 6, 3, 0.5)),
    ),
    Part("moisture dot", ((disc(43, 23, 1.7), 1.2, 0.2),), "board-out"),
    Part("display plug", ((rect(12, 49, 15, 5.5, 1), 1.2, 1),), "board-out", slots(14, 50.5, 2.5, 5, 2.6)),
    Part("high link", ((rect(30, 50, 10, 5.5, 1), 1.2, 1),), "board-out", slots(32, 51.5, 2.5, 3, 2.6)),
    Part("high cable", ((disc(58, 52, 2.3), 1.2, 1.2),), "board-out", (disc(58, 52, 1),)),
    Part("key latch", ((rect(63, 38, 5, 12, 1), 1.2, 1),), "board-out", (run([(65, 39), (65, 49)]),)),
    Part("camera plug", ((rect(51, 29.5, 12, 4.5, 1), 1.2, 1),), "board-out", slots(53, 30.5, 2.5, 4, 2.4)),
    Part("lid", ((rect(9, 28.5, 25, 17, 1.5), 1.2, 2),), "shield-lid", (poly([(9.5, 33), (13.5, 29)]),)),
    Part(
        "camera",
        ((rect(50, 9, 15.5, 15.5, 3), 0, 3), (disc(57.7, 16.7, 5), 3, 1.6)),
        "camera-out",
        (disc(57.7, 16.7, 2.6),),
    ),
    Part("camera tail", ((rect(55, 24, 5, 6, 0.5), 1, 0.2),), "camera-out"),
    Part(
        "board cover",
        ((rect(7, 24.5, 62, 35.5, 3), 3.4, 1),),
        "board-cover",
        (rect(13, 31, 20, 22, 3), rect(44, 31, 16, 22, 3)),
    ),
    Part("cell plug", ((rect(45.5, 62.2, 14, 5, 1), 1.2, 1.2),), None, slots(48, 63.3, 2.6, 4, 3)),
    Part("cell tail", ((rect(49, 67, 7, 7, 0.5), 2, 0.2),), "cell-out"),
    Part("guard", ((rect(41.5, 60.6, 22.5, 8.4, 1.5), 2.6, 0.8),), "cell-guard"),
    # Front, face up
    Part("glue", ((ring(rect(3, 3, 70, 152, 8), rect(7, 10, 62, 136, 4)), 0, 0.6),), "display-out", (), "front"),
    Part(
        "glass",
        ((rect(2, 2, 72, 154, 9), 0.6, 2.5),),
        "display-out",
        (rect(6, 13, 64, 130, 2), rect(29, 6, 18, 2, 1)),
        "front",
    ),
)

FRAME: tuple[Shape, ...] = (rect(3.5, 3.5, W - 7, L - 7, 7.5), rect(1.8, 1.8, W - 3.6, L - 3.6, 9))
SHELL = (*((key, -5.0, 3.0) for key in KEYS), (rect(0, 0, W, L, 10), -8.0, 8.0))
