"""Contexts of the procedures room's pages."""

from app.procedures.pages.reading import ImportPage, ListPage, ProcedurePage, list_page, procedure_page

__all__ = ["ImportPage", "ListPage", "ProcedurePage", "list_page", "procedure_page"]
