"""Light views of the tables that the review reads.

A room's models are private to it, and a review of everything would otherwise need a query in every room for each
of its columns. So the review names the tables and columns it reads here, once, as SQLAlchemy Core constructs
without metadata. A test compares names and types with the models, so that a changed column cannot go unseen.
"""

from sqlalchemy import Boolean, Date, Integer, String, column, table
from sqlmodel.sql.sqltypes import UTCDateTime

from app.platform.types import Json, Money4

_moment = UTCDateTime()

job = table(
    "job",
    column("id", Integer),
    column("number", String),
    column("device_model_id", Integer),
    column("revision_id", Integer),
    column("serial", String),
    column("fault", String),
    column("condition", String),
    column("in_box", String),
    column("owner_ref", String),
    column("coverage", String),
    column("data_wish", String),
    column("booked_at", _moment),
    column("booked_by", Integer),
    column("stage", String),
    column("hold", String),
    column("hold_reason", String),
    column("bench", Json),
    column("technician_id", Integer),
    column("promised_on", Date),
    column("quoted", Money4),
    column("parts_cost", Money4),
    column("labour_cost", Money4),
    column("bench_s", Integer),
    column("median_s", Integer),
    column("p80_s", Integer),
    column("closed_at", _moment),
    column("closed_by", Integer),
    column("overridden", Boolean),
    column("seal", String),
    column("last_sequence", Integer),
    column("chain", String),
)

bench_event = table(
    "bench_event",
    column("id", Integer),
    column("event_id", String),
    column("job_id", Integer),
    column("sequence", Integer),
    column("kind", String),
    column("pass_no", Integer),
    column("step", String),
    column("person_id", Integer),
    column("at", _moment),
    column("data", Json),
    column("undoes", String),
    column("chain", String),
)

kit_line = table(
    "kit_line",
    column("job_id", Integer),
    column("part_number", String),
    column("planned", Integer),
    column("added", Integer),
    column("issued", Integer),
    column("returned", Integer),
)

kit_lot = table(
    "kit_lot",
    column("id", Integer),
    column("job_id", Integer),
    column("part_number", String),
    column("lot_id", Integer),
    column("lot_code", String),
    column("unit_cost", Money4),
    column("issued", Integer),
    column("fitted", Integer),
    column("spoiled", Integer),
    column("returned", Integer),
)

part_use = table(
    "part_use",
    column("id", Integer),
    column("job_id", Integer),
    column("event_id", String),
    column("step", String),
    column("item", String),
    column("part_number", String),
    column("lot_id", Integer),
    column("quantity", Integer),
    column("serial", String),
    column("struck", Boolean),
)

discard = table(
    "discard",
    column("id", Integer),
    column("job_id", Integer),
    column("event_id", String),
    column("item", String),
    column("name", String),
    column("quantity", Integer),
    column("reason", String),
    column("waste_stream", String),
    column("struck", Boolean),
)

photo = table(
    "photo",
    column("id", Integer),
    column("job_id", Integer),
    column("event_id", String),
    column("caption", String),
    column("width", Integer),
    column("height", Integer),
    column("taken_at", _moment),
    column("person_id", Integer),
)

part = table(
    "part", column("id", Integer), column("number", String), column("name", String), column("unit", String),
    column("waste_stream", String),
)  # fmt: skip
old_unit = table("old_unit", column("part_id", Integer), column("source_ref", String))
lot = table("lot", column("id", Integer), column("code", String))
device_model = table("device_model", column("id", Integer), column("name", String), column("kind", String))

LIGHT_TABLES = (job, bench_event, kit_line, kit_lot, part_use, discard, photo, part, lot, device_model, old_unit)
