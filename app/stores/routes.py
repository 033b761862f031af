"""HTTP of the stores room."""

from fastapi import APIRouter

router = APIRouter()
routers = (router,)
