"""HTTP of the people room."""

from fastapi import APIRouter

router = APIRouter()
routers = (router,)
