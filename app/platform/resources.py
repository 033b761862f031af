"""Where templates, static files, migrations and seed data are: packaged with the wheel, or in the checkout."""

from pathlib import Path

_PACKAGED = Path(__file__).resolve().parent.parent / "_bundled"
_CHECKOUT = Path(__file__).resolve().parent.parent.parent


def resource(name: str) -> Path:
    """Return the folder of that name: ``templates``, ``static``, ``migrations`` or ``seed_data``."""
    packaged = _PACKAGED / name
    return packaged if packaged.is_dir() else _CHECKOUT / name
