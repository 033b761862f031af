"""HTTP: labels of places and lots to print."""

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.people.access import Stores
from app.platform.errors import NotFound
from app.platform.labels import Label, labels_page
from app.platform.web import Db, page
from app.stores.pages.labels import lot_labels, order_labels, place_labels

router = APIRouter(include_in_schema=False)


def _show(
    request: Request,
    labels: Sequence[Label],
    title: str,
    back: tuple[str, str],
    nothing: str,
    only: Sequence[tuple[str, str]] = (),
) -> Response:
    """Show labels on the paper that the address names."""
    asked = request.query_params
    shown = labels_page(
        labels,
        title=title,
        back=back,
        nothing=nothing,
        size=asked.get("size", ""),
        start=asked.get("start", "1"),
        copies=asked.get("copies", "1"),
        only=only,
    )
    return page(request, "stores/labels.html", shown, status=422 if shown.form.errors else 200)


@router.get("/locations/labels")
def show_place_labels(request: Request, db: Db, _caller: Stores, place: str = "") -> Response:
    """Show the labels of all places, or of the one whose code ``place`` is."""
    with db.read() as session:
        labels = place_labels(session, place)
    if place and not labels:
        raise NotFound(f"place {place}")
    only = (("place", place),) if place else ()
    title = f"Label of place {place}" if place else "Labels of all places"
    return _show(request, labels, title, ("/locations", "Back to the places"), "Add a place first.", only)


@router.get("/parts/{number}/labels")
def show_lot_labels(request: Request, db: Db, _caller: Stores, number: str, lot: str = "") -> Response:
    """Show the labels of a part's lots on hand, or of the one whose code ``lot`` is."""
    with db.read() as session:
        labels = lot_labels(session, number, lot)
    only = (("lot", lot),) if lot else ()
    title = f"Labels of {number}, lot {lot}" if lot else f"Labels of {number}"
    return _show(request, labels, title, (f"/parts/{number}", "Back to the part"), "No lot of it is on hand.", only)


@router.get("/orders/{number}/labels")
def show_order_labels(request: Request, db: Db, _caller: Stores, number: str) -> Response:
    """Show the labels of the lots that were received for an order."""
    with db.read() as session:
        labels = order_labels(session, number)
    return _show(
        request, labels, f"Labels of order {number}", (f"/orders/{number}", "Back to the order"), "Nothing came yet."
    )
