"""HTTP: api."""

from fastapi import APIRouter

router = APIRouter()
