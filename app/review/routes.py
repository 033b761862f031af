"""HTTP of the review room."""

from fastapi import APIRouter

router = APIRouter()
routers = (router,)
