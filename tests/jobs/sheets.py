"""A small procedure for the jobs' tests, as its file would be: eight steps with every kind of trouble in them.

The device, its parts and the people are invented. Down: warm the edge, back, then on one side the cell, on the
other the shield, the flex and the speaker under its gasket. The step ``warm`` has no way back.
"""

import yaml

from app.procedures.files import SheetFile
from app.rules.sheet import Sheet

TEXT = """\
countback: 1
code: field-recorder
title: Field recorder, exchange of units
revision: 1
device_model: {code: field-recorder, name: Field recorder, kind: recorder, ingress: IP67}
written_by: Ines Aldvik
summary: For tests only.
units:
  - {id: cell, name: Cell pack, part: F-100, serial_tracked: true, waste: cell}
  - {id: speaker, name: Speaker, part: F-110}
tools:
  - {id: driver-t5, name: Driver, size: T5}
  - {id: warm-pad, name: Warming pad}
steps:
  - id: warm
    title: Warm the edge
    do: Lay the edge on the pad until it is hand-warm.
    tools: [warm-pad]
    time_s: 120
  - id: back
    title: Lift the back
    do: Turn the screws out, lift the back.
    after: [warm]
    tools: [driver-t5]
    releases:
      - {id: screws, kind: screw, name: Back screw, count: 4, reuse: reusable, part: F-210, waste: metal,
         torque: {value_ncm: 12, source: Test data}}
      - {id: seal, kind: seal, name: Rim seal, count: 1, reuse: single-use, part: F-310}
    time_s: 90
    refit:
      title: Close the back
      do: New seal, screws in.
      tools: [driver-t5]
      press_s: 30
      time_s: 120
      closes: true
      inspect:
        - {id: flush, ask: "Is the back flush all round?", on_reject: {say: Take it off and lay a new seal.}}
  - id: shield
    title: Lift the shield
    do: Turn the two locked screws out, lift the shield.
    after: [back]
    tools: [driver-t5]
    releases:
      - {id: lid, kind: shield, name: Shield, count: 1, reuse: inspect, waste: metal}
      - {id: locked, kind: screw, name: Locked screw, count: 2, reuse: single-use, part: F-211, waste: metal}
    inspect:
      - id: flat
        ask: "Is the shield flat?"
        of: lid
        on_reject: {say: A bent shield touches the board., add: [{part: F-220, name: Shield, count: 1}]}
    time_s: 60
    refit: {title: Fit the shield, do: Lay it on and turn new screws in., tools: [driver-t5], time_s: 70}
  - id: plug
    title: Unplug the cell
    do: Lift the plug straight up.
    after: [back]
    releases:
      - {id: plug, kind: connector, name: Cell plug, count: 1, reuse: reusable}
    time_s: 20
    refit: {title: Plug the cell in, do: Press until it clicks., time_s: 20}
  - id: cell
    title: Take the cell out
    do: Pull the two strips, lift the cell.
    after: [plug]
    releases:
      - {id: strips, kind: adhesive, name: Pull strip, count: 2, reuse: single-use, part: F-320}
    frees: cell
    time_s: 80
    refit:
      title: Lay the cell in
      do: Wipe the bed, lay strips and cell in.
      time_s: 60
      fits: [{part: F-330, name: Wipe, count: 1}]
  - id: flex
    title: Lift the flex
    do: Open the latch, draw the flex out.
    after: [shield]
    releases:
      - {id: ribbon, kind: flex, name: Keypad flex, count: 1, reuse: reusable, part: F-230}
    time_s: 30
    refit: {title: Lay the flex in, do: Slide it in and close the latch., time_s: 40}
  - id: gasket
    title: Lift the gasket
    do: Open the two clips.
    after: [shield, plug]
    releases:
      - {id: clips, kind: clip, name: Gasket clip, count: 2, reuse: reusable}
    time_s: 15
    refit: {title: Lay the gasket in, do: Press both clips., time_s: 15}
  - id: speaker
    title: Lift the speaker out
    do: Turn three screws out.
    after: [flex, gasket]
    tools: [driver-t5]
    releases:
      - {id: screws, kind: screw, name: Speaker screw, count: 3, reuse: reusable, part: F-210, waste: metal}
    frees: speaker
    time_s: 45
    refit:
      title: Bond the speaker in
      do: Two dots of bond, speaker in, screws.
      tools: [driver-t5]
      time_s: 55
      cure_s: 1800
      fits: [{part: F-340, name: Bond dot, count: 2}]
release_tests:
  - {id: power, title: Powers up, do: Hold the key for two seconds., due: {always: true}}
  - {id: leak, title: Leak test, do: Pump the chamber., kind: reading, unit: kPa, low: 1.5, high: 2.5,
     second_person: true, due: {kinds: [seal]}}
"""

PARTS = ("F-100", "F-110", "F-210", "F-211", "F-220", "F-230", "F-310", "F-320", "F-330", "F-340", "F-400")
"""Catalogue numbers of the procedure's parts, and F-400, which no procedure names."""

ORIGINALS = ("F-210", "F-220", "F-230", "F-400")
"""Parts a technician may choose where the procedure names none."""


# The same procedure with pictures and places on them: fixing's line as it is → step, x of its places (y is 0.5).
_PLACED = {
    "{id: screws, kind: screw, name: Back screw, count: 4,": ("back", "0.1", "0.3", "0.5", "0.7"),
    "{id: locked, kind: screw, name: Locked screw, count: 2,": ("shield", "0.2", "0.8"),
    "{id: plug, kind: connector, name: Cell plug, count: 1,": ("plug", "0.5"),
    "{id: strips, kind: adhesive, name: Pull strip, count: 2,": ("cell", "0.25", "0.75"),
    "{id: clips, kind: clip, name: Gasket clip, count: 2,": ("gasket", "0.45", "0.55"),
    "{id: screws, kind: screw, name: Speaker screw, count: 3,": ("speaker", "0.2", "0.5", "0.8"),
}
PICTURE = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 480" role="img"><title>The recorder</title>
<desc>Seen from above.</desc><rect class="body" x="40" y="60" width="560" height="360"/></svg>
"""


def placed_text() -> str:
    """Return the procedure's text with pictures and numbered places."""
    text = TEXT
    for line, (step, *spots) in _PLACED.items():
        places = ", ".join(f"{{x: {x}, y: 0.5}}" for x in spots)
        text = text.replace(line, f"{line} places: [{places}],")
        text = text.replace(f"  - id: {step}\n", f"  - id: {step}\n    picture: drawings/{step}.svg\n")
    return text


def placed() -> Sheet:
    """Return the procedure with numbered places as the rules take it."""
    return Sheet.model_validate(yaml.safe_load(placed_text()))


def placed_file() -> SheetFile:
    """Return the procedure with numbered places as a file to import, with its drawings."""
    drawings = {f"drawings/{step}.svg": PICTURE for step, *_ in _PLACED.values()}
    return SheetFile("field-recorder.yaml", placed_text(), drawings)


def recorder() -> Sheet:
    """Return the procedure as the rules take it."""
    return Sheet.model_validate(yaml.safe_load(TEXT))


def recorder_file() -> SheetFile:
    """Return the procedure as a file to import."""
    return SheetFile("field-recorder.yaml", TEXT)
