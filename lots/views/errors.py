"""Pages for what went wrong, in words that say what to do."""

import secrets
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "400.html", status=400)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "403.html", {"why": str(exception or "")}, status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "404.html", status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    number = getattr(request, "error_number", None) or secrets.token_hex(4)
    return render(request, "500.html", {"error_number": number}, status=500)


def csrf_failure(request: HttpRequest, reason: str = "", **_: Any) -> HttpResponse:
    return render(request, "403_csrf.html", status=403)
