"""The Skarv H2 crew handset in millimetres, back side up, its top away from you."""

from drawing_kit import details
from drawing_kit.details import Glass, ring
from drawing_kit.pen import PAGE, Shape, Sheet, View, curve, disc, plan, poly, rect, run
from drawing_kit.scene import Device, Part, Picture, cross_marks, fit, leaf, put, slots

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
    Part("port board", ((rect(7, 124, 62, 28, 2), 0, 1.2), (rect(31, 142, 14, 15, 2), 1.2, 2)), "port-out", (
        rect(50, 128, 9, 7, 1), rect(53, 146, 8, 4, 1))),
    Part("buzzer", ((disc(60, 139, 5), 1.2, 2.5),), "port-out", (disc(60, 139, 1.5),)),
    Part("port clamp", ((rect(27, 143, 22, 6, 1.5), 3.2, 0.8),), "port-clamp"),
    Part("low link", ((rect(30, 121, 11, 10, 1), 1.2, 1),), "link-low", slots(32, 125, 5, 4, 2.3)),
    Part("low cable", ((disc(20, 128, 2.3), 1.2, 1.4),), "cable-low", (disc(20, 128, 1),)),
    Part("loudspeaker", ((rect(7.5, 127, 41, 24, 4), 1.5, 4),), "speaker-out", (
        rect(16, 132, 24, 11, 4), rect(18, 146, 20, 2.4, 1.2))),
    Part("cell", ((rect(9, 72, 50, 49, 3), 0, 4),), "cell-out", (rect(15, 78, 38, 14, 2), run([(9, 112), (59, 112)]))),
    Part("tabs", tuple((rect(x, 118.5, 7, 6.5, 1.5), 4, 0.2) for x in (14.0, 30.5, 47.0)), "cell-out"),
    Part("key strip", ((rect(63, 64, 6, 48, 2), 0, 1), (rect(66, 72, 4, 9, 1), 1, 1), (rect(66, 92, 4, 15, 1), 1, 1)), "key-strip"),
    Part("cable", ((disc(58, 50.5, 0.5), 0, 0),), None, (curve((61, 60), ((61, 90), (62, 100), (61, 122))), )),
    Part("main board", ((poly(BOARD_OUTLINE, 1.5), 0, 1.2),), "board-out", (
        rect(40, 34, 13, 9, 1), rect(9, 13, 14, 9, 1), rect(27, 12, 9, 9, 1), rect(54, 44, 6, 3, 0.5))),
    Part("moisture dot", ((disc(43, 23, 1.7), 1.2, 0.2),), "board-out"),
    Part("display plug", ((rect(12, 49, 15, 5.5, 1), 1.2, 1),), "board-out", slots(14, 50.5, 2.5, 5, 2.6)),
    Part("high link", ((rect(30, 50, 10, 5.5, 1), 1.2, 1),), "board-out", slots(32, 51.5, 2.5, 3, 2.6)),
    Part("high cable", ((disc(58, 52, 2.3), 1.2, 1.2),), "board-out", (disc(58, 52, 1),)),
    Part("key latch", ((rect(63, 38, 5, 12, 1), 1.2, 1),), "board-out", (run([(65, 39), (65, 49)]),)),
    Part("camera plug", ((rect(51, 29.5, 12, 4.5, 1), 1.2, 1),), "board-out", slots(53, 30.5, 2.5, 4, 2.4)),
    Part("lid", ((rect(9, 28.5, 25, 17, 1.5), 1.2, 2),), "shield-lid", (poly([(9.5, 33), (13.5, 29)]),)),
    Part("camera", ((rect(50, 9, 15.5, 15.5, 3), 0, 3), (disc(57.7, 16.7, 5), 3, 1.6)), "camera-out", (disc(57.7, 16.7, 2.6),)),
    Part("camera tail", ((rect(55, 24, 5, 6, 0.5), 1, 0.2),), "camera-out"),
    Part("board cover", ((rect(7, 24.5, 62, 35.5, 3), 3.4, 1),), "board-cover", (
        rect(13, 31, 20, 22, 3), rect(44, 31, 16, 22, 3))),
    Part("cell plug", ((rect(45.5, 62.2, 14, 5, 1), 1.2, 1.2),), None, slots(48, 63.3, 2.6, 4, 3)),
    Part("cell tail", ((rect(49, 67, 7, 7, 0.5), 2, 0.2),), "cell-out"),
    Part("guard", ((rect(41.5, 60.6, 22.5, 8.4, 1.5), 2.6, 0.8),), "cell-guard"),
    # Front, face up
    Part("glue", ((ring(rect(3, 3, 70, 152, 8), rect(7, 10, 62, 136, 4)), 0, 0.6),), "display-out", (), "front"),
    Part("glass", ((rect(2, 2, 72, 154, 9), 0.6, 2.5),), "display-out", (rect(6, 13, 64, 130, 2), rect(29, 6, 18, 2, 1)), "front"),
)

