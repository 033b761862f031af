"""The pictures of the Teist B8: what each step's drawing shows, and where its places are."""

from drawing_kit import details
from drawing_kit.details import Glass, ring
from drawing_kit.pen import Sheet, View, curve, disc, plan, poly, rect
from drawing_kit.scene import Device, Picture, fit, leaf, put
from drawing_kit.teist_b8_parts import (
    BOARD,
    CELL,
    CLAMPS,
    CORNERS,
    FENCE,
    FRAME,
    FRONT,
    HATCH,
    PARTS,
    PORT,
    POSTS,
    RAIL,
    RIM,
    RUBBERS,
    SHELL,
    SHORT,
    SPEAKER,
    TABS,
    L,
    W,
)


def _top_key(sheet: Sheet, view: View) -> None:
    sheet.draw("focus", rect(26, -4, 14, 4, 1), view)
    sheet.arrow(view.at((33, -30)), view.at((33, -8)))


def _hatch_cell(sheet: Sheet, view: View) -> None:
    sheet.hatch(CELL, view, gap=14)


def _sled(sheet: Sheet, view: View) -> None:
    """The card sled half drawn out of the open hatch."""
    sheet.draw("focus", poly([(176, 30), (192, 30), (192, 62), (188, 66), (176, 66)], 1.5), view)
    sheet.arrow(view.at((184, 72)), view.at((184, 92)))


def _opened(sheet: Sheet) -> None:
    """The front folded to the right on its flexes, leaning on the prop."""
    base = rect(0, 0, W, L, 13)
    view = fit(DEVICE, [(base, -10.0), (base, 0.0), (rect(W, 0, 166, L), 139.0)], (20.0, 20.0, 620.0, 462.0))
    for shape, z, h in SHELL:
        sheet.slab("body", shape, view, z, h)
    sheet.draw("focus", ring(rect(1.6, 1.6, W - 3.2, L - 3.2, 11.5), rect(4.6, 4.6, W - 9.2, L - 9.2, 10)), view, 0.6)
    sheet.draw("faint", RIM[0], view)
    up = view.folded(-140, W + 3)
    for name in ("cell", "cell frame", "board", "left speaker", "right speaker", "lid", "bridge"):
        put(sheet, DEVICE.part(name), view, False, fine=False)
    sheet.hatch(CELL, view, 4.5, gap=12)
    leaf(sheet, up, base, (rect(12, 12, 192, 112, 4), rect(18, 8.5, 180, 9, 2), rect(18, 118.5, 180, 9, 2)), 3)
    sheet.hole((W / 2, L - 3), view, 0.6, 9)
    for x in (30.0, 72.0, 114.0, 156.0):
        sheet.hole((x, 2.8), view, 0.6, 7)
    for x in (28.0, 72.0, 144.0, 188.0):
        sheet.hole((x, L - 3), view, 0.6, 7)
    x, y = view.at((W * 0.5, L * 0.55), 20)
    sheet.turn_arrow((x + 40, y - 6), 110, 96, 188, 268, 10)
    Glass((112, 104), 90).show(sheet, view.at((60.0, 0.0), 0), details.pick_seam)


def _front_tails(sheet: Sheet, view: View) -> None:
    """The flexes that run from both plugs to the front, which stands at the right edge."""
    sheet.draw("focus", rect(211, 4, 6, 128, 1.5), view)
    for y in (85.0, 89.0):
        sheet.draw("ol", curve((180, y), ((196, y), (200, y + 2), (213, y + 2))), view)
    for y in (65.0, 70.0):
        sheet.draw("ol", curve((183, y), ((196, y), (200, y), (213, y))), view)


def _overview(sheet: Sheet) -> None:
    view = plan(159, 18, 1.5)
    sheet.draw("body", SHELL[0][0], view)
    for part in PARTS:
        if part.side == "back" and not part.name.startswith(("long", "port")):
            put(sheet, part, view, False)
    front = plan(159, 258, 1.5)
    for rubber in RUBBERS:
        sheet.draw("body", poly(rubber, 6), front)
    sheet.draw("body", SHELL[0][0], front)
    sheet.many("ol", [rect(11, 11, 194, 114, 4)], front)
    sheet.many("faint", [rect(18, 18, 180, 100, 2), disc(108, 6, 1.6)], front)


