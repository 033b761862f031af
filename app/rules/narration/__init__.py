"""Draft a procedure from words: a written or spoken strip-down becomes steps to correct.

Three calls, all pure:

- ``read_source(name, body)`` takes the bytes of a text, WebVTT or SRT file and returns a ``Source``; it raises
  ``Refused`` in plain words when the file is no text, has no words or is larger than 5 MB.
- ``draft_from(source)`` returns a ``Draft``: steps with title, text, verb class, fixings, driver sizes, tools,
  cautions, inspections and the units they free. Each item has ``words``, its exact span in ``source.text`` (with
  times for captions), and where it is uncertain ``sure=False`` and a ``question``.
- ``to_sheet_draft(draft, code=…, title=…)`` returns a ``SheetDraft``: plain data in the shape of a procedure file
  (``app.rules.sheet.Sheet``) as far as known, and the open questions with the path that each belongs to.
"""

from app.rules.narration.captions import read_source
from app.rules.narration.drafting import draft_from
from app.rules.narration.shapes import Draft, Source
from app.rules.narration.sheet_draft import SheetDraft, to_sheet_draft

__all__ = ["Draft", "SheetDraft", "Source", "draft_from", "read_source", "to_sheet_draft"]
