"""Writes of the stores room: the one door to stock. None of them commits."""

from app.stores.actions.catalogue import PartData, add_part, edit_part, save_location, save_supplier
from app.stores.actions.importing import import_catalogue
from app.stores.actions.kits import IssuedLot, hand_out, lock, release, reserve, take_back
from app.stores.actions.ordering import OrderLine, cancel_order, close_short, place_order
from app.stores.actions.receiving import ReceivedLine, receive_goods, receive_loose
from app.stores.actions.shelf import Withdrawn, adjust, scrap_stock, transfer
from app.stores.actions.stocktaking import (
    Count,
    add_found_lot,
    cancel_stocktake,
    keep_counts,
    open_stocktake,
    post_stocktake,
)
from app.stores.actions.upkeep import rebuild_projections
from app.stores.forms import ImportReport, RowError, read_csv
from app.stores.queries import Pick

__all__ = [
    "Count",
    "ImportReport",
    "IssuedLot",
    "OrderLine",
    "PartData",
    "Pick",
    "ReceivedLine",
    "RowError",
    "Withdrawn",
    "add_found_lot",
    "add_part",
    "adjust",
    "cancel_order",
    "cancel_stocktake",
    "close_short",
    "edit_part",
    "hand_out",
    "import_catalogue",
    "keep_counts",
    "lock",
    "open_stocktake",
    "place_order",
    "post_stocktake",
    "read_csv",
    "rebuild_projections",
    "receive_goods",
    "receive_loose",
    "release",
    "reserve",
    "save_location",
    "save_supplier",
    "scrap_stock",
    "take_back",
    "transfer",
]
