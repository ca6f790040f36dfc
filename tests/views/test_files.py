"""Photos and papers kept with an entry: what is taken, and how it is given out again."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries.files import LARGEST_ATTACHMENT
from lots.models.house import KeptFile
from tests.make import Book
from tests.views.pages import as_person, beside, lines

JPEG = b"\xff\xd8\xff\xe0" + b"0" * 64
PNG = b"\x89PNG\r\n\x1a\n" + b"0" * 64
WEBP = b"RIFF\x00\x00\x00\x00WEBP" + b"0" * 64
PDF = b"%PDF-1.7\n" + b"0" * 64


def attach(book: Book, olga: Client, data: bytes, name: str, kind: str) -> HttpResponse:
    url = reverse("reading_place", args=[book.place("Cooler").pk])
    file = SimpleUploadedFile(name, data, kind)
    return olga.post(url, {"read_": "37", "unit": "F", "attachment": file})


@pytest.mark.parametrize(
    ("data", "kind", "how"),
    [
        (JPEG, "image/jpeg", "inline"),
        (PNG, "image/png", "inline"),
        (WEBP, "image/webp", "inline"),
        (PDF, "application/pdf", "attachment"),
    ],
)
def test_a_photo_or_pdf_is_kept_and_given_out_as_what_it_is(
    book: Book, olga: Client, data: bytes, kind: str, how: str
) -> None:
    assert attach(book, olga, data, "paper.bin", "text/html").status_code == 302
    kept = KeptFile.objects.get()
    answer = as_person(book.inspector).get(reverse("kept_file", args=[kept.pk]))
    assert answer.content == data
    assert answer["Content-Type"] == kind
    assert answer["Content-Disposition"] == f'{how}; filename="paper.bin"'
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"<!DOCTYPE html><script>alert(1)</script>", "fish.jpg"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "fish.svg"),
        (b"MZ\x90\x00\x03", "label.pdf"),
        (b" %PDF-1.7", "label.pdf"),
        (b"GIF89a", "fish.gif"),
        (b"PK\x03\x04", "fish.docx"),
    ],
)
def test_anything_else_is_refused_beside_its_field(
    book: Book, olga: Client, data: bytes, name: str
) -> None:
    before = lines()
    answer = attach(book, olga, data, name, "image/jpeg")
    assert "Attach a photo (JPEG, PNG or WebP) or a PDF" in beside(answer, "attachment")
    assert answer.context["form"]["read_"].value() == "37"
    assert lines() == before


def test_an_empty_file_is_refused(book: Book, olga: Client) -> None:
    before = lines()
    assert "empty" in beside(attach(book, olga, b"", "fish.jpg", "image/jpeg"), "attachment")
    assert lines() == before


def test_a_file_over_the_size_is_refused(book: Book, olga: Client) -> None:
    before = lines()
    answer = attach(book, olga, JPEG + b"0" * LARGEST_ATTACHMENT, "fish.jpg", "image/jpeg")
    assert "over 20 MB" in beside(answer, "attachment")
    assert lines() == before


def test_a_photo_that_is_also_a_page_is_given_out_as_a_photo_in_a_sandbox(
    book: Book, olga: Client
) -> None:
    attach(book, olga, JPEG + b"<html><script>alert(1)</script>", "x.html", "text/html")
    answer = olga.get(reverse("kept_file", args=[KeptFile.objects.get().pk]))
    assert answer["Content-Type"] == "image/jpeg"
    assert "sandbox" in answer["Content-Security-Policy"]


def test_a_name_cannot_break_the_header(book: Book, olga: Client) -> None:
    attach(book, olga, JPEG, 'a"; filename="b.html\r\nX: y.jpg', "image/jpeg")
    answer = olga.get(reverse("kept_file", args=[KeptFile.objects.get().pk]))
    assert answer["Content-Disposition"].count('"') == 2
    assert "X" not in answer.headers


@pytest.mark.parametrize("name", ["рыба.jpg", "ψάρι.jpg", "🐟.jpg", "a" * 300 + ".jpg"])
def test_any_name_is_kept(book: Book, olga: Client, name: str) -> None:
    assert attach(book, olga, JPEG, name, "image/jpeg").status_code == 302
    kept = KeptFile.objects.get()
    assert kept.name.endswith(".jpg")
    assert olga.get(reverse("kept_file", args=[kept.pk])).status_code == 200


def test_nobody_without_a_log_in_sees_a_file(book: Book, olga: Client) -> None:
    attach(book, olga, JPEG, "fish.jpg", "image/jpeg")
    answer = Client().get(reverse("kept_file", args=[KeptFile.objects.get().pk]))
    assert answer.status_code == 302
    assert reverse("log_in") in answer["Location"]
