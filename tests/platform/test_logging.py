"""The log says what went wrong, and none of what was entrusted."""

import io
import json

import structlog

from app.platform.logging import set_up_logging


def test_a_traceback_in_the_log_has_no_local_variables() -> None:
    """They are headers with tokens and forms with passphrases."""
    out = io.StringIO()
    before = structlog.get_config()
    set_up_logging("info", out)
    try:
        passphrase = "nine grey herons"
        try:
            raise RuntimeError("broken")
        except RuntimeError as error:
            structlog.get_logger().error("unexpected error", exc_info=error)
    finally:
        structlog.configure(**before)
    entry = json.loads(out.getvalue().splitlines()[-1])
    assert entry["exception"][0]["exc_value"] == "broken"
    assert passphrase not in out.getvalue()
