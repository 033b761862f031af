"""A procedure as a task topic of DITA 1.3 (OASIS), strict task with the hazard statement domain.

One topic a procedure: what is needed first under ``prereq``, what it is about under ``context``, the teardown and
after it the refit as ``steps``, each part behind a ``stepsection`` of its name, and the release tests under
``postreq``. Hazards stand before the command of their step.
"""

import io
import zipfile
from collections.abc import Iterable, Mapping
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from app.rules.sheet import Fixing, Hazard, Inspection, NewPart, ReleaseTest, Sheet, Step, Tool

MEDIA_TYPE = "application/dita+xml"
_DOCTYPE = '<!DOCTYPE task PUBLIC "-//OASIS//DTD DITA Task//EN" "task.dtd">\n'
_MAP_DOCTYPE = '<!DOCTYPE map PUBLIC "-//OASIS//DTD DITA Map//EN" "map.dtd">\n'
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
MAKER = "The maker's current service documentation, local codes and licensed practice come first."


def write_topic(sheet: Sheet) -> str:
    """Return the procedure as the text of a ``.dita`` file; pictures are referred to beside it."""
    task = Element("task", {"id": f"{sheet.code}-revision-{sheet.revision}", "xml:lang": "en"})
    SubElement(task, "title").text = sheet.title
    SubElement(task, "shortdesc").text = f"{sheet.device_model.name}, {sheet.device_model.kind}"
    _prolog(task, sheet)
    body = SubElement(task, "taskbody")
    _prereq(body, sheet)
    context = SubElement(body, "context")
    _p(context, sheet.summary)
    _picture(context, sheet.picture, sheet.title)
    steps = SubElement(body, "steps")
    tools = {tool.id: tool for tool in sheet.tools}
    units = {unit.id: unit.name for unit in sheet.units}
    SubElement(steps, "stepsection").text = "Teardown"
    for step in sheet.steps:
        _step(steps, sheet, step, tools, units)
    back = [step for step in reversed(sheet.steps) if step.refit is not None]
    for number, step in enumerate(back):
        if number == 0:
            SubElement(steps, "stepsection").text = "Refit"
        _refit(steps, step, tools)
    if sheet.release_tests:
        _tests(SubElement(body, "postreq"), sheet.release_tests)
    return _XML + _DOCTYPE + _text(task)


def _text(root: Element) -> str:
    indent(root)
    return tostring(root, encoding="unicode") + "\n"


def _p(parent: Element, text: str) -> None:
    for part in text.split("\n\n"):
        if part.strip():
            SubElement(parent, "p").text = " ".join(part.split())


def _prolog(task: Element, sheet: Sheet) -> None:
    prolog = SubElement(task, "prolog")
    SubElement(prolog, "author").text = sheet.written_by
    SubElement(prolog, "resourceid", {"id": f"{sheet.code}/{sheet.revision}"})


def _prereq(body: Element, sheet: Sheet) -> None:
    prereq = SubElement(body, "prereq")
    _p(prereq, MAKER)
    for hazard in sheet.cautions:
        _hazard(prereq, hazard)
    if sheet.tools:
        _p(prereq, "Tools:")
        _list(prereq, [_tool(tool) for tool in sheet.tools])
    _p(prereq, "Units this procedure reaches:")
    _list(prereq, [f"{unit.name}, part {unit.part}" for unit in sheet.units])


def _list(parent: Element, items: Iterable[str]) -> None:
    listed = SubElement(parent, "ul")
    for item in items:
        SubElement(listed, "li").text = item


def _hazard(parent: Element, hazard: Hazard) -> None:
    statement = SubElement(parent, "hazardstatement", {"type": hazard.signal.value.lower()})
    panel = SubElement(statement, "messagepanel")
    SubElement(panel, "typeofhazard").text = hazard.hazard
    SubElement(panel, "consequence").text = hazard.consequence
    SubElement(panel, "howtoavoid").text = hazard.avoidance


def _picture(parent: Element, picture: str | None, words: str) -> None:
    if picture:
        SubElement(SubElement(SubElement(parent, "fig"), "image", {"href": picture}), "alt").text = words


def _tool(tool: Tool) -> str:
    return f"{tool.name} {tool.size}" if tool.size else tool.name


