"""The Lomvi S4 deck scanner in millimetres: on its left side, nose to the right, grip towards you."""

from drawing_kit.details import ring
from drawing_kit.pen import Point, curve, disc, inset, poly, rect, run
from drawing_kit.scene import Part, cross_marks, slots

BODY: list[Point] = [
    (16, 8),
    (72, 0),
    (152, 5),
    (174, 16),
    (174, 54),
    (150, 66),
    (88, 71),
    (76, 84),
    (62, 156),
    (14, 156),
    (22, 88),
    (4, 58),
]
OUTLINE = poly(BODY, 9)
GROOVE = poly(inset(BODY, 4), 6)
INNER = poly(inset(BODY, 7), 5)
BODY_SCREWS = ((23.0, 18.0), (78.0, 9.0), (147.0, 13.0), (151.0, 57.0), (98.0, 61.0), (19.0, 57.0))
GRIP_SCREWS = ((50.0, 88.0), (34.0, 110.0), (46.0, 140.0))
EYE_SCREW = (15.5, 141.0)
FOOT_SCREWS = ((24.0, 157.0), (48.0, 157.0))
ENGINE_SCREWS = ((128.0, 14.5), (128.0, 60.5))
BOARD = ((36.0, 23.5), (108.0, 19.0), (108.0, 56.0))
EARTH = (33.5, 54.0)
CARRIER = ((66.5, 79.0), (60.0, 102.0))
CELL: list[Point] = [(28, 88), (54, 88), (46, 149), (22, 149)]
DOTS = tuple((108.0 + 3.2 * i, 36.0 + 3.2 * j) for i in range(3) for j in range(3))
TRIGGER_OUT = poly([(72, 82), (80, 73), (89, 77), (83, 98), (74, 106), (70, 100)], 4)

EYE_HOLE = poly([(4, 139), (11, 139), (11, 146), (4, 146)], 3.4)

