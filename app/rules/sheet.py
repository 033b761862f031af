"""The step sheet: the shape of a procedure, shared by the planner, the count and the pages.

A procedure file (YAML) is validated straight into these frozen models; the same models, as JSON,
are what a published revision stores. Units stand last in a field's name: ``time_s`` is seconds,
``value_ncm`` is newton centimetres.
"""

from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Code = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=48)]
PartNumber = Annotated[str, StringConstraints(pattern=r"^[A-Z0-9]+([.-][A-Z0-9]+)*$", max_length=32)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=120, strip_whitespace=True)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000, strip_whitespace=True)]
Count = Annotated[int, Field(ge=1, le=200)]
Seconds = Annotated[int, Field(ge=0, le=60 * 60 * 48)]


class Frozen(BaseModel):
    """Base of all sheet models: immutable, and a misspelt key is an error, not a silent loss."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Signal(StrEnum):
    """Signal words with the meanings of ANSI Z535.4 and ISO 3864-2."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


class Symbol(StrEnum):
    """What the hazard panel's symbol shows. NOTICE carries none (ANSI Z535.6)."""

    GENERAL = "general"
    CELL = "cell"
    GLASS = "glass"
    HEAT = "heat"
    SHARP = "sharp"
    SOLVENT = "solvent"
    EYE = "eye"
    STATIC = "static"


class FixingKind(StrEnum):
    SCREW = "screw"
    CLIP = "clip"
    CONNECTOR = "connector"
    FLEX = "flex"
    ADHESIVE = "adhesive"
    SEAL = "seal"
    COVER = "cover"
    SHIELD = "shield"
    CABLE = "cable"


class ReuseClass(StrEnum):
    """After the reuse classes of EN 45554; ``inspect`` goes back only if it passes its inspection."""

    REUSABLE = "reusable"
    SINGLE_USE = "single-use"
    INSPECT = "inspect"


class WasteStream(StrEnum):
    METAL = "metal"
    PLASTIC = "plastic"
    GLASS = "glass"
    ELECTRONIC = "electronic"
    CELL = "cell"
    CHEMICAL = "chemical"
    RESIDUAL = "residual"


class Identifier(StrEnum):
    IMEI = "imei"
    SERIAL = "serial"


class Hazard(Frozen):
    """One hazard: shown before the action it belongs to."""

    signal: Signal
    symbol: Symbol = Symbol.GENERAL
    hazard: Text
    consequence: Text
    avoidance: Text


class Tool(Frozen):
    id: Code
    name: Name
    size: str | None = Field(default=None, max_length=24, description="Driver size such as T5, after ISO 10664.")


class Torque(Frozen):
    """A torque is never assumed: it has a value and the source that gives it, or it is left out."""

    value_ncm: Annotated[Decimal, Field(gt=0, le=2000, description="newton centimetres")]
    source: Name


Share = Annotated[Decimal, Field(ge=0, le=1, decimal_places=4)]


class Place(Frozen):
    """Where a piece sits in the step's picture."""

    x: Share = Field(description="Fraction of the picture's width, from the left.")
    y: Share = Field(description="Fraction of the picture's height, from the top.")


class Fixing(Frozen):
    """What a step releases: ``count`` places of one kind, all treated alike."""

    id: Code
    kind: FixingKind
    name: Name
    count: Count
    reuse: ReuseClass
    part: PartNumber | None = Field(
        default=None, description="Catalogue number of a new one; needed where the reuse class is single-use."
    )
    torque: Torque | None = None
    waste: WasteStream = WasteStream.RESIDUAL
    places: tuple[Place, ...] = Field(
        default=(),
        max_length=200,
        description="Where the pieces sit in the step's picture, numbered in this order; as many as “count”, or none.",
    )

    @property
    def goes_to_tray(self) -> bool:
        """Loose pieces that wait for the refit; a clip or a connector stays on the device."""
        return self.reuse is not ReuseClass.SINGLE_USE and self.kind in (
            FixingKind.SCREW,
            FixingKind.COVER,
            FixingKind.SHIELD,
        )


class NewPart(Frozen):
    """A part taken from stock and used, not the answer to a fixing: primer, thermal pad, wipe."""

    part: PartNumber
    name: Name
    count: Count


