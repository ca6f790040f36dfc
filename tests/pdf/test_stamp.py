"""A time stamp over the seal's signature: asked for, checked, kept in one form; and every way it fails."""

import hashlib
import socket
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from subprocess import run
from time import perf_counter
from typing import Any

import pytest
from asn1crypto import cms, tsp
from cryptography.hazmat.primitives import hashes
from pyhanko.pdf_utils.reader import PdfFileReader

from lots.pdf.key import Sealer
from lots.pdf.seal import seal
from lots.pdf.stamp import BadStamp, checked_stamp, slim, stamp_attributes, stamp_of
from lots.pdf.stamp_request import LONGEST, Stamping
from tests.pdf.authority import Answer, answering, authority, served, stamper
from tests.pdf.keys import DOCUMENTS, NOW, TIME_STAMPS, Holder, ec_key, issued, rsa_key
from tests.pdf.test_check import gap_of, unsealed

SIGNATURE = b"the value of a signature " * 12
MOST = 8192


@lru_cache
def sealer() -> Sealer:
    holder = issued("record seal, Larkwater Smokehouse", key=rsa_key(1), purposes=[DOCUMENTS])
    return Sealer(holder.certificate, rsa_key(1))


def token_of(holder: Holder, *more: Holder, at: datetime = NOW, over: bytes = SIGNATURE) -> bytes:
    """A token as an authority sends it."""
    own = stamper(holder, at, *more)
    _, asked = own.request_cms(hashlib.sha256(over).digest(), "sha256")
    token: bytes = own.request_tsa_response(asked)["time_stamp_token"].dump()
    return token


def asked_of(answer: Answer, trusted: list[bytes] | None = None, **how: Any) -> Stamping:
    """What became of one asking, over SIGNATURE."""
    within = how.pop("within_s", 5)
    with served(answer, **how) as url:
        stamping = Stamping(url, trusted or [], within)
        token = stamping(SIGNATURE, MOST)
    assert (token is None) == (stamping.found is None) == bool(stamping.trouble)
    return stamping


# --- what holds ---


def test_a_stamp_tells_the_authoritys_moment_and_whose_it_is() -> None:
    holder = authority()
    found = checked_stamp(SIGNATURE, slim(token_of(holder)), [holder.pem])
    assert (found.moment, found.signer, found.trusted) == (NOW, "Invented Time", True)
    assert found.fingerprint == holder.certificate.fingerprint(hashes.SHA256()).hex()


def test_whose_stamp_it_is_is_known_by_its_certificate_or_its_issuers() -> None:
    root = issued("Invented Time Root", key=rsa_key(2), ca=True)
    token = slim(token_of(authority(by=root), root))
    assert checked_stamp(SIGNATURE, token, [root.pem]).trusted
    assert not checked_stamp(SIGNATURE, token, []).trusted
    assert not checked_stamp(SIGNATURE, token, [authority(key=rsa_key(3)).pem]).trusted


def test_only_the_certificate_that_the_signature_binds_is_kept() -> None:
    root = issued("Invented Time Root", key=rsa_key(2), ca=True)
    whole = token_of(authority(by=root), root)
    kept = cms.ContentInfo.load(slim(whole))["content"]
    came = cms.ContentInfo.load(whole)["content"]
    assert (len(came["certificates"]), len(kept["certificates"])) == (2, 1)
    assert (
        kept["signer_infos"][0]["signature"].native == came["signer_infos"][0]["signature"].native
    )
    assert slim(slim(whole)) == slim(whole)
    with pytest.raises(BadStamp, match="not built as this logbook keeps it"):
        checked_stamp(SIGNATURE, whole, [])


