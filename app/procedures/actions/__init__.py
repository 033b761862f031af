"""Writes of the procedures room. None of them commits."""

from app.procedures.actions.drafts import create_draft
from app.procedures.actions.publishing import Imported, import_sheets, publish_sheet, set_faults
from app.procedures.files import SheetFile

__all__ = ["Imported", "SheetFile", "create_draft", "import_sheets", "publish_sheet", "set_faults"]
