"""Labels of a job: one for the device, one for each tray pocket."""

from sqlmodel import Session

from app.jobs.queries import jobs as queries
from app.jobs.queries.bench import items_for, pocket_numbers
from app.platform.labels import Label
from app.procedures import queries as procedures
from app.rules import bench
from app.rules.scan_codes import job_code, tray_code


def job_labels(session: Session, number: str) -> tuple[Label, ...]:
    """Return the job's label and, once it has a plan, those of its tray pockets. Raises NotFound."""
    job = queries.find_job(session, number)
    model = procedures.device_model(session, job.device_model_id)
    found = [Label(job_code(job.number), job.number, (model.name, job.serial, job.owner_ref))]
    sheet = procedures.sheet(session, job.revision_id)
    items = items_for(job.revision_id, sheet, job.state)
    steps = bench.step_numbers(sheet, job.state.teardown)
    pockets = pocket_numbers(sheet, job.state.teardown)
    for key, pocket in sorted(pockets.items(), key=lambda each: each[1]):
        item = items[key]
        what = f"{item.baseline} × {item.name}" if item.baseline > 1 else item.name
        lines = (what, f"Step {steps[item.step]}, {job.number}")
        found.append(Label(tray_code(job.number, pocket), f"Pocket {pocket}", lines))
    return tuple(found)