def _step(steps: Element, sheet: Sheet, step: Step, tools: Mapping[str, Tool], units: Mapping[str, str]) -> None:
    made = SubElement(steps, "step", {"id": f"down-{step.id}"})
    for hazard in step.hazards:
        _hazard(made, hazard)
    SubElement(made, "cmd").text = step.title
    info = SubElement(made, "info")
    _p(info, step.do)
    if step.tools:
        _p(info, f"Tools: {', '.join(_tool(tools[t]) for t in step.tools if t in tools)}.")
    if step.after:
        titles = {other.id: other.title for other in sheet.steps}
        _p(info, f"Needs first: {'; '.join(titles.get(b, b) for b in step.after)}.")
    if step.releases:
        _p(info, "Release:")
        _list(info, [_fixing(fixing) for fixing in step.releases])
    _asks(info, step.inspect)
    _picture(info, step.picture, step.title)
    if step.frees:
        SubElement(made, "stepresult").text = f"{units.get(step.frees, step.frees)} is free."


def _fixing(fixing: Fixing) -> str:
    said = f"{fixing.count} × {fixing.name} ({fixing.kind.value}, {fixing.reuse.value})"
    if fixing.part:
        said += f", part {fixing.part}"
    if fixing.torque:
        said += f", torque {fixing.torque.value_ncm.normalize():f} N·cm after {fixing.torque.source}"
    return f"{said}, waste: {fixing.waste.value}"


def _new(part: NewPart) -> str:
    return f"{part.count} × {part.name}, part {part.part}"


def _asks(info: Element, asked: Iterable[Inspection]) -> None:
    for one in asked:
        limits = _limits(one)
        added = f" Adds {', '.join(_new(part) for part in one.on_reject.add)}." if one.on_reject.add else ""
        hold = " The job goes to a safety hold." if one.on_reject.hold else ""
        _p(info, f"Inspect: {one.ask}{f' Accept {limits}.' if limits else ''} If not: {one.on_reject.say}{added}{hold}")


def _limits(asked: Inspection | ReleaseTest) -> str:
    said = [f"at least {asked.low}"] if asked.low is not None else []
    said += [f"at most {asked.high}"] if asked.high is not None else []
    return f"{' and '.join(said)} {asked.unit or ''}".strip() if said else ""


def _refit(steps: Element, step: Step, tools: Mapping[str, Tool]) -> None:
    refit = step.refit
    if refit is None:
        return
    made = SubElement(steps, "step", {"id": f"up-{step.id}"})
    for hazard in refit.hazards:
        _hazard(made, hazard)
    SubElement(made, "cmd").text = refit.title
    info = SubElement(made, "info")
    _p(info, refit.do)
    if refit.tools:
        _p(info, f"Tools: {', '.join(_tool(tools[t]) for t in refit.tools if t in tools)}.")
    back = [f"{_fixing(fixing)}; goes back {_back(fixing)}" for fixing in step.releases]
    back += [f"{_new(part)}, new" for part in refit.fits]
    if back:
        _p(info, "Fit:")
        _list(info, back)
    _asks(info, refit.inspect)
    waits = [f"Press {refit.press_s} s."] if refit.press_s else []
    waits += [f"Let it cure {refit.cure_s} s."] if refit.cure_s else []
    waits += ["A cavity closes here: count first."] if refit.closes else []
    if waits:
        _p(info, " ".join(waits))


def _back(fixing: Fixing) -> str:
    return {"single-use": "new", "inspect": "the same if it passes, else new"}.get(fixing.reuse.value, "the same")


def _tests(postreq: Element, tests: Iterable[ReleaseTest]) -> None:
    _p(postreq, "Release tests:")
    for test in tests:
        limits = _limits(test)
        second = " A second person signs." if test.second_person else ""
        _p(postreq, f"{test.title}: {test.do}{f' Accept {limits}.' if limits else ''}{second}")


def write_map(title: str, topics: Iterable[str]) -> str:
    """Return a DITA map that names several topics by their files."""
    root = Element("map", {"xml:lang": "en"})
    SubElement(root, "title").text = title
    for href in topics:
        SubElement(root, "topicref", {"href": href, "type": "task"})
    return _XML + _MAP_DOCTYPE + _text(root)


def bundle(title: str, procedures: Iterable[tuple[Sheet, Mapping[str, bytes]]]) -> bytes:
    """Return a zip of a map, one topic a procedure in a folder of its own, and the pictures beside each."""
    out = io.BytesIO()
    topics = []
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for sheet, pictures in procedures:
            topics.append(f"{sheet.code}/{sheet.code}.dita")
            archive.writestr(topics[-1], write_topic(sheet))
            for name, body in pictures.items():
                archive.writestr(f"{sheet.code}/{name}", body)
        archive.writestr("procedures.ditamap", write_map(title, topics))
    return out.getvalue()
