"""Asks a time stamping authority for a time stamp over a seal's signature, within a time limit.

What goes out is a digest of the signature and nothing of the record.  What comes back is checked before
it is kept; without an answer that holds, the seal is made without a time stamp, and it is said why."""

import hashlib
from collections.abc import Sequence
from typing import Any, Final
from urllib.parse import urlsplit

from cryptography import x509

from lots.pdf.awaited import outcome
from lots.pdf.stamp import BadStamp, StampFound, checked_stamp, slim

WITHIN_S: Final = 10
LONGEST: Final = 64 * 1024
"""Bytes of an answer: several times what authorities send with their whole chain (common practice)."""


class Stamping:
    """One asking: a stamper for `seal`, and afterwards what became of it."""

    def __init__(self, url: str, trusted: Sequence[bytes], within_s: float = WITHIN_S) -> None:
        """`trusted`: PEM certificates; where any is named, a stamp by another is not taken.

        Raises:
            ValueError: one of them is no certificate.
        """
        for one in trusted:
            x509.load_pem_x509_certificate(one)  # ValueError: it is none
        self.url, self.trusted, self.within_s = url, trusted, within_s
        self.found: StampFound | None = None
        self.trouble = ""  # why there is none, in words that follow "no time stamp: "

    @property
    def said(self) -> str:
        """What became of it: whose stamp, of when (UTC), or why there is none."""
        if self.found is None:
            return f"no time stamp: {self.trouble}"
        whose = self.found.signer + ("" if self.found.trusted else ", not known here")
        return f"time stamp of {self.found.moment:%Y-%m-%d %H:%M:%S} UTC by {whose}"

    def __call__(self, signature: bytes, most: int) -> bytes | None:
        try:
            token = slim(self._answer(hashlib.sha256(signature).digest()))
            found = checked_stamp(signature, token, self.trusted)
            self._check_taken(found, token, most)
        except BadStamp as bad:
            self.trouble = str(bad)
            return None
        self.found = found
        return token

    def _check_taken(self, found: StampFound, token: bytes, most: int) -> None:
        if self.trusted and not found.trusted:
            raise BadStamp(f"it is by {found.signer}, whose certificate is not the one named here.")
        if len(token) > most:
            raise BadStamp("it is longer than the seal has room for.")

    def _answer(self, digest: bytes) -> bytes:
        from pyhanko.sign.timestamps import TimestampRequestError

        host = urlsplit(self.url).hostname or self.url
        try:
            asking = _client(self.url, self.within_s).async_timestamp(digest, "sha256")
            token: bytes = outcome(asking, self.within_s).dump()
        except TimeoutError:
            raise BadStamp(f"{host} did not answer within {self.within_s:g} s.") from None
        except TimestampRequestError as error:
            cause = error.__cause__
            if isinstance(cause, TimeoutError):
                raise BadStamp(f"{host} did not answer within {self.within_s:g} s.") from None
            said = f"{type(cause).__name__}: {cause}" if cause else str(error)
            raise BadStamp(f"{host} gave none ({said}).") from error
        except Exception as error:  # an answer that is none may fail anywhere in the readers
            raise BadStamp(
                f"the answer of {host} is not one to what was asked ({type(error).__name__})."
            ) from error
        return token


def _check_granted(answer: bytes) -> None:
    """A refusal comes without a token, which asn1crypto's class of answers does not read."""
    from asn1crypto import core, tsp
    from pyhanko.sign.timestamps import TimestampRequestError

    status = tsp.PKIStatusInfo.load(core.Sequence.load(answer).contents)
    if status["status"].native != "granted":
        said = [*(status["status_string"].native or []), *(status["fail_info"].native or [])]
        raise TimestampRequestError("; ".join([f"its status is {status['status'].native}", *said]))


def _client(url: str, within_s: float) -> Any:
    """pyHanko's client, with a bound on what it reads and without following to other addresses."""
    import aiohttp
    from asn1crypto import tsp
    from pyhanko.sign.timestamps import TimestampRequestError
    from pyhanko.sign.timestamps.aiohttp_client import HTTPTimeStamper

    class Client(HTTPTimeStamper):  # type: ignore[misc]
        async def async_request_tsa_response(self, req: Any) -> Any:
            try:
                answer = await self._posted(req.dump())
            except (aiohttp.ClientError, OSError) as error:
                raise TimestampRequestError("no answer") from error
            _check_granted(answer)
            return tsp.TimeStampResp.load(answer, strict=True)

        async def _posted(self, asked: bytes) -> bytes:
            limit = aiohttp.ClientTimeout(total=within_s)
            async with (
                aiohttp.ClientSession(timeout=limit) as session,
                session.post(
                    url, data=asked, headers=self.request_headers(), allow_redirects=False,
                    raise_for_status=True,
                ) as response,
            ):  # fmt: skip
                if response.status != 200 or response.content_type != "application/timestamp-reply":
                    raise aiohttp.ClientPayloadError("what answered is no time stamping authority")
                data = bytearray()
                async for part in response.content.iter_chunked(8192):
                    data += part
                    if len(data) > LONGEST:
                        raise aiohttp.ClientPayloadError("its answer is too long")
                return bytes(data)

    return Client(url, timeout=within_s)