def test_a_stamp_by_an_elliptic_key_holds_too() -> None:
    """The authority of the tests signs with RSA alone: its token is signed again."""
    from cryptography.hazmat.primitives.asymmetric import ec

    holder = authority(key=ec_key())
    signed = cms.ContentInfo.load(token_of(authority()))["content"]
    signer = signed["signer_infos"][0]
    certificate = x509_of(holder)
    for one in signer["signed_attrs"]:
        if one["type"].native == "signing_certificate":
            one["values"] = [{"certs": [{"cert_hash": hashlib.sha1(certificate.dump()).digest()}]}]
    attributes = cms.CMSAttributes(list(signer["signed_attrs"]))
    signed["certificates"] = [certificate]
    issuer = {"issuer": certificate.issuer, "serial_number": certificate.serial_number}
    signed["signer_infos"] = [
        {
            "version": "v1",
            "sid": {"issuer_and_serial_number": issuer},
            "digest_algorithm": {"algorithm": "sha256"},
            "signed_attrs": attributes,
            "signature_algorithm": {"algorithm": "sha256_ecdsa"},
            "signature": ec_key().sign(attributes.dump(), ec.ECDSA(hashes.SHA256())),
        }
    ]
    token = cms.ContentInfo({"content_type": "signed_data", "content": signed}).dump()
    assert checked_stamp(SIGNATURE, slim(token), [holder.pem]).trusted


def x509_of(holder: Holder) -> Any:
    from asn1crypto import pem, x509

    return x509.Certificate.load(pem.unarmor(holder.pem)[2])


# --- what does not hold ---


def test_a_stamp_over_another_signature_is_refused() -> None:
    with pytest.raises(BadStamp, match="over something else than this seal’s signature"):
        checked_stamp(b"another", slim(token_of(authority())), [])


def test_every_bit_of_a_kept_stamp_counts() -> None:
    token = slim(token_of(authority()))
    unnoticed = []
    for place in range(len(token)):
        changed = bytearray(token)
        changed[place] ^= 1 << (place % 8)
        try:
            checked_stamp(SIGNATURE, bytes(changed), [])
        except BadStamp:
            continue
        unnoticed.append(place)
    assert unnoticed == []


def test_every_half_byte_of_the_algorithms_counts_whatever_it_becomes() -> None:
    """A name of an algorithm turned into another that means the same would be a change unnoticed."""
    token = slim(token_of(authority()))
    oid = bytes.fromhex("2a864886f70d0101")  # with one byte more: RSA, over which digest
    first = token.rindex(oid)
    unnoticed = []
    for place in range(first, first + len(oid) + 3):
        for value in range(256):
            changed = bytearray(token)
            changed[place] = value
            if bytes(changed) == token:
                continue
            try:
                checked_stamp(SIGNATURE, bytes(changed), [])
            except BadStamp:
                continue
            unnoticed.append((place - first, value))
    assert unnoticed == []


@pytest.mark.parametrize("tail", [b"\0", b"0" * 40])
def test_bytes_behind_a_stamp_are_refused(tail: bytes) -> None:
    with pytest.raises(BadStamp):
        checked_stamp(SIGNATURE, slim(token_of(authority())) + tail, [])


CERTIFICATES: dict[str, tuple[dict[str, Any], str]] = {
    "no purpose": ({"purposes": ()}, "not one for time stamping"),
    "another purpose": ({"purposes": [DOCUMENTS]}, "not one for time stamping alone"),
    "another purpose beside it": (
        {"purposes": [TIME_STAMPS, DOCUMENTS]},
        "not one for time stamping alone",
    ),
    "a purpose that may be ignored": ({"critical": False}, "not one for time stamping alone"),
    "ended before the moment": ({"days": (-30, -1)}, "not valid at its moment"),
    "begins after the moment": ({"days": (1, 30)}, "not valid at its moment"),
}


@pytest.mark.parametrize(("changes", "words"), CERTIFICATES.values(), ids=CERTIFICATES.keys())
def test_a_certificate_that_may_not_stamp_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(BadStamp, match=words):
        checked_stamp(SIGNATURE, slim(token_of(authority(**changes))), [])


def test_a_certificate_put_in_the_signers_place_is_refused() -> None:
    """The same key and name, another certificate: the signed attributes name the first."""
    whole = cms.ContentInfo.load(token_of(authority()))
    other = x509_of(authority(days=(-10, 10)))
    whole["content"]["certificates"] = [other]
    sid = whole["content"]["signer_infos"][0]["sid"].chosen
    sid["serial_number"] = other.serial_number
    with pytest.raises(BadStamp, match="not the one that it names"):
        checked_stamp(SIGNATURE, slim(whole.dump(force=True)), [])


@pytest.mark.parametrize("data", [b"", b"garbage", b"0\x80", cms.ContentInfo({
    "content_type": "data", "content": b"x"}).dump()])  # fmt: skip
