"""What may happen to a job at which stage, and what is to be done next, in words.

Stages and holds are the plain words that are stored: this module knows them, so that no page or action
spells its own condition.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.rules.verdict import Refused

BEFORE_BENCH: Final = ("booked in", "made safe", "planned", "quoted", "approved", "kitted")
AT_BENCH: Final = ("teardown", "refit", "counted", "tested")
OPEN: Final = BEFORE_BENCH + AT_BENCH
ENDED: Final = ("closed", "returned unrepaired")
OWNER_PAYS: Final = "owner pays"

CELL_STATES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sound": "Flat, dry, cool and whole",
        "swollen": "The case bulges, or the device rocks on a flat plate",
        "dented": "Dented, bent or pierced",
        "hot": "Warm or hot without being charged",
        "leaking": "Wet, crusted, or a sweet or solvent-like smell",
        "no cell": "The device has none, or it came without",
    }
)
"""The answers to the question about the cell, with what one sees."""

SOUND_CELL: Final = ("sound", "no cell")

QUARANTINE: Final = (
    "Stop. Do not charge, press or open it. Carry the device to the cell box and leave it there. "
    "Its cell goes to quarantine: never back to stock, never by air."
)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a job stands, as far as its flow goes.

    ``second_pass`` is true from the second plan on; ``begun`` once anything came out or was reported in the
    present pass; ``outstanding`` counts kit pieces not handed out, ``short`` those that are not even reserved.
    """

    stage: str
    hold: str = "none"
    coverage: str = OWNER_PAYS
    second_pass: bool = False
    begun: bool = False
    outstanding: int = 0
    short: int = 0
    torn_down: bool = False
    turned: bool = False
    refitted: bool = False

    @property
    def quote_due(self) -> bool:
        """Whether the owner must agree to a price before the kit is handed out.

        A second pass mends what a failed release test showed; the owner has agreed to the repair already.
        """
        return self.coverage == OWNER_PAYS and not self.second_pass


@dataclass(frozen=True, slots=True)
class NextAction:
    """The next thing to do: a verb for the button, why, and where it is done.

    ``path`` follows ``/jobs/{number}``. ``post`` says that the button itself does it; ``roles`` may press it.
    """

    verb: str
    why: str
    path: str = ""
    roles: tuple[str, ...] = ("technician", "supervisor")
    post: bool = False


def stages_shown(coverage: str) -> tuple[str, ...]:
    """Return the stages a job passes, in order; the quote's are left out where nobody has to be asked."""
    quoted = ("quoted", "approved") if coverage == OWNER_PAYS else ()
    return ("booked in", "made safe", "planned", *quoted, "kitted", "teardown", "refit", "counted", "tested", "closed")


def check_safety(standing: Standing) -> None:
    """Refuse the make-safe questions when they were answered, or when a safety hold must be released first."""
    if standing.hold == "safety":
        raise Refused("This job is on a safety hold. A supervisor releases it first, with a reason.")
    if standing.stage != "booked in":
        raise Refused("The make-safe questions of this job are answered. See anything wrong: put it on a safety hold.")


def cell_is_sound(condition: str) -> bool:
    """Say whether work may go on with a cell in this condition; Refused for an unknown answer."""
    if condition not in CELL_STATES:
        raise Refused("Say what state the cell is in.", "cell")
    return condition in SOUND_CELL


def check_bench_ready(cautions: bool, strap: bool, mat: bool) -> None:
    """Refuse until the cautions are read and both static checks are done; names the box to tick."""
    if not cautions:
        raise Refused("Read the cautions above, then tick this box.", "cautions")
    if not strap:
        raise Refused("Test the wrist strap at the tester, then tick this box.", "strap")
    if not mat:
        raise Refused("Check that the mat is connected to ground, then tick this box.", "mat")


def check_plan(standing: Standing) -> None:
    """Refuse a plan before the job is made safe, and after anything came out of the device."""
    _not_on_safety_hold(standing)
    if standing.stage == "booked in":
        raise Refused("Answer the make-safe questions first.")
    if standing.stage in ENDED:
        raise Refused(f"This job is {standing.stage}. Book the device in again.")
    if standing.begun or standing.stage in ("refit", "counted", "tested"):
        raise Refused("The teardown has begun, so the plan stands. Plan again from where it stands, on the job’s page.")


def check_extension(standing: Standing) -> None:
    """Refuse a new plan in mid-work before the bench work has begun, after its count, and on a hold for people."""
    _not_on_safety_hold(standing)
    if standing.hold == "owner's answer":
        raise Refused("This job waits for the owner's answer. End the hold first.")
    if standing.stage in BEFORE_BENCH:
        raise Refused("Nothing is opened yet. Change what to replace in the usual way.")
    if standing.stage not in ("teardown", "refit"):
        raise Refused(f"This job is {standing.stage}. It is planned again while it is open on the bench.")


def stage_after_plan(standing: Standing, *, agreed: bool) -> str:
    """Return the stage a new plan leads to; ``agreed`` when the owner's approval still covers it."""
    if standing.quote_due and not agreed:
        return "planned"
    if standing.outstanding == 0:
        return "kitted"
    return "approved" if standing.coverage == OWNER_PAYS else "planned"


