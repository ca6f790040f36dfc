"""What makes the opening page a tablet's own: its service worker, its manifest, the page without network."""

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from lots.queries.house import establishment
from lots.views.base import open_door

STATIC: Final = Path(settings.BASE_DIR) / "static"
KEPT: Final = ("css/smokehouse.css",)
SCRIPTS: Final = "js/beside"
NOT_KEPT: Final = "waiting.js"  # of the other pages, which need the server


@lru_cache
def kept_files() -> tuple[str, ...]:
    """The static files that the opening page is made of."""
    scripts = [
        str(file.relative_to(STATIC))
        for file in (STATIC / SCRIPTS).glob("*.js")
        if file.name != NOT_KEPT
    ]
    return (*KEPT, *sorted(scripts))


@lru_cache
def _worker() -> str:
    """The worker's source, with the files that it keeps and a name made of their content: it changes
    with any of them, and the tablet then fetches them anew."""
    source = (STATIC / "js" / "sw.js").read_text()
    digest = hashlib.sha256(source.encode())
    for name in kept_files():
        digest.update((STATIC / name).read_bytes())
    away = render_to_string("shift/offline.html")
    digest.update(away.encode())
    files = ", ".join(json.dumps(static(name)) for name in kept_files())
    whole = source.replace("/*version*/", digest.hexdigest()[:12]).replace("/*files*/", files)
    return whole.replace("/*away*/ ''", json.dumps(away))


@open_door
@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    return HttpResponse(_worker(), content_type="text/javascript; charset=utf-8")


@open_door
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """By it a tablet puts the opening page on its home screen."""
    house = establishment()
    name = f"{house} logbook" if house else "Smokehouse logbook"
    icons = [
        {"src": static(f"icons/{kind}-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png",
         "purpose": purpose}
        for kind, purpose in (("icon", "any"), ("maskable", "maskable"))
        for size in (192, 512)
    ]  # fmt: skip
    said = {
        "name": name, "short_name": "Logbook", "start_url": "/", "id": "/", "scope": "/",
        "display": "standalone", "background_color": "#dfe6dc", "theme_color": "#dfe6dc",
        "icons": icons,
    }  # fmt: skip
    return JsonResponse(said, content_type="application/manifest+json")