def test_what_is_no_stamp_is_refused_in_words(data: bytes) -> None:
    for ask in (slim, lambda token: checked_stamp(SIGNATURE, token, [])):
        with pytest.raises(BadStamp):
            ask(data)


# --- asking ---


def test_an_authority_that_answers_is_taken_and_named() -> None:
    holder = authority()
    stamping = asked_of(answering(holder), [holder.pem])
    assert stamping.said == "time stamp of 2026-03-06 14:10:00 UTC by Invented Time"
    assert asked_of(answering(holder)).said.endswith("by Invented Time, not known here")


def other_imprint(asked: bytes) -> bytes:
    request = tsp.TimeStampReq.load(asked)
    request["message_imprint"]["hashed_message"] = hashlib.sha256(b"another").digest()
    return answering(authority())(request.dump())


def other_nonce(asked: bytes) -> bytes:
    request = tsp.TimeStampReq.load(asked)
    request["nonce"] = 4711
    return answering(authority())(request.dump())


def no_nonce(asked: bytes) -> bytes:
    request = tsp.TimeStampReq.load(asked)
    del request["nonce"]
    return answering(authority())(request.dump())


def refusing(asked: bytes) -> bytes:
    status = {"status": "rejection", "status_string": ["not today"]}
    inner = tsp.PKIStatusInfo(status).dump()
    return bytes([0x30, len(inner)]) + inner


BAD_ANSWERS: dict[str, tuple[Answer, dict[str, Any], str]] = {
    "garbage": (lambda _: b"garbage", {}, "not one to what was asked"),
    "nothing": (lambda _: b"", {}, "not one to what was asked"),
    "too long": (lambda _: b"0" * (LONGEST + 1), {}, "too long"),
    "a page": (lambda _: b"<html>", {"kind": "text/html"}, "no time stamping authority"),
    "an error": (lambda _: b"", {"status": 500}, "500"),
    "another address": (lambda _: b"", {"status": 302}, "no time stamping authority"),
    "a refusal": (refusing, {}, "not today"),
    "another imprint": (other_imprint, {}, "over something else"),
    "a wrong nonce": (other_nonce, {}, "not one to what was asked"),
    "no nonce": (no_nonce, {}, "not one to what was asked"),
    "not for time stamps": (
        answering(authority(purposes=[DOCUMENTS])),
        {},
        "for time stamping alone",
    ),
}


@pytest.mark.parametrize(("answer", "how", "words"), BAD_ANSWERS.values(), ids=BAD_ANSWERS.keys())
def test_a_bad_answer_gives_no_stamp_and_says_why(
    answer: Answer, how: dict[str, Any], words: str
) -> None:
    stamping = asked_of(answer, **how)
    assert stamping.found is None
    assert stamping.said.startswith("no time stamp: ")
    assert words in stamping.said


def test_an_authority_that_does_not_answer_is_waited_for_no_longer_than_said() -> None:
    began = perf_counter()
    stamping = asked_of(answering(authority()), within_s=0.5, after_s=3)
    assert perf_counter() - began < 2.5
    assert stamping.said == "no time stamp: 127.0.0.1 did not answer within 0.5 s."


def test_an_authority_that_is_not_there_is_said_so() -> None:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    stamping = Stamping(f"http://127.0.0.1:{port}/", [], 5)
    assert stamping(SIGNATURE, MOST) is None
    assert "127.0.0.1 gave none" in stamping.trouble


