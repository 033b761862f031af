"""HTTP of the jobs room, a file for each part of the work."""

from app.jobs.routes import api, bench, bench_api, booking, closing, kit, planning, trouble

routers = (
    booking.router,
    planning.router,
    kit.router,
    bench.router,
    trouble.router,
    closing.router,
    api.router,
    bench_api.router,
)