FRAME: tuple[Shape, ...] = (rect(3.5, 3.5, W - 7, L - 7, 7.5), rect(1.8, 1.8, W - 3.6, L - 3.6, 9))
SHELL = (*((key, -5.0, 3.0) for key in KEYS), (rect(0, 0, W, L, 10), -8.0, 8.0))


def _tray_out(sheet: Sheet, view: View) -> None:
    """The card tray drawn out of the right wall."""
    sheet.draw("focus", rect(W + 1, 22, 22, 17, 1.5), view)
    sheet.many("faint", [rect(W + 8, 24.5, 12, 12, 1), run([(W + 4, 22), (W + 4, 39)])], view)
    sheet.arrow(view.at((W + 3, 15)), view.at((W + 24, 15)))


def _side_key(sheet: Sheet, view: View) -> None:
    sheet.draw("focus", rect(W, 70, 2.6, 13, 1), view)
    sheet.arrow(view.at((98, 76.5)), view.at((82, 76.5)))


def _opened(sheet: Sheet) -> None:
    """The back folded to the left like a book, still on its flex."""
    room = (26.0, 26.0, 614.0, 458.0)
    base = rect(0, 0, W, L, 10)
    first = fit(DEVICE, [(base, -8.0), (base, 0.0), (rect(-22, 0, 22, L), 62.0)], room)
    for shape, z, h in SHELL:
        sheet.slab("body", shape, first, z, h)
    sheet.many("faint", FRAME, first)
    shown = ("port board", "cell", "main board", "board cover", "loudspeaker", "guard", "key strip", "camera")
    for name in shown:
        put(sheet, DEVICE.part(name), first, False)
    sheet.hatch(CELL_BOX, first, 4.0, gap=13)
    sheet.draw("focus", ring(rect(1.2, 1.2, W - 2.4, L - 2.4, 9), rect(3.5, 3.5, W - 7, L - 7, 7.5)), first, 0.6)
    # The hinge stands a little off, so that the flex between back and board can be seen.
    up = first.folded(112, -2)
    turned = View(up.at((-4, 0)), up.x_axis, up.y_axis, up.z_axis)
    sheet.draw("ol", curve((10, 45), ((2, 44), (-6, 44), (-6, 40))), first, 3)
    sheet.draw("ol", curve((10, 50), ((2, 49), (-6, 49), (-6, 45))), first, 3)
    leaf(sheet, turned, rect(0, 0, W, L, 10), (rect(4, 4, W - 8, L - 8, 7), rect(12, 10, 26, 40, 4), disc(57.5, 16.5, 5)), -2)
    sheet.hole((38, 156.3), first, 0.6, 8)
    for x, y in ((1.6, 30.0), (1.6, 79.0), (1.6, 128.0), (74.4, 30.0), (74.4, 79.0), (74.4, 128.0)):
        sheet.hole((x, y), first, 0.6, 6)
    x, y = first.at((W * 0.55, L * 0.5), 30)
    sheet.turn_arrow((x - 60, y + 10), 120, 84, -8, -92, 9)


def _overview(sheet: Sheet) -> None:
    view = plan(96, 30, 2.65)
    for shape, _, _ in SHELL:
        sheet.draw("body", shape, view)
    for part in PARTS:
        if part.side == "back":
            put(sheet, part, view, False)
    front = plan(346, 30, 2.65)
    for shape, _, _ in SHELL:
        sheet.draw("body", shape, front)
    put(sheet, DEVICE.part("glass"), front, False)