def check_quote(standing: Standing) -> None:
    """Refuse a quote where nobody pays, before there is a plan, or after it was answered."""
    _not_on_safety_hold(standing)
    if standing.coverage != OWNER_PAYS:
        raise Refused(f"This job is {standing.coverage}: it needs no quote.")
    if standing.stage not in ("planned", "quoted"):
        raise Refused("A quote is made once the job is planned, and before the owner has answered it.")


def check_answer(standing: Standing) -> None:
    """Refuse the owner's answer while no quote is out."""
    _not_on_safety_hold(standing)
    if standing.stage != "quoted":
        raise Refused("No quote waits for an answer. Make the quote first.")


def check_hand_out(standing: Standing) -> None:
    """Refuse to hand out a kit before the plan and the owner's approval, and after the end."""
    _not_on_safety_hold(standing)
    if standing.stage in ENDED:
        raise Refused(f"This job is {standing.stage}; nothing is handed out for it.")
    if standing.stage in ("booked in", "made safe"):
        raise Refused("This job has no plan yet, so it has no kit.")
    if standing.stage == "quoted" or (standing.stage == "planned" and standing.quote_due):
        raise Refused("The owner has not approved the quote yet. The kit stays reserved until then.")


def stage_after_hand_out(standing: Standing) -> str:
    """Return the stage after a hand-out: kitted once all is out; at the bench nothing changes."""
    if standing.outstanding == 0 and standing.stage in ("planned", "approved"):
        return "kitted"
    return standing.stage


def check_return(standing: Standing) -> None:
    """Refuse to return a device unrepaired once it is open on the bench."""
    if standing.stage in ENDED:
        raise Refused(f"This job is {standing.stage} already.")
    if standing.begun or standing.stage not in BEFORE_BENCH:
        raise Refused("The device is open on the bench. Put it together and close the count first.")


def check_hold(standing: Standing, hold: str) -> None:
    """Refuse a hold by hand where it makes no sense: on a finished job, or over a safety hold."""
    if standing.stage in ENDED:
        raise Refused(f"This job is {standing.stage}; there is nothing to hold.")
    if hold not in ("safety", "owner's answer"):
        raise Refused("Choose why the job cannot go on.", "hold")
    if standing.hold == "safety":
        raise Refused("This job is on a safety hold already.")
    if hold == "owner's answer" and standing.hold == hold:
        raise Refused("This job waits for the owner's answer already.")


def check_hold_end(standing: Standing) -> None:
    """Refuse to end a hold that is not there, or that ends by another way."""
    if standing.hold == "none":
        raise Refused("This job is not on hold.")
    if standing.hold == "parts":
        raise Refused("A parts hold ends by itself when everything is reserved or handed out.")
    if standing.hold == "owner's answer" and standing.stage == "quoted":
        raise Refused("Record the owner's answer on the quote page; that ends the hold.")


def _not_on_safety_hold(standing: Standing) -> None:
    if standing.hold == "safety":
        raise Refused("This job is on a safety hold. Nothing goes on until a supervisor releases it, with a reason.")


_EARLY: Final = {
    "booked in": NextAction("Make safe", "Cautions, bench checks and the state of the cell come first.", "/safety"),
    "made safe": NextAction("Choose what to replace", "The plan follows from the units to exchange.", "/targets"),
    "kitted": NextAction("Open at the bench", "The kit is handed out.", "/bench/open", post=True),
}
_SUPERVISOR: Final = ("supervisor",)
_STORES: Final = ("stores", "supervisor")


def next_action(standing: Standing) -> NextAction | None:
    """Return the one next thing to do, or None when the job is over."""
    if standing.stage == "returned unrepaired":
        return None
    if standing.stage == "closed":
        return NextAction("Show the job card", "The record is sealed.", "/card", ("technician", "stores", "supervisor"))
    if standing.hold == "safety":
        return NextAction("Release or return", "A supervisor decides what may be done with it.", "/hold", _SUPERVISOR)
    if standing.stage == "quoted":
        return NextAction("Record the owner's answer", "The quote is with the owner.", "/quote", _SUPERVISOR)
    if standing.hold == "owner's answer":
        return NextAction("End the hold", "The job waits for the owner's answer.", "/hold")
    if standing.stage == "planned" and standing.quote_due:
        return NextAction("Make the quote", "The owner pays, so the owner agrees first.", "/quote", _SUPERVISOR)
    if standing.stage in ("planned", "approved"):
        why = "Everything is reserved." if not standing.short else "Part of the kit is short; the rest can go out."
        return NextAction("Hand out kit", why, "/kit", _STORES)
    return _EARLY.get(standing.stage) or _bench_action(standing)


def _bench_action(standing: Standing) -> NextAction:
    if standing.stage == "counted":
        return NextAction("Do the release tests", "What is tested follows from what was disturbed.", "/tests")
    if standing.stage == "tested":
        return NextAction("Close job", "All release tests are passed.", "/close")
    if standing.refitted:
        return NextAction("Count everything back", "All refit steps are done.", "/count")
    why = "The refit is under way." if standing.turned else "The teardown is under way."
    return NextAction("Go on at the bench", why, "/bench/open", post=True)
