"""The certificates that ever sealed, so that the book itself knows whose seals are its own."""

from django.db import models

from lots.models.book import Kept


class SealKey(Kept):
    """A sealing key's certificate from when it was made or came from outside; the newest row seals.
    The key itself lies encrypted in the data folder and never in the book."""

    NAMED = ("fingerprint", "certificate", "chain", "made_at", "reason", "source")

    fingerprint = models.CharField(max_length=64, unique=True)  # SHA-256 of the certificate, hex
    certificate = models.TextField()  # PEM
    chain = models.TextField(blank=True)  # PEM of who issued it, and so on upwards
    made_at = models.BigIntegerField()  # ms UTC
    reason = models.CharField(max_length=300)
    source = models.CharField(
        max_length=7, choices=[("own", "the house's own authority"), ("outside", "from outside")]
    )
