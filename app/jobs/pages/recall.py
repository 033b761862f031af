"""Recall: from a lot to every job and device it went into, and back."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session

from app.jobs.queries import recall
from app.jobs.queries.recall import LotInJob
from app.platform.errors import NotFound, Refused
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.rules.scan_codes import ScanKind, parse
from app.rules.stores.gs1 import read_label
from app.stores import queries as stores
from app.stores.pages.common import Source, source_of
from app.stores.queries import FoundLot, LotAccount


@dataclass(frozen=True)
class RecallPage:
    """The search and what it found.

    ``lots`` are lots to choose from, ``jobs`` are rows of a job or device that was asked for, ``account`` and
    ``went`` are the one lot that is looked at. ``models`` are device models by id.
    """

    form: Form[Any]
    act: Form[Any]
    asked: str
    lots: tuple[FoundLot, ...]
    jobs: tuple[LotInJob, ...]
    account: LotAccount | None
    went: tuple[LotInJob, ...]
    models: dict[int, str]
    stores: bool
    today: date
    qr: str = ""

    @property
    def came_from(self) -> tuple[Source, ...]:
        """Where the lot came from, in words with their pages."""
        return tuple(source_of(ref) for ref in self.account.received_from) if self.account else ()

    @property
    def fitted(self) -> int:
        """Pieces of the lot that are in devices."""
        return sum(row.fitted for row in self.went)

    @property
    def spoiled(self) -> int:
        """Pieces of the lot that were spoilt in fitting."""
        return sum(row.spoiled for row in self.went)

    @property
    def in_kits(self) -> int:
        """Pieces of the lot that lie in kits."""
        return sum(row.in_kit for row in self.went)

    @property
    def devices(self) -> int:
        """Devices that a piece of the lot is in."""
        return len({(row.device_model_id, row.device) for row in self.went if row.fitted})


def recall_page(
    session: Session, asked: str, lot_id: int | None, role: str, today: date, act: Form[Any], qr: str = ""
) -> RecallPage:
    """Gather the page for a search text, or for one lot. Raises NotFound for an unknown lot."""
    lots: tuple[FoundLot, ...] = ()
    jobs: tuple[LotInJob, ...] = ()
    wrong = ""
    if asked and lot_id is None:
        try:
            lots = _lots(session, asked, today)
        except Refused as refusal:
            wrong = refusal.reason
        numbers = recall.jobs_called(session, asked)
        jobs = recall.lots_of_jobs(session, numbers)
        if len(lots) == 1 and not jobs:
            lot_id, lots = lots[0].lot_id, ()
        if jobs or lots:
            wrong = ""
    account = None
    went: tuple[LotInJob, ...] = ()
    if lot_id is not None:
        account = stores.lot_account(session, lot_id)
        if account is None:
            raise NotFound(f"lot {lot_id}")
        went = recall.jobs_of_lot(session, lot_id)
    form: Form[Any] = Form(values={"q": asked}, errors={"q": wrong} if wrong else {})
    return RecallPage(
        form=form,
        act=act,
        asked=asked,
        lots=lots,
        jobs=jobs,
        account=account,
        went=went,
        models={model.id: model.name for model in procedures.device_models(session)},
        stores=role in ("stores", "supervisor"),
        today=today,
        qr=qr,
    )


def _lots(session: Session, asked: str, today: date) -> tuple[FoundLot, ...]:
    """Find lots by our own label, by a GS1 label, or by what was typed. Raises Refused for a label read wrongly."""
    if asked[:3].upper() == "CBL":
        code = parse(asked, "q")
        if code.kind is ScanKind.LOT:
            return stores.search_lots(session, code.lot, part_number=code.part)
    if asked.startswith(("(01)", "]")) or (asked[:2] == "01" and len(asked) > 16 and asked[:16].isdigit()):
        label = read_label(asked, today, "q")
        number = stores.part_by_gtin(session, label.gtin)
        return stores.search_lots(session, label.lot or "", part_number=number) if number else ()
    return stores.search_lots(session, asked)
