"""Forms of the procedures room. What is written into a draft has no form model: it may have gaps."""

from typing import Annotated

from pydantic import BaseModel, Field, StringConstraints

Title = Annotated[str, StringConstraints(min_length=1, max_length=120, strip_whitespace=True)]
Version = Annotated[int, Field(ge=1)]


class BlankDraft(BaseModel):
    """A draft to begin with nothing but a title; ``device_model`` is a code, empty for one not in the list."""

    title: Title
    device_model: Annotated[str, Field(max_length=48)] = ""


class NextDraft(BaseModel):
    """A draft of the next revision of a published one, by the revision's id."""

    revision: Annotated[int, Field(ge=1)]


class Change(BaseModel):
    """A change that needs nothing but the version shown."""

    version: Version


class AddStep(BaseModel):
    """A step to add behind another, or at the end."""

    version: Version
    after: Annotated[str, Field(max_length=48)] = ""


class MoveStep(BaseModel):
    """A step to move up (−1) or down (+1)."""

    version: Version
    by: Annotated[int, Field(ge=-1, le=1)]


class OtherStep(BaseModel):
    """A change that concerns a second step."""

    version: Version
    other: Annotated[str, Field(max_length=48)]


class SplitStep(BaseModel):
    """Two steps to make of one; ``second`` are the ids of fixings and inspections that go to the second."""

    version: Version
    title: Annotated[str, Field(max_length=120)] = ""
    do: Annotated[str, Field(max_length=2000)] = ""
    second_title: Annotated[str, Field(max_length=120)] = ""
    second_do: Annotated[str, Field(max_length=2000)] = ""
    fixings: tuple[str, ...] = ()
    inspections: tuple[str, ...] = ()


class TakeBack(BaseModel):
    """An earlier save to go back to."""

    version: Version
    to: Version


class Remarks(BaseModel):
    """What a checker writes when sending a draft back."""

    version: Version
    remarks: Annotated[str, Field(max_length=2000)] = ""


class Settle(BaseModel):
    """An open question to settle, or to open again; ``step`` is the step on whose page that was done, if it was."""

    version: Version
    done: bool = True
    step: Annotated[str, Field(max_length=60)] = ""


class Picture(BaseModel):
    """A picture of a step, or none any more."""

    version: Version
    remove: bool = False


class NarratedHeading(BaseModel):
    """The heading of a draft that was read from words.

    ``device_model`` is a code of the list, empty for one that is named by ``model`` and ``kind``; ``video`` is the
    hash of the recording.
    """

    title: Title
    code: Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=48)]
    device_model: Annotated[str, Field(max_length=48)] = ""
    model: Annotated[str, Field(max_length=120)] = ""
    kind: Annotated[str, Field(max_length=120)] = ""
    written_by: Annotated[str, Field(max_length=120)] = ""
    summary: Annotated[str, Field(max_length=2000)] = ""
    video: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""
