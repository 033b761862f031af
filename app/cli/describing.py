"""Print what can be set and what a procedure file looks like."""

import json

from app.cli.console import load_settings, say
from app.platform.settings import Settings


def settings() -> None:
    """Print every setting: its name, its value now, and its description. A database password is not shown."""
    from sqlalchemy import make_url

    now = load_settings()
    for name, field in Settings.model_fields.items():
        value = getattr(now, name)
        if name == "database_url" and value:
            value = make_url(value).render_as_string(hide_password=True)
        say(f"COUNTBACK_{name.upper()}={value}")
        say(f"    {field.description}")


def schema() -> None:
    """Print the JSON Schema of a procedure, as its YAML file is checked."""
    from app.procedures.document import json_schema

    say(json.dumps(json_schema(), indent=2, ensure_ascii=False))