PARTS = (
    # The closed scanner, right side up
    Part(
        "right shell",
        ((OUTLINE, 8, 8),),
        None,
        (poly(inset(BODY, 5), 6), *cross_marks(DOTS, 0.7), *slots(30, 96, 0, 1, 1)),
        "closed",
    ),
    Part("trigger tip", ((TRIGGER_OUT, 4, 8),), None, (), "closed"),
    *(
        Part(f"grip rib {i}", ((rect(28 - i * 0.7, 118 + i * 5, 26, 0.5), 16, 0),), None, (), "closed")
        for i in range(3)
    ),
    *(Part(f"body {i}", ((disc(x, y, 2.7), 16, 0.2),), None, (), "closed") for i, (x, y) in enumerate(BODY_SCREWS)),
    *(Part(f"grip {i}", ((disc(x, y, 2.7), 16, 0.2),), None, (), "closed") for i, (x, y) in enumerate(GRIP_SCREWS)),
    Part(
        "boot",
        ((poly([(139, 0), (154, 1), (180, 13), (180, 57), (152, 71), (139, 71)], 6), 16.5, 3),),
        "nose-boot",
        (run([(145, 2), (145, 69)]), run([(172, 12), (172, 58)])),
        "closed",
    ),
    Part(
        "eye",
        ((ring(poly([(2, 132), (16, 132), (22, 138), (22, 150), (16, 153), (2, 153)], 5), EYE_HOLE), 16.5, 2),),
        "lanyard-eye",
        (),
        "closed",
    ),
    Part("foot", ((poly([(11, 151), (65, 151), (62, 163), (13, 163)], 4), 16.5, 2),), "foot-plate", (), "closed"),
    # Open: the left shell and what lies in it
    Part("window", ((rect(163, 17, 5.5, 38, 1.3), 0, 6),), "window-out", (run([(166, 20), (166, 52)]),)),
    Part("ear a", ((rect(160, 12.5, 9, 4, 1), 0, 4),), None),
    Part("ear b", ((rect(160, 55.5, 9, 4, 1), 0, 4),), None),
    Part(
        "engine",
        ((rect(124, 20, 32, 35, 3), 0, 8), (rect(124, 11, 9, 9, 2), 0, 3), (rect(124, 55, 9, 9, 2), 0, 3)),
        "engine-out",
        (rect(129, 25, 18, 25, 2),),
    ),
    Part("collar", ((rect(156, 23, 5, 29, 2), 0, 7),), "engine-out"),
    Part(
        "board",
        ((poly([(30, 20), (113, 14), (113, 61), (60, 64), (30, 60)], 2), 0, 1.6),),
        "board-out",
        (rect(66, 32, 17, 17, 1), rect(88, 38, 9, 9, 1), rect(50, 33, 10, 8, 1)),
    ),
    Part("moisture dot", ((disc(65, 27, 1.8), 1.6, 0.2),), "board-out"),
    Part("engine plug", ((rect(104, 29, 6, 15, 1), 1.6, 1.4),), "board-out", (run([(107, 31), (107, 42)]),)),
    Part("engine tail", ((rect(110, 32, 15, 9), 2.4, 0.3),), "engine-out"),
    Part("display latch", ((rect(42, 21.5, 17, 5, 1), 1.6, 1.4),), "board-out", slots(45, 23, 2, 5, 2.7)),
    Part("keypad latch", ((rect(73, 18.5, 19, 5, 1), 1.6, 1.4),), "board-out", slots(76, 20, 2, 6, 2.7)),
    Part("trigger plug", ((rect(69, 57, 9, 5, 1), 1.6, 2),), "board-out", slots(71, 58.5, 2, 3, 2.5)),
    Part("sounder plug", ((rect(33, 35, 5, 8, 1), 1.6, 2),), "board-out", (run([(34.5, 36), (34.5, 42)]),)),
    Part("cable end", ((disc(97, 55, 2.5), 1.6, 1.5),), "board-out", (disc(97, 55, 1.1),)),
    Part("cell plug", ((rect(43, 55.5, 11, 6, 1.3), 1.6, 2.2),), None, slots(45.5, 57, 3, 4, 2)),
    Part("sounder", ((disc(20, 44, 8), 0, 4),), None, (disc(20, 44, 2),)),
    Part(
        "aerial",
        ((poly([(112, 62), (148, 59), (148, 63), (112, 66)]), 0, 1),),
        None,
        (curve((97, 55), ((98, 66), (104, 66), (112, 64))),),
    ),
    Part(
        "wires",
        (),
        None,
        (
            curve((46, 61), ((46, 74), (40, 76), (39, 88))),
            curve((50, 61), ((50, 76), (44, 78), (43, 88))),
            curve((28, 42), ((30, 40), (31, 39), (33, 39))),
            curve((73, 62), ((73, 70), (70, 70), (69, 76))),
        ),
    ),
    Part("cell", ((poly(CELL, 3), 0, 9),), "cell-out", (run([(29, 100), (51, 100)]), run([(25, 138), (47, 138)]))),
    Part("strap", ((poly([(21, 116), (54.5, 116), (53, 125), (19.5, 125)], 2), 9.2, 1.2),), "cell-strap"),
    Part(
        "trigger",
        ((TRIGGER_OUT, 0, 6), (poly([(58, 75), (76, 72), (78, 82), (68, 108), (55, 108)], 3), 0, 4)),
        "trigger-out",
        (curve((66, 86), ((64, 88), (70, 90), (66, 92)), ((64, 94), (70, 96), (66, 98))),),
    ),
    # The deck from below, for the parts under the main board
    Part(
        "keypad",
        ((rect(10, 14, 62, 60, 5), 0, 3),),
        "keypad-out",
        (*(rect(15 + 18 * i, 19 + 17 * j, 14, 12, 3) for i in range(3) for j in range(3)),),
        "deck",
    ),
    Part(
        "keypad plate",
        ((rect(8, 12, 66, 64, 4), 3.2, 1.2),),
        "keypad-plate",
        (rect(24, 28, 34, 32, 3), disc(14, 44, 1), disc(68, 44, 1)),
        "deck",
    ),
    Part("display", ((rect(86, 16, 62, 56, 3), 0, 3),), "display-out", (rect(91, 21, 52, 46, 2),), "deck"),
    Part(
        "clamp",
        ((poly([(111, 8), (123, 8), (123, 80), (111, 80)], 3), 3.2, 1.2),),
        "display-clamp",
        (run([(117, 22), (117, 66)]),),
        "deck",
    ),
)
SHELL = ((TRIGGER_OUT, -9.0, 3.0), (OUTLINE, -12.0, 12.0))
CLOSED = ((OUTLINE, -10.0, 18.0),)
DECK = ((rect(0, 0, 160, 88, 10), -6.0, 6.0),)
