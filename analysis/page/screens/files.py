"""The files of the page: style sheets and scripts, kept by the browser for good."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from analysis.page.parts import parts_of
from config.errors import NotSo

router = APIRouter(include_in_schema=False)

_FOR_GOOD = "public, max-age=31536000, immutable"


@router.get("/static/{digest}/{name}")
def file(request: Request, digest: str, name: str) -> Response:
    """One file, as it was when its address was written into a page."""
    asset = parts_of(request).assets.named(name)
    if digest != asset.digest:
        raise NotSo("that file has changed; load the page again")
    headers = {"cache-control": _FOR_GOOD, "vary": "accept-encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(
            asset.packed,
            media_type=asset.media_type,
            headers={**headers, "content-encoding": "gzip"},
        )
    return Response(asset.plain, media_type=asset.media_type, headers=headers)