class Reject(Frozen):
    """What a failed inspection means: the piece is scrapped, these parts join the kit."""

    say: Text
    add: tuple[NewPart, ...] = ()
    hold: bool = Field(default=False, description="A danger to people: the job goes to a safety hold at once.")


class Inspection(Frozen):
    """Accept or reject, or a reading against limits (inclusive, in ``unit``)."""

    id: Code
    ask: Text
    kind: Literal["accept", "reading"] = "accept"
    of: Code | None = Field(default=None, description="The fixing of this step that is scrapped on a reject.")
    unit: str | None = Field(default=None, max_length=12)
    low: Decimal | None = None
    high: Decimal | None = None
    on_reject: Reject


class Refit(Frozen):
    """The way back of one step. Fixings go back as the step released them, single-use ones new."""

    title: Name
    do: Text
    hazards: tuple[Hazard, ...] = ()
    tools: tuple[Code, ...] = ()
    fits: tuple[NewPart, ...] = ()
    inspect: tuple[Inspection, ...] = ()
    time_s: Seconds
    press_s: Seconds = 0
    cure_s: Seconds = 0
    closes: bool = Field(default=False, description="A cavity closes here: the count must agree before it.")


Moment = Annotated[Decimal, Field(ge=0, le=24 * 60 * 60, decimal_places=3, description="seconds into the recording")]


class Clip(Frozen):
    """The part of a recording that shows the step; played muted and looped (W3C Media Fragments URI 1.0, ``#t=``)."""

    video: Name = Field(description="SHA-256 of a stored recording, or the name of its file.")
    from_s: Moment
    to_s: Moment


class Step(Frozen):
    id: Code
    title: Name
    do: Text
    after: tuple[Code, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    tools: tuple[Code, ...] = ()
    releases: tuple[Fixing, ...] = ()
    inspect: tuple[Inspection, ...] = ()
    frees: Code | None = Field(default=None, description="The unit that is free after this step.")
    time_s: Seconds
    picture: str | None = Field(default=None, max_length=120, description="SVG file beside the procedure file.")
    clip: Clip | None = None
    refit: Refit | None = None


class Unit(Frozen):
    """A replaceable module; it can be a job's target when some step frees it."""

    id: Code
    name: Name
    part: PartNumber
    serial_tracked: bool = False
    waste: WasteStream = WasteStream.ELECTRONIC


class Due(Frozen):
    """When a release test is due: always, or when one of these was exchanged or disturbed."""

    always: bool = False
    exchanged: tuple[Code, ...] = Field(default=(), description="units")
    steps: tuple[Code, ...] = Field(default=(), description="steps that were carried out")
    kinds: tuple[FixingKind, ...] = Field(default=(), description="kinds of fixing that were released")


class ReleaseTest(Frozen):
    id: Code
    title: Name
    do: Text
    kind: Literal["accept", "reading"] = "accept"
    unit: str | None = Field(default=None, max_length=12)
    low: Decimal | None = None
    high: Decimal | None = None
    second_person: bool = False
    due: Due


class DeviceModel(Frozen):
    code: Code
    name: Name
    kind: Name
    identifier: Identifier = Identifier.SERIAL
    has_cell: bool = True
    ingress: str | None = Field(default=None, max_length=12, description="IP code of the sealed device, IEC 60529.")


class Sheet(Frozen):
    """A whole procedure, as its file has it. ``countback`` is the version of this format."""

    countback: Literal[1]
    code: Code
    title: Name
    revision: Annotated[int, Field(ge=1, le=9999)]
    device_model: DeviceModel
    written_by: Name
    summary: Text
    picture: str | None = Field(default=None, max_length=120)
    units: Annotated[tuple[Unit, ...], Field(min_length=1)]
    cautions: tuple[Hazard, ...] = ()
    tools: tuple[Tool, ...] = ()
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=2000)]
    release_tests: tuple[ReleaseTest, ...] = ()

    def step(self, step_id: str) -> Step:
        """Return the step with this id; raises KeyError when the sheet has none."""
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)

    def step_title(self, step_id: str | None) -> str:
        """Return the title of a step; the id itself where the sheet has no such step, empty for none."""
        return next((step.title for step in self.steps if step.id == step_id), step_id or "")