def test_a_name_that_cannot_be_looked_up_in_time_holds_nobody(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def slow(*_: Any, **__: Any) -> Any:
        import time

        time.sleep(3)
        raise socket.gaierror("never")

    monkeypatch.setattr(socket, "getaddrinfo", slow)
    began = perf_counter()
    stamping = Stamping("http://time.invalid/", [], 0.5)
    assert stamping(SIGNATURE, MOST) is None
    assert perf_counter() - began < 2
    assert "did not answer within 0.5 s" in stamping.trouble


def test_where_an_authority_is_named_a_stamp_by_another_is_not_taken() -> None:
    stamping = asked_of(answering(authority()), [authority(key=rsa_key(3)).pem])
    assert "by Invented Time, whose certificate is not the one named here" in stamping.trouble


def test_a_stamp_longer_than_the_seal_has_room_for_is_left_out() -> None:
    with served(answering(authority())) as url:
        stamping = Stamping(url, [], 5)
        assert stamping(SIGNATURE, 500) is None
    assert "longer than the seal has room for" in stamping.trouble


# --- in the PDF ---


def stamped(holder: Holder, *more: Holder, what: str = "") -> bytes:
    with served(answering(holder, *more)) as url:
        stamping = Stamping(url, [], 5)
        pdf = seal(
            unsealed(), sealer(), now=NOW, reason=what, location="", name="Larkwater", stamper=stamping,
        )  # fmt: skip
    assert stamping.trouble == ""
    return pdf


def signer_of(pdf: bytes) -> Any:
    (one,) = PdfFileReader(BytesIO(pdf)).embedded_signatures
    return one.signed_data["signer_infos"][0]


def test_a_sealed_pdf_carries_the_stamp_over_its_own_signature() -> None:
    holder = authority()
    signer = signer_of(stamped(holder))
    token = stamp_of(signer)
    assert token is not None
    assert checked_stamp(signer["signature"].native, token, [holder.pem]).moment == NOW
    assert stamp_attributes(token).dump() == signer["unsigned_attrs"].untag().dump()


def test_without_an_answer_the_pdf_is_sealed_without_a_stamp() -> None:
    stamping = Stamping("http://127.0.0.1:9/", [], 1)
    pdf = seal(unsealed(), sealer(), now=NOW, reason="", location="", name="", stamper=stamping)
    assert stamp_of(signer_of(pdf)) is None
    assert stamping.trouble


def test_anything_else_beside_the_signature_is_refused() -> None:
    signer = signer_of(stamped(authority())).copy()
    (attribute,) = signer["unsigned_attrs"]
    values = list(attribute["values"])
    twice: list[Callable[[], Any]] = [
        lambda: cms.CMSAttributes([attribute, attribute]),
        lambda: cms.CMSAttributes([{"type": "signature_time_stamp_token", "values": values * 2}]),
        lambda: cms.CMSAttributes([{"type": "signing_time", "values": [
            cms.Time({"utc_time": datetime(2026, 3, 6, tzinfo=UTC)})]}]),
    ]  # fmt: skip
    for build in twice:
        signer["unsigned_attrs"] = build()
        with pytest.raises(BadStamp):
            stamp_of(signer)


def test_poppler_and_openssl_accept_a_stamped_seal(tmp_path: Path) -> None:
    pdf = stamped(authority())
    (tmp_path / "record.pdf").write_bytes(pdf)
    said = run(
        ["pdfsig", "-nocert", "record.pdf"], cwd=tmp_path, capture_output=True, text=True
    ).stdout
    assert "Signature is Valid" in said
    assert "Total document signed" in said
    first, last = gap_of(pdf)
    (tmp_path / "covered").write_bytes(pdf[:first] + pdf[last:])
    (tmp_path / "seal.der").write_bytes(bytes.fromhex(pdf[first + 1 : last - 1].decode()))
    (tmp_path / "ca.pem").write_bytes(issued_pem())
    done = run(
        ["openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", "seal.der", "-content",
         "covered", "-certfile", "ca.pem", "-noverify", "-out", "out"],
        cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def issued_pem() -> bytes:
    from lots.pdf.key import pem

    return pem(sealer().certificate)


def test_openssl_accepts_the_stamp_itself_over_the_seals_signature(tmp_path: Path) -> None:
    root = issued("Invented Time Root", key=rsa_key(2), ca=True)
    signer = signer_of(stamped(authority(by=root), root))
    (tmp_path / "token").write_bytes(stamp_of(signer) or b"")
    (tmp_path / "signature").write_bytes(signer["signature"].native)
    (tmp_path / "root.pem").write_bytes(root.pem)
    ask = ["openssl", "ts", "-verify", "-in", "token", "-token_in", "-CAfile", "root.pem",
           "-attime", str(round((NOW + timedelta(days=1)).timestamp())), "-data"]  # fmt: skip
    done = run([*ask, "signature"], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    (tmp_path / "another").write_bytes(b"another")
    assert run([*ask, "another"], cwd=tmp_path, capture_output=True).returncode != 0
