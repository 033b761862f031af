"""HTTP of the procedures room."""

from app.procedures.routes import (
    api,
    comparing,
    draft_checking,
    draft_parts,
    draft_steps,
    drafts,
    drafts_api,
    facts,
    from_words,
    importing,
    media,
    reading,
    recordings,
)

# The order counts: “drafts”, “import” and the like stand where the others take a procedure's code.
routers = (
    importing.router,
    from_words.router,
    draft_parts.router,
    drafts.router,
    recordings.router,
    draft_steps.router,
    draft_checking.router,
    comparing.router,
    facts.router,
    reading.router,
    media.router,
    api.router,
    drafts_api.router,
)
