"""Small procedure files for tests."""

from pathlib import Path

from app.platform.resources import resource

SEED: Path = resource("seed_data") / "procedures"

SHEET = """\
countback: 1
code: test-radio
title: Test radio, exchange of units
revision: 1
device_model: {code: test-radio, name: Test radio, kind: deck radio}
written_by: Ines Aldvik
summary: For tests only.
units:
  - {id: board, name: Board, part: TR-100}
tools:
  - {id: driver-t5, name: Driver, size: T5}
steps:
  - id: lid
    title: Take off the lid
    do: Undo the screws & lift <it>.
    tools: [driver-t5]
    releases:
      - {id: screws, kind: screw, name: Lid screw, count: 4, reuse: reusable, part: TR-200,
         torque: {value_ncm: 24.50, source: Test data}}
      - {id: seal, kind: seal, name: Lid seal, count: 1, reuse: single-use, part: TR-300}
    time_s: 60
    picture: drawings/lid.svg
    refit: {title: Put the lid on, do: Press it down., time_s: 70, closes: true}
  - id: board
    title: Lift out the board
    do: Lift it.
    after: [lid]
    frees: board
    time_s: 30
    refit: {title: Lay the board in, do: Press it down., time_s: 30, cure_s: 600}
release_tests:
  - {id: leak, title: Leak test, do: Pump it., kind: reading, unit: kPa, low: 1.50, high: 2.5, due: {always: true}}
"""

LID = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 48" role="img"><title>The lid</title>
<desc>Seen from above.</desc><g class="body"><path class="focus" d="M1 2L3 4z"/><circle cx="5" cy="6" r="2"/></g></svg>
"""

PARTS = frozenset({"TR-100", "TR-200", "TR-300"})
