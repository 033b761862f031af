"""Reordering: all suggestions computed anew, measured, and years of demand replayed."""

import csv
from datetime import date
from pathlib import Path

from app.cli.console import load_settings, ready_database, say, stop
from app.platform import clock
from app.rules.stores.planning import Terms
from app.rules.stores.suggestion import share_words
from app.rules.stores.trial import Series, Trial, from_rows, try_policies


def recompute(data_dir: Path | None) -> None:
    """Compute every suggestion anew, with the classes by annual value."""
    from app.jobs.actions.supposing import suppose_use
    from app.stores.actions import renew_suggestions
    from app.stores.queries import count_due

    settings = load_settings(data_dir)
    db = ready_database(settings)
    at = clock.now()
    today = at.astimezone(settings.zone).date()
    with db.write() as session:
        suppose_use(session, today, at=at)
        count = renew_suggestions(session, today, at=at)
    with db.read() as session:
        due = sum(n for _name, n in count_due(session))
    took = (clock.now() - at).total_seconds()
    say(f"{count} parts computed in {took:.1f} s; {due} to order.")
    db.dispose()


def replay(
    file: Path | None, parts: int, years: int, seed: int, lead_days: int, price: float, target: float, owed: float
) -> None:
    """Replay years of demand, given or invented, and print what each policy achieves and costs."""
    if file is None:
        from app.demo.storeroom_years import invent

        series = invent(parts, years, seed)
        say(f"An invented storeroom of {parts} parts, {years} years after three of history (seed {seed}).")
    else:
        series = _read(file, lead_days, price, target)
        say(f"{file.name}: {len(series.numbers)} parts, {series.wanted.shape[1]} days.")
    terms = Terms(review_days=1)
    _print(try_policies(series, terms, owed), owed)


def _read(file: Path, lead_days: int, price: float, target: float) -> Series:
    """Read a CSV file with the columns part, day and quantity."""
    rows: list[tuple[str, date, int]] = []
    with file.open(newline="", encoding="utf-8-sig") as opened:
        for number, row in enumerate(csv.DictReader(opened), 2):
            try:
                rows.append((row["part"].strip(), date.fromisoformat(row["day"].strip()), int(row["quantity"])))
            except (KeyError, ValueError, AttributeError) as error:
                stop(f"Row {number}: part, day (such as 2026-03-31) and a whole quantity are wanted. {error}")
            if rows[-1][2] < 0:
                stop(f"Row {number}: demand is not below zero.")
    if not rows:
        stop("The file has no rows under its heading: part, day, quantity.")
    first = min(day for _part, day, _quantity in rows)
    try:
        return from_rows([(part, (day - first).days, n) for part, day, n in rows], lead_days, price, target)
    except ValueError as error:
        stop(f"It cannot be replayed: {error}.")


def _print(trial: Trial, owed: float) -> None:
    say(
        f"Counted: {trial.days} days, {trial.enough} of {trial.parts} parts with enough demand. Promised to those: "
        f"nothing runs out in {share_words(trial.promised)} of the order cycles."
    )
    say()
    heads = ("", "service", "service*", "fill rate", "orders", "holding", "ordering", "expiry", "stock-out", "together")
    say("".join(f"{head:>12}" if n else f"{head:<14}" for n, head in enumerate(heads)))
    for one in trial.tried:
        cost = one.costs
        shares = (one.service, one.service_enough, one.fill_rate)
        money = (cost.holding, cost.ordering, cost.expiry, cost.shortage, cost.total)
        say(
            f"{one.name:<14}" + "".join(f"{share_words(value):>12}" for value in shares) + f"{one.orders:>12,}"
            + "".join(f"{value:>12,.0f}" for value in money)
        )  # fmt: skip
    say("* over the parts with enough demand. Both services are shares of order cycles; the fill rate is of pieces.")
    policy = trial.tried[0]
    apart = 100 * (policy.service_enough - trial.promised)
    say(f"The policy keeps its promise to within {abs(apart):.2f} points ({apart:+.2f}).")
    if trial.beside is not None:
        best = trial.beside
        say(
            f"Beside the exact optimum (s, S by dynamic programming, {owed:g} a piece and day owed) of {best.parts} "
            f"parts: {best.optimum:,.0f} a year; this policy's levels {best.policy:,.0f}, which is "
            f"{share_words(best.policy / best.optimum - 1)} more for the service promised."
        )
