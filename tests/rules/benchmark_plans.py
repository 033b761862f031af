"""How long a plan takes to make: ``python -m tests.rules.benchmark_plans``. No test: times belong to a machine.

Times are of this process's own work, so that what else the machine does is not in them.
"""

import random
from statistics import median
from time import process_time

from app.rules.expected_time import plan_expected_time
from app.rules.planning import Plan, make_plan
from app.rules.sheet import Sheet
from app.rules.step_history import Observation, fit_steps
from app.rules.step_times import standard_times
from tests.rules.graphs import random_sheet

ROUNDS = 60
LIMIT_MS = 5.0


def timed(example: Sheet, targets: list[str]) -> tuple[Plan, float, float]:
    """Return the plan, and the median and the slowest time to make it, in milliseconds."""
    taken = []
    for _ in range(ROUNDS):
        start = process_time()
        plan = make_plan(example, targets)
        taken.append((process_time() - start) * 1000)
    return plan, median(taken), max(taken)


def main() -> None:
    """Print the times of plans of several sizes, and say whether 300 steps stay under the limit."""
    chance = random.Random(1)
    print(f"{'steps':>6} {'targets':>8} {'planned':>8} {'median ms':>10} {'slowest ms':>11}")
    worst = 0.0
    for steps in (30, 300, 2000):
        example = random_sheet(chance, steps)
        units = [one.id for one in example.units]
        last = next(one.frees for one in example.steps if one.id == f"s{steps - 1}") or units[0]
        for count in (1, 3, 10):
            targets = list(dict.fromkeys([last, *units]))[:count]
            plan, middle, slowest = timed(example, targets)
            print(f"{steps:>6} {len(targets):>8} {len(plan.teardown):>8} {middle:>10.2f} {slowest:>11.2f}")
            if steps == 300:
                worst = max(worst, middle)
    print(f"300 steps: {worst:.2f} ms at most, limit {LIMIT_MS:.0f} ms: {'kept' if worst < LIMIT_MS else 'NOT kept'}")
    _expected_time(random_sheet(chance, 300))


def _expected_time(example: Sheet) -> None:
    chance = random.Random(2)
    standard = standard_times(example)
    jobs = [
        Observation(str(n), key, max(1, round(seconds * chance.uniform(0.6, 1.8))))
        for n in range(100)
        for key, seconds in standard.items()
    ]
    start = process_time()
    history = fit_steps(standard, jobs)
    fitted = process_time()
    plan = make_plan(example, [example.units[-1].id])
    planned = process_time()
    plan_expected_time(example, plan, history)
    done = process_time()
    print(f"history of {len(jobs)} step times fitted in {(fitted - start) * 1000:.0f} ms")
    print(f"expected time of {len(plan.teardown)} steps in {(done - planned) * 1000:.2f} ms")


if __name__ == "__main__":
    main()
