"""The pictures of the Skarv H2: what each step's drawing shows, and where its places are."""

from drawing_kit import details
from drawing_kit.details import Glass, ring
from drawing_kit.pen import Sheet, View, curve, disc, plan, rect, run
from drawing_kit.scene import Device, Part, Picture, fit, leaf, put, slots
from drawing_kit.skarv_h2_parts import (
    BOARD,
    CELL_BOX,
    CLAMP,
    CORNERS,
    COVER_LONG,
    COVER_SHORT,
    FRAME,
    HIDDEN,
    PARTS,
    PLATE,
    SHELL,
    SIDES,
    SPEAKER,
    L,
    W,
)


def _tray_out(sheet: Sheet, view: View) -> None:
    """The card tray drawn out of the right wall."""
    sheet.draw("focus", rect(W + 1, 22, 22, 17, 1.5), view)
    sheet.many("faint", [rect(W + 8, 24.5, 12, 12, 1), run([(W + 4, 22), (W + 4, 39)])], view)
    sheet.arrow(view.at((W + 3, 15)), view.at((W + 24, 15)))


def _side_key(sheet: Sheet, view: View) -> None:
    sheet.draw("focus", rect(W, 70, 2.6, 13, 1), view)
    sheet.arrow(view.at((98, 76.5)), view.at((82, 76.5)))


