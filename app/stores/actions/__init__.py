"""Writes of the stores room: the one door to stock. None of them commits."""

from app.stores.actions.alternates import approve_alternate, propose_alternate, stand_in, withdraw_alternate
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
from app.stores.actions.quarantine import quarantine_lot, release_lot
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
from app.stores.actions.supplier_returns import GoodsBack, close_return, return_goods
from app.stores.actions.units import (
    CameOut,
    end_core,
    give_unit_up,
    move_unit,
    save_unit_terms,
    send_core,
    send_unit_to_repair,
    take_in_units,
    unit_repaired,
)
from app.stores.actions.upkeep import rebuild_projections
from app.stores.actions.wanting import want
from app.stores.forms import ImportReport, RowError, read_csv
from app.stores.queries import Pick

__all__ = [
    "TABLE_MODELS",
    "BlindCount",
    "CameOut",
    "Count",
    "GoodsBack",
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
    "approve_alternate",
    "cancel_order",
    "cancel_stocktake",
    "chase_order",
    "claim_pick",
    "close_return",
    "close_short",
    "confirm_order",
    "count_blind",
    "edit_part",
    "end_core",
    "give_unit_up",
    "hand_out",
    "import_catalogue",
    "import_table",
    "keep_counts",
    "lock",
    "move_unit",
    "note_short_pick",
    "open_lot",
    "open_stocktake",
    "override_suggestion",
    "place_order",
    "post_stocktake",
    "propose_alternate",
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
    "return_goods",
    "save_count_days",
    "save_keeping",
    "save_location",
    "save_part_policy",
    "save_policy",
    "save_prices",
    "save_supplier",
    "save_terms",
    "save_unit_terms",
    "scrap_stock",
    "send_core",
    "send_order",
    "send_unit_to_repair",
    "stand_in",
    "take_back",
    "take_in_units",
    "transfer",
    "unit_repaired",
    "want",
    "withdraw_alternate",
    "withdraw_override",
]
