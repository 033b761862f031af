"""Writes of the stores room: the one door to stock. None of them commits."""

from app.stores.actions.blind_count import BlindCount, count_blind, save_count_days
from app.stores.actions.catalogue import PartData, add_part, edit_part, save_location, save_supplier
from app.stores.actions.importing import import_catalogue
from app.stores.actions.importing_tables import MODELS as TABLE_MODELS
from app.stores.actions.importing_tables import import_table, remember_columns
from app.stores.actions.keeping import open_lot, save_keeping
from app.stores.actions.kits import IssuedLot, hand_out, lock, release, reserve, take_back
from app.stores.actions.ordering import (
    OrderLine,
    cancel_order,
    chase_order,
    close_short,
    confirm_order,
    place_order,
    send_order,
)
from app.stores.actions.picking import claim_pick, note_short_pick, put_back_pick
from app.stores.actions.policy import (
    PartPolicyData,
    TermsData,
    override_suggestion,
    save_part_policy,
    save_policy,
    save_prices,
    save_terms,
    withdraw_override,
)
from app.stores.actions.quarantine import quarantine_lot, release_lot, return_to_supplier
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
from app.stores.actions.suggesting import refresh_suggestions, renew_suggestions
from app.stores.actions.upkeep import rebuild_projections
from app.stores.actions.wanting import want
from app.stores.forms import ImportReport, RowError, read_csv
from app.stores.queries import Pick

__all__ = [
    "TABLE_MODELS",
    "BlindCount",
    "Count",
    "ImportReport",
    "IssuedLot",
    "OrderLine",
    "PartData",
    "PartPolicyData",
    "Pick",
    "ReceivedLine",
    "RowError",
    "TermsData",
    "Withdrawn",
    "add_found_lot",
    "add_part",
    "adjust",
    "cancel_order",
    "cancel_stocktake",
    "chase_order",
    "claim_pick",
    "close_short",
    "confirm_order",
    "count_blind",
    "edit_part",
    "hand_out",
    "import_catalogue",
    "import_table",
    "keep_counts",
    "lock",
    "note_short_pick",
    "open_lot",
    "open_stocktake",
    "override_suggestion",
    "place_order",
    "post_stocktake",
    "put_back_pick",
    "quarantine_lot",
    "read_csv",
    "rebuild_projections",
    "receive_goods",
    "receive_loose",
    "refresh_suggestions",
    "release",
    "release_lot",
    "remember_columns",
    "renew_suggestions",
    "reserve",
    "return_to_supplier",
    "save_count_days",
    "save_keeping",
    "save_location",
    "save_part_policy",
    "save_policy",
    "save_prices",
    "save_supplier",
    "save_terms",
    "scrap_stock",
    "send_order",
    "take_back",
    "transfer",
    "want",
    "withdraw_override",
]