def _cell_hatch(sheet: Sheet, view: View) -> None:
    sheet.hatch(CELL_BOX, view, gap=13)


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
    leaf(
        sheet,
        turned,
        rect(0, 0, W, L, 10),
        (rect(4, 4, W - 8, L - 8, 7), rect(12, 10, 26, 40, 4), disc(57.5, 16.5, 5)),
        -2,
    )
    sheet.hole((38, 156.3), first, 0.6, 8)
    for x, y in ((1.6, 30.0), (1.6, 79.0), (1.6, 128.0), (74.4, 30.0), (74.4, 79.0), (74.4, 128.0)):
        sheet.hole((x, y), first, 0.6, 6)
    x, y = first.at((W * 0.55, L * 0.5), 30)
    sheet.turn_arrow((x - 60, y + 10), 120, 84, -8, -92, 9)
    Glass((548, 96), 84).show(sheet, first.at((W, 100.0), 0), details.pick_seam)


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
    Picture(
        "switch-off",
        "Switching off and the flat check",
        "back",
        (),
        detail=details.rocking,
        look_at=(74, 122),
        also=_side_key,
    ),
    Picture(
        "card-tray",
        "The card tray and its pin hole",
        "back",
        (),
        ((W + 2.5, 36),),
        6,
        details.ring_pin,
        (W + 2.5, 36),
        also=_tray_out,
    ),
    Picture(
        "belt-plate",
        "The belt plate and its two screws",
        "back",
        ("belt plate",),
        (*PLATE, (38, 80)),
        8,
        T4((2.0, 5.0)),
    ),
    Picture(
        "screw-plugs",
        "The four corner plugs",
        "back",
        tuple(f"plug {i}" for i in range(4)),
        CORNERS,
        12,
        details.plug_out,
        CORNERS[1],
    ),
    Picture(
        "long-screws",
        "The four long corner screws",
        "back",
        tuple(f"long {i}" for i in range(4)),
        CORNERS,
        10,
        T4((1.6, 7.0), patch=True),
        CORNERS[1],
    ),
    Picture(
        "short-screws",
        "The six short side screws",
        "back",
        tuple(f"short {i}" for i in range(6)),
        SIDES,
        10,
        T4((1.6, 4.0), patch=True),
        SIDES[3],
    ),
    Picture(
        "open-back",
        "The back folded to the left, the perimeter seal lying bare",
        only=_opened,
        desc="The back stands open on the left, still on its flex. Rings mark the seal and the six clips.",
    ),
    Picture(
        "cell-guard",
        "The guard over the cell plug",
        focus=("guard",),
        rings=((44, 64.8), (61.5, 64.8), (52.7, 64.8)),
        ring_r=6.5,
        detail=T4((1.4, 2.5), scale=16),
    ),
    Picture(
        "cell-unplug",
        "The cell plug, lifted first",
        focus=("cell plug",),
        rings=((52.5, 64.8),),
        ring_r=11,
        detail=details.lift_plug,
    ),
    Picture(
        "back-flex",
        "The aerial flex of the back",
        focus=("aerial",),
        rings=((12, 65.5),),
        ring_r=10,
        detail=details.lift_plug,
    ),
    Picture(
        "cell-out",
        "The cell with its three pull tabs",
        focus=("cell", "tabs"),
        also=_cell_hatch,
        rings=((17.5, 122), (34, 122), (50.5, 122)),
        ring_r=9,
        detail=details.pull_tab,
        look_at=(50.5, 122),
        moves=(((34, 127), (34, 143)),),
    ),
    Picture(
        "speaker-screws",
        "The three screws of the loudspeaker chamber",
        focus=("loudspeaker",),
        rings=SPEAKER,
        ring_r=7,
        detail=T4((1.4, 3.5), scale=13),
        look_at=SPEAKER[1],
    ),
    Picture(
        "speaker-out",
        "The loudspeaker chamber lifted",
        lifted=(("loudspeaker", 40.0),),
        rings=((28, 147.2, 45.6), (12, 128.5), (44, 128.5)),
        ring_r=8,
    ),
    Picture(
        "cable-low",
        "The lower end of the aerial cable",
        focus=("low cable",),
        rings=((20, 128),),
        ring_r=10,
        detail=details.snap_cable,
    ),
    Picture(
        "link-low",
        "The lower plug of the link flex",
        focus=("low link",),
        rings=((35.5, 128),),
        ring_r=10,
        detail=details.lift_plug,
    ),
    Picture(
        "port-clamp",
        "The clamp over the charging port",
        focus=("port clamp",),
        rings=(*CLAMP, (38, 146)),
        ring_r=6.5,
        detail=T4((1.6, 3.0), scale=14),
        look_at=CLAMP[1],
    ),
    Picture(
        "port-out",
        "The port board lifted out of its sleeve",
        lifted=(("port board", 42.0), ("buzzer", 42.0)),
        rings=((38, 153, 46.0), (57, 148, 43.4)),
        ring_r=9,
    ),
    Picture(
        "cover-screws",
        "Four short and two longer screws of the board cover",
        focus=("board cover",),
        rings=(*COVER_SHORT, *COVER_LONG),
        ring_r=7,
        detail=T4((1.4, 2.5), (1.4, 4.0), scale=14),
        look_at=COVER_SHORT[3],
    ),
    Picture(
        "board-cover",
        "The board cover lifted off its two hooks",
        lifted=(("board cover", 46.0),),
        rings=((38, 42, 50.5), (8, 34), (8, 52), (46, 38, 6)),
        ring_r=9,
    ),
    Picture(
        "display-unplug",
        "The display plug at the lower left of the board",
        focus=("display plug",),
        rings=((19.5, 51.8),),
        ring_r=11,
        detail=details.lift_plug,
    ),
    Picture(
        "key-flex",
        "The latch of the side key flex",
        focus=("key latch",),
        rings=((65.5, 44),),
        ring_r=11,
        detail=details.flip_latch,
    ),
    Picture(
        "camera-out",
        "The rear camera lifted, its plug and its foam ring",
        lifted=(("camera", 44.0),),
        rings=((57, 31.8), (57.7, 16.7, 48.6)),
        ring_r=11,
    ),
    Picture(
        "link-high",
        "The upper plug of the link flex",
        focus=("high link",),
        rings=((35, 52.8),),
        ring_r=10,
        detail=details.lift_plug,
    ),
    Picture(
        "cable-high",
        "The upper end of the aerial cable",
        focus=("high cable",),
        rings=((58, 52),),
        ring_r=10,
        detail=details.snap_cable,
    ),
    Picture(
        "shield-lid",
        "The shield lid over the hidden screw",
        focus=("lid",),
        rings=((21.5, 37),),
        ring_r=10,
        detail=details.roll_lid,
    ),
    Picture(
        "board-screws",
        "Three board screws and the longer hidden one",
        focus=("main board",),
        rings=(*BOARD, HIDDEN),
        ring_r=7,
        detail=T4((1.4, 3.0), (1.4, 4.0), scale=14),
        look_at=BOARD[2],
    ),
    Picture(
        "board-out",
        "The main board swung out from under its rail",
        lifted=tuple(
            (n, 46.0)
            for n in (
                "main board",
                "moisture dot",
                "display plug",
                "high link",
                "high cable",
                "key latch",
                "camera plug",
            )
        ),
        rings=((6, 36),),
        ring_r=9,
    ),
    Picture(
        "key-strip",
        "The side key strip drawn off the wall",
        focus=("key strip",),
        rings=((66, 67.5), (68, 76.5), (68, 95), (68, 104)),
        ring_r=7,
        detail=details.peel,
        look_at=(66, 110),
    ),
    Picture(
        "display-out",
        "The display glass lifted off its adhesive frame",
        "front",
        lifted=(("glue", 26.0), ("glass", 62.0)),
        rings=((38, 6.5, 26.6),),
        ring_r=9,
    ),
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
