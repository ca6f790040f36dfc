"""How a tablet comes to trust the house's server, so that it may keep entries without network."""

from pathlib import Path

import segno
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from lots.lan import ca_der, lan_cert, lan_folder
from lots.views.base import open_door


def _folder() -> Path:
    return lan_folder(Path(settings.KEYS_DIR))


@open_door
@require_safe
def tablet_help(request: HttpRequest) -> HttpResponse:
    """Step by step; open to whoever has no log-in or no trust yet."""
    address = request.build_absolute_uri("/tablet/")
    context = {
        "secure": request.is_secure(),
        "standing": lan_cert(_folder()),
        "address": address,
        "qr": _qr(address),
        "shift": request.build_absolute_uri("/"),
    }
    return render(request, "help/tablet.html", context)


def _qr(text: str) -> SafeString:
    """Drawn without any style of its own, as the site's policy wants it."""
    drawn = segno.make(text, error="m").svg_inline(
        svgclass="qr", lineclass=None, omitsize=True, border=4, light="#fff"
    )
    return mark_safe(drawn)


@open_door
@require_safe
def tablet_ca(request: HttpRequest) -> HttpResponse:
    """The authority's certificate, for the device to install; public by its nature."""
    if lan_cert(_folder()) is None:
        raise Http404
    response = HttpResponse(ca_der(_folder()), content_type="application/x-x509-ca-cert")
    response["Content-Disposition"] = 'attachment; filename="smokehouse-ca.crt"'
    return response