T4 = details.screws
PICTURES = (
    Picture("overview", "Skarv H2, back and front", only=_overview, desc="The handset from behind and from the front."),
    Picture("switch-off", "Switching off and the flat check", "back", (), detail=details.rocking, look_at=(74, 122), extra=_side_key),
    Picture("card-tray", "The card tray and its pin hole", "back", (), ((W + 2.5, 36),), 6, details.ring_pin, (W + 2.5, 36), extra=_tray_out),
    Picture("belt-plate", "The belt plate and its two screws", "back", ("belt plate",), (*PLATE, (38, 80)), 8, T4((2.0, 5.0))),
    Picture("screw-plugs", "The four corner plugs", "back", tuple(f"plug {i}" for i in range(4)), CORNERS, 12, details.plug_out, CORNERS[1]),
    Picture("long-screws", "The four long corner screws", "back", tuple(f"long {i}" for i in range(4)), CORNERS, 10, T4((1.6, 7.0), patch=True), CORNERS[1]),
    Picture("short-screws", "The six short side screws", "back", tuple(f"short {i}" for i in range(6)), SIDES, 10, T4((1.6, 4.0), patch=True), SIDES[3]),
    Picture("open-back", "The back folded to the left, the perimeter seal lying bare", only=_opened, desc="The back stands open on the left, still on its flex. Rings mark the seal and the six clips."),
    Picture("cell-guard", "The guard over the cell plug", focus=("guard",), rings=((44, 64.8), (61.5, 64.8), (52.7, 64.8)), ring_r=6.5, detail=T4((1.4, 2.5), scale=16)),
    Picture("cell-unplug", "The cell plug, lifted first", focus=("cell plug",), rings=((52.5, 64.8),), ring_r=11, detail=details.lift_plug),
    Picture("back-flex", "The aerial flex of the back", focus=("aerial",), rings=((12, 65.5),), ring_r=10, detail=details.lift_plug),
    Picture("cell-out", "The cell with its three pull tabs", focus=("tabs",), rings=((17.5, 122), (34, 122), (50.5, 122)), ring_r=9, detail=details.pull_tab, look_at=(50.5, 122), moves=(((34, 127), (34, 143)),)),
    Picture("speaker-screws", "The three screws of the loudspeaker chamber", focus=("loudspeaker",), rings=SPEAKER, ring_r=7, detail=T4((1.4, 3.5), scale=13), look_at=SPEAKER[1]),
    Picture("speaker-out", "The loudspeaker chamber lifted", lifted=(("loudspeaker", 40.0),), rings=((28, 147.2, 45.6), (12, 128.5), (44, 128.5)), ring_r=8),
    Picture("cable-low", "The lower end of the aerial cable", focus=("low cable",), rings=((20, 128),), ring_r=10, detail=details.snap_cable),
    Picture("link-low", "The lower plug of the link flex", focus=("low link",), rings=((35.5, 128),), ring_r=10, detail=details.lift_plug),
    Picture("port-clamp", "The clamp over the charging port", focus=("port clamp",), rings=(*CLAMP, (38, 146)), ring_r=6.5, detail=T4((1.6, 3.0), scale=14), look_at=CLAMP[1]),
    Picture("port-out", "The port board lifted out of its sleeve", lifted=(("port board", 42.0), ("buzzer", 42.0)), rings=((38, 153, 46.0), (57, 148, 43.4)), ring_r=9),
    Picture("cover-screws", "Four short and two longer screws of the board cover", focus=("board cover",), rings=(*COVER_SHORT, *COVER_LONG), ring_r=7, detail=T4((1.4, 2.5), (1.4, 4.0), scale=14), look_at=COVER_SHORT[3]),
    Picture("board-cover", "The board cover lifted off its two hooks", lifted=(("board cover", 46.0),), rings=((38, 42, 50.5), (8, 34), (8, 52), (46, 38, 6)), ring_r=9),
    Picture("display-unplug", "The display plug at the lower left of the board", focus=("display plug",), rings=((19.5, 51.8),), ring_r=11, detail=details.lift_plug),
    Picture("key-flex", "The latch of the side key flex", focus=("key latch",), rings=((65.5, 44),), ring_r=11, detail=details.flip_latch),
    Picture("camera-out", "The rear camera lifted, its plug and its foam ring", lifted=(("camera", 44.0),), rings=((57, 31.8), (57.7, 16.7, 48.6)), ring_r=11),
    Picture("link-high", "The upper plug of the link flex", focus=("high link",), rings=((35, 52.8),), ring_r=10, detail=details.lift_plug),
    Picture("cable-high", "The upper end of the aerial cable", focus=("high cable",), rings=((58, 52),), ring_r=10, detail=details.snap_cable),
    Picture("shield-lid", "The shield lid over the hidden screw", focus=("lid",), rings=((21.5, 37),), ring_r=10, detail=details.roll_lid),
    Picture("board-screws", "Three board screws and the longer hidden one", focus=("main board",), rings=(*BOARD, HIDDEN), ring_r=7, detail=T4((1.4, 3.0), (1.4, 4.0), scale=14), look_at=BOARD[2]),
    Picture("board-out", "The main board swung out from under its rail", lifted=tuple((n, 46.0) for n in ("main board", "moisture dot", "display plug", "high link", "high cable", "key latch", "camera plug")), rings=((6, 36),), ring_r=9),
    Picture("key-strip", "The side key strip drawn off the wall", focus=("key strip",), rings=((66, 67.5), (68, 76.5), (68, 95), (68, 104)), ring_r=7, detail=details.peel, look_at=(66, 110)),
    Picture("display-out", "The display glass lifted off its adhesive frame", "front", lifted=(("glue", 26.0), ("glass", 62.0)), rings=((38, 6.5, 26.6),), ring_r=9),
)

DEVICE = Device(
    code="skarv-h2",
    bases={"back": SHELL, "inside": SHELL, "front": SHELL},
    base_lines={"inside": FRAME, "front": (rect(2, 2, 72, 154, 9), rect(8, 11, 60, 134, 4))},
    parts=(*PARTS, Part("aerial", ((rect(7, 62.5, 11, 6, 1), 0.6, 1.2),), "back-flex", slots(9, 64, 3, 4, 2.4))),
    plan_view=plan(82, 31, 2.64),
    glass=Glass((478, 240), 132),
    axes=((0.82, 0.44), (-0.88, 0.42), (0.0, -1.0)),
    pictures=PICTURES,
)
del PAGE
