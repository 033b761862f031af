"""The pictures of the Lomvi S4: what each step's drawing shows, and where its places are."""

from drawing_kit import details
from drawing_kit.details import Glass, ring
from drawing_kit.lomvi_s4_parts import (
    BOARD,
    BODY,
    BODY_SCREWS,
    CARRIER,
    CELL,
    CLOSED,
    DECK,
    DOTS,
    EARTH,
    ENGINE_SCREWS,
    EYE_SCREW,
    FOOT_SCREWS,
    GRIP_SCREWS,
    GROOVE,
    INNER,
    OUTLINE,
    PARTS,
    SHELL,
    TRIGGER_OUT,
)
from drawing_kit.pen import Point, Sheet, View, disc, inset, plan, poly, rect
from drawing_kit.scene import Device, Picture, cross_marks, fit, put


def _key(sheet: Sheet, view: View) -> None:
    sheet.draw("focus", rect(84, -3.4, 16, 3.4, 1), view)
    sheet.arrow(view.at((126, -2)), view.at((104, -2)))
    sheet.arrow(view.at((-16, 120)), view.at((14, 120)))
    sheet.arrow(view.at((94, 124)), view.at((70, 124)))


def _mirrored(points: list[Point]) -> list[Point]:
    return [(178 - x, y) for x, y in reversed(points)]


def _vent(sheet: Sheet) -> None:
    """The right shell with its inside up: the nose points left."""
    view = plan(112, 18, 2.72)
    body = _mirrored(BODY)
    sheet.draw("body", poly(body, 9), view)
    sheet.many("faint", [poly(inset(body, 4), 6), poly(inset(body, 7), 5)], view)
    for x, y in (*BODY_SCREWS, *GRIP_SCREWS):
        sheet.draw("body", disc(178 - x, y, 3.4), view)
    seat = (178 - 111.2, 39.2)
    sheet.draw("body", disc(*seat, 11), view)
    sheet.draw("focus", disc(*seat, 8.5), view)
    sheet.many("faint", cross_marks([(178 - x, y) for x, y in DOTS], 0.7), view)
    Glass((196, 350), 112).show(sheet, view.at(seat), details.peel)


def _cord(sheet: Sheet, view: View) -> None:
    sheet.draw("focus", ring(poly(inset(BODY, 3), 7), poly(inset(BODY, 5.4), 6)), view, 0.4)


def _opened(sheet: Sheet) -> None:
    """The right shell straight above the left one, the cord seal lying in its groove."""
    view = fit(DEVICE, [(OUTLINE, -12.0), (OUTLINE, 68.0)], (20.0, 74.0, 620.0, 464.0))
    for shape, z, h in SHELL:
        sheet.slab("body", shape, view, z, h)
    _cord(sheet, view)
    for name in ("engine", "board", "cell", "strap", "sounder"):
        put(sheet, DEVICE.part(name), view, False, fine=False)
    sheet.hatch(CELL, view, 9, gap=11)
    for x, y in ((10.0, 58.0), (172.0, 20.0), (60.0, 152.0)):
        sheet.dashes(view.at((x, y), 0), view.at((x, y), 58))
    sheet.slab("focus", OUTLINE, view, 58, 8)
    sheet.many("faint", [poly(inset(BODY, 5), 6), *cross_marks(DOTS, 0.8)], view, 66)
    sheet.many("ol", cross_marks([*BODY_SCREWS, *GRIP_SCREWS], 2.6), view, 66)
    x, y = view.at((92, 30), 66)
    sheet.arrow((x, y), (x, y - 78), 10)
    sheet.hole((64, 40), view, 66, 9)
    sheet.hole((171, 36), view, 0.4, 8)
    for x, y in ((150.0, 63.5), (100.0, 67.0), (68.5, 108.0), (38.0, 152.6)):
        sheet.hole((x, y), view, 0.4, 7)


