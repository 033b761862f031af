"""The element order of a DITA 1.3 strict task, as far as our topics use it, to hold topics against.

Source: Darwin Information Typing Architecture (DITA) Version 1.3 Part 3, OASIS Standard, 17 December 2015: the content
models of its task module (task.mod, March 2014), strict taskbody constraint (strictTaskbodyConstraint.mod, March 2014)
and hazard statement domain (hazardstatementDomain.mod), read in the standard's own grammar files. Content models are
written as regular expressions over element names; ``#`` in front allows text.
"""

import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element

# What section.notitle.cnt, itemgroup.cnt and listitem.cnt share of what we write: blocks and running text.
_BLOCK = r"(?:p|ul|ol|fig|note|hazardstatement|image)"
MODELS = {
    "task": r"title (?:titlealts )?(?:(?:abstract|shortdesc) )?(?:prolog )?(?:taskbody )?(?:related-links )?",
    "taskbody": r"(?:prereq )?(?:context )?(?:(?:steps|steps-unordered) )?(?:result )?(?:tasktroubleshooting )?"
    r"(?:example )?(?:postreq )?",
    "prolog": r"(?:author )*(?:source )?(?:publisher )?(?:copyright )*(?:critdates )?(?:permissions )?(?:metadata )*"
    r"(?:resourceid )*",
    "prereq": rf"#(?:{_BLOCK} )*",
    "context": rf"#(?:{_BLOCK} )*",
    "postreq": rf"#(?:{_BLOCK} )*",
    "steps": r"(?:data )*(?:(?:stepsection )?step )+",
    "stepsection": rf"#(?:{_BLOCK} )*",
    "step": r"(?:(?:note|hazardstatement) )*cmd "
    r"(?:(?:choices|choicetable|info|itemgroup|stepxmp|substeps|tutorialinfo) )*"
    r"(?:stepresult )?(?:steptroubleshooting )?",
    "cmd": r"#",
    "info": rf"#(?:{_BLOCK} )*",
    "stepresult": rf"#(?:{_BLOCK} )*",
    "hazardstatement": r"(?:messagepanel )+(?:hazardsymbol )*",
    "messagepanel": r"(?:data )*typeofhazard (?:consequence )*(?:howtoavoid )+",
    "typeofhazard": r"#",
    "consequence": r"#",
    "howtoavoid": r"#",
    "ul": r"(?:li )+",
    "li": rf"#(?:{_BLOCK} )*",
    "fig": rf"(?:title )?(?:{_BLOCK} )*",
    "image": r"(?:alt )?",
    "p": r"#",
    "title": r"#",
    "shortdesc": r"#",
    "author": r"#",
    "resourceid": r"",
    "alt": r"#",
    "map": r"(?:title )?(?:topicref )*",
    "topicref": r"",
}
ATTRIBUTES = {
    "task": {"id", "{http://www.w3.org/XML/1998/namespace}lang"},
    "step": {"id"},
    "hazardstatement": {"type"},
    "image": {"href"},
    "resourceid": {"id"},
    "map": {"{http://www.w3.org/XML/1998/namespace}lang"},
    "topicref": {"href", "type"},
}
HAZARD_TYPES = {"danger", "warning", "caution", "notice"}
_ID = re.compile(r"[A-Za-z_][\w.-]*")


def faults(root: Element) -> Iterator[str]:
    """Yield what is against the content models, ids that are no XML names or repeated, unknown attributes."""
    seen: set[str] = set()
    for element in root.iter():
        model = MODELS.get(element.tag)
        if model is None:
            yield f"{element.tag} is no element of a strict task that we know"
            continue
        children = "".join(f"{child.tag} " for child in element)
        if not re.fullmatch(model.removeprefix("#"), children):
            yield f"{element.tag} holds {children or 'nothing'}"
        said = (element.text or "").strip() + "".join((child.tail or "").strip() for child in element)
        if said and not model.startswith("#"):
            yield f"{element.tag} may not hold text: {said[:40]}"
        unknown = set(element.attrib) - ATTRIBUTES.get(element.tag, set())
        if unknown:
            yield f"{element.tag} has {sorted(unknown)}"
        if element.tag == "hazardstatement" and element.get("type") not in HAZARD_TYPES:
            yield f"hazardstatement of type {element.get('type')}"
        name = element.get("id") if element.tag != "resourceid" else None
        if name is not None and (not _ID.fullmatch(name) or name in seen):
            yield f"the id {name} of {element.tag} is no name or stands twice"
        seen.add(name or "")
