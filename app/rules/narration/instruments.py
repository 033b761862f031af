"""Driver sizes and tools of each step."""

from app.rules.narration.building import Building
from app.rules.narration.clauses import Cut, Sense
from app.rules.narration.drivers import driver_at
from app.rules.narration.mention_kinds import Sort


def give_instruments(cut: Cut, steps: list[Building]) -> None:
    """Give each driver size and tool to the step it is spoken in, unless it is only warned of."""
    barred: set[int] = set()
    for clause in cut.clauses:
        if clause.sense in {Sense.CAUTION, Sense.REFIT, Sense.LEAVE, Sense.INSPECT}:
            barred.update(range(clause.cue if clause.cue is not None else clause.start, clause.end))
    for number, step in enumerate(steps):
        end = steps[number + 1].start if number + 1 < len(steps) else len(cut.tokens)
        _give(cut, step, end, barred)


def _give(cut: Cut, step: Building, end: int, barred: set[int]) -> None:
    k = step.start
    while k < end:
        driver = driver_at(cut.tokens, k)
        if driver:
            if all(driver.code != known.code for _, known in step.drivers):
                step.drivers.append((k, driver))
            k += driver.size
            continue
        mention = cut.mentioned.at.get(k)
        tool = mention is not None and mention.first == k and mention.sort is Sort.TOOL and k not in barred
        if tool and mention is not None and all(mention.noun != known.noun for known in step.tools):
            step.tools.append(mention)
        k += 1
