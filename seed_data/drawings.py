"""Draw the pictures of the demo procedures.

    python seed_data/drawings.py                  writes seed_data/procedures/drawings/<code>/<step>.svg
    python seed_data/drawings.py --proof DIR      also writes a page a device with all pictures on it

Each picture is checked against its procedure: one picture a step, and one open ring a place, so that the
rings on the drawing are the counts in the list, in the same order, and the places in the procedure lie on the rings.
"""

import argparse
from pathlib import Path
from typing import Any

import yaml
from drawing_kit import lomvi_s4, skarv_h2, teist_b8
from drawing_kit.scene import Device, compose, places

HERE = Path(__file__).parent / "procedures"
DEVICES = (skarv_h2.DEVICE, lomvi_s4.DEVICE, teist_b8.DEVICE)
MOST_BYTES = 8_000

PROOF = """<!doctype html><meta charset="utf-8"><title>Proof</title><style>
body{margin:12px;background:#f6f3ec;font:14px sans-serif;display:grid;grid-template-columns:repeat(3,1fr);gap:10px}
figure{margin:0;border:1px solid #ccc}svg{display:block;width:100%;height:auto}
svg *{stroke-linejoin:round;stroke-linecap:round}
.ol{fill:none;stroke:#222;stroke-width:1.8}.body{fill:#efebe1;stroke:#222;stroke-width:1.8}
.focus{fill:#9fc9cf;stroke:#0b4f5c;stroke-width:2.2}.go{fill:#0b4f5c;stroke:none}
.hole{fill:none;stroke:#0b4f5c;stroke-width:2.6}.faint{fill:none;stroke:#8b8678;stroke-width:1.1}
.hot{fill:none;stroke:#6d675a;stroke-width:1.1}</style>
"""


def ancestors(sheet: dict[str, Any], step: str) -> set[str]:
    """All steps that are done before this one."""
    before = {s["id"]: s.get("after", []) for s in sheet["steps"]}
    todo, found = list(before.get(step, [])), set[str]()
    while todo:
        name = todo.pop()
        if name not in found:
            found.add(name)
            todo += before[name]
    return found


def _check_places(name: str, releases: list[dict[str, Any]], rings: list[tuple[float, float]]) -> None:
    """Check a ring a piece, and that the places written in the procedure are where the rings are."""
    pieces = sum(fixing["count"] for fixing in releases)
    if pieces != len(rings):
        raise ValueError(f"{name}: {len(rings)} rings, {pieces} places")
    for fixing in releases:
        mine, rings = rings[: fixing["count"]], rings[fixing["count"] :]
        written = [(place["x"], place["y"]) for place in fixing.get("places", [])]
        if written and written != mine:
            raise ValueError(f"{name}: the places of {fixing['id']} are {written}, the rings at {mine}")


def draw(device: Device) -> list[tuple[str, str]]:
    """Draw all pictures of a device, write them, and return (name, SVG); raises ValueError on a mismatch."""
    sheet = yaml.safe_load((HERE / f"{device.code}.yaml").read_text(encoding="utf-8"))
    releases = {s["id"]: s.get("releases", []) for s in sheet["steps"]}
    missing = releases.keys() - {picture.step for picture in device.pictures}
    if missing:
        raise ValueError(f"{device.code}: no picture for {', '.join(sorted(missing))}")
    folder = HERE / "drawings" / device.code
    folder.mkdir(parents=True, exist_ok=True)
    done = []
    for picture in device.pictures:
        result = compose(device, picture, ancestors(sheet, picture.step))
        _check_places(f"{device.code}/{picture.step}", releases.get(picture.step, []), places(result, picture))
        text = result.svg()
        if len(text.encode()) > MOST_BYTES:
            raise ValueError(f"{device.code}/{picture.step}: {len(text.encode())} bytes, more than {MOST_BYTES}")
        (folder / f"{picture.step}.svg").write_text(text, encoding="utf-8")
        done.append((picture.step, text))
    return done


def main() -> None:
    parser = argparse.ArgumentParser(description="Draw the pictures of the demo procedures.")
    parser.add_argument("--proof", type=Path, help="folder for proof pages")
    args = parser.parse_args()
    for device in DEVICES:
        done = draw(device)
        print(f"{device.code}: {len(done)} pictures, largest {max(len(t.encode()) for _, t in done)} bytes")
        if args.proof:
            figures = "".join(f"<figure>{text}<figcaption>{name}</figcaption></figure>" for name, text in done)
            (args.proof / f"{device.code}.html").write_text(PROOF + figures, encoding="utf-8")


if __name__ == "__main__":
    main()
