"""Whether a job may move to a newer revision of its procedure: a supervisor's decision, before any work hangs on it."""

from app.rules.job_flow import AT_BENCH, ENDED, Standing
from app.rules.verdict import Refused


def why_not_moved(standing: Standing, issued: int, current: int, to: int) -> str | None:
    """Return why a job stays on its revision, or None when it may move from ``current`` to ``to``.

    ``issued`` counts kit pieces that were handed out. What is in somebody's hands was picked for the old revision,
    and what was ticked was counted by it.
    """
    if standing.stage in ENDED:
        return f"This job is {standing.stage}, so it stays on revision {current}."
    if standing.hold == "safety":
        return "This job is on a safety hold. Nothing goes on until a supervisor releases it, with a reason."
    if standing.begun or standing.second_pass or standing.stage in AT_BENCH:
        return f"The teardown has begun, so this job stays on revision {current}."
    if issued:
        return f"Its kit is handed out, so this job stays on revision {current}. Put the kit back first."
    if to <= current:
        return f"This job is on revision {current} already."
    return None


def check_move(standing: Standing, issued: int, current: int, to: int) -> None:
    """Refuse the move, with the reason."""
    reason = why_not_moved(standing, issued, current, to)
    if reason:
        raise Refused(reason)