def _overview(sheet: Sheet) -> None:
    view = plan(82, 18, 2.72)
    sheet.draw("body", TRIGGER_OUT, view)
    for part in PARTS:
        if part.side == "closed" and part.name != "trigger tip":
            put(sheet, part, view, False)


def _names(stem: str, n: int) -> tuple[str, ...]:
    return tuple(f"{stem} {i}" for i in range(n))


S = details.screws
BOARD_SET = (
    "board",
    "moisture dot",
    "engine plug",
    "display latch",
    "keypad latch",
    "trigger plug",
    "sounder plug",
    "cable end",
)
PICTURES = (
    Picture("overview", "Lomvi S4 from the right", only=_overview, desc="The closed scanner, nose to the right."),
    Picture("switch-off", "Switching off and feeling along the grip", "closed", also=_key),
    Picture(
        "nose-boot",
        "The rubber boot rolled off the nose",
        "closed",
        ("boot",),
        ((164, 36),),
        10,
        moves=(((185, 36), (208, 36)),),
    ),
    Picture(
        "lanyard-eye",
        "The lanyard eye and its screw",
        "closed",
        ("eye",),
        (EYE_SCREW, (7.5, 142.5)),
        8,
        S((2.5, 10.0), scale=8),
        EYE_SCREW,
    ),
    Picture(
        "foot-plate",
        "The foot plate and its two screws",
        "closed",
        ("foot",),
        (*FOOT_SCREWS, (36, 157)),
        7,
        S((2.0, 6.0)),
        FOOT_SCREWS[1],
    ),
    Picture(
        "body-screws",
        "The six body screws",
        "closed",
        _names("body", 6),
        BODY_SCREWS,
        11,
        S((2.0, 8.0), patch=True, scale=9),
        BODY_SCREWS[3],
    ),
    Picture(
        "grip-screws",
        "The three long grip screws",
        "closed",
        _names("grip", 3),
        GRIP_SCREWS,
        11,
        S((2.0, 14.0), patch=True, scale=9),
        GRIP_SCREWS[0],
    ),
    Picture(
        "open-shells",
        "The right shell lifted off, the cord seal lying bare",
        only=_opened,
        desc="The right shell is lifted straight up. Rings mark the shell, the cord seal and four tongues.",
    ),
    Picture(
        "cell-lead",
        "The plug of the cell lead",
        focus=("cell plug",),
        rings=((48.5, 58.5),),
        ring_r=12,
        detail=details.wire_plug,
    ),
    Picture(
        "cell-strap",
        "The strap over the cell pack",
        focus=("strap",),
        rings=((37, 120.5), (23, 120.5), (51.5, 120.5)),
        ring_r=8,
        detail=details.hooks,
        look_at=(51.5, 120.5),
    ),
    Picture(
        "cell-out",
        "The cell pack lifted out of the grip",
        lifted=(("cell", 46.0),),
        rings=((39, 103), (34, 136)),
        ring_r=10,
    ),
    Picture(
        "trigger-lead",
        "The plug of the trigger lead",
        focus=("trigger plug",),
        rings=((73.5, 59.5),),
        ring_r=11,
        detail=details.wire_plug,
    ),
    Picture(
        "trigger-screws",
        "The two screws of the trigger carrier",
        focus=("trigger",),
        rings=CARRIER,
        ring_r=8,
        detail=S((1.6, 4.0), scale=13),
    ),
    Picture(
        "trigger-out",
        "The trigger drawn inwards with its sleeve",
        lifted=(("trigger", 40.0),),
        rings=((78, 86, 46.2),),
        ring_r=11,
    ),
    Picture(
        "keypad-flex",
        "The latch of the keypad flex",
        focus=("keypad latch",),
        rings=((82.5, 21),),
        ring_r=12,
        detail=details.flip_latch,
    ),
    Picture(
        "display-flex",
        "The sliding latch of the display flex",
        focus=("display latch",),
        rings=((50.5, 24),),
        ring_r=12,
        detail=details.slide_latch,
    ),
    Picture(
        "engine-flex",
        "The plug of the scan engine",
        focus=("engine plug",),
        rings=((107, 36.5),),
        ring_r=12,
        detail=details.lift_plug,
    ),
    Picture(
        "aerial-cable",
        "The end of the aerial cable",
        focus=("cable end",),
        rings=((97, 55),),
        ring_r=11,
        detail=details.snap_cable,
    ),
    Picture(
        "sounder-lead",
        "The plug of the sounder lead",
        focus=("sounder plug",),
        rings=((35.5, 39),),
        ring_r=11,
        detail=details.wire_plug,
    ),
    Picture(
        "engine-screws",
        "The two screws of the scan engine",
        focus=("engine",),
        rings=ENGINE_SCREWS,
        ring_r=9,
        detail=S((1.6, 6.0), scale=11),
        look_at=ENGINE_SCREWS[1],
    ),
    Picture(
        "engine-out",
        "The scan engine lifted out of its cradle",
        lifted=(("engine", 44.0), ("collar", 44.0)),
        rings=((158.5, 37.5, 51.2),),
        ring_r=12,
    ),
    Picture(
        "window-out",
        "The exit window pressed inwards",
        focus=("window", "ear a", "ear b"),
        rings=((165.8, 36), (164.5, 14.5), (164.5, 57.5)),
        ring_r=9,
        detail=details.push_through,
        look_at=(163, 46),
        moves=(((190, 36), (171, 36)), ((158, 36), (140, 36))),
    ),
    Picture(
        "board-screws",
        "Three board screws and the longer earth screw",
        focus=("board",),
        rings=(*BOARD, EARTH),
        ring_r=8,
        detail=S((1.6, 4.0), (1.6, 7.0), scale=11),
        look_at=BOARD[2],
    ),
    Picture(
        "board-out",
        "The main board lifted off its heat pad",
        lifted=tuple((name, 44.0) for name in BOARD_SET),
        rings=((75, 40),),
        ring_r=12,
    ),
    Picture(
        "keypad-plate",
        "The keypad plate and its four screws, from below",
        "deck",
        ("keypad plate",),
        ((13, 17), (69, 17), (13, 71), (69, 71), (41, 44)),
        9,
        S((1.4, 4.0), scale=14),
        (69, 71),
    ),
    Picture(
        "keypad-out",
        "The keypad lifted out of its frame seal",
        "deck",
        lifted=(("keypad", 44.0),),
        rings=((41, 14),),
        ring_r=11,
    ),
    Picture(
        "display-clamp",
        "The display clamp and its two screws, from below",
        "deck",
        ("clamp",),
        ((117, 12.5), (117, 75.5), (117, 44)),
        8,
        S((1.4, 4.0), scale=14),
        (117, 75.5),
    ),
    Picture(
        "display-out",
        "The display lifted off its gasket",
        "deck",
        lifted=(("display", 44.0),),
        rings=((117, 18.5),),
        ring_r=11,
    ),
    Picture(
        "vent-out",
        "The vent membrane inside the right shell",
        only=_vent,
        desc="The right shell lies with its inside up; the membrane over the grille is peeled off.",
    ),
)

DEVICE = Device(
    code="lomvi-s4",
    bases={"closed": CLOSED, "inside": SHELL, "deck": DECK},
    base_lines={
        "inside": (GROOVE, INNER),
        "deck": (rect(4, 4, 152, 80, 7), rect(16, 20, 50, 48, 4), rect(91, 21, 52, 46, 2)),
    },
    parts=PARTS,
    plan_view=plan(62, 22, 2.68),
    glass=Glass((474, 346), 116),
    axes=((0.9, 0.2), (-0.36, 0.6), (0.0, -1.0)),
    pictures=PICTURES,
    side_views={"deck": (plan(24, 150, 2.1), Glass((500, 242), 118))},
)
