"""HTTP of the procedures room."""

from fastapi import APIRouter

router = APIRouter()
routers = (router,)