def _names(stem: str, n: int) -> tuple[str, ...]:
    return tuple(f"{stem} {i}" for i in range(n))


S = details.screws
BOARD_SET = (
    "board",
    "moisture dot",
    "reader plug",
    "cable a",
    "cable b",
    "screen plug",
    "touch plug",
    "link plug",
    "key latch",
    "camera plug",
)
PICTURES = (
    Picture("overview", "Teist B8, back and front", only=_overview, desc="The tablet from behind and from the front."),
    Picture(
        "switch-off",
        "Switching off and the test for rocking",
        "back",
        detail=details.rocking,
        look_at=(212, 100),
        also=_top_key,
    ),
    Picture(
        "hand-strap",
        "The hand strap and its four posts",
        "back",
        ("strap",),
        (*POSTS, (108, 68)),
        8,
        S((3.0, 6.0), scale=9),
        POSTS[3],
    ),
    Picture(
        "port-door",
        "The port door and its hinge screw",
        "back",
        ("door",),
        ((98, 133.5), (116, 133.5)),
        6.5,
        S((1.6, 4.0), scale=13),
        (98, 133.5),
    ),
    Picture(
        "card-hatch",
        "The card hatch with its sled",
        "back",
        ("hatch",),
        (*HATCH, (184, 25), (184, 54), (168, 42)),
        6.5,
        S((1.6, 4.0), scale=13),
        HATCH[1],
        also=_sled,
    ),
    Picture(
        "corner-rubbers",
        "The four corner rubbers",
        "back",
        _names("rubber", 4),
        CORNERS,
        11,
        moves=(((-2, -6), (-22, -26)), ((218, -6), (238, -26)), ((-2, 142), (-22, 162)), ((218, 142), (238, 162))),
    ),
    Picture(
        "long-screws",
        "The four long corner screws",
        "back",
        _names("long", 4),
        CORNERS,
        9,
        S((2.0, 9.0), patch=True, scale=9),
        CORNERS[3],
    ),
    Picture(
        "short-screws",
        "The eight short rim screws",
        "back",
        _names("short", 8),
        SHORT,
        9,
        S((2.0, 5.0), patch=True, scale=11),
        SHORT[7],
    ),
    Picture(
        "open-front",
        "The front folded to the right, the rim gasket lying bare",
        only=_opened,
        desc="The front stands open on the right on its flexes. Rings mark the gasket and eight clips.",
    ),
    Picture(
        "cell-bridge",
        "The bridge over the cell plug",
        focus=("bridge",),
        rings=((134.5, 66), (134.5, 84), (134.5, 75)),
        ring_r=6,
        detail=S((1.6, 3.0), scale=14),
    ),
    Picture(
        "cell-unplug",
        "The cell plug, lifted first",
        focus=("cell plug",),
        rings=((134.5, 75),),
        ring_r=12,
        detail=details.lift_plug,
    ),
    Picture(
        "front-off",
        "Both plugs of the front",
        focus=("screen plug", "touch plug"),
        also=_front_tails,
        rings=((170, 87), (180.5, 67.5), (214, 110)),
        ring_r=10,
        detail=details.lift_plug,
        look_at=(180.5, 67.5),
    ),
    Picture(
        "panel-clamps",
        "The two panel clamps and their six screws",
        "front",
        ("clamp a", "clamp b"),
        (*CLAMPS, (67, 13), (67, 123)),
        7.5,
        S((1.4, 2.5), scale=16),
        CLAMPS[5],
    ),
    Picture(
        "panel-out",
        "The panel pushed out of the front frame",
        "bond",
        lifted=(("glue", 26.0), ("glass", 66.0)),
        rings=((64, 122, 26.6),),
        ring_r=10,
    ),
    Picture(
        "speaker-screws",
        "The four screws of the loudspeakers",
        focus=("left speaker", "right speaker"),
        rings=SPEAKER,
        ring_r=7,
        detail=S((1.6, 4.0), scale=13),
        look_at=SPEAKER[3],
    ),
    Picture(
        "speakers-out",
        "Both loudspeakers lifted",
        lifted=(("left speaker", 46.0), ("right speaker", 46.0)),
        rings=((15, 31, 2), (202, 31, 2), (14.5, 68, 51), (203, 68, 51)),
        ring_r=9,
    ),
    Picture(
        "key-flex",
        "The latch of the side key flex",
        focus=("key latch",),
        rings=((176.5, 26.5),),
        ring_r=11,
        detail=details.flip_latch,
    ),
    Picture(
        "keys-out",
        "The key rail with its two screws and its seal",
        focus=("key rail",),
        rings=(*RAIL, (177, 13)),
        ring_r=6.5,
        detail=S((1.4, 3.0), scale=14),
        look_at=RAIL[1],
        moves=(((186, 20), (186, 36)),),
    ),
    Picture(
        "cell-frame",
        "The frame over the cell and its six screws",
        focus=("cell frame",),
        rings=(*FRAME, (28, 72)),
        ring_r=7,
        detail=S((1.6, 4.0), scale=13),
        look_at=FRAME[2],
    ),
    Picture(
        "cell-out",
        "The cell with its four pull tabs",
        focus=("cell", "tabs"),
        rings=tuple((x, 113) for x in TABS),
        ring_r=8,
        detail=details.pull_tab,
        look_at=(106, 113),
        also=_hatch_cell,
        moves=tuple(((x, 122), (x, 144)) for x in (40.0, 106.0)),
    ),
    Picture(
        "reader-flex",
        "The plug of the pass reader",
        focus=("reader plug",),
        rings=((132, 50),),
        ring_r=10,
        detail=details.lift_plug,
    ),
    Picture(
        "reader-out",
        "The pass reader loop peeled off the shell",
        focus=("reader",),
        rings=((74, 72),),
        ring_r=12,
        detail=details.peel,
        look_at=(106, 42),
    ),
    Picture(
        "link-flex",
        "The plug of the port link flex",
        focus=("link plug",),
        rings=((141, 104.2),),
        ring_r=10,
        detail=details.lift_plug,
    ),
    Picture(
        "port-clamp",
        "The port clamp and its three screws",
        focus=("port clamp",),
        rings=(*PORT, (105, 124.5)),
        ring_r=5,
        detail=S((1.6, 4.0), scale=13),
        look_at=PORT[2],
    ),
    Picture(
        "port-out", "The port board drawn inwards", lifted=(("port board", 44.0),), rings=((112, 132, 47.4),), ring_r=10
    ),
    Picture(
        "camera-clamp",
        "The clamp of the rear camera",
        focus=("camera clamp",),
        rings=((129, 14), (134, 14)),
        ring_r=4.5,
        detail=S((1.4, 3.0), scale=14),
    ),
    Picture(
        "camera-out",
        "The rear camera lifted, its plug and its lens ring",
        lifted=(("camera", 44.0),),
        rings=((142, 27.5), (141.5, 14, 48)),
        ring_r=11,
    ),
    Picture(
        "aerial-cables",
        "The two ends of the aerial cables",
        focus=("cable a", "cable b"),
        rings=((182, 40), (182, 52)),
        ring_r=8,
        detail=details.snap_cable,
        look_at=(182, 46),
    ),
    Picture(
        "shield-lid",
        "The shield lid on its fence",
        focus=("lid",),
        rings=((159, 61),),
        ring_r=11,
        detail=details.roll_lid,
    ),
    Picture(
        "board-screws",
        "Five short and two longer board screws",
        focus=("board",),
        rings=(*BOARD, *FENCE),
        ring_r=7,
        detail=S((1.6, 4.0), (1.6, 6.0), scale=12),
        look_at=BOARD[4],
    ),
    Picture(
        "board-out",
        "The main board lifted off its heat pad",
        lifted=tuple((name, 46.0) for name in BOARD_SET),
        rings=((159, 66),),
        ring_r=12,
    ),
)


DEVICE = Device(
    code="teist-b8",
    bases={"back": SHELL, "inside": SHELL, "front": FRONT, "bond": FRONT},
    base_lines={
        "back": (rect(3.4, 3.4, W - 6.8, L - 6.8, 10),),
        "inside": RIM,
        "front": (rect(4, 4, W - 8, L - 8, 10),),
        "bond": (rect(10, 10, 196, 116, 5), rect(18, 18, 180, 100, 3)),
    },
    parts=PARTS,
    plan_view=plan(40, 131, 1.6),
    glass=Glass((514, 240), 112),
    axes=((0.86, -0.34), (0.7, 0.5), (0.0, -1.0)),
    pictures=PICTURES,
)
