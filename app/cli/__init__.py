"""The ``countback`` command. Each command imports what it needs when it runs, so that --help is fast."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup


class InWords(TyperGroup):
    """The commands; what they stand on may be missing, and then they end in words, not in a traceback."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except Exception as error:
            from app.cli.console import end_in_words

            end_in_words(error)
            raise


app = typer.Typer(
    name="countback",
    cls=InWords,
    help="A bench-side job tracker for device repair: every part that comes out is counted, and counted back.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
import_app = typer.Typer(help="Import procedures or a parts catalogue.", no_args_is_help=True)
app.add_typer(import_app, name="import")

DataDir = Annotated[
    Path | None, typer.Option("--data-dir", help="Folder of the database, instead of COUNTBACK_DATA_DIR.")
]
Host = Annotated[str | None, typer.Option(help="Address to listen on, instead of COUNTBACK_HOST.")]
Port = Annotated[int | None, typer.Option(help="Port to listen on, instead of COUNTBACK_PORT.")]


def main() -> None:
    """Run the command line."""
    app()


@app.command()
def demo(
    data_dir: DataDir = None,
    host: Host = None,
    port: Port = None,
    jobs: Annotated[int, typer.Option(min=30, max=20000, help="Jobs in the invented history.")] = 404,
    seed: Annotated[int, typer.Option(help="The same seed and day make the same history.")] = 7,
    today: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Day on which the history ends; by default, today.")
    ] = None,
    serve: Annotated[bool, typer.Option("--serve/--no-serve", help="Serve when the workshop is ready.")] = True,
) -> None:
    """Invent a workshop with a year of history, and serve it. A second start serves at once."""
    from app.cli.demo import run

    run(data_dir, host, port, jobs, seed, today.date() if today else None, serve)


@app.command()
def serve(
    data_dir: DataDir = None,
    host: Host = None,
    port: Port = None,
    workers: Annotated[int, typer.Option(min=1, max=64, help="Processes; more than one needs PostgreSQL.")] = 1,
    trust_proxy: Annotated[
        str, typer.Option(help="Addresses of the web servers in front whose X-Forwarded headers are believed.")
    ] = "",
) -> None:
    """Serve the workshop. Refuses to start when the settings are faulty or migrations are behind."""
    from app.cli.serving import run

    run(data_dir, host, port, workers, trust_proxy)


@app.command()
def init(data_dir: DataDir = None, address: Annotated[str, typer.Option(help="Address of the pages.")] = "") -> None:
    """Print a one-time link with which the first supervisor signs up."""
    from app.cli.upkeep import init as run

    run(data_dir, address)


@app.command()
def migrate(data_dir: DataDir = None) -> None:
    """Make the database, or bring it to the newest tables."""
    from app.cli.upkeep import migrate as run

    run(data_dir)


@app.command()
def check(data_dir: DataDir = None) -> None:
    """Check settings, database, migration, stock ledger, job records, their seals, media. Exit status 0 or 1."""
    from app.cli.checking import run

    run(data_dir)


@import_app.command("procedures")
def import_procedures(
    paths: Annotated[list[Path], typer.Argument(exists=True, help="Procedure files, or one folder of them.")],
    data_dir: DataDir = None,
) -> None:
    """Publish procedures with the drawings beside them: all of them, or none."""
    from app.cli.importing import procedures

    procedures(paths, data_dir)


@import_app.command("parts")
def import_parts(
    parts: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="CSV file of parts.")],
    suppliers: Annotated[Path | None, typer.Option(exists=True, dir_okay=False, help="CSV file of suppliers.")] = None,
    locations: Annotated[Path | None, typer.Option(exists=True, dir_okay=False, help="CSV file of locations.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Check only; store nothing.")] = False,
    data_dir: DataDir = None,
) -> None:
    """Import a catalogue from CSV files: all of it, or nothing, with errors by row."""
    from app.cli.importing import parts as run

    run(parts, suppliers, locations, dry_run, data_dir)


@app.command()
def backup(
    path: Annotated[Path, typer.Argument(help="File to write.")],
    media: Annotated[bool, typer.Option("--media", help="Copy pictures and recordings too, into PATH.media.")] = False,
    data_dir: DataDir = None,
) -> None:
    """Write a verified copy of the database while the server goes on."""
    from app.cli.upkeep import backup as run

    run(path, media, data_dir)


@app.command()
def restore(
    path: Annotated[Path, typer.Argument(help="File that backup wrote.")],
    replace: Annotated[bool, typer.Option("--replace", help="Put it in place of the database that is there.")] = False,
    media: Annotated[bool, typer.Option("--media", help="Copy from PATH.media what the media folder lacks.")] = False,
    data_dir: DataDir = None,
) -> None:
    """Put a copy in place of the database, with the server stopped; the old file is kept beside it."""
    from app.cli.upkeep import restore as run

    run(path, replace, media, data_dir)


@app.command()
def retime(data_dir: DataDir = None) -> None:
    """Work the step times of closed jobs out anew from their entries."""
    from app.cli.upkeep import retime as run

    run(data_dir)


@app.command()
def settings() -> None:
    """Print every setting with its value and what it is for."""
    from app.cli.describing import settings as run

    run()


@app.command()
def schema() -> None:
    """Print the JSON Schema of a procedure file."""
    from app.cli.describing import schema as run

    run()


@app.command("bench-tick")
def bench_tick(
    connections: Annotated[int, typer.Option(min=1, max=256, help="Connections at the same time.")] = 16,
    jobs: Annotated[int, typer.Option(min=1, max=100, help="Jobs a connection and run; each has some 20 ticks.")] = 3,
    rounds: Annotated[int, typer.Option(min=1, max=20, help="Runs of each kind, in turn.")] = 3,
    postgres: Annotated[
        str, typer.Option(help="postgresql://… of an empty database; by default a passing server where there is one.")
    ] = "",
) -> None:
    """Measure ticks beside bare one-row durable INSERTs through the same stack, and print the ratio."""
    from app.cli.benchmark import run

    run(connections, jobs, rounds, postgres)


@app.command()
def reorder(data_dir: DataDir = None) -> None:
    """Compute what to order of every part anew, with the classes by annual value; for a timer every morning."""
    from app.cli.reordering import recompute as run

    run(data_dir)


@app.command()
def simulate(
    demand: Annotated[
        Path | None,
        typer.Option(
            exists=True, dir_okay=False, help="CSV file: part, day, quantity. Without it, an invented storeroom."
        ),
    ] = None,
    parts: Annotated[int, typer.Option(min=1, max=5000, help="Parts of the invented storeroom.")] = 200,
    years: Annotated[int, typer.Option(min=1, max=50, help="Years counted, after three of history.")] = 10,
    seed: Annotated[int, typer.Option(help="The same seed makes the same years.")] = 7,
    lead_days: Annotated[int, typer.Option(min=1, max=365, help="Lead time of the parts of a file.")] = 14,
    price: Annotated[float, typer.Option(min=0.01, help="Price of the parts of a file.")] = 10.0,
    target: Annotated[float, typer.Option(min=0.5, max=0.9999, help="Cycle service level of a file's parts.")] = 0.95,
    owed: Annotated[float, typer.Option(min=0, help="Cost of a piece owed, a day.")] = 5.0,
) -> None:
    """Replay years of demand under the reorder policy and under two plain ones: service, costs, exact optimum."""
    from app.cli.reordering import replay as run

    run(demand, parts, years, seed, lead_days, price, target, owed)
